"""Site folders of a chunk read at once against each read by itself, whole and spoiled by chance."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from geosand.errors import Refused
from geosand.formats.site_folder import parse_site, read_site
from geosand.portfolio import folders as site_folders
from geosand.portfolio import folders_at_once
from geosand.portfolio.chunk import Chunk, Options, work_chunk
from geosand.portfolio.folders import Folders
from geosand.portfolio.folders_at_once import read_folders_at_once
from geosand.portfolio.site_read import SiteRead
from tests.bad_input.spoiled import in_workbook
from tests.portfolio.differences import difference
from tests.portfolio.spoiled_folders import spoil
from tests.sites import CATCHES, DRESSINGS, SURFACES, TOML, collection, points, write_site
from tests.stack_sites import write_various


@pytest.fixture(scope="module")
def various(tmp_path_factory):
    return write_various(tmp_path_factory.mktemp("various"))


def copied(folders, root):
    """Copies of the folders, in order."""
    return [Path(shutil.copytree(f, root / f"{k:03}-{f.name}")) for k, f in enumerate(folders)]


def alone(folder):
    """The site, or the lines of its refusal."""
    try:
        return read_site(folder)
    except Refused as refusal:
        return str(refusal).splitlines()


def held_together(root, folders):
    """All folders as a portfolio reads them are as each alone; how many were sound, and at once."""
    keys = [folder.name for folder in folders]
    sound = 0
    reads = list(Folders(root=root, found=tuple(keys)).read(keys, {}))
    assert [read.key for read in reads] == keys
    for folder, read in zip(folders, reads, strict=True):
        expected = alone(folder)
        found = list(read.refused) if read.site is None else read.site
        assert difference(found, expected, folder.name) == ""
        sound += read.site is not None
    return sound, len(read_folders_at_once([parse_site(folder) for folder in folders], []))


def test_all_sites_that_differ_are_read_at_once(various, tmp_path):
    folders = copied(various, tmp_path)
    assert held_together(tmp_path, folders) == (len(folders), len(folders))


@pytest.mark.parametrize("seed", range(30))
def test_spoiled_folders_say_what_they_say_alone(various, tmp_path, seed):
    rng = np.random.default_rng([20261125, seed])
    small = [
        various[k] for k in range(1, len(various)) if various[k].name.startswith("site-") is False
    ]
    kept = [small[k] for k in rng.choice(len(small), 7, replace=False)]
    folders = copied(kept, tmp_path)
    for folder in folders[1:]:
        spoil(folder, rng)
    sound, _ = held_together(tmp_path, folders)
    assert sound >= 1


def site(root, name, **changes):
    """A small valid site below ``root``."""
    return write_site(root / name, **changes)


def weather(rows, place=0):
    """The rows with two columns that are not read, one of them nearly a known one."""
    out = []
    for row in rows:
        cells = list(row.items())
        cells[place:place] = [("weather", "dry"), ("gros_g", "1")]
        out.append(dict(cells))
    return out


def test_what_is_told_of_a_site_comes_in_its_own_order(tmp_path):
    turned = [dict(reversed(row.items())) for row in weather(CATCHES, 3)]
    folders = [
        site(tmp_path, "a", catches=weather(CATCHES)),
        site(tmp_path, "b", catches=weather(CATCHES, 4)),
        site(tmp_path, "c", catches=turned),
        site(tmp_path, "d"),
        site(tmp_path, "e", catches=points(weather(CATCHES))),
    ]
    assert held_together(tmp_path, folders) == (5, 5)
    assert sum("is not read" in f.text for f in read_site(folders[2]).findings) == 2


def test_hints_name_what_the_site_itself_has(tmp_path):
    """A unit that another site, or a blank column of this one, has is no hint here."""
    ounces = [
        {("gross_oz" if n == "gross_g" else n): c for n, c in row.items()} | {"gross_ozz": 1}
        for row in CATCHES
    ]
    both = [row | {"gross_oz": "", "gross_ozz": 1} for row in CATCHES]
    folders = [
        site(tmp_path, "a", catches=[row | {"gross_gg": 1, "gross_ozz": 2} for row in CATCHES]),
        site(tmp_path, "b", catches=ounces),
        site(tmp_path, "c", catches=both),
    ]
    sound, at_once = held_together(tmp_path, folders)
    assert sound == at_once >= 2


def test_each_site_keeps_what_its_boundary_files_say(tmp_path):
    said = {"source_crs": "EPSG:32630", "source": "a.gpkg", "datum_accuracy_m": 0.4}
    earlier = {
        "editions/2019.geojson": collection(SURFACES, valid_from="2019-01-01", colour="x"),
        "editions/a.geojson": collection(
            [f | {"properties": f["properties"] | {"greenkeeper": "x"}} for f in SURFACES],
            valid_from="2018-01-01",
            edge_accuracy_m=0.5,
        ),
    }
    other = {f"editions/o{name[9:]}": content for name, content in earlier.items()}
    folders = [
        site(tmp_path, "a", surfaces=collection(SURFACES, edge_accuracy_m=0.2, **said)),
        site(tmp_path, "b", surfaces=collection(SURFACES, edge_bias_m=0.1)),
        site(tmp_path, "c", surfaces=collection(SURFACES, valid_from="2026-02-01"), files=earlier),
        site(tmp_path, "d", files=other),
        site(tmp_path, "e", surfaces=collection(SURFACES, boundary_accuracy_m=0.01)),
    ]
    assert held_together(tmp_path, folders) == (5, 5)
    told = [f.about for f in read_site(folders[3]).findings if "greenkeeper" in f.text]
    assert told == ["editions/oa.geojson"]


def test_sands_keep_their_order(tmp_path):
    """A blank sand is the first of the site, whichever is the first of another."""
    lines = TOML.splitlines()
    begin = next(k for k, line in enumerate(lines) if line.startswith("[sands."))
    end = next((k for k in range(begin + 1, len(lines)) if lines[k].startswith("[")), len(lines))
    known = ["[sands.b]", "bulk_density_g_cm3 = 1.6", "kiln_dried = true"]
    first = "\n".join([*lines[:begin], *known, *lines[begin:]])
    second = "\n".join([*lines[:end], *known, *lines[end:]])
    with_sand = DRESSINGS.replace("dressing,", "sand,dressing,").replace("\nD", "\nb,D")
    folders = [
        site(tmp_path, str(k), toml=toml, dressings=with_sand)
        for k, toml in enumerate(
            [first, second, first, TOML.replace("[sands.", "[sands.b]\n[sands.")]
        )
    ]
    sound, at_once = held_together(tmp_path, folders)
    assert sound == at_once == 3


def test_workbooks_and_odd_settings_are_read_alone(tmp_path):
    folders = [
        site(tmp_path, "a", **in_workbook()),
        site(tmp_path, "b", toml=TOML + "\n[empty]\n"),
        site(tmp_path, "c", toml="colours = [1, 2]\n" + TOML),
        site(tmp_path, "d"),
    ]
    assert held_together(tmp_path, folders) == (4, 1)


def test_files_that_are_too_large_to_wait_are_read_all_the_same(tmp_path, monkeypatch):
    folders = [site(tmp_path, name) for name in "abcd"]
    for size in (0, 2000, 5000):
        monkeypatch.setattr(site_folders, "HELD_BYTES", size)
        assert held_together(tmp_path, folders)[0] == 4


def test_a_known_site_is_not_parsed(tmp_path, monkeypatch):
    folders = [site(tmp_path, name) for name in "abc"]
    source = Folders(root=tmp_path, found=("a", "b", "c"))
    known = {read.key: read.fingerprint for read in source.read("abc", {})}
    (folders[1] / "loads.csv").write_text((folders[1] / "loads.csv").read_text() + "\n")
    parsed = []
    monkeypatch.setattr(
        site_folders,
        "_parsed",
        lambda key, *_: (
            parsed.append(key) or SiteRead(key=key, fingerprint="", site=None, refused=("x",))
        ),
    )
    assert [r.key for r in source.read("abc", known)] == ["a", "b", "c"]
    assert parsed == ["b"]


def test_an_error_in_here_costs_time_but_no_site(tmp_path, monkeypatch):
    """With GEOSAND_TRACEBACK, as all tests have it, it is raised."""
    folders = [site(tmp_path, name) for name in "ab"]
    parsed = [parse_site(folder) for folder in folders]

    def wrong(*_, **__):
        raise TypeError("wrong here")

    monkeypatch.setattr(folders_at_once, "_raw_sites", wrong)
    with pytest.raises(TypeError, match="wrong here"):
        read_folders_at_once(parsed, [])
    monkeypatch.delenv("GEOSAND_TRACEBACK")
    assert held_together(tmp_path, folders) == (2, 0)
    reads = Folders(root=tmp_path, found=("a", "b")).read(["a", "b"], {})
    assert [(read.unforeseen, read.refused) for read in reads] == [("TypeError", ())] * 2


def test_a_table_without_rows_has_its_columns_too(tmp_path):
    """A file cut off in its first line is refused among others as it is alone."""
    cut = "load,dressi"
    folders = [site(tmp_path, "a"), site(tmp_path, "b", loads=cut), site(tmp_path, "c")]
    with pytest.raises(Refused, match="there is no column dressing"):
        read_site(folders[1])
    assert held_together(tmp_path, folders) == (2, 2)


def test_what_is_found_in_the_work_names_the_file_that_the_catches_are_in(tmp_path):
    far = [{**row, "surface": "g2"} for row in CATCHES]  # the first three lie on g1
    folders = [
        write_site(tmp_path / "a", catches=far),
        write_site(tmp_path / "b", catches=points(far)),
        write_site(tmp_path / "c"),
    ]
    keys = [folder.name for folder in folders]
    source = Folders(root=tmp_path, found=tuple(keys))
    told = work_chunk(Chunk(source=source, keys=keys, known={}, options=Options())).tables["sites"]
    faults = dict(zip(told["site"].to_pylist(), told["faults"].to_pylist(), strict=True))
    assert faults["a"].startswith("catches.csv, row 2, surface: ")
    assert faults["b"].startswith("catches.geojson, feature 1, surface: ")
    assert not faults["c"]
