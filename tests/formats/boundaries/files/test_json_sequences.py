"""GeoJSON text sequences: by RFC 8142 each of the texts is any GeoJSON; one a line as well."""

import json

import pytest

from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob, feature, to_lon_lat

SHAPES = [blob(80 * k, 0, 12 + k) for k in range(4)]


def features(move=to_lon_lat):
    return [feature(move(shape), name=f"Green {k}", kind="green") for k, shape in enumerate(SHAPES)]


def collection(rows, **head):
    return {"type": "FeatureCollection", **head, "features": rows}


def read(tmp_path, texts, mark=""):
    path = tmp_path / "course.geojson"
    path.write_text("\n".join(mark + json.dumps(text) for text in texts))
    return read_boundaries(path)


@pytest.mark.parametrize("mark", ["", "\x1e"])
def test_each_text_may_be_a_collection(mark, tmp_path):
    rows = features()
    found = read(tmp_path, [collection(rows[:2]), rows[2], collection(rows[3:])], mark)
    assert found.features.name.tolist() == [f"Green {k}" for k in range(4)]
    assert not found.tally.left_out


def test_a_crs_that_all_texts_name_is_theirs(tmp_path):
    rows = features(lambda shape: shape)
    crs = {"type": "name", "properties": {"name": UTM}}
    found = read(tmp_path, [collection(rows[:2], crs=crs), collection(rows[2:], crs=crs)])
    lon, lat = found.features.geometry[0].centroid.coords[0]
    there = to_lon_lat(SHAPES[0]).centroid
    assert (lon, lat) == pytest.approx((there.x, there.y), abs=1e-7)


def test_collections_in_two_crs_are_asked_about(tmp_path):
    crs = {"type": "name", "properties": {"name": UTM}}
    texts = [collection(features()[:2]), collection(features()[2:], crs=crs)]
    found = read(tmp_path, texts)
    assert [item.lost for item in found.tally.left_out] == [True, True]


def test_a_sequence_that_is_cut_off_names_the_text(tmp_path):
    path = tmp_path / "course.geojsonl"
    path.write_text("\n".join(map(json.dumps, features()))[:-40])
    with pytest.raises(Refused, match=r"of its texts no\. 4 can not be read"):
        read_boundaries(path)
