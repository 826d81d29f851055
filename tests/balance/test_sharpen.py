"""What would sharpen a figure, against the whole line worked out again with that changed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from geosand.balance.sharpen import Change, changes, sampling_variance, sharpen, sharpest
from geosand.estimates import Estimates
from geosand.formats.site_folder import read_site
from geosand.results import Results, work_out
from tests.sites import CATCHES, G1, G2, TOML, catch, points, square, surface, write_site


def worked(folder: Path, **overrides: object) -> Results:
    return work_out(read_site(write_site(folder, **overrides)))


def options(results: Results) -> list[Change]:
    return changes(results.site, results.areas, results.rates, dressings=np.array([0]))


def test_best_first_and_in_words() -> None:
    """u² = 36 + 64 + 4: by hand."""
    table = Estimates(
        value=np.array([100.0]),
        effects={
            "catch efficiency": np.array([6.0]),
            "label: x": np.array([-8.0]),
            "edge": np.array([2.0]),
        },
    )
    found = sharpen(
        table,
        [
            Change(text="testing trays", leaves={"catch efficiency": 0.5}),
            Change(text="weighing bags", leaves={"label: x": 0.25}),
            Change(text="surveying", leaves={"edge": 0.9}),  # 0.4 % of u: not worth it
        ],
    )
    assert found.u == pytest.approx(np.sqrt(104))
    assert found.u_after == pytest.approx([np.sqrt(44), np.sqrt(77)])
    assert found.sentence(unit="kg", digits=1) == (
        "weighing bags would sharpen it most: ± 6.6 instead of ± 10.2 kg;"
        " then: testing trays (± 8.8 kg)"
    )


def test_nothing_helps() -> None:
    one = sharpen(Estimates(value=np.ones(1), effects={"edge": np.ones(1)}), [])
    assert one.sentence(unit="kg") == "no single measurement would sharpen it noticeably"


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        ("u_catch_efficiency_percent = 3.0", "u_catch_efficiency_percent = 1.0", "efficiency"),
        ("u_tray_percent = 0.5", "u_tray_percent = 0.2", "measuring the trays"),
        (
            "edge_accuracy_m = 0.10\nedge_bias_m = 0.05",
            "edge_accuracy_m = 0.02\nedge_bias_m = 0.02",
            "surveying",
        ),
    ],
)
def test_promise_is_kept_when_the_settings_change(
    tmp_path: Path, old: str, new: str, text: str
) -> None:
    """Independent route: the site with the smaller u, read and worked out again."""
    before, after = worked(tmp_path / "a"), worked(tmp_path / "b", toml=TOML.replace(old, new))
    (change,) = [one for one in options(before) if text in one.text]
    promised = _u(before.balance.overthrow, change)
    assert promised == pytest.approx(after.balance.overthrow.u()[0], rel=1e-6)
    assert promised < before.balance.overthrow.u()[0]


def _u(table: Estimates, change: Change) -> float:
    found = sharpen(table, [Change(text="", leaves=change.leaves)], smallest_gain=0.0)
    return found.u_after[0] if found.u_after else found.u


def test_the_promise_of_a_moisture_is_kept(tmp_path: Path) -> None:
    """Sand at 4 % of water ± 0.8 points, of loads alone as the catches were dried; then ± 0.2."""
    wet = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 4.0")
    rows = [catch(k, moisture_dry_basis_percent=0, u_moisture_percent=0.1) for k in range(1, 7)]
    before, after = (
        worked(
            tmp_path / name,
            toml=wet.replace("u_moisture_percent = 0.2", f"u_moisture_percent = {u}"),
            catches=rows,
        )
        for name, u in (("a", 0.8), ("b", 0.2))
    )
    (change,) = [one for one in options(before) if one.text.startswith("weighing, drying and")]
    assert change.text == "weighing, drying and weighing sand (moisture: dried)"
    assert _u(before.balance.overthrow, change) == pytest.approx(
        after.balance.overthrow.u()[0], rel=1e-6
    )
    assert not [one for one in options(after) if one.text.startswith("weighing, drying and")]


def test_weighed_bags(tmp_path: Path) -> None:
    """Three bags to 0.2 % that differ by 1 %: 0.61 % instead of 1 %."""
    before = worked(tmp_path / "a")
    loads = (
        "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent\n"
        f"L1,D1,52,25,0.25,{100 * np.hypot(0.002, 0.01 / np.sqrt(3)):.6f}\n"
    )
    after = worked(tmp_path / "b", loads=loads)
    (change,) = [one for one in options(before) if "weighing three bags" in one.text]
    assert _u(before.balance.overthrow, change) == pytest.approx(
        after.balance.overthrow.u()[0], rel=1e-5
    )


def test_sampling_variance_is_the_line_s_own(tmp_path: Path) -> None:
    """With the catches as they are, the closed form gives the u that the balance has."""
    results = worked(tmp_path, catches=[catch(k) for k in (1, 2, 4)])
    area = results.areas.area_m2[results.site.dressed.surface]
    mine = sampling_variance(results.site, results.rates, area, results.rates.catches)
    assert np.sqrt(mine) == pytest.approx(results.balance.on_surfaces.by_category()["sampling"])


def test_sampling_variance_by_simulation(tmp_path: Path) -> None:
    """BLUPs of drawn surfaces and catches miss the truth by just that much (20 000 draws)."""
    results = worked(tmp_path, catches=[catch(k) for k in (1, 2, 3)])
    area = results.areas.area_m2[results.site.dressed.surface]
    more = np.array([4, 2])
    claimed = sampling_variance(results.site, results.rates, area, more)[0]
    sb, se = float(results.rates.model.sigma_b[0]), float(results.rates.model.sigma_e[0])
    rng = np.random.default_rng(3)
    truth = rng.normal(0, sb, (20_000, 2))
    seen = truth + rng.normal(0, 1, (20_000, 2)) * se / np.sqrt(more)
    variance = sb**2 + se**2 / more
    mu = (seen / variance).sum(axis=1) / (1 / variance).sum()
    w = sb**2 / variance
    blup = w * seen + (1 - w) * mu[:, None]
    error = ((blup - truth) * area).sum(axis=1)
    assert error.var() == pytest.approx(claimed, rel=0.03)


THREE = "dressing,date,surfaces\n" + "".join(f"D{d},2026-0{d + 3}-10,green\n" for d in (1, 2, 3))


def season_of_three(folder: Path) -> Results:
    """Three dressings with trays on g1 only."""
    rows = [catch(k, catch=f"c{d}{k}", dressing=f"D{d}") for d in (1, 2, 3) for k in (1, 2, 3)]
    return worked(folder, dressings=THREE, catches=rows, loads=None)


@pytest.mark.parametrize("name", ["g1", "g2"])
def test_sampling_variance_of_a_season_is_the_ledgers_own(tmp_path: Path, name: str) -> None:
    results = season_of_three(tmp_path)
    site, ledger = results.site, results.ledger
    row = site.surfaces.id[ledger.row].tolist().index(name)
    of_surface = site.surfaces.ground[site.dressed.surface] == site.surfaces.ground[ledger.row[row]]
    weight = of_surface / results.rates.density.value[0]
    (mine,) = sampling_variance(site, results.rates, weight, results.rates.catches, season=True)
    assert np.sqrt(mine) == pytest.approx(ledger.depth.by_category()["sampling"][row], rel=1e-9)


def test_sampling_variance_of_a_season_by_simulation(tmp_path: Path) -> None:
    """What g2 keeps all season adds linearly, and so does what g1 gives to it: 20 000 draws.

    As if all were new in each dressing it would be less than half: the trap.
    """
    results = season_of_three(tmp_path)
    site, rates = results.site, results.rates
    area = results.areas.area_m2[site.dressed.surface]
    claimed = sampling_variance(site, rates, area, rates.catches, season=True)[0]
    assert claimed > 2 * sampling_variance(site, rates, area, rates.catches).sum()
    sb, se = float(rates.model.sigma_b[0]), float(rates.model.sigma_e[0])
    rng = np.random.default_rng(5)
    own = rng.normal(0, sb, (20_000, 2))
    # one surface with trays: μ is its mean, and so is the BLUP of both
    seen = own[:, :1] + rng.normal(0, se / np.sqrt(3), (20_000, 3))
    error = 3 * own @ -area[:2] + seen.sum(axis=1) * area[:2].sum()
    assert error.var() == pytest.approx(claimed, rel=0.02)


def test_more_catches_go_where_there_are_none(tmp_path: Path) -> None:
    """g2 has no catches: the change names it, and narrows sampling only."""
    results = worked(tmp_path, catches=[catch(k) for k in (1, 2, 3)])
    (change,) = [one for one in options(results) if "catches on surfaces" in one.text]
    assert change.text == "three more catches on surfaces without any (g2)"
    assert set(change.leaves) == {"sampling"}
    assert change.leaves["sampling"] < 0.8


def test_trays_asked_on_what_not_every_dressing_has_are_not_asked_in_each(tmp_path: Path) -> None:
    """D1 is of greens, D2 of a tee: no tray lies on t1 while g1 and g2 are dressed."""
    results = worked(
        tmp_path,
        dressings="dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-05-10,t1 g1\n",
        catches=[catch(1), catch(2), catch(1, dressing="D2"), catch(2, dressing="D2")],
    )
    parts = (results.site, results.areas, results.rates)
    texts = [one.text for one in changes(*parts, dressings=np.array([0, 1]))]
    asked = "three more catches on surfaces without any (g2, t1), each time they are dressed,"
    assert asked in texts


def test_a_tray_near_the_edge_takes_the_taper_away(tmp_path: Path) -> None:
    results = worked(tmp_path)  # all trays lie in the middle
    assert results.balance.overthrow.by_category()["edge taper"][0] > 0
    (change,) = [one for one in options(results) if "near the edge" in one.text]
    assert change.text == "a tray near the edge of g1, g2"
    near = [c | {"edge_distance_m": -0.5} if c["catch"] in ("c1", "c4") else c for c in CATCHES]
    after = worked(tmp_path / "after", catches=near)
    assert _u(results.balance.overthrow, change) == pytest.approx(
        after.balance.overthrow.u()[0], rel=0.02
    )


def test_a_tray_farther_in_is_asked_where_all_lie_along_the_edge(tmp_path: Path) -> None:
    side = {"surface": "g1", "edge_distance_m": -0.5}
    along = [*(c | side for c in CATCHES[:3]), *CATCHES[3:]]
    (change,) = [
        one for one in options(worked(tmp_path, catches=along)) if "edge taper" in one.leaves
    ]
    assert change.text == "a tray near the edge of g2 and farther in on g1"


def test_surfaces_are_named_in_the_order_of_their_file(tmp_path: Path) -> None:
    """As people count: g9 before g10."""
    drawn = [surface(i, "green", square(*at, 20.0)) for i, at in (("g9", G1), ("g10", G2))]
    results = worked(tmp_path, surfaces=drawn)
    assert "a tray near the edge of g9, g10" in [one.text for one in options(results)]


def test_trays_for_one_surfaces_depth_lie_on_it(tmp_path: Path) -> None:
    """Where it has trays of its own, those of others tell nothing of its edge or its scatter."""
    results = worked(tmp_path / "a")
    parts = (results.site, results.areas, results.rates)
    for ground, name in enumerate(("g1", "g2")):
        mine = changes(*parts, dressings=np.array([0]), surfaces=np.array([ground]))
        texts = [one.text for one in mine]
        assert f"a tray near the edge of {name}" in texts
        assert f"three more catches on {name}" in texts
    # g2 without any: a tray near the edge of g1 tells how much the rate falls there, too
    bare = worked(tmp_path / "b", catches=[catch(k) for k in (1, 2, 3)])
    parts = (bare.site, bare.areas, bare.rates)
    texts = [one.text for one in changes(*parts, dressings=np.array([0]), surfaces=np.array([1]))]
    assert "a tray near the edge of g1" in texts
    assert "three more catches on surfaces without any (g2)" in texts


def test_depth_is_sharpened_by_the_density(tmp_path: Path) -> None:
    results = worked(tmp_path)
    found = sharpen(results.rates.depth, options(results), row=0)
    assert any("bulk density of dried" in text for text in found.text)
    # the density is in the depth but not in the sand that was weighed
    overthrow = sharpen(results.balance.overthrow, options(results))
    assert not any("bulk density" in text for text in overthrow.text)


def test_what_is_already_well_known_is_not_offered(
    site_folder: Callable[..., Path],
) -> None:
    toml = TOML.replace("u_catch_efficiency_percent = 3.0", "u_catch_efficiency_percent = 0.8")
    results = work_out(read_site(site_folder(toml=toml)))
    assert not any("efficiency" in one.text for one in options(results))


def test_geojson_catches_give_the_same(tmp_path: Path) -> None:
    rows = [c | {} for c in CATCHES]
    a, b = worked(tmp_path / "a"), worked(tmp_path / "b", catches=points(rows))
    assert [c.text for c in options(a)] == [c.text for c in options(b)]


def test_what_helps_most_goes_by_intervals_of_all_rows() -> None:
    """u is 4 of few catches (t of 2 degrees of freedom: 4.303) and 5 of labels: by hand.

    Without labels 4.303 · 4 = 17.2 is left of the half-width, without sampling 1.96 · 5 = 9.8: by
    u alone labels would come first. They do where a second row has a u of 20 of them.
    """
    trays, labels = (
        Change(text=source, leaves={source: 0.0}) for source in ("sampling", "label: x")
    )
    few = {"sampling": np.array([2.0])}
    effects = {"sampling": np.array([4.0]), "label: x": np.array([5.0])}
    one = Estimates(value=np.array([100.0]), effects=effects, degrees_of_freedom=few)
    assert sharpest(one, [trays, labels]) == "sampling"
    effects = {"sampling": np.array([4.0, 0.0]), "label: x": np.array([5.0, 20.0])}
    two = Estimates(
        value=np.array([100.0, -30.0]),
        effects=effects,
        degrees_of_freedom={"sampling": np.array([2.0, 2.0])},
    )
    assert sharpest(two, [labels, trays]) == "label: x"


def test_what_takes_less_than_a_measurement_is_worth_helps_nothing() -> None:
    """Of u = 10 the change takes 1 %."""
    figure = Estimates(value=np.ones(1), effects={"edge": np.array([10.0])})
    assert sharpest(figure, [Change(text="surveying", leaves={"edge": 0.99})]) is None
