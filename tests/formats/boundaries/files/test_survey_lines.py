"""Lines of survey-controller text: commands of line work, what closes and what meets."""

import numpy as np
import pytest
import shapely

from geosand.areas.crosscheck import grid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import Choice
from geosand.formats.boundaries.files.survey_text import code_and_commands
from geosand.formats.boundaries.sites.settling import settle
from tests.formats.boundaries.conftest import UTM, to_lon_lat
from tests.formats.boundaries.files.survey_rows import CORNERS, area, walk


def test_a_bad_row_costs_its_surface_and_not_the_file(read_rows):
    rows = ["P,N,E,D", *walk("{p},{n},{e},{c}", "G1"), *walk("{p},{n},{e},{c}", "G2")]
    rows[2] = "2,5906000.0,x,G1"
    found = read_rows(rows)
    assert found.features.id.tolist() == ["g2"]
    (left,) = found.tally.left_out
    assert (left.name, left.lost) == ("G1", True)
    assert left.reason == "row 3, easting: 'x' is not a number"


def test_a_row_that_is_cut_off_spoils_the_line_it_lies_in(read_rows):
    rows = ["P,N,E,D", *walk("{p},{n},{e},{c}", "G1"), *walk("{p},{n},{e},{c}", "G2")]
    rows[3] = "3,5906"  # neither easting nor code: G1 lacks a corner
    found = read_rows(rows)
    assert found.features.id.tolist() == ["g2"]
    reasons = {item.name: item.reason for item in found.tally.left_out}
    assert reasons["G1"] == "row 4, easting: no number is written here"


@pytest.mark.parametrize(
    ("codes", "surfaces"),
    [
        (["G1 B", "G1", "G1", "G1 CL"], 1),
        (["G1-B", "G1", "G1", "G1-CL"], 1),
        (["G1.ST", "G1", "G1", "G1.CLOSE"], 1),
        (["BEGIN G1", "G1", "G1", "CLOSE G1"], 1),
        (["G1 B", "G1", "G1", "G1 E"], 0),
    ],
)
def test_commands_of_line_work(read_rows, codes, surfaces):
    rows = [f"{n},{e},{code}" for (n, e), code in zip(CORNERS, codes, strict=True)]
    found = read_rows(["N,E,D", *rows])
    assert len(found.features) == surfaces
    if not surfaces:
        (left,) = found.tally.left_out
        assert "its ends are 30.00 m apart" in left.reason


def test_places_on_curves_are_asked_about_not_left_out(read_rows):
    """Without them the outline would cut the corner, with them the chord: neither is its area."""
    codes = ["G1 B", "G1 PC", "G1 PT", "G1 CL"]
    rows = [f"{n},{e},{code}" for (n, e), code in zip(CORNERS, codes, strict=True)]
    found = read_rows(["N,E,D", *rows])
    assert len(found.features) == 0
    (left,) = found.tally.left_out
    assert left.lost and left.reason.startswith("row 3: its code says PC, a place on a curve, and")
    # the same words by themselves are codes, such as of the edge of a path
    rows = [f"{n},{e},EC{' CL' if k == 3 else ''}" for k, (n, e) in enumerate(CORNERS)]
    assert len(read_rows(["N,E,D", *rows], kind="path").features) == 1


def test_codes():
    assert code_and_commands("") == ("", set())
    assert code_and_commands("B 1") == ("B 1", set())  # a bunker, not a command
    assert code_and_commands("E") == ("E", set())
    assert code_and_commands("GRN-7") == ("GRN-7", set())


def test_what_would_close_a_line_is_said(read_rows):
    ring = [(5906000 + 15 * np.sin(t), 560000 + 15 * np.cos(t)) for t in np.linspace(0, 6.1, 30)]
    rows = [f"{n:.3f},{e:.3f},GRN" for n, e in ring]
    found = read_rows(["N,E,D", *rows])
    (left,) = found.tally.left_out
    assert "its ends are 2.74 m apart" in left.reason
    assert "(--close-tolerance 2.75 would close it)" in left.reason
    assert len(read_rows(["N,E,D", *rows], close_tolerance_m=2.75).features) == 1
    on = [(n + 0.5, e - 0.5) for n, e in ring[1:6]]  # walked on past the start, beside the line
    (left,) = read_rows(["N,E,D", *rows, *(f"{n:.3f},{e:.3f},GRN" for n, e in on)]).tally.left_out
    assert "(closed, it would cross itself, as where it runs on past its start)" in left.reason


def test_columns_behind_the_code_are_no_part_of_it(read_rows):
    rows = walk("{p},{n},{e},{c},0.012,2026-05-01 10:0{p},FIXED")
    found = read_rows(["P,N,E,Code,HRMS,Time,Status", *rows])
    assert area(found) == pytest.approx(600, abs=2e-3)
    assert found.features.name.tolist() == ["GRN"]


@pytest.mark.parametrize("head", ["Command", "", "Hole"])
def test_commands_and_holes_in_columns_behind_the_code_are_part_of_it(read_rows, head):
    rows = []
    for hole, east in ((7, 0), (8, 100)):
        for k, (n, e) in enumerate(CORNERS):
            last = f"{hole}" if head == "Hole" else {0: "ST", 3: "CL"}.get(k, "")
            code = "GRN CL" if head == "Hole" and k == 3 else "GRN"
            rows.append(f"{k},{n},{e + east},{code},{last},0.0{k}")
    found = read_rows([f"P,N,E,Code,{head},HRMS", *rows])
    names = ["GRN 7", "GRN 8"] if head == "Hole" else ["GRN", "GRN"]
    assert found.features.name.tolist() == names
    assert shapely.get_num_coordinates(found.features.geometry).tolist() == [5, 5]
    assert any(f.text == "its column is not read: 'HRMS'" for f in found.findings)


@pytest.mark.parametrize("mark", [",", " "])
def test_rows_may_end_before_a_column_of_commands(read_rows, mark):
    rows = [f"{k},{n},{e},GRN" + ",CL" * (k == 3) for k, (n, e) in enumerate(CORNERS)]
    lines = [line.replace(",", mark) for line in ("P,N,E,Code,Command", *rows)]
    assert area(read_rows(lines)) == pytest.approx(600, abs=2e-3)


def test_three_sides_of_a_tee_are_asked_about(read_rows):
    found = read_rows(["P,N,E,D", *walk("{p},{n},{e},TEE1")])
    (fault,) = settle(found, Choice()).faults
    assert "its ends are 30.00 m apart; closed straight it is 600." in str(fault)


@pytest.mark.parametrize(
    "corners",
    [[(0, 0), (0.5, 1), (1, 31), (1.5, 32)], [(0, 0), (0, 20), (10, 0), (10, 20)]],
    ids=["nearly straight", "crosses itself"],
)
def test_lines_of_four_points_that_are_no_three_sides_are_left_out(read_rows, corners):
    rows = [f"{CORNERS[0][0] + n},{CORNERS[0][1] + e},TEE1" for n, e in corners]
    found = read_rows(["N,E,D", *rows])
    assert not settle(found, Choice()).faults
    assert len(found.tally.left_out) == 1


def test_an_endless_line_is_refused(read_rows):
    """Longer than the cells that Python's reader of CSV takes."""
    found = "walk.txt, row 2: a line of more than 131,072 characters"
    with pytest.raises(Refused, match=found):
        read_rows(["P,N,E", "1," + "9" * 140_000 + ",3"])


def test_lines_that_only_cross_enclose_nothing(read_rows):
    """A fairway walked across its green, no first point taken twice: each is its own outline.

    The second green shares a side with the first: its line begins and ends on the other's corners.
    """
    green = [*CORNERS, (5906000.5, 560000.0)]  # 0.5 m short of its start
    fairway = [(5905900.0, 559990.0), (5906010.0, 559990.0), (5906010.0, 560030.0)]
    fairway += [(5905900.0, 560030.0)]
    again = [(5906000.0, 560020.0), (5906000.0, 560040.0), (5906030.0, 560040.0)]
    again += [(5906030.0, 560020.0)]
    walked = (("GREEN1", green), ("FAIRWAY1", fairway), ("GREEN2", again))
    rows = [f"{n},{e},{code}" for code, points in walked for n, e in points]
    found = settle(read_rows(["N,E,D", *rows]), Choice(repair=True)).boundaries
    areas = grid_areas_m2(found.features.geometry, UTM)
    assert dict(zip(found.features.name, areas, strict=True)) == {
        "GREEN1": pytest.approx(600, abs=2e-3),
        "FAIRWAY1": pytest.approx(4400, abs=2e-3),
        "GREEN2": pytest.approx(600, abs=2e-3),
    }
    assert (found.tally.read, found.tally.used, found.tally.joined) == (3, 3, 0)


def test_a_line_that_meets_another_at_one_end_only_encloses_nothing_with_it(read_rows):
    """A fairway walked from a corner of its green round to its far side, then down across it.

    What the two enclose on the way round is no outline.
    """
    fairway = [CORNERS[0], (5906040.0, 559990.0), (5906040.0, 560010.0), (5905900.0, 560010.0)]
    walked = (("GREEN1", [*CORNERS, CORNERS[0]]), ("FAIRWAY1", fairway))
    found = read_rows(["N,E,D", *(f"{n},{e},{code}" for code, points in walked for n, e in points)])
    assert found.features.name.tolist() == ["GREEN1"]
    assert [left.name for left in found.tally.left_out] == ["FAIRWAY1"]


@pytest.mark.parametrize("heads", ["N,E,D", "lat,lon,code"])
def test_an_outline_lends_its_edge_to_what_ends_on_it_and_divides_nothing_it_only_crosses(
    heads, read_rows
):
    """An approach walked from one corner of its green to 3 cm short of the next; a fairway over it.

    A tee goes on from a corner of the approach. In degrees too: what lies on what is in metres.
    """
    approach = [(5906000.0, 560000.0), (5905980.0, 560000.0)]
    approach += [(5905980.0, 560020.0), (5905999.97, 560020.0)]
    fairway = [(5905900.0, 559990.0), (5905990.0, 559990.0), (5905990.0, 560010.0)]
    walked = (("GREEN1", [*CORNERS, CORNERS[0]]), ("APPROACH1", approach))
    tee = [(5905980.0, 560000.0), (5905980.0, 559980.0), (5906000.0, 559980.0), CORNERS[0]]
    walked += (("FAIRWAY1", [*fairway, (5905900.0, 560010.0), fairway[0]]), ("TEE1", tee))
    rows = [(code, n, e) for code, points in walked for n, e in points]
    lines = [f"{n},{e},{code}" for code, n, e in rows]
    if heads != "N,E,D":
        places = [to_lon_lat(shapely.Point(e, n)) for _, n, e in rows]
        lines = [f"{p.y:.9f},{p.x:.9f},{row[0]}" for p, row in zip(places, rows, strict=True)]
    found = read_rows([heads, *lines], crs=UTM if heads == "N,E,D" else None)
    areas = grid_areas_m2(found.features.geometry, UTM)
    assert dict(zip(found.features.name, areas, strict=True)) == {
        "GREEN1": pytest.approx(600, abs=0.01),
        "FAIRWAY1": pytest.approx(1800, abs=0.01),
        "APPROACH1": pytest.approx(400, abs=0.01),
        "TEE1": pytest.approx(400, abs=0.01),
    }


@pytest.mark.parametrize("order", ["APPROACH1 COLLAR1", "COLLAR1 APPROACH1"])
def test_lines_that_meet_near_an_outline_s_corner_go_there_together(order, read_rows):
    """An approach ends 3 cm before the corner of its green at which a collar ends: both are whole.

    In one order the approach was lost without a word, as a side of the collar only.
    """
    west, east = (CORNERS[0][1], CORNERS[1][1])
    lines = {"APPROACH1": [(5906000.0, west), (5905980.0, west), (5905980.0, east)]}
    lines["APPROACH1"].append((5905999.97, east))
    lines["COLLAR1"] = [(5905980.0, east), (5905980.0, east + 10), (5906000.0, east + 10)]
    lines["COLLAR1"].append((5906000.0, east))
    walked = {"GREEN1": [*CORNERS, CORNERS[0]], **{name: lines[name] for name in order.split()}}
    rows = [f"{n},{e},{code}" for code, points in walked.items() for n, e in points]
    found = read_rows(["N,E,D", *rows]).features
    areas = grid_areas_m2(found.geometry, UTM)
    assert dict(zip(found.name, areas, strict=True)) == {
        "GREEN1": pytest.approx(600, abs=2e-3),
        "APPROACH1": pytest.approx(400, abs=2e-3),
        "COLLAR1": pytest.approx(200, abs=2e-3),
    }
