"""Leaders and labels of drawings beside outlines of lines: common practice, no published source."""

from itertools import pairwise

import pytest

from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.sites.questions import Choice
from geosand.formats.boundaries.sites.settling import settle
from tests.formats.boundaries.conftest import UTM
from tests.formats.boundaries.drawings.test_drawings import X, Y, areas_of, at

SQUARE = [(0, 0), (20, 0), (20, 20), (0, 20), (0, 0)]
GREEN, BUNKER = {"layer": "GREENS"}, {"layer": "HOLE 7"}


def draw(drawing, points, layer=GREEN, *, pieces=True):
    space, places = drawing.modelspace(), at(points)
    for a, b in pairwise(places) if pieces else ():
        space.add_line(a, b, dxfattribs=layer)
    if not pieces:
        space.add_lwpolyline(places, dxfattribs=layer)


@pytest.mark.parametrize("pieces", [True, False])
@pytest.mark.parametrize(
    "leader",
    [
        [(20, 20), (40, 40), (48, 40)],
        [(0, 0), (30, 25), (38, 25)],
        [(0, 7), (30, 9), (38, 9)],
        [(7, 0), (9, 45)],
        [(14, 0), (21.5, 9)],
    ],
)
def test_a_leader_divides_no_outline(leader, pieces, drawing, read):
    """From a corner or an edge, away from the outline or across it, in one line or in pieces."""
    draw(drawing, SQUARE)
    draw(drawing, leader, pieces=pieces)
    found = read(drawing)
    assert areas_of(found) == pytest.approx([400], abs=2e-3)
    reasons = [item.reason for item in found.tally.left_out]
    assert reasons and all(reason.startswith("a line that does not close") for reason in reasons)


@pytest.mark.parametrize("beyond", [0.0, 0.2, 1.0])
def test_a_line_from_edge_to_edge_divides(beyond, drawing, read):
    """Also one that was drawn a little too long."""
    draw(drawing, SQUARE)
    draw(drawing, [(7, 0), (7, 20 + beyond)])
    assert sorted(areas_of(read(drawing))) == pytest.approx([140, 260], abs=2e-3)


def test_a_line_that_ends_within_the_tolerance_of_the_edge_divides(drawing, read):
    draw(drawing, SQUARE)
    draw(drawing, [(7, 0), (7, 19.4)])
    assert sorted(areas_of(read(drawing, close_tolerance_m=1.0))) == pytest.approx(
        [140, 260], abs=2e-3
    )


@pytest.mark.parametrize("pieces", [True, False])
@pytest.mark.parametrize("beyond", [0.5, 2.0])
def test_a_bunker_drawn_into_its_green_is_no_leader(beyond, pieces, drawing, read):
    """One end of it is on the green's edge, the other was drawn too far."""
    draw(drawing, SQUARE, BUNKER, pieces=False)
    bunker = [(20, 5), (27, 5), (27, 12), (20 - beyond, 12)]
    draw(drawing, bunker, BUNKER, pieces=pieces)
    assert sorted(areas_of(read(drawing))) == pytest.approx([49, 400], abs=2e-3)


def test_sides_drawn_too_long_from_the_line_on_which_they_begin(drawing, read):
    for x in (0, 10):
        draw(drawing, [(x, 0), (x, 101)])
    for y in (0, 100):
        draw(drawing, [(-3, y), (13, y)])
    assert areas_of(read(drawing)) == pytest.approx([1000], abs=5e-3)


def test_a_leader_at_the_corner_where_a_bunker_meets_its_green_costs_neither(drawing, read):
    """One layer a hole: the bunker is drawn from edge to edge of its green."""
    draw(drawing, SQUARE, BUNKER, pieces=False)
    draw(drawing, [(20, 5), (26, 5), (26, 12), (20, 12)], BUNKER, pieces=False)
    draw(drawing, [(20, 5), (40, -10), (48, -10)], BUNKER, pieces=False)
    assert sorted(areas_of(read(drawing))) == pytest.approx([42, 400], abs=2e-3)


def test_a_leader_across_a_bunker_divides_neither_it_nor_its_green(drawing, read):
    draw(drawing, SQUARE, BUNKER, pieces=False)
    draw(drawing, [(20, 5), (26, 5), (26, 12), (20, 12)], BUNKER, pieces=False)
    draw(drawing, [(20, 8), (40, 9), (48, 9)], BUNKER, pieces=False)
    assert sorted(areas_of(read(drawing))) == pytest.approx([42, 400], abs=2e-3)


@pytest.mark.parametrize("leader", [[(20, 20), (0, 45)], [(0, 7), (30, 9)]])
def test_an_outline_with_a_leader_is_told_as_without(leader, drawing, read):
    draw(drawing, SQUARE)
    draw(drawing, leader, pieces=False)
    assert any("4 lines that meet are one outline" in f.text for f in read(drawing).findings)


def test_a_bunker_on_a_line_that_is_open_keeps_its_edge(drawing, read):
    """The fairway was not drawn to its end; a leader that something ends on is none."""
    draw(drawing, SQUARE, BUNKER, pieces=False)
    draw(drawing, [(20, 5), (60, 5)], BUNKER)
    draw(drawing, [(30, 5), (30, 12), (40, 12), (40, 5)], BUNKER, pieces=False)
    assert sorted(areas_of(read(drawing))) == pytest.approx([70, 400], abs=2e-3)


def test_a_strip_along_an_edge_that_was_measured_twice_is_no_surface(read_survey):
    """Points to the millimetre; the green's first point is not taken again."""
    fairway = [(20, -10), (60, -10), (60, 30), (20, 30), (20, -10)]
    green = [(20, 10), (19.999, 7), (20, 5), (0, 5), (0, 15), (20, 15), (19.999, 12)]
    found = read_survey({"FAIRWAY 7": fairway, "GREEN 7": green})
    assert sorted(areas_of(found)) == pytest.approx([200, 1600], abs=0.02)


@pytest.fixture
def read_survey(tmp_path):
    def read(outlines):
        rows = [(Y + y, X + x, 10.0, code) for code, points in outlines.items() for x, y in points]
        lines = [f"{k},{n:.3f},{e:.3f},{z:.3f},{c}" for k, (n, e, z, c) in enumerate(rows, start=1)]
        (tmp_path / "survey.txt").write_text("\n".join(lines) + "\n")
        return read_boundaries(tmp_path / "survey.txt", crs=UTM, point_order="PNEZD")

    return read


def names_by_kind(found):
    return dict(zip(found.features.kind.tolist(), found.features.name.tolist(), strict=True))


def in_a_contour(text, drawing):
    """A green with a contour in it, and the text in that."""
    space = drawing.modelspace()
    space.add_lwpolyline(at(SQUARE[:4]), close=True, dxfattribs=GREEN)
    space.add_circle((X + 10, Y + 10), 6, dxfattribs={"layer": "CONTOUR"})
    space.add_text(text, dxfattribs={"insert": (X + 10, Y + 10), "layer": "TEXT"})
    return drawing


@pytest.mark.parametrize("text", ["7", "GREEN 7"])
def test_a_number_is_that_of_its_green_and_not_of_the_cup_or_a_contour_in_it(text, drawing, read):
    found = names_by_kind(read(in_a_contour(text, drawing)))
    assert "7" in found["green"] and "7" not in found["other"]


@pytest.mark.parametrize("text", ["101.5", "412"])
def test_a_height_stays_with_its_contour(text, drawing, read):
    assert text in names_by_kind(read(in_a_contour(text, drawing)))["other"]


@pytest.mark.parametrize(
    ("inside", "beside", "green"),
    [
        (["1", "2", "3"], "7", "7"),  # of sprinklers
        (["1", "2", "3"], "", "GREENS green-1"),
        (["1"], "Green 7", "Green 7"),
        (["A"], "7", "7"),  # where the flag stands
        (["Shelter"], "", "GREENS green-1"),
    ],
)
def test_texts_of_other_things_in_a_green_stay_with_them(inside, beside, green, drawing, read):
    space = drawing.modelspace()
    space.add_lwpolyline(at(SQUARE[:4]), close=True, dxfattribs=GREEN)
    for k, text in enumerate(inside):
        place = (X + 3 + 5 * k, Y + 3)
        space.add_circle(place, 1, dxfattribs={"layer": "IRRIGATION"})
        space.add_text(text, dxfattribs={"insert": place, "layer": "TEXT"})
    if beside:
        space.add_text(beside, dxfattribs={"insert": (X + 10, Y + 10), "layer": "TEXT"})
    assert sorted(read(drawing).features.name) == sorted([green, *inside])


@pytest.mark.parametrize(
    ("outer", "inner", "text", "names"),
    [
        ("GREENS", "CONTOUR", "CONTOUR: 7", ["7", "GREENS green-1"]),  # of the same layer
        ("GREENS", "CONTOUR", "TEXT: Clubhouse", ["Clubhouse", "GREENS green-1"]),
        ("ROUGH", "HOUSES", "TEXT: Clubhouse", ["Clubhouse", "ROUGH other-1"]),
        ("GREENS", "BUNKERS", "TEXT: Green 7", ["BUNKERS bunker-1", "Green 7"]),
        ("GREENS", "BUNKERS", "TEXT: 7", ["7", "GREENS green-1"]),
    ],
)
def test_whose_a_text_in_two_outlines_is(outer, inner, text, names, drawing, read):
    space, (layer, said) = drawing.modelspace(), text.split(": ")
    space.add_lwpolyline(at(SQUARE[:4]), close=True, dxfattribs={"layer": outer})
    space.add_circle((X + 10, Y + 10), 3, dxfattribs={"layer": inner})
    space.add_text(said, dxfattribs={"insert": (X + 10, Y + 10), "layer": layer})
    assert sorted(read(drawing).features.name) == sorted(names)


def test_a_level_in_a_green_is_no_other_name_of_it(drawing, read):
    space = drawing.modelspace()
    space.add_lwpolyline(at(SQUARE[:4]), close=True, dxfattribs=GREEN)
    space.add_circle((X + 10, Y + 10), 3, dxfattribs={"layer": "CONTOUR"})
    for text, place in (("7", 10), ("52.3", 2)):
        space.add_text(text, dxfattribs={"insert": (X + place, Y + place), "layer": "TEXT"})
    assert names_by_kind(read(drawing))["green"] == "7"


def test_texts_name_what_will_be_closed_along_its_green(drawing, read):
    """Else a repaired bunker would be numbered by its place in the file."""
    space = drawing.modelspace()
    space.add_lwpolyline(at(SQUARE[:4]), close=True, dxfattribs=GREEN)
    for left in (2, 12):
        points = [(left, 20), (left, 26), (left + 5, 26), (left + 5, 20)]
        draw(drawing, points, {"layer": "BUNKERS"}, pieces=False)
    space.add_text("9", dxfattribs={"insert": (X + 14, Y + 22), "layer": "TEXT"})
    found = read(drawing)
    assert found.broken.name.tolist() == ["BUNKERS bunker-1", "9"]
    (left,) = (item for item in found.tally.left_out if "TEXT" in item.place)
    assert left.reason == f"a text in an outline that does not close: {found.broken.place[1]}"
    assert found.broken.kind.tolist() == ["bunker", "bunker"]
    repaired = settle(found, Choice(repair=True), 0.0).boundaries
    assert (repaired.tally.labels, repaired.tally.left_out) == (1, ())
