"""A chunk of a set read at once against its sites read one by one, whole and spoiled by chance."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pytest

from geosand.portfolio import sound_sites
from geosand.portfolio.fingerprints import fingerprints
from geosand.portfolio.read_at_once import read_at_once
from geosand.portfolio.rows_by_site import split_by_site
from geosand.portfolio.site_set import SiteSet
from tests.portfolio.differences import difference
from tests.portfolio.set_rows import parts_of, rows_of, spoil
from tests.stack_sites import write_various

FILES = {
    name: f"{name}.parquet"
    for name in ("sites", "surfaces", "dressings", "loads", "catches", "deliveries")
}


class Named:
    """A table of a set whose rows are already at hand."""

    def __init__(self, file):
        self.file = file


@pytest.fixture(scope="module")
def various(tmp_path_factory):
    return rows_of(write_various(tmp_path_factory.mktemp("various")))


def one_by_one(keys, parts):
    """What each site alone gives: a site, or the text of its refusal."""
    source = SiteSet(tables={name: Named(FILES[name]) for name in parts}, found=tuple(keys))
    out = {}
    for number, key in enumerate(keys):
        read = source._alone(key, number, parts, "")
        out[number] = list(read.refused) if read.site is None else read.site
    return out


def held_together(tables):
    """Sites read at once, and those that are sound alone; the former are those alone."""
    keys = sorted({row["site"] for rows in tables.values() for row in rows})
    parts = parts_of(tables, keys)
    alone = one_by_one(keys, parts)
    together = read_at_once(keys, range(len(keys)), parts, FILES, [])
    for number, site in together.items():
        assert not isinstance(alone[number], list), (keys[number], alone[number])
        assert difference(site, alone[number], keys[number]) == ""
    return set(together), {k for k, site in alone.items() if not isinstance(site, list)}


def test_all_sites_that_differ_are_read_at_once(various):
    together, sound = held_together(various)
    assert len(sound) == len(various["sites"])
    assert together == sound


def test_a_chunk_of_one_site(various):
    for key in {row["site"] for row in various["sites"]}:
        tables = {n: [r for r in rows if r["site"] == key] for n, rows in various.items()}
        together, sound = held_together(tables)
        assert together == sound == {0}


@pytest.mark.parametrize("seed", range(40))
def test_spoiled_sites_are_never_taken_for_sound(various, seed):
    rng = np.random.default_rng([20261125, seed])
    kept = rng.choice(sorted({row["site"] for row in various["sites"]}), 6, replace=False)
    tables = {n: [r for r in rows if r["site"] in kept] for n, rows in various.items()}
    small = {n: rows for n, rows in tables.items() if rows}
    for _ in range(3):
        held_together(spoil(small, rng))


def test_one_refused_site_does_not_hold_up_the_others(various):
    tables = {name: [dict(row) for row in rows] for name, rows in various.items()}
    tables["catches"][5]["gross_g"] = -3.0
    tables["loads"][-1]["dressing"] = "D99"
    together, sound = held_together(tables)
    assert len(sound) == len(various["sites"]) - 2
    assert together == sound


def test_a_chunk_in_which_all_are_refused(various):
    tables = {name: [dict(row) for row in rows] for name, rows in various.items()}
    for row in tables["dressings"]:
        row["date"] = "yesterday"
    together, sound = held_together(tables)
    assert together == sound == {k for k, row in enumerate(_in_order(various)) if not row}


def _in_order(tables):
    """The dressings of each site."""
    keys = sorted({row["site"] for row in tables["sites"]})
    return [[row for row in tables["dressings"] if row["site"] == key] for key in keys]


def test_editions_told_apart_by_blank_and_empty_cells(various):
    for days in (["", None], [None, "2020-01-01"], ["2020-01-01", "2019-01-01"], ["x", None]):
        tables = {name: [dict(row) for row in rows] for name, rows in various.items()}
        for number, row in enumerate(tables["surfaces"]):
            row["valid_from"] = days[number % 2]
        held_together(tables)


def test_columns_of_other_types(various):
    """Days as days, flags, whole numbers and texts where numbers are meant."""
    tables = {name: [dict(row) for row in rows] for name, rows in various.items()}
    for row in tables["dressings"]:
        row["date"] = datetime.date.fromisoformat(row["date"])
    for number, row in enumerate(tables["catches"]):
        tare = row.get("tare_g")
        row |= {"tare_g": tare if tare is None else int(tare), "catch": number}
    for row in tables["loads"]:
        row["count"] = str(row["count"])
    for row in tables["sites"]:
        row["sands.dried.kiln_dried"] = False
    together, sound = held_together(tables)
    assert together == sound
    assert len(together) >= len(various["sites"]) - 1  # one calls its sand another name


@pytest.mark.parametrize("column", ["sands", "name", "sands.dried.kiln_dried"])
def test_settings_that_mean_something_else_in_one_cell(various, column):
    for odd in ("", math.nan, 3.0, "x"):
        tables = {name: [dict(row) for row in rows] for name, rows in various.items()}
        for row in tables["sites"][::3]:
            row[column] = odd
        held_together(tables)


def test_texts_are_the_same_as_words_or_written_out(various):
    keys = sorted({row["site"] for row in various["sites"]})
    written, words = (parts_of(various, keys, words=w) for w in (False, True))
    assert fingerprints(words, len(keys)) == fingerprints(written, len(keys))
    one, other = one_by_one(keys, written), one_by_one(keys, words)
    together = read_at_once(keys, range(len(keys)), written, FILES, [])
    for number, key in enumerate(keys):
        assert difference(one[number], other[number], key) == ""
        assert difference(one[number], together[number], key) == ""


def test_sites_with_faults_in_every_table_cost_the_others_three_looks(various, monkeypatch):
    tables = {name: [dict(row) for row in rows] for name, rows in various.items()}
    spoilt = {"sites": "season_start", "surfaces": "kind", "dressings": "date", "loads": "count"}
    spoilt["catches"] = "dressing"
    of = iter(sorted({row["site"] for row in tables["catches"]}))
    bad = []
    for name, column in spoilt.items():
        site = next(s for s in of if any(row["site"] == s for row in tables[name]))
        next(row for row in tables[name] if row["site"] == site)[column] = "?"
        bad.append(site)
    looks, assembled = [], sound_sites.assemble_all

    def counted(raw, *rest, **options):
        looks.append(len(raw.editions))
        return assembled(raw, *rest, **options)

    monkeypatch.setattr(sound_sites, "assemble_all", counted)
    together, sound = held_together(tables)
    assert together == sound and len(sound) == len(tables["sites"]) - len(bad)
    assert max(looks.count(editions) for editions in set(looks)) <= 3


def test_a_site_has_the_same_fingerprint_in_any_chunk(various):
    keys = sorted({row["site"] for row in various["sites"]})
    whole = fingerprints(parts_of(various, keys), len(keys))
    assert len(set(whole)) == len(keys)
    for key, fingerprint in zip(keys, whole, strict=True):
        tables = parts_of(various, keys)
        chunk = [keys[0], key] if key != keys[0] else [key]
        parts = {n: split_by_site(_unsplit(rows), chunk, "") for n, rows in tables.items()}
        assert fingerprints(parts, len(chunk))[-1] == fingerprint


def _unsplit(rows):
    return rows.table


@pytest.mark.parametrize("name", ["sites", "surfaces", "dressings", "loads", "catches"])
def test_any_changed_cell_changes_the_fingerprint_of_its_site_only(various, name):
    keys = sorted({row["site"] for row in various["sites"]})
    before = fingerprints(parts_of(various, keys), len(keys))
    rng = np.random.default_rng(5)
    columns = {column for row in various[name] for column in row} - {"site"}
    for column in sorted(columns):
        tables = {n: [dict(row) for row in rows] for n, rows in various.items()}
        rows = [row for row in tables[name] if isinstance(row.get(column), (float, int, str))]
        if not rows:
            continue
        row = rows[int(rng.integers(len(rows)))]
        site, cell = keys.index(row["site"]), row[column]
        for other in (None, f"{cell}x" if isinstance(cell, str) else cell + 0.25):
            row[column] = other
            after = fingerprints(parts_of(tables, keys), len(keys))
            if (
                parts_of(tables, keys)[name].table.schema
                == parts_of(various, keys)[name].table.schema
            ):
                assert [k for k in range(len(keys)) if before[k] != after[k]] == [site]
