"""Sites of a set by their names: written in any way, alike, missing, with odd signs."""

from __future__ import annotations

import shutil

import pytest

from tests.portfolio.conftest import run_many
from tests.portfolio.set_changes import changed, refusal

pa = pytest.importorskip("pyarrow")
pc = pytest.importorskip("pyarrow.compute")
pq = pytest.importorskip("pyarrow.parquet")


def test_sites_may_be_called_by_numbers(site_set, tmp_path):
    """A register of yards often numbers them; 1 in one table is "1" in another."""
    for kind, tables in (("text", ()), ("numbers", ("sites", "surfaces", "loads", "catches"))):
        root = shutil.copytree(site_set, tmp_path / kind)
        for path in root.glob("*.parquet"):
            table = pq.read_table(path)
            table = table.filter(pc.is_in(table["site"], pa.array(["site-00001", "site-00002"])))
            called = pc.replace_substring(table["site"], "site-0000", "")
            called = called.cast(pa.int32() if path.stem in tables else pa.string())
            at = table.column_names.index("site")
            metadata = table.schema.metadata
            table = table.set_column(at, "site", called).replace_schema_metadata(metadata)
            pq.write_table(table, path)
        assert run_many(root, tmp_path / f"of {kind}").computed == 2
    for name in ("balances", "ledger", "areas"):
        one, other = (
            (tmp_path / f"of {k}" / f"{name}.csv").read_text() for k in ("text", "numbers")
        )
        assert one == other
        assert '\n"2",' in one


@pytest.mark.parametrize(
    "kind",
    [pa.binary(), pa.dictionary(pa.uint8(), pa.string()), pa.dictionary(pa.int8(), pa.binary())],
)
def test_names_of_sites_may_be_stored_in_any_way(site_set, tmp_path, kind):
    """As other programs write texts: plain bytes, or numbers of words without a sign."""

    def stored(table):
        at = table.column_names.index("site")
        words = pa.array(table["site"].to_pylist(), getattr(kind, "value_type", kind))
        names = words.cast(kind) if kind == pa.binary() else words.dictionary_encode().cast(kind)
        return table.set_column(at, "site", names).replace_schema_metadata(table.schema.metadata)

    run_many(site_set, tmp_path / "plain")
    root = changed(site_set, tmp_path, "surfaces", stored)
    run_many(root, tmp_path / "stored")
    for name in ("balances", "areas"):
        ways = [(tmp_path / way / f"{name}.csv").read_text() for way in ("plain", "stored")]
        assert ways[0] == ways[1]
        assert ways[0].count("\n") > 2


def test_rows_without_a_site_are_refused(site_set, tmp_path):
    def emptied(table):
        import pyarrow as pa

        sites = [None, " ", *table["site"].to_pylist()[2:]]
        return table.set_column(0, "site", pa.array(sites))

    assert refusal(changed(site_set, tmp_path, "catches", emptied)) == (
        "catches.parquet, site: 2 rows name no site. Write in each row which site it is of."
    )


def test_sites_that_are_named_by_lists_are_refused(site_set, tmp_path):
    def listed(table):
        names = pa.array([[name] for name in table["site"].to_pylist()], pa.list_(pa.string()))
        return table.set_column(table.column_names.index("site"), "site", names)

    told = refusal(changed(site_set, tmp_path, "loads", listed))
    assert told.startswith("loads.parquet, site: is a column of list<")
    assert "allowed: a text or a whole number in each row" in told


def called(names):
    """Sites by number under other names, as a change of a table."""

    def change(table):
        sites = [names.get(site, site) for site in table["site"].to_pylist()]
        return table.set_column(table.column_names.index("site"), "site", pa.array(sites))

    return change


@pytest.mark.parametrize("other", ["Site-00002", "site-00002 ", "\uff53ite-00002"])
def test_a_site_that_one_table_writes_in_another_way_is_named_with_the_one_that_is_meant(
    site_set, tmp_path, other
):
    root = changed(site_set, tmp_path, "loads", called({"site-00002": other}))
    (refused,) = run_many(root, tmp_path / "out").comparison.refused
    assert refused["site"] == other
    assert refused["faults"].splitlines()[0] == (
        f"loads.parquet, site: '{other}' and 'site-00002' differ only in capitals, spaces or the"
        " form of letters. Write both alike, or tell them apart by more than that."
    )


def test_a_name_that_looks_like_another_is_told_while_that_one_is_there(site_set, tmp_path):
    """No row of the refused site changes with the other one."""
    out = tmp_path / "out"
    sets = {name: tmp_path / name for name in ("with", "without")}
    for kept in sets.values():
        kept.mkdir()
    for path in site_set.glob("*.parquet"):
        table = pq.read_table(path)
        twin = table.filter(pc.equal(table["site"], "site-00005"))
        rest = table.filter(pc.not_equal(table["site"], "site-00005"))
        if path.stem == "loads":
            rest = called({"site-00002": "Site-00005"})(rest)
        pq.write_table(rest, sets["without"] / path.name)
        pq.write_table(pa.concat_tables([rest, twin]), sets["with"] / path.name)  # no row moves
    for name in ("without", "with", "without"):
        done = run_many(sets[name], out)
        (refused,) = done.comparison.refused
        assert refused["site"] == "Site-00005"
        assert ("'site-00005' differ only in capitals" in refused["faults"]) == (name == "with")
        assert run_many(sets[name], out).computed == 0


def test_names_with_a_sign_that_ends_texts_are_refused(site_set, tmp_path):
    root = changed(site_set, tmp_path, "loads", called({"site-00002": "site-00001\0"}))
    assert refusal(root) == (
        "loads.parquet, site: 'site-00001·' holds the sign NUL, at which many programs end a text."
        " Write the site's name without it."
    )
