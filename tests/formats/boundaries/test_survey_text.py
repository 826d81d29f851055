"""Survey-controller text as it comes: separators, marks, units, degrees, codes, bad rows."""

import numpy as np
import pytest
import shapely

from geosand.areas.crosscheck import grid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.survey_points import code_and_commands
from geosand.formats.boundaries.survey_text import degrees_of

from .conftest import UTM

#: A green of 20 by 30 m, 600 m², as (northing, easting).
CORNERS = [(5906000.0, 560000.0), (5906000.0, 560020.0), (5906030.0, 560020.0), (5906030.0, 560000)]


@pytest.fixture
def read(tmp_path):
    def reading(lines, name="walk.txt", **wishes):
        text = lines if isinstance(lines, str) else "\n".join(lines)
        (tmp_path / name).write_text(text, encoding="utf-8")
        return read_boundaries(tmp_path / name, **{"crs": UTM, **wishes})

    return reading


def walk(pattern, code="GRN"):
    """Rows by a pattern of n (northing), e (easting), c (code with its command), p (point)."""
    last = len(CORNERS)
    return [
        pattern.format(n=n, e=e, p=k, c=f"{code} CL" if k == last else code)
        for k, (n, e) in enumerate(CORNERS, start=1)
    ]


def area(found):
    (one,) = grid_areas_m2(found.features.geometry, UTM)
    return one


@pytest.mark.parametrize(
    ("head", "pattern"),
    [
        ("P,N,E,D", "{p},{n},{e},{c}"),
        ("Code;Ost;Nord", "{c};{e};{n}"),
        ("point\tx\ty\tcode", "{p}\t{e}\t{n}\t{c}"),
        ("P   N      E     D", "{p}   {n}   {e}     {c}"),
        ("Northing (m),Easting (m),Code", "{n},{e},{c}"),
    ],
)
def test_separators_and_orders(read, head, pattern):
    assert area(read([head, *walk(pattern)])) == pytest.approx(600, abs=2e-3)


def test_decimal_commas_beside_semicolons(read):
    rows = [row.replace(".", ",") for row in walk("{p};{n};{e};40.5;{c}")]
    found = read(["P;N;E;Z;D", *rows])
    assert area(found) == pytest.approx(600, abs=2e-3)
    assert found.features.elevation_m[0] == 40.5
    assert any(f.text == "commas are read as decimal marks" for f in found.findings)


@pytest.mark.parametrize(
    ("row", "text"),
    [
        ("1;5,906,000.0;560000;G", "'5,906,000.0' has thousands separators"),
        ("1;5.906.000,5;560000;G", "'5.906.000,5' has thousands separators"),
        ("1;5 906 000;560000;G", "'5 906 000' has thousands separators"),
        ("1;12,345;560000;G", "'12,345' can be thousands or decimals"),
        ("1;abc;560000;G", "'abc' is not a number"),
        ("1;;560000;G", "no number is written here"),
    ],
)
def test_numbers_that_could_be_two_things_are_refused(read, row, text):
    with pytest.raises(Refused) as refusal:
        read(["P;N;E;D", row])
    assert text in str(refusal.value)


def test_a_decimal_comma_between_commas_is_seen_by_the_count(read):
    with pytest.raises(Refused, match="7 cells for 4 columns: is a comma its decimal mark"):
        read(["P,N,E,D", "1,5906000,5,560000,5,40,G"])


@pytest.mark.parametrize(
    ("head", "metres"),
    [
        ("northing_ft", 0.3048),
        ("northing_usft", 1200 / 3937),
        ("Northing (US ft)", 1200 / 3937),
        ("Northing [US survey ft]", 1200 / 3937),
        ("northing_m", 1.0),
        ("NORTHING MM", 0.001),
    ],
)
def test_units_of_heads(read, head, metres):
    east = head.replace("northing", "easting").replace("Northing", "Easting")
    east = east.replace("NORTHING", "EASTING")
    rows = [
        f"{n / metres!r},{e / metres!r},{'G CL' if k == 3 else 'G'}"
        for k, (n, e) in enumerate(CORNERS)
    ]
    found = read([f"{head},{east},code", *rows])
    assert area(found) == pytest.approx(600, abs=2e-3)
    assert any("they are converted" in f.text for f in found.findings) == (metres != 1.0)


def test_heights_in_another_unit_than_places(read):
    rows = walk("{n},{e},131.234,{c}")
    found = read(["northing_m,easting_m,elevation_ft,code", *rows])
    assert found.features.elevation_m[0] == pytest.approx(131.234 * 0.3048)
    with pytest.raises(Refused, match="elevation says ft, those of northing and easting say no"):
        read(["northing,easting,elevation_ft,code", *rows])
    with pytest.raises(Refused, match="northing and easting are in different units: ft, m"):
        read(["northing_m,easting_ft,code", *walk("{n},{e},{c}")])


DEGREES = [(53.3, 9.9), (53.3, 9.9003), (53.3003, 9.9003), (53.3003, 9.9)]


def test_latitude_and_longitude_by_heads(read):
    rows = [f"{lon},{lat},31.0,{'GRN CL' if k == 3 else 'GRN'}" for k, (lat, lon) in
            enumerate(DEGREES)]  # fmt: skip
    found = read(["Longitude,Latitude,Alt,Code", *rows], crs=None)
    assert shapely.total_bounds(found.features.geometry) == pytest.approx(
        [9.9, 53.3, 9.9003, 53.3003]
    )
    assert any("read as degrees of WGS 84" in f.text for f in found.findings)
    assert found.features.elevation_m[0] == 31.0
    # by order and --crs, without heads
    plain = [f"{k},{lat},{lon},GRN{' CL' if k == 3 else ''}" for k, (lat, lon) in
             enumerate(DEGREES)]  # fmt: skip
    again = read(plain, crs="EPSG:4326", point_order="PNED")
    assert again.features.geometry[0].equals(found.features.geometry[0])


def test_degrees_minutes_seconds(read):
    rows = [
        "lat;lon;code",
        "53°18'00.000\"N;9°54'00.000\"E;GRN",
        "53°18'00.000\"N;9°54'01.080\"E;GRN",
        "53 18 1.08 N;9 54 1.08 E;GRN",
        "53:18:01.08;9:54:00;GRN CL",
    ]
    found = read(rows, crs=None)
    assert shapely.total_bounds(found.features.geometry) == pytest.approx(
        [9.9, 53.3, 9.9003, 53.3003]
    )


@pytest.mark.parametrize("text", ["53 60 0", "53°18'61\"", "53 18", "9 O", "N53", "53.3"])
def test_what_is_no_angle(text):
    assert degrees_of(text) is None


def test_lines_above_the_heads_and_rows_of_heads_nobody_knows(read):
    found = read(
        ["Job: Invented course", "Surveyed 2026-04-02", "P,N,E,D", *walk("{p},{n},{e},{c}")]
    )
    assert area(found) == pytest.approx(600, abs=2e-3)
    assert any(f.text == "2 lines above its heads are not read" for f in found.findings)
    # heads in words that are not known: skipped since they hold no digit where numbers belong
    found = read(["A,B,C,D", *walk("{p},{n},{e},{c}")], point_order="PNED")
    assert area(found) == pytest.approx(600, abs=2e-3)
    # the first row is a point with a misprint, not heads
    rows = ["1,59o6000.0,560000.0,GRN", *walk("{p},{n},{e},{c}")[1:], "9,5906100,560100,PIN"]
    found = read(rows, point_order="PNED")
    left = [item.reason for item in found.tally.left_out]
    assert left[0] == "row 1, northing: '59o6000.0' is not a number"


def test_a_bad_row_costs_its_surface_and_not_the_file(read):
    rows = ["P,N,E,D", *walk("{p},{n},{e},{c}", "G1"), *walk("{p},{n},{e},{c}", "G2")]
    rows[2] = "2,5906000.0,x,G1"
    found = read(rows)
    assert found.features.id.tolist() == ["g2"]
    (left,) = found.tally.left_out
    assert (left.name, left.lost) == ("G1", True)
    assert left.reason == "row 3, easting: 'x' is not a number"


def test_a_row_that_is_cut_off_spoils_the_line_it_lies_in(read):
    rows = ["P,N,E,D", *walk("{p},{n},{e},{c}", "G1"), *walk("{p},{n},{e},{c}", "G2")]
    rows[3] = "3,5906"  # neither easting nor code: G1 lacks a corner
    found = read(rows)
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
def test_commands_of_line_work(read, codes, surfaces):
    rows = [f"{n},{e},{code}" for (n, e), code in zip(CORNERS, codes, strict=True)]
    found = read(["N,E,D", *rows])
    assert len(found.features) == surfaces
    if not surfaces:
        (left,) = found.tally.left_out
        assert "its ends are 30.00 m apart" in left.reason


def test_places_on_curves_are_asked_about_not_left_out(read):
    """Without them the outline would cut the corner, with them the chord: neither is its area."""
    codes = ["G1 B", "G1 PC", "G1 PT", "G1 CL"]
    rows = [f"{n},{e},{code}" for (n, e), code in zip(CORNERS, codes, strict=True)]
    found = read(["N,E,D", *rows])
    assert len(found.features) == 0
    (left,) = found.tally.left_out
    assert left.lost and left.reason.startswith("row 3: its code says PC, a place on a curve, and")
    # the same words by themselves are codes, such as of the edge of a path
    rows = [f"{n},{e},EC{' CL' if k == 3 else ''}" for k, (n, e) in enumerate(CORNERS)]
    assert len(read(["N,E,D", *rows], kind="path").features) == 1


def test_lines_told_apart_by_a_string_column(read):
    rows = [f"{n},{e},GRN{' CL' if k == 3 else ''},{s}" for s in (1, 2)
            for k, (n, e) in enumerate(np.array(CORNERS) + 100 * s)]  # fmt: skip
    found = read(["N,E,code,string", *rows])
    assert found.features.id.tolist() == ["grn-1", "grn-2"]
    mixed = [rows[k] for k in (0, 4, 1, 5, 2, 6, 3, 7)]
    assert len(read(mixed, point_order="NEDS").features) == 2


def test_codes():
    assert code_and_commands("") == ("", set())
    assert code_and_commands("B 1") == ("B 1", set())  # a bunker, not a command
    assert code_and_commands("E") == ("E", set())
    assert code_and_commands("GRN-7") == ("GRN-7", set())


def test_what_would_close_a_line_is_said(read):
    ring = [(5906000 + 15 * np.sin(t), 560000 + 15 * np.cos(t)) for t in np.linspace(0, 6.1, 30)]
    rows = [f"{n:.3f},{e:.3f},GRN" for n, e in ring]
    found = read(["N,E,D", *rows])
    (left,) = found.tally.left_out
    assert "its ends are 2.74 m apart" in left.reason
    assert "(--close-tolerance 2.75 would close it)" in left.reason
    assert len(read(["N,E,D", *rows], close_tolerance_m=2.75).features) == 1


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("9°54.5'E", 9 + 54.5 / 60),
        ("E 9°54.5'", 9 + 54.5 / 60),
        ("9 54.5 W", -9 - 54.5 / 60),
        ("53-17-59.1", 53 + 17 / 60 + 59.1 / 3600),
        ("S53d17'59.1\"", -53 - 17 / 60 - 59.1 / 3600),
    ],
)
def test_more_ways_to_write_angles(text, degrees):
    assert degrees_of(text) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize("text", ["9 54.5", "9°60.0'E", "N 53°17'S", "2026-11-26", "9-61-00E"])
def test_what_is_no_angle_either(text):
    assert degrees_of(text) is None


def test_degrees_with_decimal_minutes(read):
    corners = [(53.30, 9.90), (53.30, 9.9003), (53.3002, 9.9003), (53.3002, 9.90)]
    rows = [
        f"{k},53°{(lat - 53) * 60:.8f}'N,9°{(lon - 9) * 60:.8f}'E,GRN{' CL' if k == 3 else ''}"
        for k, (lat, lon) in enumerate(corners)
    ]
    found = read(["P,Latitude,Longitude,Code", *rows], crs=None)
    points = shapely.get_coordinates(found.features.geometry)[:4]
    assert points == pytest.approx(np.array([(lon, lat) for lat, lon in corners]), abs=1e-9)
