"""Names that nobody can tell apart by eye, and times that no day has."""

from __future__ import annotations

import pytest

from geosand.site.cells import UNSHOWN, loosely, parse_day, unseen
from geosand.site.remedies import date_remedy


@pytest.mark.parametrize(
    "other",
    [
        "twin disc\u202c",
        "\u2067twin disc",
        "twin dis\u0441",
        "twin d\u0456s\u0441",
        "\u0422WIN DISC",
    ],
)
def test_signs_that_look_alike_make_one_name(other):
    """Marks of direction are read as a dot; the letters are Cyrillic es, i and te (Unicode 15)."""
    assert loosely(other.translate(UNSHOWN)) == loosely("twin disc")


def test_names_that_look_unlike_stay_two():
    assert len({loosely(name) for name in ("disc", "disk", "d\u0438sc", "d\u0434sc")}) == 4


def test_a_mark_that_is_read_as_a_dot_is_told_as_unseen():
    assert "can not be seen" in unseen("D1\u202a".translate(UNSHOWN))
    assert "or a raised dot (shown as" in unseen("1\u00b75")
    assert "dot" not in unseen("D\u200b1")
    assert unseen("D1") == ""


@pytest.mark.parametrize("hour", ["24:00", "25:00", "12:60", "23:59:61"])
def test_a_time_that_no_day_has_is_refused(hour):
    """24:00 of ISO 8601:2004 is the next day's first; read as its day it would be a day early."""
    cell = f"2026-03-24T{hour}"
    assert parse_day(cell) is None
    assert date_remedy(cell) == "write the day alone: there is no such time of day"


@pytest.mark.parametrize("hour", ["00:00", "23:59:60", "09:30:00.5"])
def test_a_time_of_the_day_is_read_as_its_day(hour):
    assert str(parse_day(f"2026-03-24 {hour}")) == "2026-03-24"
