"""Data of the open map community: its XML (.osm), and the JSON of its query service.

Nodes have places, ways have nodes, relations have ways; tags say what each is. What lacks a part
is never drawn without it: it is left out and told.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.errors import listed, refused
from geosand.formats.boundaries.drawn import LON_LAT, MAXIMUM_FEATURES, NOT_WHOLE, Drawn, Layer
from geosand.formats.boundaries.files.xml_layers import Element, root_of
from geosand.formats.boundaries.words.kinds import TAG_KEYS, tagged_kind
from geosand.site.cells import quoted
from geosand.tuples import NamedTuple

Json = Any
Corner = tuple[float, float] | None  #: lon and lat; None = not in the file
#: Keys whose closed ways are areas, but for these values: the community's page on polygon features
#: and GDAL's osmconf.ini; golf by its own page.
AREA_KEYS = (*TAG_KEYS[:5], "area", "amenity", "building", "man_made", "place", "tourism")
LINE_VALUES = ("hole", "cartpath", "path", "coastline", "cliff", "ridge", "tree_row", "track", "no")
NO_GEOMETRY = "it has no geometry"  #: as a route, or a site
AREA_TYPES = ("multipolygon", "boundary")
_SORTS = ("node", "way", "relation")


class _Part(NamedTuple):
    """A node, way or relation with its tags; corners of a way, members of a relation."""

    sort: str
    number: str
    tags: Mapping[str, str]
    corners: list[Corner]
    members: list[str]  #: numbers of the ways


def read_osm(path: Path, shown: str) -> list[Layer]:
    """One layer of what an .osm file draws. Raises Refused where it is not whole XML."""
    root = root_of(path, shown)
    there = [e for e in root.iter() if e.tag in _SORTS and _is_there(e)]
    place = {str(e.get("id")): _corner(e.attrib) for e in there if e.tag == "node"}
    parts = [
        _Part(
            str(e.tag),
            str(e.get("id")),
            {str(t.get("k")): str(t.get("v")) for t in e.iter("tag")},
            [place.get(str(n.get("ref"))) for n in e.iter("nd")]
            if e.tag == "way"
            else [place.get(str(e.get("id")))],
            [str(m.get("ref")) for m in e.iter("member") if m.get("type") == "way"],
        )
        for e in there
    ]
    remark = next((e.text or "" for e in root.iter("remark")), "")
    return [_layer(parts, shown, remark)]


def _is_there(element: Element) -> bool:
    """False for what its editor has deleted: it stays in the file until it is sent in."""
    return element.get("action") != "delete" and element.get("visible") != "false"


def layer_of_elements(document: Json, shown: str) -> Layer:
    """The layer of a query's answer, with corners in nodes of their own or within the ways."""
    there = [e for e in document["elements"] if isinstance(e, dict) and e.get("type") in _SORTS]
    place = {str(e.get("id")): _corner(e) for e in there if e["type"] == "node"}
    try:
        parts = [p for e in there for p in _parts_of(e, place)]
    except (TypeError, AttributeError) as problem:
        found = "has elements that no query answers"
        raise refused(shown, found, remedy="ask for it again, with: out geom") from problem
    parts.sort(key=lambda part: bool(part.tags))  # a way in a relation is the same without tags
    parts = list({(part.sort, part.number): part for part in parts}.values())
    return _layer(parts, shown, str(document.get("remark", "")))


def _parts_of(element: Json, place: Mapping[str, Corner]) -> Iterator[_Part]:
    """The element, and the ways that a relation brings with their corners."""
    tags = {str(k): str(v) for k, v in (element.get("tags") or {}).items()}
    members = [m for m in element.get("members") or () if m.get("type") == "way"]
    yield _Part(
        element["type"],
        str(element.get("id")),
        tags,
        [_corner(element)] if element["type"] == "node" else _corners(element, place),
        [str(m.get("ref")) for m in members],
    )
    for member in members:
        if member.get("geometry"):
            yield _Part("way", str(member.get("ref")), {}, _corners(member, place), [])


def _corners(element: Json, place: Mapping[str, Corner]) -> list[Corner]:
    if element.get("geometry"):
        return [_corner(point) for point in element["geometry"]]
    return [place.get(str(number)) for number in element.get("nodes") or ()]


def _corner(point: Json) -> Corner:
    try:
        lon, lat = float(point["lon"]), float(point["lat"])
    except (TypeError, KeyError, ValueError, OverflowError):
        return None
    return (lon, lat) if math.isfinite(lon + lat) else None


def _layer(parts: list[_Part], shown: str, remark: str) -> Layer:
    if len(parts) > 20 * MAXIMUM_FEATURES:
        raise refused(shown, "is of a whole region", remedy="export only the ground of this site")
    ways = {p.number: p for p in parts if p.sort == "way"}
    tagged = [part for part in parts if part.tags]
    drawn, edges = _joined(tagged, [_drawn(part, ways) for part in tagged])
    bare = set(ways) - {n for p in parts for n in p.members}
    untagged = sum(not ways[number].tags for number in bare)
    said = [f"{untagged} of its ways have no tags and are left out"] if untagged else []
    if edges:
        edge = "is the outer edge of a relation that says the same: both are"
        if len(edges) > 1:
            edge = "are outer edges of relations that say the same: each pair is"
        said.append(f"{listed(edges, 10)} {edge} one surface")
    if "error" in remark:  # such as a query's that ran out of time
        said.append(f"surfaces may be missing: its query ended with {quoted(remark.strip())}")
    return Layer(name="", drawn=tuple(drawn), crs=LON_LAT, assumed=True, findings=tuple(said))


def _drawn(part: _Part, ways: Mapping[str, _Part]) -> Drawn:
    """A tagged element as a point, line or area, or with the reason why it has none."""
    problem, geometry = "", None
    if part.sort == "relation":
        problem, geometry = _area_of(part, ways)
    elif None in part.corners or not part.corners:
        lacking = part.corners.count(None)
        problem = f"{lacking} of its {len(part.corners)} corners are not in the file"
        if not part.corners:
            problem = "its corners are not in the file (a query gives them with: out geom)"
    else:
        geometry = _shape(part)
    if problem not in ("", NO_GEOMETRY) and tagged_kind(part.tags) in ("", "other", "path"):
        problem = NOT_WHOLE  # as a county's boundary or a road, of which any extract has a piece
    numbered = {"@id": f"{part.sort}-{part.number}", **part.tags}
    place = f"{part.sort} {part.number}"
    return Drawn(place=place, geometry=geometry, attributes=numbered, problem=problem)


def _joined(parts: list[_Part], drawn: list[Drawn]) -> tuple[list[Drawn], list[str]]:
    """Without ways that are the outer edge of a relation which says the same, and their names.

    Some tag both, or the way alone, and as a surface of its own it would fill the holes. Where a
    relation has several outer edges, they are its own only if all say the same of themselves, too:
    else each is a surface, as two greens are.
    """
    row = {part.number: k for k, part in enumerate(parts) if part.sort == "way"}
    edges = dict[int, str]()
    for k, part in enumerate(parts):
        if part.tags.get("type") != "multipolygon" or drawn[k].geometry is None:
            continue
        ways = [w for n in part.members if (w := row.get(n)) is not None]
        ways = [w for w in ways if drawn[w].draws("Polygon") and _say_the_same(part, parts[w])]
        shells = [_outline(shape) for shape in shapely.get_parts(drawn[k].geometry)]
        own = [w for w in ways if _outline(drawn[w].geometry) in {*shells}]
        if len(own) == len(shells) and all(parts[w].tags == parts[own[0]].tags for w in own):
            edges |= {w: drawn[w].place for w in own}
            attributes = {**parts[own[0]].tags, **drawn[k].attributes}
            drawn[k] = replace(drawn[k], attributes=attributes)
    return [thing for k, thing in enumerate(drawn) if k not in edges], list(edges.values())


def _outline(polygon: Any) -> bytes:
    """The outer edge of a polygon, the same wherever and in whatever direction it begins."""
    ring = shapely.remove_repeated_points(shapely.Polygon(polygon.exterior))
    return bytes(shapely.to_wkb(shapely.normalize(ring)))


def _say_the_same(relation: _Part, way: _Part) -> bool:
    """Whether both are of one kind, or only the way says what they are; "other" is many kinds."""
    own, other = ({k: p.tags[k] for k in AREA_KEYS if k in p.tags} for p in (relation, way))
    kind = tagged_kind(own)
    return not own or own == other or kind == tagged_kind(other) not in ("", "other")


def _shape(part: _Part) -> Any:
    corners = np.array(part.corners, dtype=np.float64)
    if len(corners) == 1:
        return shapely.points(corners[0])
    closed = len(corners) > 3 and bool((corners[0] == corners[-1]).all())
    says = [part.tags.get(key, "no") not in LINE_VALUES for key in AREA_KEYS]
    if closed and any(says) and part.tags.get("area") != "no":
        return shapely.polygons(corners)
    return shapely.linestrings(corners)


def _area_of(part: _Part, ways: Mapping[str, _Part]) -> tuple[str, Any]:
    """Why a relation has no area, and its area.

    Every other ring is a hole, whatever its role says: an outer one may lie within an inner one.
    """
    if part.tags.get("type") not in AREA_TYPES:
        return NO_GEOMETRY, None
    corners = [ways[n].corners if n in ways else [] for n in part.members]
    lacking = [some for some in corners if len(some) < 2 or None in some]
    if lacking or not part.members:
        return f"{len(lacking)} of its {len(part.members)} ways are not in the file", None
    lines = np.empty(len(part.members), dtype=object)
    lines[:] = [shapely.linestrings(np.array(some, dtype=np.float64)) for some in corners]
    with np.errstate(invalid="ignore"):
        faces, cuts, dangles, _ = shapely.polygonize_full(lines)
    polygons = shapely.get_parts(faces)
    if not (shapely.is_empty(cuts) and shapely.is_empty(dangles)):
        return "its ways do not close", None
    once = shapely.is_valid(polygons).all() and shapely.area(shapely.union_all(polygons))
    if not np.isclose(once, shapely.area(polygons).sum(), rtol=1e-9, atol=0.0):
        return "its ways cross", None
    with np.errstate(invalid="ignore"):
        return "", shapely.build_area(shapely.multilinestrings(lines))
