"""Survey-controller text as it comes: separators, marks, units, degrees, codes, bad rows."""

import numpy as np
import openpyxl
import pytest
import shapely

from geosand.areas.crosscheck import grid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import Choice, read_boundaries
from geosand.formats.boundaries.files.survey_text import code_and_commands
from geosand.formats.boundaries.place.written_degrees import degrees_of
from geosand.formats.boundaries.sites.settling import settle
from tests.formats.boundaries.conftest import UTM, blob, to_lon_lat

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


@pytest.mark.parametrize(
    "text",
    [
        *("53 60 0", "53°18'61\"", "53 18", "9 O", "N53", "53.3"),
        *("9 54.5", "9°60.0'E", "N 53°17'S", "2026-11-26", "9-61-00E"),
    ],
)
def test_what_is_no_angle(text):
    assert degrees_of(text) is None


def test_lines_above_the_heads_and_rows_of_heads_nobody_knows(read):
    found = read(
        ["Job: Invented course", "Surveyed 2026-04-02", "P,N,E,D", *walk("{p},{n},{e},{c}")]
    )
    assert area(found) == pytest.approx(600, abs=2e-3)
    said = "2 lines above its heads are not read: 'Job: Invented course', 'Surveyed 2026-04-02'"
    assert any(f.text == said for f in found.findings)
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
        ("53°11'60.000\"N", 53.2),  # seconds that were rounded up
        ("1 deg 30 min 36 sec W", -1.51),
        ("1d30m36sW", -1.51),
        ("1d30m36S", -1.51),
        ("1º30'36''W", -1.51),
        ("1˚30′36′′E", 1.51),
    ],
)
def test_more_ways_to_write_angles(text, degrees):
    assert degrees_of(text) == pytest.approx(degrees, abs=1e-12)


def test_degrees_with_decimal_minutes(read):
    corners = [(53.30, 9.90), (53.30, 9.9003), (53.3002, 9.9003), (53.3002, 9.90)]
    rows = [
        f"{k},53°{(lat - 53) * 60:.8f}'N,9°{(lon - 9) * 60:.8f}'E,GRN{' CL' if k == 3 else ''}"
        for k, (lat, lon) in enumerate(corners)
    ]
    found = read(["P,Latitude,Longitude,Code", *rows], crs=None)
    points = shapely.get_coordinates(found.features.geometry)[:4]
    assert points == pytest.approx(np.array([(lon, lat) for lat, lon in corners]), abs=1e-9)


def test_columns_behind_the_code_are_no_part_of_it(read):
    rows = walk("{p},{n},{e},{c},0.012,2026-05-01 10:0{p},FIXED")
    found = read(["P,N,E,Code,HRMS,Time,Status", *rows])
    assert area(found) == pytest.approx(600, abs=2e-3)
    assert found.features.name.tolist() == ["GRN"]


@pytest.mark.parametrize(
    ("line", "heads", "metres"),
    [
        ("Units: US Survey Feet", "P,N,E,D", 1200 / 3937),
        ("Distance units = International feet", "P,N,E,D", 0.3048),
        ("Units: US Survey Feet", "P,N (m),E (m),D", 1.0),  # their own goes before it
    ],
)
def test_a_unit_above_the_heads_counts_as_theirs(read, line, heads, metres):
    rows = [
        f"{k},{n / metres:.6f},{e / metres:.6f},GRN{' CL' if k == 3 else ''}"
        for k, (n, e) in enumerate(CORNERS)
    ]
    assert area(read([line, heads, *rows])) == pytest.approx(600, abs=2e-3)


def test_plain_feet_in_heads_are_the_foot_of_the_grid(read):
    # North Carolina (EPSG:2264) is in US survey feet: read as international ones it lies 1.26 m off
    corners = [(728000, 1940500), (728000, 1940560), (728060, 1940560), (728060, 1940500)]
    rows = [f"{n},{e},GRN{' CL' if k == 3 else ''}" for k, (n, e) in enumerate(corners)]
    said = read(["N,E,D", *rows], crs="EPSG:2264", unit="us_survey_ft").features.geometry
    for lines in (["Northing (ft),Easting (ft),D"], ["Units: Feet", "N,E,D"]):
        found = read([*lines, *rows], crs="EPSG:2264")
        assert shapely.equals_exact(found.features.geometry, said, 0).all()
        assert any(
            "as international feet the site would lie 1.26 m away" in str(f) for f in found.findings
        )
    # which foot it is was said: it counts, in a grid of the other foot too
    heads = "Northing (international ft),Easting (international ft),D"
    other = read([heads, *rows], crs="EPSG:2264").features.geometry
    in_ft = read(["N,E,D", *rows], crs="EPSG:2264", unit="ft").features.geometry
    assert shapely.equals_exact(other, in_ft, 0).all()
    assert not shapely.equals_exact(other, said, 1e-6).any()


@pytest.mark.parametrize("head", ["Command", "", "Hole"])
def test_commands_and_holes_in_columns_behind_the_code_are_part_of_it(read, head):
    rows = []
    for hole, east in ((7, 0), (8, 100)):
        for k, (n, e) in enumerate(CORNERS):
            last = f"{hole}" if head == "Hole" else {0: "ST", 3: "CL"}.get(k, "")
            code = "GRN CL" if head == "Hole" and k == 3 else "GRN"
            rows.append(f"{k},{n},{e + east},{code},{last},0.0{k}")
    found = read([f"P,N,E,Code,{head},HRMS", *rows])
    names = ["GRN 7", "GRN 8"] if head == "Hole" else ["GRN", "GRN"]
    assert found.features.name.tolist() == names
    assert shapely.get_num_coordinates(found.features.geometry).tolist() == [5, 5]
    assert any(f.text == "its column is not read: 'HRMS'" for f in found.findings)


@pytest.mark.parametrize("mark", [",", " "])
def test_rows_may_end_before_a_column_of_commands(read, mark):
    rows = [f"{k},{n},{e},GRN" + ",CL" * (k == 3) for k, (n, e) in enumerate(CORNERS)]
    lines = [line.replace(",", mark) for line in ("P,N,E,Code,Command", *rows)]
    assert area(read(lines)) == pytest.approx(600, abs=2e-3)


def test_words_that_mean_codes_and_places_in_some_files_only(read):
    # beside the usual words these heads are of other columns
    rows = [
        f"T{p},{p},{p},{n},{e},{code}"
        for p, n, e, code in (row.split(",") for row in walk("{p},{n},{e},{c}"))
    ]
    for heads in (
        "Bezeichnung,Grid Northing,Grid Easting,Northing,Easting,Code",
        "Opis,Y_coord,X_coord,N,E,Kod",
    ):
        assert area(read([heads, *rows])) == pytest.approx(600, abs=2e-3)
    assert area(read(["Opis,N,E", *walk("{c},{n},{e}")])) == pytest.approx(600, abs=2e-3)
    for head in ("N", "E"):  # of numbers, or of elevations
        lines = [f"{head},Grid Northing,Grid Easting,Code", *walk("{p},{n},{e},{c}")]
        assert area(read(lines)) == pytest.approx(600, abs=2e-3)


@pytest.mark.parametrize("state", ["S", "W"])
def test_one_column_of_letters_says_no_side(read, state):
    places = [(35.5, 79.5), (35.5, 79.5003), (35.5003, 79.5003), (35.5003, 79.5)]
    rows = [f"{y},{x},{state},GRN{' CL' if k == 3 else ''}" for k, (y, x) in enumerate(places)]
    found = read(["Lat,Lon,Status,Code", *rows], crs=None)
    assert shapely.bounds(found.features.geometry)[0].tolist() == [79.5, 35.5, 79.5003, 35.5003]
    assert any(f.text == "its column is not read: 'Status'" for f in found.findings)


def test_sides_in_columns_of_their_own(read):
    # as controllers and NMEA 0183 write them: 35.5, N, 79.5, W
    places = [(35.5, 79.5), (35.5, 79.4998), (35.5002, 79.4998), (35.5002, 79.5)]
    rows = [f"{y},N,{x},W,GRN{' CL' if k == 3 else ''}" for k, (y, x) in enumerate(places)]
    found = read(["Lat,NS,Lon,EW,Code", *rows], crs=None)
    (shape,) = found.features.geometry
    assert shapely.bounds(shape).tolist() == pytest.approx([-79.5, 35.5, -79.4998, 35.5002])
    assert not any("not read" in f.text for f in found.findings)
    assert degrees_of("-79.5 W") == degrees_of("79.5 W") == -79.5


def test_three_sides_of_a_tee_are_asked_about(read):
    found = read(["P,N,E,D", *walk("{p},{n},{e},TEE1")])
    (fault,) = settle(found, Choice()).faults
    assert "its ends are 30.00 m apart; closed straight it is 600." in str(fault)


@pytest.mark.parametrize(
    "corners",
    [[(0, 0), (0.5, 1), (1, 31), (1.5, 32)], [(0, 0), (0, 20), (10, 0), (10, 20)]],
    ids=["nearly straight", "crosses itself"],
)
def test_lines_of_four_points_that_are_no_three_sides_are_left_out(read, corners):
    rows = [f"{CORNERS[0][0] + n},{CORNERS[0][1] + e},TEE1" for n, e in corners]
    found = read(["N,E,D", *rows])
    assert not settle(found, Choice()).faults
    assert len(found.tally.left_out) == 1


def test_a_word_of_the_table_goes_for_every_string_of_a_code(read):
    rows = walk("{p},{n},{e},{c}", code="2101.7")
    found = read(["P,N,E,D", *rows], kind_pairs=["2101=green"])
    assert found.features.kind.tolist() == ["green"]
    assert not [f for f in found.findings if "decides nothing" in f.text]


def test_points_without_a_column_of_codes_are_told_how_to_name_it(read):
    found = read(["Nr,N,E,Sonstiges", *walk("{p},{n},{e},{c}")])
    assert not len(found.features)
    assert any("no column holds codes" in f.text for f in found.findings)
    assert area(read(["Pkt-Nr,N,E,Bezeichnung", *walk("{p},{n},{e},{c}")])) == pytest.approx(
        600, abs=2e-3
    )


def test_x_that_runs_north_is_asked_about(read):
    # Japan's plane rectangular CS IX (EPSG:6677): X is the northing, Y the easting (EPSG axes)
    corners = [(22300, -21000), (22300, -20980), (22330, -20980), (22330, -21000)]
    rows = [f"{n},{e},GRN{' CL' if k == 3 else ''}" for k, (n, e) in enumerate(corners)]
    with pytest.raises(Refused, match=r"x of JGD2011 .* IX runs north: .* 36\.2009° N, 139\.59"):
        read(["X,Y,D", *rows], crs="EPSG:6677")
    north = read(["N,E,D", *rows], crs="EPSG:6677").features.geometry
    swapped = read(["X,Y,D", *rows], crs="EPSG:6677", swap_axes=True).features.geometry
    assert shapely.equals(north, swapped).all()
    east = read(["X,Y,D", *rows], crs="EPSG:6677", believe_place=True).features.geometry
    assert shapely.distance(north, east)[0] > 0.3


def test_x_to_the_east_is_not_asked_about_where_it_alone_lies_in_the_grid_s_area(read):
    # south of the origin of the same grid: exchanged it lies west of 138.4 E, its area's end
    corners = [(-150000, -50000), (-150000, -49980), (-149970, -49980), (-149970, -50000)]
    rows = [f"{n},{e},GRN{' CL' if k == 3 else ''}" for k, (n, e) in enumerate(corners)]
    east = read(["Y,X,D", *rows], crs="EPSG:6677").features.geometry
    assert shapely.equals(east, read(["N,E,D", *rows], crs="EPSG:6677").features.geometry).all()
    with pytest.raises(Refused, match="runs north"):
        read(["X,Y,D", *rows], crs="EPSG:6677")


@pytest.mark.parametrize(
    ("crs", "point", "likely"),
    [
        # 28.2 E, 26.1 S in Lo29, whose numbers run west and south; drawings turn both
        ("EPSG:2053", (-2888159, -80028), "--crs ESRI:102567 (Hartebeesthoek94_Lo29_(E-N)) at"),
        # Krovak as surveyors write it, with the CRS that GIS use
        ("EPSG:5514", (690192, 1071006), "--crs EPSG:5513 (S-JTSK / Krovak) at 49.90"),
    ],
)
def test_numbers_that_run_the_other_way(read, crs, point, likely):
    n, e = point
    rows = [f"{n + a},{e + b},GRN" for a, b in ((0, 0), (0, 20), (30, 20))]
    with pytest.raises(Refused) as refusal:
        read(["N,E,D", *rows, f"{n + 30},{e},GRN CL"], crs=crs)
    assert likely in str(refusal.value)
    with pytest.raises(Refused) as refusal:  # and where the place is known it is none
        read(["N,E,D", *rows, f"{n + 30},{e},GRN CL"], crs=crs, near=(10.0, 50.0))
    assert likely.partition(" at")[0] not in str(refusal.value)


def test_an_order_that_fits_either_way_is_told(read):
    # 53.2 N, 1.7 W on the British grid; exchanged it is land farther north-west
    corners = [(367000, 420150), (367000, 420170), (367030, 420170), (367030, 420150)]
    rows = [f"{n},{e},GRN{' CL' if k == 3 else ''}" for k, (n, e) in enumerate(corners)]
    found = read(rows, crs="EPSG:27700", point_order="NED")
    (text,) = [f.text for f in found.findings if "--point-order NED" in f.text]
    assert "exchanged the site would lie at 53.6" in text
    found = read(walk("{n},{e},{c}"), point_order="NED")  # no place the other way round
    assert not [f for f in found.findings if "--point-order" in f.text]


@pytest.mark.parametrize("level", ["-9999", "-32768", "1e20"])
def test_heights_that_stand_for_no_data_are_none(read, level):
    rows = walk("{p},{n},{e},52.1,{c}")
    rows[1] = rows[1].replace("52.1", level)
    found = read(["P,N,E,Z,D", *rows])
    assert np.isnan(found.features.elevation_m).all()
    assert any("a height that no land has" in f.text for f in found.findings)
    assert read(["P,N,E,Z,D", *walk("{p},{n},{e},52.1,{c}")]).features.elevation_m[0] == 52.1


RING = [*CORNERS, CORNERS[0]]


@pytest.mark.parametrize(
    ("head", "pattern", "noun"),
    [
        ("id,name,kind,northing,easting,order", "1,{name},{kind},{n},{e},{k}", "tee of old"),
        ("kind,polygon_id,easting,northing", "{kind},{name},{e},{n}", "tee of old"),
        ("Name,Easting,Northing", "{name},{e},{n}", "green"),
        ("Surface,Easting,Northing", "{name},{e},{n}", "green"),
        ("Surface,Easting,Northing", "{name},{e},{n}", "green C"),  # no command to close
        ("Easting Northing Surface", "{e} {n} {name}", "green C"),
        ("Green,Corner,Easting,Northing", "{name},{k},{e},{n}", "green"),
    ],
)
def test_tables_of_corners_go_by_the_column_that_names_each_outline(read, head, pattern, noun):
    """Two surfaces of one kind side by side, each named in every row of it."""
    rows = [
        pattern.format(name=name, kind="green", n=n, e=e + east, k=k)
        for name, east in ((f"North {noun}", 0), (f"South {noun}", 60))
        for k, (n, e) in enumerate(RING)
    ]
    found = read([head, *rows], "corners.csv")
    areas = grid_areas_m2(found.features.geometry, UTM)
    assert areas == pytest.approx([600, 600], abs=2e-3)
    assert found.features.kind.tolist() == ["green", "green"]
    assert found.features.name.tolist() == [f"North {noun}", f"South {noun}"]


def test_numbers_in_a_column_of_greens_are_greens(read):
    rows = [f"{g},{e + 60 * g},{n}" for g in (7, 8) for n, e in RING]
    found = read(["Green,Easting,Northing", *rows], "corners.csv").features
    assert found.id.tolist() == ["green-7", "green-8"]
    assert found.kind.tolist() == ["green", "green"]


@pytest.mark.parametrize("head", ["Green,Name", "Name,Green"])
def test_names_go_before_the_numbers_of_the_greens_that_they_lie_on(read, head):
    pair = "{g},Bunker {g}" if head.startswith("Green") else "Bunker {g},{g}"
    rows = [f"{pair.format(g=g)},{e + 60 * g},{n}" for g in (7, 8) for n, e in RING]
    found = read([f"{head},Easting,Northing", *rows], "corners.csv").features
    assert found.name.tolist() == ["Bunker 7", "Bunker 8"]
    assert found.kind.tolist() == ["bunker", "bunker"]


def test_names_of_points_are_no_outlines(read):
    found = read(["Name,Easting,Northing", *(f"{k},{e},{n}" for k, (n, e) in enumerate(RING))])
    assert not len(found.features)
    assert any("no column holds codes" in told.text for told in found.findings)


def test_two_columns_are_told_by_their_one_mark(read):
    found = read(["Easting,Northing", *(f"{e},{n}" for n, e in RING)])
    assert str(found.tally).startswith("5 read")
    assert not any("is not a number" in left.reason for left in found.tally.left_out)


def workbook(tmp_path, sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows, merged in sheets:
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
        for cells in merged:
            sheet.merge_cells(cells)
    book.save(tmp_path / "survey.xlsx")
    return tmp_path / "survey.xlsx"


def test_heads_merged_over_two_rows_are_read(tmp_path):
    head = [["Survey"], ["Point", "Coordinates (m)", None, "Code"], [None, "Easting", "Northing"]]
    rows = [[k, e, n, "Green 7"] for k, (n, e) in enumerate(RING)]
    path = workbook(tmp_path, [("Points", head + rows, ["A2:A3", "B2:C2", "D2:D3"])])
    found = read_boundaries(path, crs=UTM)
    assert found.features.name.tolist() == ["Green 7"]
    assert area(found) == pytest.approx(600, abs=2e-3)


def test_sheets_of_corners_without_codes_are_outlines_of_their_own(tmp_path):
    sheets = [
        (name, [["Easting", "Northing"], *([e + east, n] for n, e in RING)], [])
        for name, east in (("Green B", 0), ("Tee 7", 60))
    ]
    found = read_boundaries(workbook(tmp_path, sheets), crs=UTM)
    assert found.features.name.tolist() == ["Green B", "Tee 7"]
    assert found.features.kind.tolist() == ["green", "tee"]


def test_a_sheet_of_stations_beside_one_with_codes_is_no_outline(tmp_path):
    points = [["Point", "Easting", "Northing", "Code"]]
    points += [[k, e, n, "Green 7"] for k, (n, e) in enumerate(RING)]
    stations = [["Point", "Easting", "Northing"], *([k, e, n] for k, (n, e) in enumerate(RING))]
    path = workbook(tmp_path, [("Points", points, []), ("Stations", stations, [])])
    found = read_boundaries(path, crs=UTM)
    assert found.features.name.tolist() == ["Green 7"]
    assert any("no column holds codes" in told.text for told in found.findings)


def test_an_endless_line_is_refused(read):
    """Longer than the cells that Python's reader of CSV takes."""
    found = "walk.txt, row 2: a line of more than 131,072 characters"
    with pytest.raises(Refused, match=found):
        read(["P,N,E", "1," + "9" * 140_000 + ",3"])


@pytest.mark.parametrize("head", ["nom", "nombre", "nome", "naam", "namn", "navn"])
def test_columns_that_name_outlines_in_other_languages(tmp_path, head):
    rows = [
        f"Green {k};green;{x:.4f};{y:.4f}"
        for k, shape in enumerate((blob(0, 0, 13), blob(60, 0, 9)), start=1)
        for x, y in shapely.get_coordinates(shape).tolist()
    ]
    (tmp_path / "a.csv").write_text("\n".join([f"{head};kind;E;N", *rows]) + "\n")
    found = read_boundaries(tmp_path / "a.csv", crs=UTM).features
    assert found.name.tolist() == ["Green 1", "Green 2"]


def test_lines_that_only_cross_enclose_nothing(read):
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
    found = settle(read(["N,E,D", *rows]), Choice(repair=True)).boundaries
    areas = grid_areas_m2(found.features.geometry, UTM)
    assert dict(zip(found.features.name, areas, strict=True)) == {
        "GREEN1": pytest.approx(600, abs=2e-3),
        "FAIRWAY1": pytest.approx(4400, abs=2e-3),
        "GREEN2": pytest.approx(600, abs=2e-3),
    }
    assert (found.tally.read, found.tally.used, found.tally.joined) == (3, 3, 0)


def test_a_line_that_meets_another_at_one_end_only_encloses_nothing_with_it(read):
    """A fairway walked from a corner of its green round to its far side, then down across it.

    What the two enclose on the way round is no outline.
    """
    fairway = [CORNERS[0], (5906040.0, 559990.0), (5906040.0, 560010.0), (5905900.0, 560010.0)]
    walked = (("GREEN1", [*CORNERS, CORNERS[0]]), ("FAIRWAY1", fairway))
    found = read(["N,E,D", *(f"{n},{e},{code}" for code, points in walked for n, e in points)])
    assert found.features.name.tolist() == ["GREEN1"]
    assert [left.name for left in found.tally.left_out] == ["FAIRWAY1"]


@pytest.mark.parametrize("heads", ["N,E,D", "lat,lon,code"])
def test_an_outline_lends_its_edge_to_what_ends_on_it_and_divides_nothing_it_only_crosses(
    heads, read
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
    found = read([heads, *lines], crs=UTM if heads == "N,E,D" else None)
    areas = grid_areas_m2(found.features.geometry, UTM)
    assert dict(zip(found.features.name, areas, strict=True)) == {
        "GREEN1": pytest.approx(600, abs=0.01),
        "FAIRWAY1": pytest.approx(1800, abs=0.01),
        "APPROACH1": pytest.approx(400, abs=0.01),
        "TEE1": pytest.approx(400, abs=0.01),
    }


@pytest.mark.parametrize("order", ["APPROACH1 COLLAR1", "COLLAR1 APPROACH1"])
def test_lines_that_meet_near_an_outline_s_corner_go_there_together(order, read):
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
    found = read(["N,E,D", *rows]).features
    areas = grid_areas_m2(found.geometry, UTM)
    assert dict(zip(found.name, areas, strict=True)) == {
        "GREEN1": pytest.approx(600, abs=2e-3),
        "APPROACH1": pytest.approx(400, abs=2e-3),
        "COLLAR1": pytest.approx(200, abs=2e-3),
    }


@pytest.mark.parametrize("head", ["Line", "Linie", "ligne", "línea", "LIJN"])
def test_a_column_of_lines_tells_outlines_of_one_code_apart(read, head):
    rows = [f"{n},{e + 50 * k},green,{k}" for k in (1, 2) for n, e in [*CORNERS, CORNERS[0]]]
    found = read([f"N,E,Code,{head}", *rows])
    assert grid_areas_m2(found.features.geometry, UTM) == pytest.approx([600, 600], abs=2e-3)


@pytest.mark.parametrize("head", ["Line", "Ligne"])
def test_a_column_of_lines_that_numbers_the_rows_tells_nothing_apart(head, read):
    rows = [f"{n},{e},green,{k}" for k, (n, e) in enumerate([*CORNERS, CORNERS[0]], start=1)]
    found = read([f"N,E,Code,{head}", *rows])
    assert grid_areas_m2(found.features.geometry, UTM) == pytest.approx([600], abs=2e-3)
    assert f"its column is not read: '{head}'" in [finding.text for finding in found.findings]
