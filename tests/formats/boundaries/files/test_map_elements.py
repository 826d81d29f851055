"""The open map community's own files: XML as its editors write it, JSON as its queries answer."""

import json

import pytest
import shapely

from geosand.areas.crosscheck import grid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob, to_lon_lat


def rect(x, y, wide, high):
    x, y = x + 560_000, y + 5_906_000
    return shapely.box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)


GREEN, FAIRWAY, BUNKER = blob(0, 0, 13), rect(100, 0, 60, 30), rect(90, 5, 6, 4)


def corners(shape):
    return shapely.get_coordinates(to_lon_lat(shape)).round(7).tolist()


def elements(nodes_last=False):
    """A green, a bunker that is a hole of a fairway in two halves, a hole's line and a fence."""
    nodes, ways = {}, []

    def way(number, points, tags, closed=True):
        refs = []
        for point in points[:-1] if closed else points:
            refs.append(nodes.setdefault(tuple(point), 100 + len(nodes)))
        refs += refs[:1] if closed else []
        ways.append({"type": "way", "id": number, "nodes": refs, "tags": tags})

    outer = corners(FAIRWAY)
    way(11, corners(GREEN), {"golf": "green", "surface": "grass", "layer": "1"})
    way(12, corners(BUNKER), {"golf": "bunker"})
    way(13, outer[:3], {}, closed=False)
    way(14, outer[2:], {}, closed=False)
    way(15, [*corners(GREEN)[:5]], {"golf": "hole", "par": "4"}, closed=False)
    way(16, corners(rect(0, 0, 300, 300)), {"barrier": "fence"})
    members = [(13, "outer"), (14, "outer"), (12, "inner")]
    relation = {
        "type": "relation",
        "id": 11,
        "members": [{"type": "way", "ref": n, "role": role} for n, role in members],
        "tags": {"type": "multipolygon", "golf": "fairway", "name": "Fairway 7"},
    }
    points = [{"type": "node", "id": n, "lon": p[0], "lat": p[1]} for p, n in nodes.items()]
    others = [*ways, relation]
    return [*others, *points] if nodes_last else [*points, *others]


def as_xml(found):
    lines = []
    for e in found:
        inner = "".join(f'<tag k="{k}" v="{v}"/>' for k, v in e.get("tags", {}).items())
        inner += "".join(f'<nd ref="{n}"/>' for n in e.get("nodes", ()))
        for m in e.get("members", ()):
            inner += f'<member type="way" ref="{m["ref"]}" role="{m["role"]}"/>'
        place = "".join(f' {k}="{e[k]}"' for k in ("lat", "lon", "action") if k in e)
        lines.append(f'<{e["type"]} id="{e["id"]}"{place}>{inner}</{e["type"]}>')
    return f'<?xml version="1.0"?><osm version="0.6">{"".join(lines)}</osm>'


def with_corners_inside(found):
    """As a query answers that asks for geometry: no nodes, the ways of relations with them."""
    place = {e["id"]: {"lat": e["lat"], "lon": e["lon"]} for e in found if e["type"] == "node"}
    inside = {e["id"]: [place.get(n) for n in e["nodes"]] for e in found if e["type"] == "way"}
    ways = [{**e, "geometry": inside[e["id"]]} for e in found if e["type"] == "way" and e["tags"]]
    relations = [
        {**e, "members": [{**m, "geometry": inside[m["ref"]]} for m in e["members"]]}
        for e in found
        if e["type"] == "relation"
    ]
    return [*relations, *ways]


@pytest.fixture
def read(tmp_path):
    def reading(found, form):
        if form == "xml":
            path, text = tmp_path / "course.osm", as_xml(found)
        else:
            found = with_corners_inside(found) if form == "inside" else found
            path, text = tmp_path / "course.json", json.dumps({"version": 0.6, "elements": found})
        path.write_text(text)
        return read_boundaries(path)

    return reading


@pytest.mark.parametrize("nodes_last", [False, True])
@pytest.mark.parametrize("form", ["xml", "nodes", "inside"])
def test_ways_and_relations_become_the_surfaces_they_are_tagged_as(read, form, nodes_last):
    """Coordinates have seven decimals, as the community keeps them: 1 cm, 0.1 % of a green."""
    found = read(elements(nodes_last), form)
    area = dict(zip(found.features.id, grid_areas_m2(found.features.geometry, UTM), strict=True))
    assert dict(zip(found.features.id, found.features.kind, strict=True)) == {
        "way-11": "green",
        "way-12": "bunker",
        "relation-11": "fairway",
    }
    assert area["way-11"] == pytest.approx(GREEN.area, rel=1e-3)
    assert area["relation-11"] == pytest.approx(FAIRWAY.area - BUNKER.area, rel=1e-3)
    assert {str(left.place) for left in found.tally.left_out} == {"way 15", "way 16"}


@pytest.mark.parametrize("tags", [{"highway": "footway"}, {"golf": "cartpath"}])
def test_a_path_that_runs_out_of_the_file_asks_nothing(read, tags):
    """Any extract cuts paths at its edge; as lines they are no surfaces anyway."""
    whole = elements()
    inside = next(e["nodes"] for e in whole if e.get("id") == 15)
    cut = {"type": "way", "id": 17, "nodes": [*inside[:2], 9999], "tags": tags}
    found = read([*whole, cut], "nodes")
    (left,) = [left for left in found.tally.left_out if left.place == "way 17"]
    assert left.reason == "it is not whole in the file" and not left.lost


@pytest.mark.parametrize("form", ["xml", "nodes", "inside"])
def test_a_surface_that_lacks_a_corner_is_lost_and_not_drawn_without_it(read, form):
    whole = elements()
    refs = next(e["nodes"] for e in whole if e.get("id") == 11)
    found = read([e for e in whole if e["id"] != refs[3]], form)
    assert "way-11" not in found.features.id
    lost = [left for left in found.tally.left_out if left.lost]
    assert [left.place for left in lost] == ["way 11"]
    assert f"1 of its {len(refs)} corners are not in the file" in lost[0].reason


def test_a_relation_that_lacks_a_way_is_lost_where_it_is_of_a_kind_only(read):
    whole = [e for e in elements() if e.get("id") != 14]
    county = {
        "type": "relation",
        "id": 90,
        "members": [{"type": "way", "ref": 900, "role": "outer"}],
        "tags": {"type": "boundary", "name": "The county"},
    }
    out = {left.place: left for left in read([*whole, county], "xml").tally.left_out}
    assert out["relation 11"].lost
    assert "1 of its 3 ways are not in the file" in out["relation 11"].reason
    assert not out["relation 90"].lost


def test_a_relation_whose_ways_do_not_close_is_told(read):
    whole = elements()
    next(e for e in whole if e["id"] == 14)["nodes"].pop()
    out = {left.place: left.reason for left in read(whole, "xml").tally.left_out}
    assert out["relation 11"] == "its ways do not close"


def ring_of(number, shape, role="outer"):
    """A closed way with its corners inside, as a member of a relation."""
    points = [{"lon": x, "lat": y} for x, y in corners(shape)]
    return {"type": "way", "ref": number, "role": role, "geometry": points}


def water(*members):
    tags = {"type": "multipolygon", "natural": "water"}
    return [{"type": "relation", "id": 7, "members": list(members), "tags": tags}]


def test_a_pond_on_an_island_is_water_and_islands_may_touch(read):
    """The community's page on multipolygons: outer rings in inner ones; inner ones side by side."""
    lake, pond, island, beside = (
        rect(x, 0, w, w) for x, w in ((0, 90), (0, 10), (0, 40), (25, 10))
    )
    members = [ring_of(1, lake), ring_of(2, pond), ring_of(3, island, "inner")]
    found = read(water(*members, ring_of(4, beside, "inner")), "nodes")
    expected = lake.area - island.area + pond.area - beside.area
    assert grid_areas_m2(found.features.geometry, UTM) == pytest.approx([expected], rel=1e-3)


def test_a_relation_whose_ways_cross_is_lost(read):
    crossing = read(water(ring_of(1, rect(0, 0, 90, 90)), ring_of(2, rect(45, 0, 20, 20))), "nodes")
    assert [left.reason for left in crossing.tally.left_out if left.lost] == ["its ways cross"]


@pytest.mark.parametrize(
    "own, one",
    [({"golf": "fairway"}, True), ({}, True), ({"natural": "water"}, False)],
    ids=["both say it", "the way alone", "they differ"],
)
def test_an_outer_edge_that_says_what_its_relation_says_is_one_surface(read, own, one):
    """The way alone would fill the hole; validators of the community warn of such pairs."""
    whole = [e for e in elements() if e.get("id") != 14]
    edge = next(e for e in whole if e["id"] == 13)
    number = {(e["lon"], e["lat"]): e["id"] for e in whole if e["type"] == "node"}
    number |= {tuple(corners(FAIRWAY)[3]): 200}
    edge["nodes"] = [number[tuple(point)] for point in corners(FAIRWAY)]
    edge["tags"] = {"golf": "fairway", "name": "Fairway 7"}
    relation = next(e for e in whole if e["type"] == "relation")
    relation["members"] = [m for m in relation["members"] if m["ref"] != 14]
    relation["tags"] = {"type": "multipolygon", **own}
    lon, lat = corners(FAIRWAY)[3]
    found = read([*whole, {"type": "node", "id": 200, "lon": lon, "lat": lat}], "xml")
    there = dict(zip(found.features.id, found.features.kind, strict=True))
    assert ("way-13" in there) is not one
    assert ("way 13 is the outer edge" in str(found.findings)) is one
    if one:
        assert there["relation-11"] == "fairway"
        row = found.features.id.tolist().index("relation-11")
        area = grid_areas_m2(found.features.geometry, UTM)[row]
        assert area == pytest.approx(FAIRWAY.area - BUNKER.area, rel=1e-3)
        assert found.features.name[row] == "Fairway 7"


@pytest.mark.parametrize(
    "own, one, other, surfaces",
    [
        ({}, {"golf": "green", "ref": "4"}, {"golf": "tee"}, "green-4 way-2 relation-7"),
        ({"golf": "green"}, {"golf": "green", "ref": "4"}, {}, "green-4 relation-7"),
        ({"golf": "green"}, {"golf": "green"}, {"golf": "green"}, "relation-7"),
        ({"natural": "wood"}, {"leisure": "golf_course"}, {}, "way-1 relation-7"),
    ],
    ids=["two surfaces", "one of two", "both alike", "of no kind both"],
)
def test_outer_edges_that_say_more_than_their_relation_stay_surfaces(
    read, own, one, other, surfaces
):
    """A tee was a part of its green, and a course's outline its wood."""
    rings = [ring_of(1, rect(0, 0, 40, 40)), ring_of(2, rect(60, 0, 20, 20))]
    ways = [{**r, "id": r["ref"], "tags": t} for r, t in zip(rings, (one, other), strict=True) if t]
    (relation,) = water(*rings)
    relation["tags"] = {"type": "multipolygon", **own}
    assert set(read([*ways, relation], "nodes").features.id) == set(surfaces.split())


def test_what_an_editor_has_deleted_is_gone(read):
    whole = elements()
    next(e for e in whole if e["type"] == "way" and e["id"] == 11)["action"] = "delete"
    assert "way-11" not in read(whole, "xml").features.id


def test_an_answer_without_corners_says_how_to_ask(read):
    ways = [{"type": "way", "id": 5, "center": {"lat": 53, "lon": 9}, "tags": {"golf": "green"}}]
    assert "out geom" in read(ways, "nodes").tally.left_out[0].reason


def test_a_corner_whose_place_is_no_number_is_not_skipped(read, tmp_path):
    first = next(e for e in elements() if e["type"] == "node")
    text = as_xml(elements()).replace(f'lat="{first["lat"]}"', 'lat="53,3"', 1)
    (tmp_path / "a.osm").write_text(text)
    out = {left.place: left for left in read_boundaries(tmp_path / "a.osm").tally.left_out}
    assert out["way 11"].lost


@pytest.mark.parametrize(
    "odd",
    [
        {"nodes": 7},
        {"tags": ["golf", "green"]},
        {"members": [7]},
        {"geometry": 7, "tags": {"golf": "green"}},
    ],
)
def test_answers_of_no_query_are_refused(read, odd):
    with pytest.raises(Refused, match="has elements that no query answers"):
        read([{"type": "way", "id": 5, **odd}], "nodes")


def test_what_is_no_element_at_all_costs_nothing(read):
    found = read([None, 7, *elements()], "nodes")
    assert sorted(found.features.id) == ["relation-11", "way-11", "way-12"]


def test_ways_of_one_corner_and_places_that_are_no_number_are_lost_only(read):
    member = ring_of(1, GREEN)
    member["geometry"] = member["geometry"][:1]
    (left,) = read(water(member), "nodes").tally.left_out
    assert "1 of its 1 ways are not in the file" in left.reason
    way = {**ring_of(1, GREEN), "type": "way", "id": 1, "tags": {"golf": "green"}}
    way["geometry"][0]["lat"] = "nan"
    (left,) = read([way], "nodes").tally.left_out
    assert left.lost
    assert "1 of its" in left.reason


@pytest.mark.parametrize("form", ["xml", "json"])
def test_an_answer_that_ran_out_of_time_is_told(tmp_path, form):
    """Queries end so with HTTP 200 and what they found until then."""
    remark = "runtime error: Query timed out"
    text = json.dumps({"remark": remark, "elements": elements()})
    if form == "xml":
        text = as_xml(elements()).replace("</osm>", f"<remark> {remark} </remark></osm>")
    path = tmp_path / {"xml": "a.osm", "json": "a.json"}[form]
    path.write_text(text)
    told = f"surfaces may be missing: its query ended with '{remark}'"
    assert told in [finding.text for finding in read_boundaries(path).findings]


SERVICE = {
    "geometryType": "esriGeometryPolygon",
    "spatialReference": {"wkid": 25832},
    "features": [
        {
            "attributes": {"kind": "green"},
            "geometry": {"rings": [shapely.get_coordinates(GREEN)[::-1].tolist()]},
        }
    ],
}


@pytest.mark.parametrize("form", ["its own", "GeoJSON"])
def test_an_answer_of_a_service_that_stopped_at_its_limit_is_told(tmp_path, form):
    document = {**SERVICE, "exceededTransferLimit": True}
    if form == "GeoJSON":
        feature = {"type": "Feature", "properties": {"kind": "green"}}
        feature["geometry"] = shapely.geometry.mapping(to_lon_lat(GREEN))
        document = {"type": "FeatureCollection", "properties": {"exceededTransferLimit": True}}
        document["features"] = [feature]
    (tmp_path / "a.json").write_text(json.dumps(document))
    found = read_boundaries(tmp_path / "a.json")
    assert len(found.features) == 1
    assert any("surfaces are missing" in finding.text for finding in found.findings)


def test_geojson_stays_what_it_is_with_members_of_other_formats(tmp_path):
    feature = {"type": "Feature", "properties": {"kind": "green"}}
    feature["geometry"] = shapely.geometry.mapping(to_lon_lat(GREEN))
    document = {"type": "FeatureCollection", "features": [feature], "elements": []}
    (tmp_path / "a.json").write_text(json.dumps({**document, "geometryType": "polygon"}))
    assert read_boundaries(tmp_path / "a.json").features.kind.tolist() == ["green"]


def test_true_curves_of_a_service_are_refused_not_dropped(tmp_path):
    arc = {"c": [[560_120, 5_906_000], [560_110, 5_906_010]]}
    feature = {"attributes": {}, "geometry": {"curveRings": [[[560_100, 5_906_000], arc]]}}
    document = {**SERVICE, "features": [*SERVICE["features"], feature]}
    (tmp_path / "a.json").write_text(json.dumps(document))
    with pytest.raises(Refused, match="returnTrueCurves=false"):
        read_boundaries(tmp_path / "a.json")


def test_topojson_and_the_json_of_a_feature_service_are_read(tmp_path):
    """TopoJSON as its specification quantises it: steps along arcs, a scale and a shift."""
    ring = shapely.get_coordinates(to_lon_lat(GREEN))
    low, step = ring.min(axis=0), 1e-8
    whole = ((ring - low) / step).round().astype(int)
    arc = [whole[0].tolist(), *(whole[1:] - whole[:-1]).tolist()]
    topology = {
        "type": "Topology",
        "transform": {"scale": [step, step], "translate": low.tolist()},
        "arcs": [arc],
        "objects": {
            "course": {
                "type": "GeometryCollection",
                "geometries": [
                    {"type": "Polygon", "arcs": [[0]], "properties": {"kind": "green", "id": "g1"}}
                ],
            }
        },
    }
    for name, document in (("a.topojson", topology), ("a.json", SERVICE)):
        (tmp_path / name).write_text(json.dumps(document))
        found = read_boundaries(tmp_path / name)
        assert list(found.features.kind) == ["green"]
        assert grid_areas_m2(found.features.geometry, UTM) == pytest.approx([GREEN.area], rel=1e-5)


@pytest.mark.parametrize("arc", [2, -3, "1", None, 1.0, True, 10**20])
@pytest.mark.parametrize(
    ("place", "called"), [("hole", "arcs"), ("part", "properties"), ("part", "course")]
)
def test_topojson_never_draws_outlines_without_their_arcs(tmp_path, place, called, arc):
    """A hole or a part whose arc was not in the file was left out and nothing said so."""
    ring = shapely.get_coordinates(to_lon_lat(shapely.box(560_000, 5_906_000, 560_030, 5_906_030)))
    inner = ring.mean(axis=0) + (ring - ring.mean(axis=0)) / 4
    several = place == "part"

    def read(number, arcs):
        rings = [[[0]], [[number]]] if several else [[0], [number]]
        sort = "MultiPolygon" if several else "Polygon"
        columns = {"kind": "green", "arcs": [9]}  # a column of that name is none
        shape = {"type": sort, "arcs": rings, "properties": columns}
        topology = {"type": "Topology", "arcs": arcs, "objects": {called: shape}}
        (tmp_path / "a.topojson").write_text(json.dumps(topology))
        return read_boundaries(tmp_path / "a.topojson")

    arcs = [ring.tolist(), inner.tolist()]
    with pytest.raises(Refused, match=r"an outline is made of arc '.*', which is not in the file"):
        read(arc, arcs)
    with pytest.raises(Refused, match="made of arc '1', which is not in the file"):
        read(1, [arcs[0], ["5"]])
    if not several:
        for backwards in (1, -2):
            sound = read(backwards, arcs).features.geometry
            assert grid_areas_m2(sound, UTM) == pytest.approx([900 * 15 / 16], rel=1e-6)
