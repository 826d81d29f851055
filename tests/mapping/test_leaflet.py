"""Leaflet's files: found, checked, and asked for clearly where they are missing."""

import importlib.util
import sys
from importlib import resources

import pytest

from geosand.mapping import leaflet
from geosand.mapping.leaflet import LeafletMissing, read_leaflet


def test_installed_files_are_of_a_known_release():
    found = read_leaflet()
    assert found.version in leaflet.RELEASES
    assert f"Leaflet {found.version}" in found.script[:200]
    assert "sourceMappingURL" not in found.script
    assert "url(" not in found.style


def test_missing_files_are_asked_for_by_name(monkeypatch):
    monkeypatch.setattr(leaflet, "PACKAGES", (("no_such_leaflet", ("data",)),))
    with pytest.raises(LeafletMissing, match=r"no_such_leaflet is not installed.*XStatic-Leaflet"):
        read_leaflet()


@pytest.fixture
def other_package(tmp_path, monkeypatch):
    """A second package that carries the files; the test may alter them."""
    folder = tmp_path / "other_leaflet" / "data"
    folder.mkdir(parents=True)
    (folder.parent / "__init__.py").touch()
    for name in ("leaflet.js", "leaflet.css"):
        source = resources.files("xstatic.pkg.leaflet").joinpath("data", name)
        (folder / name).write_bytes(source.read_bytes())
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(
        leaflet, "PACKAGES", (("no_such_leaflet", ("data",)), ("other_leaflet", ("data",)))
    )
    yield folder
    sys.modules.pop("other_leaflet", None)


def test_second_package_is_used_where_the_first_is_missing(other_package):
    assert importlib.util.find_spec("other_leaflet")
    assert read_leaflet().version in leaflet.RELEASES


def test_altered_files_are_refused(other_package):
    with (other_package / "leaflet.js").open("ab") as file:
        file.write(b"\nfetch('https://example.org');")
    with pytest.raises(LeafletMissing, match="other_leaflet holds files that are not Leaflet"):
        read_leaflet()
