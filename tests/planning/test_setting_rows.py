"""Rows of one dressing with settings of their own: what they teach, and what they can not."""

import math

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.planning import tried_settings
from geosand.planning.choosing import Request, chosen_surfaces, last_figure, last_figures
from geosand.planning.dressing import last_headings, next_dressing
from geosand.planning.setting import fit_setting, settings_for
from geosand.planning.setting_line import RowErrors, within
from geosand.planning.tried_settings import site_setting
from geosand.reports.job_sheet import job_sheet
from geosand.reports.plan import plan_document
from geosand.results import work_out
from tests.sites import CATCHES, SURFACES, write_site
from tests.stack_sites import rows_unlike

HEAD = "dressing,date,surfaces,planned_depth_mm,setting,speed_kmh,swath_m,heading_deg"


def errors(dressing, rate, relative, freedom=4.0):
    each = np.full(len(rate), freedom)
    return RowErrors(np.asarray(dressing), np.diag((rate * relative) ** 2), each)


def test_rows_at_one_opening_are_one_dressing_and_not_two():
    """Each dressing told in two rows alike: nothing is known that one row each does not tell."""
    opening, rate = np.array([2.0, 2.4, 3.0, 3.6]), np.array([1.05, 1.16, 1.52, 1.74])
    plain = fit_setting(opening, rate)
    twice = np.repeat(rate, 2)
    found = fit_setting(np.repeat(opening, 2), twice, errors(np.repeat(range(4), 2), twice, 0.05))
    assert (found.count, len(found.tried)) == (4, 8)
    for name in ("slope", "scatter", "degrees_of_freedom", "u_intercept_kg_m2"):
        assert getattr(found, name) == pytest.approx(getattr(plain, name), rel=1e-12)
    assert found.scatter_share == pytest.approx(plain.scatter_share, rel=1e-12)


def test_rows_nearly_alike_leave_the_interval_nearly_as_it_was():
    opening, rate = np.array([2.0, 2.4, 3.0, 3.6]), np.array([1.05, 1.16, 1.52, 1.74])
    plain = settings_for(fit_setting(opening, rate), np.array([1.3]), speed_m_s=1.0)
    near, more = np.append(opening, 3.601), np.append(rate, 1.73)
    order = errors([0, 1, 2, 3, 3], more, 0.08)
    found = settings_for(fit_setting(near, more, order), np.array([1.3]), speed_m_s=1.0)
    assert found.low == pytest.approx(plain.low, rel=0.02)
    assert found.high == pytest.approx(plain.high, rel=0.02)


def test_one_dressing_tells_the_shape_but_not_the_scatter():
    """Rates of 0.4 + 0.2·x, seen to 1 %: the intercept is found, an interval is not given."""
    opening = np.array([3.0, 4.5, 6.0])
    rate = 0.4 + 0.2 * opening
    fit = fit_setting(opening, rate, errors([0, 0, 0], rate, 0.01))
    assert fit.intercept_kg_m2 == pytest.approx(0.4)
    assert math.isnan(fit.scatter_share)
    found = settings_for(fit, np.array([1.2]), speed_m_s=1.0)
    assert found.setting[0] == pytest.approx(4.0)
    assert np.isnan([found.low[0], found.high[0]]).all()
    assert fit.said == (
        "a line with an intercept, from 3 settings in one dressing; how much dressings differ is"
        " not known"
    )
    # seen to 30 % nothing contradicts a line through the origin
    assert fit_setting(opening, rate, errors([0, 0, 0], rate, 0.3)).through_origin


def test_a_noisy_row_does_not_turn_the_scale_round():
    """Two rows of which one had a poor tray: the other dressings say that it opens."""
    opening, rate = np.array([2.0, 3.0, 2.0, 4.0]), np.array([0.6, 0.9, 0.62, 0.55])
    loose = errors([0, 1, 2, 2], rate, np.array([0.05, 0.05, 0.05, 0.6]))
    assert fit_setting(opening, rate, loose).rises
    sharp = errors([0, 1, 2, 2], rate, 0.03)
    assert not fit_setting(opening, rate, sharp).rises


def seasons(random, dressings, rows, scale, *, off=0.06, seen=0.05):
    """Openings, rates and their dressings: each is off by ``off``, each row seen to ``seen``."""
    dressing = np.repeat(np.arange(dressings), rows)
    opening = random.uniform(3.0, 6.0, len(dressing))
    rate = scale(opening) * (1 + off * random.standard_normal(dressings))[dressing]
    return opening, rate * (1 + seen * random.standard_normal(len(rate))), dressing


def held_and_told(rows, dressings, scale, tried=150):
    """How often intervals hold the setting that the next dressing needs; how often it is told."""
    random = np.random.default_rng(rows + 10 * dressings)
    held, known = 0, 0
    for _ in range(tried):
        opening, rate, dressing = seasons(random, dressings, rows, scale)
        fit = fit_setting(opening, rate, errors(dressing, rate, 0.05))
        wanted = scale(np.array([3.4, 4.5, 5.6]))
        wanted *= 1 + 0.06 * random.standard_normal(3)
        found = settings_for(fit, wanted, speed_m_s=1.0, beyond=9.0)
        held += ((found.low <= [3.4, 4.5, 5.6]) & (found.high >= [3.4, 4.5, 5.6])).sum()
        known += (settings_for(fit, wanted, speed_m_s=1.0).passes == 1).sum()
    return held / tried / 3, known / tried / 3


@pytest.mark.parametrize("bend", [1.0, 1.2])
@pytest.mark.parametrize("offset", [0.0, 0.25])
def test_intervals_hold_the_truth_and_rows_that_differ_tell_more_rates(bend, offset):
    """Known truth: a straight or slightly curved scale; over 300 seasons each 0.94 to 0.97.

    Were rows taken for dressings of their own, those of two dressings would hold 0.89.
    """

    def scale(x):
        return offset + 0.2 * 4.5 * (x / 4.5) ** bend

    for dressings in (2, 4):
        held, told = held_and_told(3, dressings, scale)
        assert 0.91 <= held <= 0.985
        assert told > held_and_told(1, dressings, scale)[1]


def test_the_shape_is_found_sooner():
    """Known truth: 0.4 + 0.2·x. Five dressings of three rows find the offset, of one row seldom."""
    random = np.random.default_rng(8)
    found = {}
    for rows in (1, 3):
        fits = []
        for _ in range(200):
            opening, rate, dressing = seasons(random, 5, rows, lambda x: 0.4 + 0.2 * x)
            fits.append(fit_setting(opening, rate, errors(dressing, rate, 0.05)))
        found[rows] = np.mean([not fit.through_origin for fit in fits])
    assert found[3] > 0.75
    assert found[1] < 0.4


def site_of(folder, rows, catches=CATCHES):
    ids = dict.fromkeys(row.split(",")[0] for row in rows)
    write_site(
        folder,
        surfaces=SURFACES,
        dressings="\n".join([HEAD, *rows]) + "\n",
        loads="load,dressing,count,unit_mass_kg\n" + "".join(f"L{d},{d},52,25\n" for d in ids),
        catches=[c | {"catch": f"{d}{c['catch']}", "dressing": d} for d in ids for c in catches],
    )
    return read_site(folder)


def fit_of(site, spreader="", **asked):
    results = work_out(site)
    day = np.datetime64("2026-11-01")
    past = (site, results.areas, results.rates)
    return site_setting(*past, spreader=spreader, sand=0, as_of=day, **asked)


def test_each_row_counts_with_what_its_own_catches_tell(tmp_path):
    """g1 got 0.923 and g2 0.903 kg/m²; t1, without a catch, teaches nothing."""
    rows = ["D1,2026-04-10,g1,0.6,3,6,4,", "D1,2026-04-10,g2,0.6,4,6,4,"]
    site = site_of(tmp_path, [*rows, "D1,2026-04-10,t1,0.9,5,6,4,"])
    fit = fit_of(site)
    assert [(one.setting, one.surfaces) for one in fit.at] == [(3.0, ("g1",)), (4.0, ("g2",))]
    caught = [np.mean([92, 97, 88]) / 100, np.mean([90, 95, 86]) / 100]
    assert [one.rate_kg_m2 for one in fit.at] == pytest.approx(caught, rel=1e-9)
    assert fit.left_out == ("D1 on t1 is not used: it has no usable catches",)
    # one surface stands for all at this setting: how they differ is in its u, 8 % by default
    assert all(0.07 < one.u_rate_kg_m2 / one.rate_kg_m2 < 0.1 for one in fit.at)
    whole = fit_of(site_of(tmp_path / "one", ["D1,2026-04-10,g1 g2,0.6,3,6,4,"]))
    assert whole.at[0].u_rate_kg_m2 < fit.at[0].u_rate_kg_m2


def test_rates_of_whole_dressings_are_those_of_the_account(tmp_path):
    """Where each has one setting, what its catches tell is borrowed by spreader as in the rates."""
    spreaders = ("twin", "twin", "belt", "belt", "", "")
    rows = [f"D{k},2026-0{k + 3}-10,green,0.6,{k + 2},6,6,{s}" for k, s in enumerate(spreaders, 1)]
    catches = [
        c | {"catch": f"{d}{c['catch']}", "dressing": f"D{d}", "gross_g": c["gross_g"] + d * n % 23}
        for d in range(1, 7)
        for n, c in enumerate(CATCHES[: 6 if d % 2 else 2])
    ]
    text = "dressing,date,surfaces,planned_depth_mm,setting,speed_kmh,swath_m,spreader\n"
    folder = write_site(
        tmp_path, dressings=text + "\n".join(rows) + "\n", catches=catches, loads=None
    )
    found = work_out(read_site(folder))
    dressed, rate = found.site.dressed, found.rates.rate.value
    area = found.areas.area_m2[dressed.surface]
    mean = np.bincount(dressed.dressing, rate * area) / np.bincount(dressed.dressing, area)
    past = found.site, found.areas, found.rates
    for spreader in ("twin", "belt", ""):
        fit = site_setting(*past, spreader=spreader, sand=0, as_of=np.datetime64("2026-12-01"))
        mine = found.site.dressings.spreader == spreader
        assert [one.rate_kg_m2 for one in fit.at] == pytest.approx(mean[mine], rel=1e-12)


def test_surfaces_that_differ_do_so_each_time(tmp_path, monkeypatch):
    """The same two rows over again: their difference is hardly better known, other ones are."""
    seen = []

    def fit(opening, rate, errors):
        z = 1 / opening
        relative = errors._replace(covariance=errors.covariance * np.outer(z, z))
        seen.append(within(z, rate * z, relative).information)
        return fit_setting(opening, rate, errors)

    monkeypatch.setattr(tried_settings, "fit_setting", fit)
    first = ["D1,2026-04-10,g1,0.6,3,6,4,", "D1,2026-04-10,g2,0.6,4,6,4,"]
    same = ["D2,2026-05-10,g1,0.6,3,6,4,", "D2,2026-05-10,g2,0.6,4,6,4,"]
    turned = ["D2,2026-05-10,g1,0.6,4,6,4,", "D2,2026-05-10,g2,0.6,3,6,4,"]
    for k, more in enumerate([[], same, turned]):
        fit_of(site_of(tmp_path / str(k), [*first, *more]))
    once, again, exchanged = seen
    assert once < again < 1.5 * once
    assert exchanged > 3 * once


BLANK = "no {}, and the other rows of the dressing differ in it: not known there"


@pytest.mark.parametrize(
    ("rows", "settings", "told"),
    [
        # blank is as the other row, where that is one; else not known
        (["g1,0.6,3,6,4,90", "g2,0.6,,,,"], [3.0], []),
        (
            ["g1,0.6,3,6,4,90", "g2,0.6,4,6,4,90", "t1,0.6,,6,4,90"],
            [3.0, 4.0],
            [f"row 4: {BLANK.format('setting')}"],
        ),
        (["g1,0.6,3,6,4,90", "g2,0.6,3.0,6,4,90"], [3.0], []),
        (["g1,0.6,B3,6,4,90", "g2,0.6,B4,6,4,90"], [3.0, 4.0], []),
        (["g1,0.6,3,6,4,90", "g2,0.6,open,6,4,90"], [3.0], []),
        (["g1,0.6,3,6,4,90", "g2,0.6,3,8,4,90"], [3.0, 3.0], []),
        (["g1,0.6,3,6,4,90", "g2,0.6,3,6,6,90"], [3.0, 3.0], []),
        (["g1,0.6,3,6,4,90", "g2,0.6,3,6,4,45"], [3.0], []),  # a heading changes no rate
    ],
)
def test_which_rows_stand_together(tmp_path, rows, settings, told):
    site = site_of(tmp_path, [f"D1,2026-04-10,{row}" for row in rows])
    assert [one.setting for one in fit_of(site).at] == settings
    assert [f.text for f in site.findings if "differ in it" in f.text] == told


def test_words_for_settings_are_told_by_row(tmp_path):
    rows = ["D1,2026-04-10,g1,0.6,half open,6,4,", "D1,2026-04-10,g2,0.6,open,6,4,"]
    fit = fit_of(site_of(tmp_path, rows))
    assert [(one.setting, round(one.rate_kg_m2, 3)) for one in fit.by_word] == [
        ("half open", 0.923),
        ("open", 0.903),
    ]


def test_reasons_name_all_their_dressings_in_one_line(tmp_path):
    rows = [
        *("D1,2026-04-10,g1,0.6,3,6,4,", "D1,2026-04-10,g2,0.9,3,6,4,"),
        *("D2,2026-05-10,g1,0.6,3,6,4,", "D2,2026-05-10,g2,0.9,3,6,4,"),
        *("D3,2026-06-10,g1,0.6,0,6,4,", "D3,2026-06-10,g2,0.9,3,6,4,"),
        "D4,2026-07-10,g1 g2,0.6,,6,4,",
    ]
    assert fit_of(site_of(tmp_path, rows)).left_out == (
        "D1, D2 are not used: their planned depths differ",
        "D3 on g1 is not used: its setting '0' is no number above 0",
        "D4 is not used: its setting is not said",
    )


def test_the_last_figure_is_that_of_most_surfaces_and_headings_are_their_own(tmp_path):
    rows = ["D1,2026-04-10,g1,0.6,3,6,4,20", "D1,2026-04-10,g2 t1,0.6,4,8,5,110"]
    site = site_of(tmp_path, rows)
    day = np.datetime64("2026-05-01")
    assert last_figure(last_figures(site, site.dressed.swath_m, "", day)) == 5.0
    assert last_headings(site, day) == pytest.approx([20, 110, 110])
    results = work_out(site)
    row = chosen_surfaces(site, results.ledger, ["green"])
    past = (results.balance, results.ledger)
    plan = next_dressing(*past, Request(row=row, sand=0, spreader="", depth_m=6e-4, assurance=0.9))
    assert plan.speed_m_s == pytest.approx(8 / 3.6)
    texts = [f.text for f in plan.findings if f.about == "setting"]
    assert [text.partition(":")[0] for text in texts] == [
        "surfaces of the last dressing had different speeds",
        "surfaces of the last dressing had different swaths",
    ]
    asked = Request(
        row=row, sand=0, spreader="", depth_m=6e-4, assurance=0.9, speed_m_s=2.0, swath_m=4.0
    )
    assert not [f for f in next_dressing(*past, asked).findings if f.about == "setting"]


def test_the_plan_tells_what_was_tried_and_the_sheet_how_to_record_it(tmp_path):
    """Rows at 4 mph and 5 mph; D2 has a letter before one number, which is another scale."""
    site = read_site(rows_unlike(tmp_path))
    results = work_out(site)
    row = chosen_surfaces(site, results.ledger, ["green"])
    past = (results.balance, results.ledger)
    asked = Request(row=row, sand=0, spreader="twin disc", depth_m=6e-4, assurance=0.9)
    document = plan_document(site, next_dressing(*past, asked), [])
    tried = document["spreader"]["setting_tried"]
    assert [(one["dressing"], one["setting"], one["surfaces"]) for one in tried] == [
        ("D1", 3.5, ["g1"]),
        ("D1", 5.0, ["g2"]),
        ("D2", 5.0, ["g1", "g3"]),
        ("D3", 3.5, ["g1", "g2", "g3"]),
    ]
    assert tried[0]["speed_kmh"] == pytest.approx(4 * 1.609344)
    assert tried[0]["swath_m"] == pytest.approx(20 * 0.3048)
    assert document["spreader"]["setting_dressings"] == ["D1", "D2", "D3"]
    note = "Each setting is a row of the records, with its surfaces"
    assert note not in job_sheet(document, site.units)
    document["surfaces"][1]["setting"] |= {"setting": 4.2, "low": None, "passes": 1}
    document["surfaces"][0]["setting"] |= {"setting": 3.7, "low": None, "passes": 1}
    assert note in job_sheet(document, site.units)
