"""A key that stands twice in an object: which of the two values holds, only its writer knows."""

from __future__ import annotations

import json

import pytest

from geosand.errors import Refused
from geosand.formats.boundaries import bring_into, read_boundaries
from geosand.formats.json_text import read_json
from tests.sites import CATCHES, points, refusal, write_site


@pytest.mark.parametrize(
    ("text", "twice"),
    [
        ('{"a": 1, "b": [{"a": 2}, {"a": 3}]}', []),
        ('{"a": 1, "a": 1.0}', []),  # nothing hangs on which
        ('{"a": 1, "a": 2}', [(0, "a")]),
        ('{"features": [{}, {"p": {"k": 1, "k": 2, "j": 3, "j": 4}}]}', [(2, "k"), (2, "j")]),
        ('{"features": [{"p": {"q": [[{"k": 1, "k": "1"}]]}}]}', [(1, "k")]),
        ('{"features": [], "features": [{"k": 0}]}', [(0, "features")]),
        ('{"features": [{"p": {"k": 1, "k": 2}, "p": {}}]}', [(0, "k"), (1, "p")]),
    ],
)
def test_keys_that_stand_twice(text, twice):
    document, found = read_json(text)
    assert found == twice
    assert document == json.loads(text)


def twice_in(path, feature):
    """The id of a feature of a file written a second time, as another."""
    lines = path.read_text(encoding="utf-8")
    rows = json.loads(lines)["features"]
    cell = json.dumps("id")
    if "catch" in rows[feature]["properties"]:
        cell = json.dumps("catch")
    name = rows[feature]["properties"][json.loads(cell)]
    whole = json.dumps(json.loads(lines))
    pair = f"{cell}: {json.dumps(name)}"
    path.write_text(whole.replace(pair, f'{pair}, {cell}: "other"', 1), encoding="utf-8")


@pytest.mark.parametrize(
    ("file", "key"), [("surfaces.geojson", "id"), ("catches.geojson", "catch")]
)
def test_in_a_site_folder(tmp_path, file, key):
    site = write_site(tmp_path / "site")
    if file.startswith("catches"):
        (site / "catches.csv").unlink()
        (site / file).write_text(json.dumps(points(CATCHES)), encoding="utf-8")
    twice_in(site / file, 1)
    text = "keep the one that is right"
    found = [line for line in refusal(site) if "twice" in line]
    start = f"{file}, feature 2: the key '{key}' stands twice, with different values."
    assert found == [f"{start} {text.capitalize()}."]


def test_in_a_file_to_be_brought_and_in_the_survey_in_force(tmp_path):
    site = write_site(tmp_path / "site")
    file = tmp_path / "new.geojson"
    file.write_bytes((site / "surfaces.geojson").read_bytes())
    found = read_boundaries(file, believe_place=True)
    twice_in(file, 0)
    with pytest.raises(Refused, match=r"new\.geojson, feature 1: the key 'id' stands twice"):
        read_boundaries(file)
    twice_in(site / "surfaces.geojson", 0)
    with pytest.raises(Refused, match="the survey in force can not be read"):
        bring_into(site, found, valid_from="2030-01-01")


def test_in_a_line_of_features(tmp_path):
    good = {"type": "Feature", "properties": {"id": "g1"}, "geometry": None}
    bad = json.dumps(good).replace('"g1"', '"g1", "id": "g2"')
    (tmp_path / "x.geojsonl").write_text(f"{json.dumps(good)}\n{bad}\n", encoding="utf-8")
    with pytest.raises(Refused, match="feature 2: the key 'id' stands twice"):
        read_boundaries(tmp_path / "x.geojsonl")
