"""Kinds in other words and languages: the user's own table, tags, file names, suggestions."""

import pytest
import shapely

from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.words.kinds import kind_of, recognise
from tests.formats.boundaries.conftest import LAT, LON, feature


def square(k):
    west = LON + k * 0.001
    return shapely.box(west, LAT, west + 0.0002, LAT + 0.0002)


@pytest.fixture
def rows(write_geojson):
    def write(*kinds, column="kind", name="in.geojson"):
        features = [feature(square(k), id=f"s{k}", **{column: v}) for k, v in enumerate(kinds)]
        return write_geojson(features, name)

    return write


def test_a_table_of_kinds_and_pairs_that_overrule_it(rows, tmp_path):
    (tmp_path / "kinds.csv").write_text("found,kind\nPG,green\nHIDE,lawn\n", encoding="utf-8")
    path = rows("PG", "hide", "  Hide ", "Wurzel")
    found = read_boundaries(path, kinds_file=tmp_path / "kinds.csv")
    assert found.features.kind.tolist() == ["green", "lawn", "lawn", "other"]
    pairs = ["Wurzel=bunker", "hide=tee"]
    found = read_boundaries(path, kinds_file=tmp_path / "kinds.csv", kind_pairs=pairs)
    assert found.features.kind.tolist() == ["green", "tee", "tee", "bunker"]


def test_the_table_comes_before_the_words_that_are_known(rows):
    found = read_boundaries(rows("fairway", "green"), kind_pairs=["fairway=lawn"])
    assert found.features.kind.tolist() == ["lawn", "green"]


def test_tags_in_the_table(write_geojson):
    path = write_geojson(
        [feature(square(1), golf="rough"), feature(square(2), landuse="meadow", id="m")]
    )
    found = read_boundaries(path, kind_pairs=["golf=rough=lawn", "landuse=meadow=pitch"])
    assert found.features.kind.tolist() == ["lawn", "pitch"]


def test_what_the_table_says_and_the_file_does_not_is_told(rows):
    found = read_boundaries(rows("green"), kind_pairs=["Abschlag=tee"])
    texts = [f.text for f in found.findings]
    assert "'abschlag' of the table of kinds decides nothing in this file" in texts


@pytest.mark.parametrize(
    ("content", "text"),
    [
        ("found,kind\nPG,grean\n", "row 2, kind: 'grean' is no kind; allowed: green, collar"),
        ("found,kind\nPG,grean\n", "Did you mean green?"),
        ("found,kind\nPG,\n", "'PG' has no kind"),
        ("found,kind\n,green\n", "row 2, found: no word is written here"),
        ("found,kind\nPG,green\npg,tee\n", "row 3, found: 'pg' is green already, and tee here"),
        ("a,b\nPG,green\n", "there is no column found and no column kind (it has a, b)"),
        ("", "is empty"),
    ],
)
def test_tables_that_are_wrong_are_refused(rows, tmp_path, content, text):
    (tmp_path / "kinds.csv").write_text(content)
    with pytest.raises(Refused) as refusal:
        read_boundaries(rows("PG"), kinds_file=tmp_path / "kinds.csv")
    assert text in str(refusal.value)


def test_pairs_that_are_wrong_are_refused_together(rows, tmp_path):
    with pytest.raises(Refused) as refusal:
        read_boundaries(rows("PG"), kind_pairs=["PG", "PG=gren", "=green"])
    text = str(refusal.value)
    assert text.count("names no word and kind") == 2
    assert "'gren' is no kind" in text
    with pytest.raises(Refused, match="there is no such file"):
        read_boundaries(rows("PG"), kinds_file=tmp_path / "none.csv")


def test_unknown_kinds_are_summed_up_with_the_way_out(rows):
    found = read_boundaries(rows("PG", "PG", "green"))
    texts = [f.text for f in found.findings]
    assert (
        "2 surfaces are kept as other for want of a kind: say what they are with"
        " --kind-map 'PG=KIND', KIND being green, tee, bunker, other or the like, or name the"
        " column that holds it with --kind"
    ) in texts


def test_a_kind_given_as_a_column_is_told_from_one_kind_for_all(rows):
    with pytest.raises(Refused) as refusal:
        read_boundaries(rows("PG"), kind_column="green")
    assert "there is no column 'green'; allowed: id, kind" in str(refusal.value)
    assert "For one kind for all surfaces, say --one-kind green" in str(refusal.value)
    with pytest.raises(Refused, match=r"Did you mean --kind kind\?"):
        read_boundaries(rows("PG"), kind_column="kin")


def test_the_name_of_the_file_says_the_kind_where_nothing_else_does(write_geojson):
    plain = [feature(square(1), nr=1), feature(square(2), nr=2)]
    assert read_boundaries(write_geojson(plain, "Greens_2026.geojson")).features.kind.tolist() == [
        "green", "green"]  # fmt: skip
    assert read_boundaries(write_geojson(plain, "course.geojson")).features.kind.tolist() == [
        "other", "other"]  # fmt: skip
    said = [feature(square(1), kind="Wurzel")]
    assert read_boundaries(write_geojson(said, "greens.geojson")).features.kind[0] == "other"


@pytest.mark.parametrize(
    ("word", "kind"),
    [("Abschlag 3", "tee"), ("Départ", "tee"), ("Übungsgrün", "green"), ("Fußweg", "path"),
     ("pelouse", "lawn"), ("Trampa de arena", "bunker"), ("étangs", "water"),
     ("afslagplaats", "tee"),
     ("Vorgrün links", "collar"), ("campo da calcio", "pitch"), ("Wald", "other")],
)  # fmt: skip
def test_words_of_other_languages(word, kind):
    assert recognise(word) == kind


@pytest.mark.parametrize(
    ("word", "kind"),
    [("Hole 10 green", "green"), ("north_links_hole_3_tee", "tee"), ("hole 12 - water", "water"),
     ("Hole 5 cart path", "path"), ("Driving range tee", "tee"), ("Clubhouse lawn", "lawn"),
     ("C-GREEN-BOUNDARY", "green"), ("Hole 7", "other"), ("course boundary", "other"),
     ("forest_pond_hole_3_green", "green"), ("Hole 3 rough", "other"),
     ("Hole 3 green and tee", ""), ("green tee", ""), ("Bunker left, hole 7 green", ""),
     ("Lake Course", ""), ("Path hole 3 tee", "")],
)  # fmt: skip
def test_where_a_surface_is_leaves_its_kind(word, kind):
    """Names as in files traced by hand. Common practice, no published source."""
    assert recognise(word) == kind


@pytest.mark.parametrize(
    ("folder", "name", "kind"),
    [("Hole 7 The Pond", "Green", "green"), ("Lake Course", "Green 7", "green"),
     ("Clubhouse lawn", "Bunker 1", "bunker"), ("HOLE-7-GREEN", "", "green")],
)  # fmt: skip
def test_a_folder_that_says_where_leaves_the_kind_to_the_name(folder, name, kind):
    """Holes and courses are called after ponds and woods; what lies there is none."""
    assert kind_of({}, folder, name, None)[0] == kind


def test_a_green_by_its_folder_that_is_called_a_tee_is_told(tmp_path):
    ring = "9.9,53.3 9.9002,53.3 9.9002,53.3002 9.9,53.3"
    shape = f"<outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing>"
    shape = f"<Polygon>{shape}</outerBoundaryIs></Polygon>"
    marks = {"Greens": ("Tee 1", "Green 1"), "Bunkers": ("Green 1 left",), "Collars": ("Green 1",)}
    folders = "".join(
        f"<Folder><name>{folder}</name>"
        + "".join(f"<Placemark><name>{n}</name>{shape}</Placemark>" for n in names)
        + "</Folder>"
        for folder, names in marks.items()
    )
    path = tmp_path / "course.kml"
    path.write_text(
        f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{folders}</Document></kml>'
    )
    found = read_boundaries(path)
    assert found.features.kind.tolist() == ["green", "green", "bunker", "collar"]
    told = [f for f in found.findings if "says tee" in f.text]
    assert [f.about for f in told] == ["tee-1"]
    assert sum(" says " in f.text for f in found.findings) == 1


def test_several_layers_and_the_columns_of_each(tmp_path):
    import geopandas

    for layer, columns in (("west", {"Art": ["green"]}), ("east", {"Typ": ["tee"]})):
        frame = geopandas.GeoDataFrame(columns, geometry=[square(len(layer))], crs="EPSG:4326")
        frame.set_geometry([square(1 if layer == "west" else 2)]).to_file(
            tmp_path / "m.gpkg", layer=layer
        )
    with pytest.raises(Refused) as refusal:
        read_boundaries(tmp_path / "m.gpkg", kind_column="kind")
    assert "allowed: in layer 'west' Art; in layer 'east' Typ" in str(refusal.value)
    found = read_boundaries(tmp_path / "m.gpkg", kind_column="Art")
    texts = [f.text for f in found.findings]
    assert "there is no column 'Art' for --kind in layer 'east'" in texts
    assert found.features.kind.tolist() == ["green", "other"]


def test_exports_of_the_open_map_community(write_geojson):
    rows = [
        feature(square(1), id="a", type="multipolygon", golf="fringe"),
        feature(square(2), id="b", type="way", tags='{"golf": "practice_green"}'),
        feature(square(3), id="c", golf="hazard_line"),
        feature(square(4), id="d", type="relation", building="yes"),
        feature(square(5), id="e", natural="wetland"),
    ]
    found = read_boundaries(write_geojson(rows))
    assert found.features.kind.tolist() == ["collar", "green", "other", "other", "water"]
    texts = [f.text for f in found.findings]
    assert "its kind 'golf=hazard_line' is not known; it is kept as other (feature 3)" in texts
    assert any(
        "with --kind-map 'golf=hazard_line=KIND', KIND being green" in text for text in texts
    )
    again = read_boundaries(write_geojson(rows), kind_pairs=["golf=hazard_line=bunker"])
    assert again.features.kind[2] == "bunker"


@pytest.mark.parametrize("head", ["surface_ty", "TYP", "Tipo", "soort"])
def test_heads_that_a_shapefile_cut_to_ten_letters_and_of_other_languages(rows, head):
    assert read_boundaries(rows("tee", column=head)).features.kind.tolist() == ["tee"]


def test_an_outline_around_all_others_may_be_a_frame(write_geojson):
    """A title block's border is no surface of the site, however it is drawn."""
    greens = [feature(square(k), kind="green") for k in range(3)]
    around = shapely.box(*shapely.total_bounds([square(k) for k in range(3)])).buffer(1e-4)
    text = "it lies around nearly all others, as the frame of a sheet or the boundary of a property"
    told = read_boundaries(write_geojson([*greens, feature(around, kind="border")])).findings
    assert [f.about for f in told if f.text.startswith(text)] == ["other-1"]
    # twelve others, of which one stands out; a strip across with the same bounds is none
    more = [*greens, *(feature(square(k), kind="tee") for k in range(4, 13))]
    told = read_boundaries(
        write_geojson(
            [
                *more[1:],
                feature(square(-2), kind="green"),
                feature(around.union(square(13)).envelope, kind="border"),
            ]
        )
    ).findings
    assert any(f.text.startswith(text) for f in told)
    west, south, east, north = around.bounds
    strip = shapely.LineString([(west, south), (east, north)]).buffer(1e-6)
    told = read_boundaries(write_geojson([*greens, feature(strip, kind="border")])).findings
    assert not any(f.text.startswith(text) for f in told)
    fairway = read_boundaries(write_geojson([*greens, feature(around, kind="fairway")])).findings
    assert not any(f.text.startswith(text) for f in fairway)


def test_names_tell_the_kind_where_no_column_does(write_geojson):
    """As in a drawing or a KML file; what kind columns, tags and layers say comes before it."""
    names = ["Green 1", "Green 2", "Green #3", "7 tee", "Hole 8"]
    found = read_boundaries(
        write_geojson([feature(square(k), name=n) for k, n in enumerate(names)])
    )
    assert found.features.kind.tolist() == ["green", "green", "green", "tee", "other"]
    texts = [f.text for f in found.findings]
    assert "'Green 1' and 2 more like it are taken as green (3 surfaces)" in texts
    one = write_geojson([feature(square(0), name="Hole 8")], "greens.geojson")
    assert read_boundaries(one).features.kind.tolist() == ["green"]
    assert read_boundaries(one, kind="other").features.kind.tolist() == ["other"]
    texts = [
        f.text for f in read_boundaries(write_geojson([feature(square(0), name="8 b")])).findings
    ]
    assert any(text.startswith("it has no kind") for text in texts)


def test_a_line_is_no_surface_by_its_name(write_geojson):
    """The ring main of the irrigation is no water."""
    main = shapely.LineString(square(0).exterior.coords)
    tee = feature(square(1), name="Tee 1")
    found = read_boundaries(write_geojson([feature(main, name="Water main ring"), tee]))
    assert found.features.kind.tolist() == ["tee"]
    assert [item.reason for item in found.tally.left_out] == ["a closed line of no known kind"]


def test_the_column_that_would_tell_is_named(write_geojson):
    cells = [("green", "No. 1"), ("tee", "No. 1 a"), ("green", "No. 2"), (None, "Shed")]
    path = write_geojson([feature(square(k), art=a, name=n) for k, (a, n) in enumerate(cells)])
    found = read_boundaries(path)
    assert any(f.text.endswith("with --kind, as in --kind 'art'") for f in found.findings)
    assert read_boundaries(path, kind_column="art").features.kind.tolist()[:2] == ["green", "tee"]


def test_a_word_of_the_table_does_not_speak_for_the_folder_of_a_whole_hole():
    assert kind_of({}, "Hole 7", "Green", None, {"hole": "other"}) == ("green", "Green")
    assert kind_of({}, "Hole", "Green", None, {"hole": "other"}) == ("other", "Hole")


@pytest.mark.parametrize(
    ("word", "kind"),
    [("Bowls green 2", "lawn"), ("Croquet court", "lawn"), ("Race track, home straight", "lawn"),
     ("Sod field 7", "lawn"), ("Cricket outfield", "pitch"), ("Cricket square", "pitch"),
     ("Polo ground 1", "pitch"), ("North goal mouth", "pitch"), ("Varsity outfield", "pitch"),
     ("Driving range outfield", "other"), ("Running track", "path"), ("Golf course", "other"),
     ("Grass pitch", "pitch"), ("Grass football pitch 2", "pitch"), ("grass tees", "tee"),
     ("L-TURF-GREEN-07", "green"), ("L-TURF-GRN", "green"), ("3G turf pitch", ""),
     ("Sand-filled turf pitch", ""), ("Artificial turf pitch", ""),
     ("green grass", ""), ("grass bunker", ""), ("Turf path", ""), ("Turf", "lawn")],
)  # fmt: skip
def test_words_of_sports_grounds(word, kind):
    """Common practice, no published source."""
    assert recognise(word) == kind


@pytest.mark.parametrize(
    ("tags", "kind", "word"),
    [
        ({"sport": "soccer", "surface": "grass"}, "pitch", "pitch"),
        ({"sport": "soccer", "surface": "hybrid_grass"}, "pitch", "pitch"),
        ({"sport": "soccer"}, "pitch", "pitch"),
        ({"sport": "soccer", "surface": "artificial_turf"}, "other", "surface=artificial_turf"),
        ({"sport": "tennis", "surface": "asphalt"}, "other", "surface=asphalt"),
        ({"sport": "basketball"}, "other", "sport=basketball"),
        ({"sport": "cricket_nets"}, "other", "sport=cricket_nets"),
        ({"sport": "basketball", "surface": "grass"}, "pitch", "pitch"),
        ({"other_tags": '"sport"=>"beachvolleyball","surface"=>"sand"'}, "other", "surface=sand"),
    ],
)
def test_a_pitch_of_the_open_map_that_is_no_turf_is_other(tags, kind, word):
    """A court that counts as a pitch would have its share of each dressing of "pitch"."""
    assert kind_of({"leisure": "pitch", **tags}, "", "", None) == (kind, word)


def test_a_pitch_that_is_no_turf_is_told_and_the_table_overrules_it(write_geojson):
    tags = {"leisure": "pitch", "surface": "artificial_turf"}
    path = write_geojson([feature(square(1), **tags)])
    found = read_boundaries(path)
    assert found.features.kind.tolist() == ["other"]
    texts = [f.text for f in found.findings]
    assert "'surface=artificial_turf' is taken as other (1 surface)" in texts
    said = read_boundaries(path, kind_pairs=["surface=artificial_turf=pitch"])
    assert said.features.kind.tolist() == ["pitch"]


def test_without_a_column_of_kinds_a_name_is_the_example(write_geojson):
    path = write_geojson([feature(square(1), name="Home straight")])
    texts = " ".join(f.text for f in read_boundaries(path).findings)
    assert "say what they are with --kind-map 'Home straight=KIND'" in texts
    found = read_boundaries(path, kind_pairs=["Home straight=lawn"])
    assert found.features.kind.tolist() == ["lawn"]
