"""The folder as a whole: what is missing, doubled or unreadable."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geosand.errors import Refused
from geosand.formats import site_folder as module
from geosand.formats.geojson_shapes import plain_polygons, polygons_of
from geosand.formats.site_folder import read_site
from tests.sites import CATCHES, DRESSINGS, LOADS, SURFACES, TOML, points, refusal, write_site


def test_no_such_folder(tmp_path):
    found = refusal(tmp_path / "nowhere")
    assert found == [f"{tmp_path / 'nowhere'}: there is no such folder. Name a site folder."]


def test_an_empty_folder(tmp_path):
    assert refusal(tmp_path) == [
        f"{tmp_path}: is no site folder: neither site.toml nor surfaces.geojson is in it. Set a"
        " site up with geosand new, or name the folder of one."
    ]


def test_a_folder_of_sites(tmp_path):
    write_site(tmp_path / "north")
    write_site(tmp_path / "south")
    (found,) = refusal(tmp_path)
    assert found.endswith(f"is in it. Name one site, as in {tmp_path / 'north'}.")


def test_a_file_for_a_folder(tmp_path):
    file = write_site(tmp_path / "site") / "site.toml"
    assert refusal(file) == [f"{file}: is a file. Name a site folder."]


def test_catches_twice(site_folder):
    folder = site_folder()
    write_site(folder, catches=points(CATCHES))
    assert refusal(folder) == [
        "catches.geojson: stands beside catches.csv. Keep one of the two, so that no catch counts"
        " twice."
    ]


def test_a_folder_in_place_of_a_file(site_folder):
    folder = site_folder(loads=None)
    (folder / "loads.csv").mkdir()
    assert refusal(folder) == ["loads.csv: is no file. Put a file of this name there."]


def test_a_file_that_is_too_large(site_folder, monkeypatch):
    monkeypatch.setattr(module, "MAXIMUM_MB", 0.001)
    found = refusal(site_folder(loads=LOADS + " " * 2000, catches=None, surfaces=SURFACES[:1]))
    assert found == [
        "loads.csv: is larger than 0.001 MB. Split the site, or simplify its outlines."
    ]


def test_faults_of_all_files_come_in_one_refusal(site_folder):
    folder = site_folder(
        toml=TOML.replace("edge_bias_m = 0.05", "edge_bias_m = -1"),
        surfaces=[*SURFACES, SURFACES[0]],
        dressings=DRESSINGS.replace("2026-04-10", "April"),
        loads=LOADS.replace("52", "many"),
        catches=[CATCHES[0] | {"tare_g": "x"}],
        deliveries="date\n",
        files={"editions/2020-01-01.geojson": "<html>"},
    )
    assert [text.split(": ")[0] for text in refusal(folder)] == [
        "editions/2020-01-01.geojson",
        "site.toml, top of the file, edge_bias_m",
        "surfaces.geojson, feature 4, id",
        "dressings.csv, row 2, date",
        "loads.csv, row 2, count",
        "catches.csv, row 2, tare_g",
    ]


def test_digests_of_all_files_that_were_read(site_folder):
    folder = site_folder(
        files={"notes.txt": "left alone", "editions/2020-01-01.geojson": points([])}
    )
    assert refusal(folder) == [
        "editions/2020-01-01.geojson: there is no surface in it. Draw the greens first."
    ]
    (folder / "editions/2020-01-01.geojson").unlink()
    site = read_site(folder)
    assert sorted(site.inputs) == [
        "catches.csv",
        "dressings.csv",
        "loads.csv",
        "site.toml",
        "surfaces.geojson",
    ]
    assert site.inputs["loads.csv"] == hashlib.sha256(LOADS.encode()).hexdigest()


def test_nothing_is_written(site_folder):
    folder = site_folder()
    before = {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in sorted(folder.rglob("*"))}
    read_site(folder)
    assert {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in sorted(folder.rglob("*"))} == before


def test_alike_faults_are_listed_in_one_line(site_folder):
    rows = [CATCHES[0] | {"catch": f"c{k}", "tare_g": f"x{k}"} for k in range(40)]
    with pytest.raises(Refused) as caught:
        read_site(site_folder(catches=rows))
    assert len(caught.value.faults) == 40
    lines = str(caught.value).splitlines()
    assert len(lines) == 6
    assert lines[5] == (
        "catches.csv, tare_g: the like in 35 more rows: 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17,"
        " 18, 19, 20, 21, 22, 23, 24, 25, 26, …."
    )


def test_the_same_fault_in_many_rows_is_one_line(site_folder):
    rows = [CATCHES[0] | {"catch": f"c{k}", "tare_g": "x"} for k in range(40)]
    with pytest.raises(Refused) as caught:
        read_site(site_folder(catches=rows))
    assert len(caught.value.faults) == 40
    start = "catches.csv, rows 2, 3, 4, 5, 6 and 35 more, tare_g: 'x' is not a number; allowed: "
    assert str(caught.value).startswith(start)
    assert len(str(caught.value).splitlines()) == 1


FILES = {
    "site.toml": TOML.encode(),
    "dressings.csv": DRESSINGS.encode(),
    "loads.csv": LOADS.encode(),
}


@settings(
    max_examples=120, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
@given(data=st.data(), name=st.sampled_from([*FILES, "surfaces.geojson", "catches.geojson"]))
def test_damaged_files_are_read_or_refused(tmp_path_factory, data, name):
    """Any bytes put anywhere into a file: a site or a refusal, never anything else."""
    folder = write_site(tmp_path_factory.mktemp("s"), catches=points(CATCHES))
    content = (folder / name).read_bytes()
    start = data.draw(st.integers(0, len(content)))
    stop = data.draw(st.integers(start, min(len(content), start + 40)))
    junk = data.draw(
        st.binary(max_size=12)
        | st.sampled_from(
            [
                b"null",
                b"[]",
                b"{}",
                b"-1",
                b"1e400",
                b'""',
                b"nan",
                b'"\\u0000"',
                b'"\\ud800"',
                b"\n",
            ]
        )
    )
    (folder / name).write_bytes(content[:start] + junk + content[stop:])
    try:
        site = read_site(folder)
    except Refused as problem:
        assert problem.faults
        assert str(problem).replace("\n", "").isprintable()
    else:
        for finding in site.findings:
            assert str(finding).isprintable()


def test_plain_polygons_read_at_once_are_those_read_one_by_one():
    """Whatever is not plain is left to a look at each polygon."""
    ring = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]]
    hole = [[0.2, 0.2], [0.2, 0.4], [0.4, 0.4], [0.2, 0.2]]
    whole = {"type": "Polygon", "coordinates": [ring, hole]}
    small = {"type": "Polygon", "coordinates": [hole]}
    many = [whole, small, small, whole]
    made = plain_polygons(many)
    alone = [polygons_of(shape, "", []) for shape in many]
    assert [shape.wkb for shape in made] == [shape.wkb for shape in alone]
    odd = [
        {"type": "Polygon", "coordinates": rings}
        for rings in (
            [],
            None,
            [ring, []],
            [ring[:-1]],
            [ring[:3]],
            [[*ring[:-1], [0.0, 0.5]]],
            [[[0, 0], *ring[1:]]],
            [[[0.0, 0.0, 1.0], *ring[1:]]],
            [[["0", "0"], *ring[1:]]],
            [[[True, False], *ring[1:]]],
            [[[1e999, 0.0], *ring[1:4], [1e999, 0.0]]],
            [[(0.0, 0.0), *ring[1:]]],
            [{"a": 1.0, "b": 2.0}],
            ["abcd"],
        )
    ]
    for shape in [*odd, None, {"type": "Point", "coordinates": [0.0, 0.0]}, 5]:
        assert plain_polygons([whole, shape]) is None


@pytest.mark.parametrize(("lon", "told"), [(1e-5, False), (-30.0004, True), ("-30.0004", True)])
def test_a_place_beside_a_point_that_is_another_is_told_and_does_not_count(tmp_path, lon, told):
    document = points(CATCHES)
    at = document["features"][2]["geometry"]["coordinates"][0]
    document["features"][2]["properties"] |= {"lon": lon if told else at + lon, "lat": None}
    site = read_site(write_site(tmp_path / "site", catches=document))
    assert site.catches.lon_degree[2] == pytest.approx(at)
    text = "feature 3 says another lon than its point, which counts"
    assert (text in [f.text for f in site.findings]) is told
