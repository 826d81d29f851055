"""Area-weighted and kriged means of surfaces, and the depth field, on whole sites."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geosand.formats.site_folder import read_site
from geosand.rates.depth_field import depth_field
from geosand.rates.spatial import FEW_CATCHES, LATTICE, lattices, site_spatial
from geosand.results import work_out
from tests.calibration import SURFACES, Plan, make_site
from tests.sites import CATCHES, catch, write_site

PLAN = Plan(
    survey="surveyed",
    wide=True,
    masked=False,
    least_m=0.0,
    dried=True,
    caught=SURFACES,
    each=12,
    same=True,
)


def spatial_of(folder):
    found = work_out(read_site(folder))
    return found, site_spatial(found.site, found.areas, found.rates)


@pytest.fixture(scope="module")
def dense(tmp_path_factory):
    """216 catches on six greens, sand laid pass by pass."""
    folder = tmp_path_factory.mktemp("sites") / "dense"
    truth = make_site(folder, 2, PLAN)
    return *spatial_of(folder), truth


def test_means_of_three_catches_by_hand(tmp_path):
    """Catches on a line across a square of 20 m: 5e-5° lie 3.80 m from the middle one.

    Half-way lines at ±1.90 m: the middle catch stands for 3.80 m of the 20, the outer ones for
    8.10 m each. 92, 97 and 88 g on 0.1 m².
    """
    _, found = spatial_of(write_site(tmp_path))
    assert found.plain_rate_kg_m2[0] == pytest.approx(0.92333, abs=1e-5)
    expected = (8.10 * 0.92 + 3.80 * 0.97 + 8.10 * 0.88) / 20
    assert found.thiessen_rate_kg_m2[0] == pytest.approx(expected, abs=2e-5)
    assert found.largest_share[0] == pytest.approx(8.10 / 20, abs=5e-4)


def test_beside_dense_surfaces_those_with_few_catches_or_no_sand_have_no_kriged_mean(tmp_path):
    """In D1 two catches on g1 and none with sand on g2; all others tell the variogram."""
    make_site(tmp_path, 2, PLAN)
    head, *lines = (tmp_path / "catches.csv").read_text().splitlines()
    rows, gross = [line.split(",") for line in lines], head.split(",").index("gross_g")
    few = [row for row in rows if row[1:3] == ["D1", "g1"]][2:]
    for row in rows:
        if row[1:3] == ["D1", "g2"]:
            row[gross] = row[gross - 1]  # the tare
    lines = [head, *(",".join(row) for row in rows if row not in few)]
    (tmp_path / "catches.csv").write_text("\n".join(lines) + "\n")
    _, found = spatial_of(tmp_path)
    assert found.catches.tolist() == [2, *[12] * 17]
    assert np.isfinite(found.kriged_rate_kg_m2).tolist() == [False, False, *[True] * 16]
    assert found.why_not.tolist() == [FEW_CATCHES, "its catches hold no sand", *[""] * 16]


def test_few_catches_have_no_weighted_mean_and_say_so(tmp_path):
    few = [*CATCHES[:3], *CATCHES[3:5]]
    _, found = spatial_of(write_site(tmp_path, catches=few))
    assert np.isfinite(found.thiessen_rate_kg_m2).tolist() == [True, False]
    assert np.isnan(found.kriged_rate_kg_m2).all()
    assert found.why_not[0].startswith("no variogram: 5 catches on dressed surfaces, at least 100")
    assert found.why_not[1] == FEW_CATCHES
    assert [f.about for f in found.findings] == ["catches"]


def test_rejected_catches_do_not_count(tmp_path):
    rows = [*CATCHES, catch(1, catch="bad", gross_g=900, reject_reason="upset")]
    for row in rows:
        row.setdefault("reject_reason", "")
    _, found = spatial_of(write_site(tmp_path, catches=rows))
    assert found.catches.tolist() == [3, 3]
    assert found.plain_rate_kg_m2[0] == pytest.approx(0.92333, abs=1e-5)


def test_a_site_without_catches(tmp_path):
    _, found = spatial_of(write_site(tmp_path, catches=None))
    assert found.catches.tolist() == [0, 0]
    assert np.isnan(found.thiessen_rate_kg_m2).all()
    assert found.findings == ()


def test_a_known_structure_gives_every_surface_a_kriged_mean(dense):
    results, found, _ = dense
    assert found.variogram is not None
    assert (found.why_not == "").all()
    assert (found.u_kriged_rate_kg_m2 > 0).all()
    # twelve catches well spread: the three means agree within a few percent
    assert found.kriged_rate_kg_m2 == pytest.approx(found.plain_rate_kg_m2, rel=0.12)
    assert found.thiessen_rate_kg_m2 == pytest.approx(found.plain_rate_kg_m2, rel=0.15)
    assert len(found.catches) == len(results.site.dressed)


def test_kriged_means_hold_the_truth_of_sand_laid_pass_by_pass(tmp_path):
    """Sampling alone is meant: tray, efficiency and density of the site are divided out."""
    within, closer = [], []
    for seed in range(8):
        truth = make_site(tmp_path / str(seed), seed, PLAN)
        _, found = spatial_of(tmp_path / str(seed))
        if found.variogram is None:
            continue
        depth = truth.depth_m.ravel()
        known = np.isfinite(found.kriged_rate_kg_m2)
        assert known.all()
        scale = np.median(found.plain_rate_kg_m2 / depth)
        error = found.kriged_rate_kg_m2 - depth * scale
        within.append(np.abs(error) <= 2 * found.u_kriged_rate_kg_m2)
        closer.append([np.abs(error).mean(), np.abs(found.plain_rate_kg_m2 - depth * scale).mean()])
    assert len(within) >= 4
    assert np.mean(np.concatenate(within)) > 0.88
    kriged, plain = np.mean(closer, axis=0)
    assert kriged < 1.02 * plain


def test_crowded_trays_count_for_less(dense):
    """Ten trays in one rich corner and two elsewhere: both weighted means move to the two."""
    results, _, _ = dense
    site, areas, rates = results.site, results.areas, results.rates
    row = 0
    mine = np.flatnonzero(rates.assignment.dressed == row)
    lon, lat = site.catches.lon_degree.copy(), site.catches.lat_degree.copy()
    centre = areas.owned_plane[site.dressed.surface[row]].centroid
    x = np.full(12, centre.x) + np.append(np.linspace(-5.0, -4.5, 10), [4.0, 6.0])
    y = np.full(12, centre.y) + np.append(np.linspace(0.0, 0.4, 10), [3.0, -3.0])
    lon[mine], lat[mine] = areas.plane.inverse(x, y)
    rate = rates.each.rate_kg_m2.copy()
    rate[mine] = np.append(np.full(10, 1.2), [0.8, 0.8])
    found = site_spatial(
        replace(site, catches=replace(site.catches, lon_degree=lon, lat_degree=lat)),
        areas,
        replace(rates, each=replace(rates.each, rate_kg_m2=rate)),
    )
    assert found.plain_rate_kg_m2[row] == pytest.approx(13.6 / 12)
    assert found.thiessen_rate_kg_m2[row] < 1.06
    assert found.kriged_rate_kg_m2[row] < 1.10


def test_the_field_of_a_surface_has_the_mean_of_its_block(dense):
    """The same field on a fine grid, added up, against the lattice of the block."""
    results, found, _ = dense
    for row in (0, 7):
        field = depth_field(results.site, results.areas, results.rates, found, row, cell_m=0.5)
        density = results.rates.density.value[0]
        mean = field.depth_m.mean() * density
        assert mean == pytest.approx(found.kriged_rate_kg_m2[row], rel=0.01)
        # one place is less sure than the whole, but where a tray lay
        assert np.median(field.u_depth_m) * density > 1.5 * found.u_kriged_rate_kg_m2[row]
        area = results.areas.area_m2[results.site.dressed.surface[row]]
        assert len(field.x_m) * 0.25 == pytest.approx(area, rel=0.01)


def test_a_cell_of_a_field_is_the_mean_of_the_smaller_ones_in_it(dense):
    """Cells of 2 m beside the sixteen of 0.5 m each: the field lies where it says."""
    results, found, _ = dense
    parts = (results.site, results.areas, results.rates, found)
    wide, fine = (depth_field(*parts, 0, cell_m=cell_m) for cell_m in (2.0, 0.5))
    apart = np.maximum(np.abs(wide.x_m[:, None] - fine.x_m), np.abs(wide.y_m[:, None] - fine.y_m))
    inside = apart < 1.0
    whole = inside.sum(axis=1) == 16
    assert whole.sum() > 30
    means = (inside * fine.depth_m).sum(axis=1)[whole] / 16
    cells = wide.depth_m[whole]
    assert np.abs(means - cells).max() < 0.1 * cells.std()


def test_a_field_is_refused_where_nothing_is_known(tmp_path, dense):
    results, found = spatial_of(write_site(tmp_path))
    with pytest.raises(ValueError, match="no depth field of 'g1': no variogram: 6 catches"):
        depth_field(results.site, results.areas, results.rates, found, 0, cell_m=1.0)
    results, found, _ = dense
    with pytest.raises(ValueError, match="cell_m: found 0; it must be above 0"):
        depth_field(results.site, results.areas, results.rates, found, 0, cell_m=0.0)
    with pytest.raises(ValueError, match="gives more than 20,000 cells on"):
        depth_field(results.site, results.areas, results.rates, found, 0, cell_m=0.05)


def test_lattices_stand_for_their_polygons():
    ell = shapely.Polygon([(0, 0), (10, 0), (10, 2), (2, 2), (2, 10), (0, 10)])
    far = shapely.affinity.translate(shapely.box(0, 0, 1, 1), 500, 0)
    sliver = shapely.Polygon([(0, 0), (10, 10), (10, 10.001), (0, 0.001)])
    found = lattices(np.array([ell, far, sliver], dtype=object))
    weights = found.weights.reshape(3, -1)
    points = np.stack(
        [np.tile(found.x_m, (1, LATTICE)), np.repeat(found.y_m, LATTICE, axis=1)], axis=-1
    )
    assert weights.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0])
    centre = (points * weights[..., None]).sum(axis=1)
    assert centre[0] == pytest.approx([ell.centroid.x, ell.centroid.y], abs=0.2)
    assert centre[1] == pytest.approx([500.5, 0.5])
    for polygon, where, weight in zip((ell, far, sliver), points, weights, strict=True):
        used = where[weight > 0]
        assert shapely.intersects_xy(polygon, used[:, 0], used[:, 1]).all()


def test_more_catches_than_a_system_takes_are_gathered(dense, monkeypatch):
    """With a bound of 8 in place of 1000: near the exact ones, a little wider, and told."""
    results, found, _ = dense
    monkeypatch.setattr("geosand.rates.spatial.MOST_PLACES", 8)
    few = site_spatial(results.site, results.areas, results.rates)
    assert few.kriged_rate_kg_m2 == pytest.approx(found.kriged_rate_kg_m2, rel=0.08)
    ratio = few.u_kriged_rate_kg_m2 / found.u_kriged_rate_kg_m2
    assert (ratio >= 1 - 1e-9).all()
    assert ratio.max() < 1.6
    assert few.findings[:-1] == found.findings
    rows = len(results.site.dressed)
    assert few.findings[-1].text == (
        f"kriging: {rows} dressings of surfaces have more than 8 catches; those that lie together"
        " are taken as one, so that the u of the kriged mean can be a little too large"
    )
