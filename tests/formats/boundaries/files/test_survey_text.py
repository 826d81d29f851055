"""Survey-controller text as it comes: separators, marks, units, degrees, codes, bad rows."""

import numpy as np
import pytest
import shapely

from geosand.errors import Refused
from tests.formats.boundaries.files.survey_rows import CORNERS, area, walk


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
def test_separators_and_orders(read_rows, head, pattern):
    assert area(read_rows([head, *walk(pattern)])) == pytest.approx(600, abs=2e-3)


def test_decimal_commas_beside_semicolons(read_rows):
    rows = [row.replace(".", ",") for row in walk("{p};{n};{e};40.5;{c}")]
    found = read_rows(["P;N;E;Z;D", *rows])
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
def test_numbers_that_could_be_two_things_are_refused(read_rows, row, text):
    with pytest.raises(Refused) as refusal:
        read_rows(["P;N;E;D", row])
    assert text in str(refusal.value)


def test_a_decimal_comma_between_commas_is_seen_by_the_count(read_rows):
    with pytest.raises(Refused, match="7 cells for 4 columns: is a comma its decimal mark"):
        read_rows(["P,N,E,D", "1,5906000,5,560000,5,40,G"])


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
def test_units_of_heads(read_rows, head, metres):
    east = head.replace("northing", "easting").replace("Northing", "Easting")
    east = east.replace("NORTHING", "EASTING")
    rows = [
        f"{n / metres!r},{e / metres!r},{'G CL' if k == 3 else 'G'}"
        for k, (n, e) in enumerate(CORNERS)
    ]
    found = read_rows([f"{head},{east},code", *rows])
    assert area(found) == pytest.approx(600, abs=2e-3)
    assert any("they are converted" in f.text for f in found.findings) == (metres != 1.0)


def test_heights_in_another_unit_than_places(read_rows):
    rows = walk("{n},{e},131.234,{c}")
    found = read_rows(["northing_m,easting_m,elevation_ft,code", *rows])
    assert found.features.elevation_m[0] == pytest.approx(131.234 * 0.3048)
    with pytest.raises(Refused, match="elevation says ft, those of northing and easting say no"):
        read_rows(["northing,easting,elevation_ft,code", *rows])
    with pytest.raises(Refused, match="northing and easting are in different units: ft, m"):
        read_rows(["northing_m,easting_ft,code", *walk("{n},{e},{c}")])


def test_lines_above_the_heads_and_rows_of_heads_nobody_knows(read_rows):
    found = read_rows(
        ["Job: Invented course", "Surveyed 2026-04-02", "P,N,E,D", *walk("{p},{n},{e},{c}")]
    )
    assert area(found) == pytest.approx(600, abs=2e-3)
    said = "2 lines above its heads are not read: 'Job: Invented course', 'Surveyed 2026-04-02'"
    assert any(f.text == said for f in found.findings)
    # heads in words that are not known: skipped since they hold no digit where numbers belong
    found = read_rows(["A,B,C,D", *walk("{p},{n},{e},{c}")], point_order="PNED")
    assert area(found) == pytest.approx(600, abs=2e-3)
    # the first row is a point with a misprint, not heads
    rows = ["1,59o6000.0,560000.0,GRN", *walk("{p},{n},{e},{c}")[1:], "9,5906100,560100,PIN"]
    found = read_rows(rows, point_order="PNED")
    left = [item.reason for item in found.tally.left_out]
    assert left[0] == "row 1, northing: '59o6000.0' is not a number"


@pytest.mark.parametrize(
    ("line", "heads", "metres"),
    [
        ("Units: US Survey Feet", "P,N,E,D", 1200 / 3937),
        ("Distance units = International feet", "P,N,E,D", 0.3048),
        ("Units: US Survey Feet", "P,N (m),E (m),D", 1.0),  # their own goes before it
    ],
)
def test_a_unit_above_the_heads_counts_as_theirs(read_rows, line, heads, metres):
    rows = [
        f"{k},{n / metres:.6f},{e / metres:.6f},GRN{' CL' if k == 3 else ''}"
        for k, (n, e) in enumerate(CORNERS)
    ]
    assert area(read_rows([line, heads, *rows])) == pytest.approx(600, abs=2e-3)


def test_plain_feet_in_heads_are_the_foot_of_the_grid(read_rows):
    # North Carolina (EPSG:2264) is in US survey feet: read as international ones it lies 1.26 m off
    corners = [(728000, 1940500), (728000, 1940560), (728060, 1940560), (728060, 1940500)]
    rows = [f"{n},{e},GRN{' CL' if k == 3 else ''}" for k, (n, e) in enumerate(corners)]
    said = read_rows(["N,E,D", *rows], crs="EPSG:2264", unit="us_survey_ft").features.geometry
    for lines in (["Northing (ft),Easting (ft),D"], ["Units: Feet", "N,E,D"]):
        found = read_rows([*lines, *rows], crs="EPSG:2264")
        assert shapely.equals_exact(found.features.geometry, said, 0).all()
        assert any(
            "as international feet the site would lie 1.26 m away" in str(f) for f in found.findings
        )
    # which foot it is was said: it counts, in a grid of the other foot too
    heads = "Northing (international ft),Easting (international ft),D"
    other = read_rows([heads, *rows], crs="EPSG:2264").features.geometry
    in_ft = read_rows(["N,E,D", *rows], crs="EPSG:2264", unit="ft").features.geometry
    assert shapely.equals_exact(other, in_ft, 0).all()
    assert not shapely.equals_exact(other, said, 1e-6).any()


def test_words_that_mean_codes_and_places_in_some_files_only(read_rows):
    # beside the usual words these heads are of other columns
    rows = [
        f"T{p},{p},{p},{n},{e},{code}"
        for p, n, e, code in (row.split(",") for row in walk("{p},{n},{e},{c}"))
    ]
    for heads in (
        "Bezeichnung,Grid Northing,Grid Easting,Northing,Easting,Code",
        "Opis,Y_coord,X_coord,N,E,Kod",
    ):
        assert area(read_rows([heads, *rows])) == pytest.approx(600, abs=2e-3)
    assert area(read_rows(["Opis,N,E", *walk("{c},{n},{e}")])) == pytest.approx(600, abs=2e-3)
    for head in ("N", "E"):  # of numbers, or of elevations
        lines = [f"{head},Grid Northing,Grid Easting,Code", *walk("{p},{n},{e},{c}")]
        assert area(read_rows(lines)) == pytest.approx(600, abs=2e-3)


def test_points_without_a_column_of_codes_are_told_how_to_name_it(read_rows):
    found = read_rows(["Nr,N,E,Sonstiges", *walk("{p},{n},{e},{c}")])
    assert not len(found.features)
    assert any("no column holds codes" in f.text for f in found.findings)
    assert area(read_rows(["Pkt-Nr,N,E,Bezeichnung", *walk("{p},{n},{e},{c}")])) == pytest.approx(
        600, abs=2e-3
    )


def test_x_that_runs_north_is_asked_about(read_rows):
    # Japan's plane rectangular CS IX (EPSG:6677): X is the northing, Y the easting (EPSG axes)
    corners = [(22300, -21000), (22300, -20980), (22330, -20980), (22330, -21000)]
    rows = [f"{n},{e},GRN{' CL' if k == 3 else ''}" for k, (n, e) in enumerate(corners)]
    with pytest.raises(Refused, match=r"x of JGD2011 .* IX runs north: .* 36\.2009° N, 139\.59"):
        read_rows(["X,Y,D", *rows], crs="EPSG:6677")
    north = read_rows(["N,E,D", *rows], crs="EPSG:6677").features.geometry
    swapped = read_rows(["X,Y,D", *rows], crs="EPSG:6677", swap_axes=True).features.geometry
    assert shapely.equals(north, swapped).all()
    east = read_rows(["X,Y,D", *rows], crs="EPSG:6677", believe_place=True).features.geometry
    assert shapely.distance(north, east)[0] > 0.3


def test_x_to_the_east_is_not_asked_about_where_it_alone_lies_in_the_grid_s_area(read_rows):
    # south of the origin of the same grid: exchanged it lies west of 138.4 E, its area's end
    corners = [(-150000, -50000), (-150000, -49980), (-149970, -49980), (-149970, -50000)]
    rows = [f"{n},{e},GRN{' CL' if k == 3 else ''}" for k, (n, e) in enumerate(corners)]
    east = read_rows(["Y,X,D", *rows], crs="EPSG:6677").features.geometry
    assert shapely.equals(
        east, read_rows(["N,E,D", *rows], crs="EPSG:6677").features.geometry
    ).all()
    with pytest.raises(Refused, match="runs north"):
        read_rows(["X,Y,D", *rows], crs="EPSG:6677")


@pytest.mark.parametrize(
    ("crs", "point", "likely"),
    [
        # 28.2 E, 26.1 S in Lo29, whose numbers run west and south; drawings turn both
        ("EPSG:2053", (-2888159, -80028), "--crs ESRI:102567 (Hartebeesthoek94_Lo29_(E-N)) at"),
        # Krovak as surveyors write it, with the CRS that GIS use
        ("EPSG:5514", (690192, 1071006), "--crs EPSG:5513 (S-JTSK / Krovak) at 49.90"),
    ],
)
def test_numbers_that_run_the_other_way(read_rows, crs, point, likely):
    n, e = point
    rows = [f"{n + a},{e + b},GRN" for a, b in ((0, 0), (0, 20), (30, 20))]
    with pytest.raises(Refused) as refusal:
        read_rows(["N,E,D", *rows, f"{n + 30},{e},GRN CL"], crs=crs)
    assert likely in str(refusal.value)
    with pytest.raises(Refused) as refusal:  # and where the place is known it is none
        read_rows(["N,E,D", *rows, f"{n + 30},{e},GRN CL"], crs=crs, near=(10.0, 50.0))
    assert likely.partition(" at")[0] not in str(refusal.value)


def test_an_order_that_fits_either_way_is_told(read_rows):
    # 53.2 N, 1.7 W on the British grid; exchanged it is land farther north-west
    corners = [(367000, 420150), (367000, 420170), (367030, 420170), (367030, 420150)]
    rows = [f"{n},{e},GRN{' CL' if k == 3 else ''}" for k, (n, e) in enumerate(corners)]
    found = read_rows(rows, crs="EPSG:27700", point_order="NED")
    (text,) = [f.text for f in found.findings if "--point-order NED" in f.text]
    assert "exchanged the site would lie at 53.6" in text
    found = read_rows(walk("{n},{e},{c}"), point_order="NED")  # no place the other way round
    assert not [f for f in found.findings if "--point-order" in f.text]


@pytest.mark.parametrize("level", ["-9999", "-32768", "1e20"])
def test_heights_that_stand_for_no_data_are_none(read_rows, level):
    rows = walk("{p},{n},{e},52.1,{c}")
    rows[1] = rows[1].replace("52.1", level)
    found = read_rows(["P,N,E,Z,D", *rows])
    assert np.isnan(found.features.elevation_m).all()
    assert any("a height that no land has" in f.text for f in found.findings)
    assert read_rows(["P,N,E,Z,D", *walk("{p},{n},{e},52.1,{c}")]).features.elevation_m[0] == 52.1
