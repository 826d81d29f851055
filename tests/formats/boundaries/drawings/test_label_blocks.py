"""Numbers of holes in attributes of blocks and at leaders: common practice, no published source."""

import pytest
from ezdxf.math import Vec2
from ezdxf.render.mleader import ConnectionSide

from geosand.errors import Refused
from tests.formats.boundaries.drawings.test_drawings import LAYER, X, Y, areas_of, gon, ring

EAST = (0, 60, 120)


def greens(drawing):
    for east in EAST:
        drawing.modelspace().add_lwpolyline(ring(12, east), close=True, dxfattribs=LAYER)


def tagged(drawing, symbol, rows, **tags):
    """A block of a label with a circle or without, set on greens ``rows`` with its attributes."""
    block = drawing.blocks.new("HOLE_TAG")
    if symbol:
        block.add_circle((0, 0), 1.5)
    for tag in (*tags, "PAR"):
        block.add_attdef(tag, (0, 0))
    for row, *cells in zip(rows, *tags.values(), strict=True):
        insert = drawing.modelspace().add_blockref("HOLE_TAG", (X + EAST[row] + 3, Y))
        insert.add_auto_attribs({**dict(zip(tags, cells, strict=True)), "PAR": "4"})


@pytest.mark.parametrize("symbol", [False, True])
def test_an_attribute_says_the_hole_and_its_symbol_is_no_surface(symbol, drawing, read):
    """By the drawing's order hole 7 would be green-1, and each circle a surface of kind other."""
    greens(drawing)
    tagged(drawing, symbol, (0, 1), HOLE=("7", "3"), NINE=("Red", "Blue"))
    found = read(drawing)
    assert found.features.name.tolist() == ["Green Red 7", "Green Blue 3", "GREENS green-1"]
    assert found.features.kind.tolist() == ["green"] * 3
    assert areas_of(found) == pytest.approx([gon(12)] * 3, abs=2e-3)
    tally = found.tally
    assert not tally.left_out and tally.labels == 2
    assert tally.read == tally.used + tally.labels


def test_a_text_goes_before_the_hole_of_a_label_block(drawing, read):
    greens(drawing)
    tagged(drawing, True, (0,), HOLE=("7",))
    drawing.modelspace().add_text("Loft", dxfattribs={"insert": (X - 5, Y), "layer": "TEXT"})
    assert read(drawing).features.name.tolist()[0] == "Loft"


def test_two_blocks_of_holes_on_one_green_make_it_a_double_green(drawing, read):
    greens(drawing)
    tagged(drawing, True, (0, 0, 0), HOLE=("2", "16", "2"))
    assert read(drawing).features.name.tolist()[0] == "Green 2/16"


def test_a_number_that_came_with_the_block_names_no_green(drawing, read):
    """Three greens can not all be those of hole 1."""
    greens(drawing)
    tagged(drawing, True, range(3), HOLE=("1", "1", "1"))
    assert read(drawing).features.name.tolist() == [f"GREENS green-{k}" for k in (1, 2, 3)]


def test_sprinklers_with_a_hole_say_no_more_than_that(drawing, read):
    greens(drawing)
    tagged(drawing, True, (0, 0, 1), HOLE=("7", "7", ""), ID=("12", "13", "14"))
    found = read(drawing).features
    assert found.id.tolist()[:2] == ["green-7", "green-1"]
    assert found.name.tolist()[0] == "Green 7"


def test_a_symbol_in_the_layer_of_greens_is_no_green(drawing, read):
    """A block drawn on layer 0 takes the layer in which it is set."""
    greens(drawing)
    block = drawing.blocks.new("HOLE_TAG")
    block.add_circle((0, 0), 1.5)
    block.add_attdef("HOLE", (0, 0))
    drawing.modelspace().add_blockref("HOLE_TAG", (X, Y), LAYER).add_auto_attribs({"HOLE": "7"})
    found = read(drawing)
    assert found.features.name.tolist() == ["Green 7", "GREENS green-1", "GREENS green-2"]


def test_a_large_outline_of_a_block_on_a_surface_stays_one(drawing, read):
    greens(drawing)
    block = drawing.blocks.new("PLATFORM")
    block.add_circle((0, 0), 6)
    block.add_attdef("HOLE", (0, 0))
    drawing.modelspace().add_blockref("PLATFORM", (X, Y)).add_auto_attribs({"HOLE": "7"})
    assert sorted(read(drawing).features.kind) == ["green", "green", "green", "other"]


def multileader(drawing, text, tip, at):
    made = drawing.modelspace().add_multileader_mtext("Standard", dxfattribs={"layer": "TEXT"})
    made.set_content(text)
    made.add_leader_line(ConnectionSide.left, [Vec2(*tip)])
    made.build(insert=Vec2(*at))


def leader(drawing, text, tip, at):
    space = drawing.modelspace()
    note = space.add_mtext(text, dxfattribs={"insert": at, "layer": "TEXT"})
    line = space.add_leader([tip, at], dxfattribs={"layer": "TEXT"})
    line.dxf.annotation_handle = note.dxf.handle


@pytest.mark.parametrize("draw", [multileader, leader])
def test_a_name_with_a_leader_is_that_of_what_its_arrow_points_at(draw, drawing, read):
    """Also where the arrow ends just before the edge and the text stands on another green."""
    greens(drawing)
    draw(drawing, "{\\C1;Green\\~7}", (X + 47.98, Y), (X + 5, Y))
    found = read(drawing)
    assert found.features.name.tolist() == ["GREENS green-1", "Green 7", "GREENS green-2"]
    assert found.tally.labels == 1


@pytest.mark.parametrize("draw", [multileader, leader])
@pytest.mark.parametrize("text", ["New drain, see detail 3", "Bunker 4", "8"])
def test_notes_and_further_names_with_a_leader_change_no_name(text, draw, drawing, read):
    """A note, a name of another kind, and one of a green that has a text of its own."""
    greens(drawing)
    for k, east in enumerate(EAST):
        drawing.modelspace().add_text(str(7 - k), dxfattribs={"insert": (X + east, Y)})
    draw(drawing, text, (X + 60, Y + 3), (X + 30, Y + 40))
    found = read(drawing)
    assert found.features.name.tolist() == ["7", "6", "5"]
    assert any(item.place.startswith(("MTEXT", "MULTILEADER")) for item in found.tally.left_out)


@pytest.mark.parametrize("draw", [multileader, leader])
def test_the_number_of_a_note_that_points_at_many_greens_names_none(draw, drawing, read):
    """Plans list their notes by number, and point with it at all that a note is about."""
    for k in range(7):
        points = ring(12, 60 * k)
        drawing.modelspace().add_lwpolyline(points, close=True, dxfattribs=LAYER)
        draw(drawing, "3", (X + 60 * k, Y), (X + 60 * k + 25, Y + 30))
    assert not any("3" in name.split() for name in read(drawing).features.name.tolist())


@pytest.mark.parametrize("draw", [multileader, leader])
def test_a_name_of_another_kind_with_a_leader_names_no_green(draw, drawing, read):
    greens(drawing)
    draw(drawing, "Bunker 4", (X, Y), (X + 30, Y + 40))
    assert read(drawing).features.name.tolist()[0] == "GREENS green-1"


def test_a_text_in_an_outline_without_a_size_is_no_fault_of_the_program(drawing, read):
    """An outline with corners at 1e200, as a spoiled file has, has no area that a float holds."""
    greens(drawing)
    drawing.modelspace().add_lwpolyline(ring(1e200, 0), close=True, dxfattribs=LAYER)
    drawing.modelspace().add_text("Loft", dxfattribs={"insert": (X, Y), "layer": "TEXT"})
    with pytest.raises(Refused, match="can not be places"):
        read(drawing)
