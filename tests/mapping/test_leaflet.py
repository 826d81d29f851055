"""Leaflet's files: found, checked, and asked for clearly where they are missing."""

import sys
from importlib import resources

import pytest

from geosand.mapping import leaflet
from geosand.mapping.leaflet import LeafletMissing, read_leaflet


def test_installed_files_are_of_a_known_release():
    script, style = read_leaflet()
    assert any(f"Leaflet {version}" in script[:200] for version in leaflet.RELEASES)
    assert "sourceMappingURL" not in script
    assert "url(" not in style


def test_missing_files_are_asked_for_by_name(monkeypatch):
    monkeypatch.setattr(leaflet, "PACKAGE", "no_such_leaflet")
    with pytest.raises(LeafletMissing, match=r"no_such_leaflet is not installed.*XStatic-Leaflet"):
        read_leaflet()


@pytest.fixture
def other_package(tmp_path, monkeypatch):
    """A package with a copy of the files, which the test may alter."""
    folder = tmp_path / "other_leaflet" / "data"
    folder.mkdir(parents=True)
    (folder.parent / "__init__.py").touch()
    for name in ("leaflet.js", "leaflet.css"):
        source = resources.files("xstatic.pkg.leaflet").joinpath("data", name)
        (folder / name).write_bytes(source.read_bytes())
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(leaflet, "PACKAGE", "other_leaflet")
    yield folder
    sys.modules.pop("other_leaflet", None)


def test_altered_files_are_refused(other_package):
    assert read_leaflet()[0]
    with (other_package / "leaflet.js").open("ab") as file:
        file.write(b"\nfetch('https://example.org');")
    with pytest.raises(LeafletMissing, match="other_leaflet holds files that are not Leaflet"):
        read_leaflet()
