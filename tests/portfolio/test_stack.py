"""Many sites in one call give row by row what each gives alone; a bad one costs only itself."""

from __future__ import annotations

import gc
import os
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from geosand.errors import Refused
from geosand.formats.site_folder import read_site
from geosand.portfolio import chunk as chunks
from geosand.portfolio.arrow import arrow_table
from geosand.portfolio.chunk import TABLES, Chunk, Options, head_of, work_chunk
from geosand.portfolio.rows import tables_of
from geosand.results import work_out
from geosand.site.stack import stacked
from tests.benchmarks.portfolio_generator import Extent, write_folders
from tests.portfolio.conftest import Given, run_sites
from tests.portfolio.test_run import same_files
from tests.sites import SURFACES, catch, write_site
from tests.stack_sites import MAKERS, various_sites

SITES = len(MAKERS) + 3  #: of the various ones
SMALL = Extent(greens=3, dressings=3, catches=2)
MANY = 120


def keyed(sites):
    """Sites by keys whose order is that of the sites."""
    return {f"{number:03d}": site for number, site in enumerate(sites)}


def tables(results, sites, keys):
    made = tables_of(results, head_of(keys, sites, results))
    return {name: (arrow_table(one.table), one.sizes.tolist()) for name, one in made.items()}


def told(sites, **options):
    """Rows of all tables by site, and the fingerprints, from one chunk."""
    keys = list(sites)
    done = work_chunk(Chunk(source=Given(sites), keys=keys, known={}, options=Options(**options)))
    rows = {
        key: {
            name: done.tables[name].slice(*done.rows[key][name]).to_pylist()
            for name in done.rows[key]
        }
        for key in keys
    }
    return rows, done.fingerprints


@cache
def small_sites():
    with tempfile.TemporaryDirectory() as name:
        folders = sorted(write_folders(Path(name), MANY, extent=SMALL).iterdir())
        return [read_site(folder) for folder in folders]


@pytest.fixture(scope="module")
def stack():
    """Tables of all various sites in one call."""
    sites = various_sites()
    assert len(sites) == SITES
    return tables(work_out(stacked(sites)), sites, list(keyed(sites)))


@pytest.mark.parametrize("number", range(SITES))
def test_a_site_in_a_stack_is_the_site_alone(stack, number):
    site, key = various_sites()[number], f"{number:03d}"
    for name, (alone, sizes) in tables(work_out(site), [site], [key]).items():
        whole, of_each = stack[name]
        mine = whole.slice(sum(of_each[:number]), of_each[number])
        assert [len(alone)] == sizes, name
        assert mine.schema.equals(alone.schema), name
        for column in alone.column_names:
            assert mine[column].to_pylist() == alone[column].to_pylist(), (name, column)


def test_tables_ask_for_no_figure_that_they_do_not_show():
    """What one site's pages tell is worked out where they are made, not for thousands of sites."""
    sites = various_sites()
    results = work_out(stacked(sites))
    tables(results, sites, [f"{number:03d}" for number in range(len(sites))])
    for table in (results.rates, results.balance, results.ledger.rings):
        assert vars(table) == {}
    assert len(results.balance.closing) == len(results.site.dressings)
    assert set(vars(results.balance)) == {"closing"}


def test_a_day_of_account_that_cuts_some_seasons(stack):
    sites = various_sites()
    keys, day = list(keyed(sites)), np.datetime64("2026-05-12")
    whole = tables(work_out(stacked(sites), as_of=day), sites, keys)
    alone = [
        tables(work_out(site, as_of=day), [site], [key])
        for key, site in zip(keys, sites, strict=True)
    ]
    for name in TABLES:
        parts = pa.concat_tables([one[name][0] for one in alone])
        assert whole[name][0].to_pylist() == parts.to_pylist(), name
    assert not whole["ledger"][0].equals(stack["ledger"][0])


@pytest.fixture(scope="module")
def everything():
    return keyed([*small_sites()[:60], *various_sites(), *small_sites()[60:]])


@pytest.fixture(scope="module")
def plainest(everything, tmp_path_factory):
    """Each site by itself."""
    out = tmp_path_factory.mktemp("plainest")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda handle: None)  # 1700 times: the disk is not on trial
        run_sites(everything, out, chunk=1)
    return out


@pytest.mark.parametrize(("chunk", "workers"), [(7, 1), (100, 1), (138, 1), (40, 2)])
def test_tables_are_the_same_bytes_for_any_chunks(everything, plainest, tmp_path, chunk, workers):
    done = run_sites(everything, tmp_path, chunk=chunk, workers=workers)
    assert (done.computed, done.comparison.failed) == (len(everything), [])
    same_files(plainest, tmp_path)


def test_tables_are_the_same_bytes_whatever_came_first(everything, plainest, tmp_path):
    run_sites(dict(list(everything.items())[1::3]), tmp_path, chunk=20)
    done = run_sites(everything, tmp_path, chunk=50)
    assert done.kept == len(everything) // 3
    same_files(plainest, tmp_path)


def test_large_sites_are_worked_out_a_few_at_a_time(monkeypatch):
    whole, _ = told(keyed(various_sites()))
    sizes = []

    def counted(site, **options):
        sizes.append(len(site.members))
        return work_out(site, **options)

    monkeypatch.setattr(chunks, "work_out", counted)
    monkeypatch.setattr(chunks, "STACK_ROWS", 4000)
    few, _ = told(keyed(various_sites()))
    assert len(sizes) > 3
    assert sum(sizes) == len(various_sites())
    assert max(sizes) > 1
    assert few == whole


def refused_site(folder):
    """A tray that is said to lie on a green 300 m away."""
    rows = [catch(1), catch(2, surface="g2")]
    return read_site(write_site(folder, surfaces=SURFACES, catches=rows))


def test_a_refused_site_in_the_middle_is_told_and_the_rest_is_right(tmp_path):
    site = refused_site(tmp_path / "bad")
    with pytest.raises(Refused) as refusal:
        work_out(site)
    good = keyed(various_sites())
    among = dict(sorted((good | {"007 bad": site, "014 bad": site}).items()))
    alone, _ = told(good)
    rows, fingerprints = told(among)
    for key in ("007 bad", "014 bad"):
        ((row,),) = rows.pop(key).values()
        assert (row["status"], row["name"]) == ("refused", "Test site")
        assert row["faults"] == str(refusal.value)
        assert fingerprints[key]
    assert rows == alone


def test_a_site_that_raises_what_nobody_foresaw_fails_alone(monkeypatch):
    good = keyed(various_sites())
    alone, _ = told(good)
    (deadly,) = [key for key, site in good.items() if 6.0 in site.members.surrounds_width_m]
    calls = []

    def raises(site, **options):
        calls.append(len(site.members))
        if 6.0 in site.members.surrounds_width_m:
            raise ZeroDivisionError("by\x1b nothing")
        return work_out(site, **options)

    monkeypatch.setattr(chunks, "work_out", raises)
    rows, fingerprints = told(good)
    ((row,),) = rows.pop(deadly).values()
    assert row["status"] == "failed"
    assert row["faults"] == "ZeroDivisionError: by· nothing"
    assert fingerprints[deadly] == ""
    assert rows == {key: one for key, one in alone.items() if key != deadly}
    # halves, not one after the other
    assert len(calls) <= 1 + 2 * np.ceil(np.log2(len(good)))


def test_the_collector_of_garbage_runs_again_whatever_happens():
    class Broken(Given):
        def read(self, keys, known):
            assert not gc.isenabled()
            raise OSError("the disk is gone")

    chunk = Chunk(source=Broken({}), keys=["a"], known={}, options=Options())
    assert gc.isenabled()
    with pytest.raises(OSError, match="the disk is gone"):
        work_chunk(chunk)
    assert gc.isenabled()


def test_maps_are_made_from_results_of_the_site_alone():
    sites = keyed(various_sites()[1:3])
    chunk = Chunk(source=Given(sites), keys=list(sites), known={}, options=Options(maps=True))
    done = work_chunk(chunk)
    assert list(done.maps) == list(sites)
    for key, site in sites.items():
        assert site.name.encode() in done.maps[key]
    assert told(sites, maps=True)[0] == told(sites)[0]


def test_a_balance_tells_each_setting_of_its_dressing():
    site = various_sites()[-2]
    rows, _ = told({"one": site})
    found = {row["dressing"]: row["setting"] for row in rows["one"]["balances"]}
    assert found == {"D1": "3.5; 5", "D2": "5; B4", "D3": "3.5"}
