"""Words for kinds in many writings, and ids that are distinct and deceive nobody."""

import pytest

from geosand.formats.boundaries.words.kinds import kind_of, recognise
from geosand.formats.boundaries.words.naming import clean, folder_levels, make_ids, slug
from geosand.site.tables import KINDS


def test_map_tags():
    cases = {
        "green": {"golf": "green", "natural": "grassland"},
        "pitch": {"leisure": "pitch", "sport": "soccer"},
        "bunker": {"natural": "sand", "golf": "bunker"},
        "water": {"golf": "lateral_water_hazard"},
        "path": {"highway": "path", "golf_cart": "yes"},
        "lawn": {"landuse": "grass"},
    }
    for kind, tags in cases.items():
        assert kind_of(tags, "", "", None)[0] == kind
    hstore = {"osm_way_id": "12", "other_tags": '"golf"=>"tee","ref"=>"7"'}
    assert kind_of(hstore, "", "", None)[0] == "tee"


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_known_in_capitals_and_plural(kind):
    plural = kind + ("es" if kind.endswith("ch") else "s")
    for word in (kind, kind.upper(), plural, f"{kind.title()} 12", f"C-{plural.upper()}_07"):
        expected = kind
        assert recognise(word) == expected, word


@pytest.mark.parametrize(
    ("word", "kind"),
    [("Sand Trap 3", "bunker"), ("putting surface", "green"), ("green surround", "surround"),
     ("Fringe", "collar"), ("GRN07", "green"), ("pitches", "pitch"), ("Grasses", "lawn"),
     ("water hazards", "water"), ("bowling green", "lawn"), ("Greenwich", ""), ("", "")],
)  # fmt: skip
def test_generic_words(word, kind):
    assert recognise(word) == kind


def test_ids_are_distinct_and_never_a_kind():
    ids, sources = make_ids(
        ["", "", "green", "A 1", "a-1", "", ""],
        ["Green 1", "Green 1", "", "", "", "芝生", "green"],
        ["", "", "", "", "", "", ""],
        ["green"] * 7,
    )
    assert ids == ["green-1", "green-1-2", "green-2", "a-1", "a-1-2", "green-3", "green-4"]
    assert sources == ["name", "name", "number", "column", "column", "number", "number"]


def test_a_number_that_only_one_folder_has_bears_it_where_others_do():
    """Greens 1 to 18 beside tees 1 to 17; in figures without a Latin form nothing is told apart."""
    names, folders = ["1", "18", "1", "٣"], ["Greens", "Greens", "Tees", "Greens"]
    assert folder_levels(names, folders) == [["Greens"], ["Greens"], ["Tees"], []]
    assert folder_levels(["1", "18"], ["Greens"] * 2) == [[], []]
    assert folder_levels(["18", "Oak", "Oak"], ["Greens", "Greens", "Tees"]) == [[], [], []]
    assert folder_levels(["1", "1"], ["Greens", "芝生"]) == [["Greens"], []]


def test_names_lose_what_could_deceive():
    assert clean("a\u202eb\x00c\ud800 \n d") == "abc d"
    assert slug("Grün № 7/../x") == "grun-no-7-..-x"
    assert slug("../../etc") == "etc"
