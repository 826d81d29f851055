"""Blocks and hatches of drawings."""

import math

import pytest

from tests.formats.boundaries.conftest import UTM
from tests.formats.boundaries.drawings.test_drawings import LAYER, X, Y, areas_of, at, gon, ring


@pytest.mark.parametrize("style", [0, 1, 2])
def test_a_hatch_that_crosses_itself_ends_nothing(drawing, read, style):
    crossing = [(X, Y), (X + 20, Y + 20), (X + 20, Y), (X, Y + 20)]
    alone = drawing.modelspace().add_hatch(dxfattribs={"layer": "LAWN", "hatch_style": style})
    alone.paths.add_polyline_path(crossing, is_closed=True)
    islands = drawing.modelspace().add_hatch(dxfattribs={"layer": "LAWN", "hatch_style": style})
    for points in (ring(60), crossing):
        islands.paths.add_polyline_path(points, is_closed=True)
    found = read(drawing)
    reasons = [left.reason for left in found.tally.left_out]
    assert "a hatch of several outlines, one of which crosses itself: draw it anew" in reasons


def test_what_a_hatch_leaves_free_is_a_hole_of_its_outline(drawing, read):
    space = drawing.modelspace()
    fill = space.add_hatch(dxfattribs={"layer": "LAWN", "hatch_style": 0})
    for radius in (30, 5):
        space.add_lwpolyline(ring(radius), close=True, dxfattribs={"layer": "LAWN"})
        fill.paths.add_polyline_path(ring(radius), is_closed=True)
    found = read(drawing)
    assert areas_of(found) == pytest.approx([gon(30) - gon(5)], abs=2e-3)
    reasons = [item.reason.partition(" LW")[0] for item in found.tally.left_out]
    assert sorted(reasons) == ["a hatch over", "the edge of an island in"]


@pytest.mark.parametrize(
    ("style", "area"),
    [(0, gon(30) - gon(15) + gon(10)), (1, gon(30) - gon(15)), (2, gon(30))],
)
def test_styles_of_hatches_and_room_for_texts(drawing, read, style, area):
    """DXF reference, HATCH: group 75 is the style, bit 8 of group 92 marks a box about a text."""
    space = drawing.modelspace()
    fill = space.add_hatch(dxfattribs={"layer": "LAWN", "hatch_style": style})
    for radius in (30, 15, 10):
        fill.paths.add_polyline_path(ring(radius), is_closed=True)
    box = at([(20, 0), (24, 0), (24, 2), (20, 2)])
    fill.paths.add_polyline_path(box, is_closed=True, flags=8)
    assert areas_of(read(drawing)) == pytest.approx([area], abs=2e-3)


def test_areas_of_a_form_that_is_not_read_are_asked_about(drawing, read):
    space = drawing.modelspace()
    space.add_circle((X, Y), 13, dxfattribs=LAYER)
    region = space.add_region(dxfattribs={"layer": "BUNKER"})
    region.sat = ["400 0 1 0 ", "End-of-ACIS-data "]
    (left,) = read(drawing).tally.left_out
    assert left.lost and left.reason == "a REGION, whose form is not read: explode it to lines"


def test_blocks_in_blocks_scaled_turned_and_in_rows(drawing, read):
    inner = drawing.blocks.new("DISC")
    inner.add_circle((0, 0), 1)
    outer = drawing.blocks.new("GREEN")
    outer.add_blockref("DISC", (2, 0), dxfattribs={"xscale": 2, "yscale": 2})
    insert = drawing.modelspace().add_blockref(
        "GREEN",
        (X, Y),
        dxfattribs={"xscale": 3, "yscale": 1.5, "rotation": 90, "layer": "0"},
    )
    insert.add_attrib("NAME", "Oval", (X, Y))
    drawing.modelspace().add_blockref(
        "DISC",
        (X + 100, Y),
        dxfattribs={"row_count": 2, "column_count": 3, "row_spacing": 10, "column_spacing": 10},
    )
    found = read(drawing)
    from geosand.areas.crosscheck import grid_areas_m2

    areas = grid_areas_m2(found.features.geometry, UTM)
    oval = found.features.name == "Oval"
    assert areas[oval] == pytest.approx([math.pi * 6 * 3], abs=2e-3)
    assert found.features.kind[oval] == ["green"]  # by the block's own name
    assert areas[~oval] == pytest.approx([math.pi] * 6, abs=2e-3)


def test_a_label_block_says_what_the_outline_around_it_is(drawing, read):
    drawing.blocks.new("TAG").add_point((0, 0))
    space = drawing.modelspace()
    space.add_lwpolyline(at([(0, 0), (20, 0), (20, 20), (0, 20)]), close=True)
    label = space.add_blockref("TAG", (X + 5, Y + 5), dxfattribs={"layer": "LABELS"})
    label.add_attrib("NAME", "Third", (X + 200, Y))
    label.add_attrib("KIND", "tee", (X + 200, Y))
    found = read(drawing)
    table = found.features
    assert (table.name[0], table.kind[0]) == ("Third", "tee")


def test_hatches_with_islands_and_over_outlines(drawing, read):
    space = drawing.modelspace()
    box = at([(0, 0), (20, 0), (20, 20), (0, 20)])
    space.add_lwpolyline(box, close=True, dxfattribs=LAYER)
    fill = space.add_hatch(dxfattribs=LAYER)
    fill.paths.add_polyline_path(box, is_closed=True)
    island = space.add_hatch(dxfattribs={"layer": "BUNKER"})
    edges = island.paths.add_edge_path()
    edges.add_arc((X + 60, Y), radius=10, start_angle=0, end_angle=180)
    edges.add_line((X + 50, Y), (X + 70, Y))
    hole = island.paths.add_edge_path(flags=16)
    hole.add_arc((X + 60, Y + 4), radius=2, start_angle=0, end_angle=360)
    found = read(drawing)
    from geosand.areas.crosscheck import grid_areas_m2

    areas = dict(zip(found.features.kind, grid_areas_m2(found.features.geometry, UTM), strict=True))
    assert areas["green"] == pytest.approx(400, abs=2e-3)
    assert areas["bunker"] == pytest.approx(math.pi * (50 - 4), abs=2e-3)
    (left,) = found.tally.left_out
    assert left.reason.startswith("a hatch over LWPOLYLINE")


def test_parts_of_blocks_count_each(drawing, read):
    """Entities of blocks have no handles: their places are told apart, and the tally adds up."""
    block = drawing.blocks.new("SPOT")
    block.add_circle((0, 0), 1.0)
    block.add_circle((5, 0), 1.0)
    space = drawing.modelspace()
    for k in range(2):
        space.add_blockref("SPOT", at([(20 * k, 0)])[0], dxfattribs={"layer": "BUNKER"})
    found = read(drawing)
    assert (found.tally.read, found.tally.used, found.tally.surfaces) == (4, 4, 4)
    assert len(set(found.features.place.tolist())) == 4
    assert all(p.startswith("CIRCLE in INSERT ") for p in found.features.place)


@pytest.mark.parametrize(
    ("frame", "kept", "said"),
    [
        ([(-1, -1), (41, 41)], 1, ""),
        ([(0, 0), (40, 40)], 1, ""),
        ([(-1, -1), (20, 20)], 0, "the clip of its block (XCLIP) cuts through it"),
        ([(10, 10), (20, 20)], 0, "the clip of its block (XCLIP) cuts through it"),
        ([(50, 50), (90, 90)], 0, "outside the clip of its block"),
    ],
)
def test_blocks_that_are_clipped(drawing, read, frame, kept, said):
    from ezdxf.xclip import XClip

    block = drawing.blocks.new("PLAN")
    block.add_lwpolyline([(0, 0), (40, 0), (40, 40), (0, 40)], close=True)
    insert = drawing.modelspace().add_blockref("PLAN", (X, Y), dxfattribs={"layer": "FAIRWAY"})
    XClip(insert).set_block_clipping_path(frame)
    found = read(drawing)
    assert len(found.features) == kept
    left = [(item.reason, item.lost) for item in found.tally.left_out]
    if kept:
        assert left == []
        return
    ((reason, lost),) = left
    assert reason.startswith(said)
    assert lost == ("cuts" in said)  # what is cut was drawn as an area: it is asked about
