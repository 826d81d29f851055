"""Which survey the areas are held against, and what is refused of it."""

from __future__ import annotations

import json

import numpy as np
import pytest
import shapely

from geosand.errors import Refused
from tests.reports.conftest import OLD, against
from tests.sites import LAT, LON, TOML, collection, square, surface


def test_an_edition_by_its_name_its_file_and_its_day_are_the_same(folder):
    names = ["first", "first.geojson", str(folder / "editions" / "first.geojson"), "2020-01-01"]
    documents = [against(folder, name)[0] for name in names]
    labels = [document.pop("old") for document in documents]
    assert [d["old_survey"].pop("label") for d in documents] == labels
    assert labels == ["edition first", "edition first", "first.geojson", "edition of 2020-01-01"]
    assert all(document == documents[0] for document in documents)


def test_another_site_folder(folder, site_folder):
    other = site_folder("other", surfaces=OLD, catches=None, loads=None, dressings=None)
    document, _ = against(folder, str(other))
    assert document["old"] == f"Test site ({other.name})"
    assert document["surfaces"][0]["lost_m2"] == pytest.approx(84.0, rel=1e-4)


@pytest.mark.parametrize("ending", ["gpkg", "shp"])
def test_a_boundary_file_of_another_format(folder, tmp_path, ending):
    """The old survey as its maker handed it over, in a projected CRS."""
    import geopandas

    names = [f["properties"]["id"] for f in OLD]
    kinds = [f["properties"]["kind"] for f in OLD]
    shapes = [shapely.geometry.shape(f["geometry"]) for f in OLD]
    frame = geopandas.GeoDataFrame({"id": names, "kind": kinds}, geometry=shapes, crs=4326)
    path = tmp_path / f"old.{ending}"
    frame.to_crs(32626).to_file(path)
    document, _ = against(folder, str(path))
    assert document["old_survey"]["source_crs"] == "EPSG:32626"
    assert document["old_survey"]["label"] == f"old.{ending}"
    assert document["surfaces"][0]["lost_m2"] == pytest.approx(84.0, abs=0.02)
    assert [row["id"] for row in document["only_in_old"]] == ["gone"]


def test_refusals_of_the_other_survey(folder, tmp_path, site_folder):
    with pytest.raises(Refused) as none:
        against(folder, "third")
    assert str(none.value) == (
        "third: there is no such survey. Name a site folder, a boundary file or an edition; "
        "the site's editions are 'first', '2020-01-01', '2026-01-01'."
    )
    plan = tmp_path / "plan.dxf"
    plan.write_text("0")
    with pytest.raises(Refused, match=r"plan\.dxf: .*not a DXF file.*Save it as DXF R2010 again"):
        against(folder, str(plan))  # nothing that `new` could decide
    asked = tmp_path / "asked.csv"  # says no CRS
    asked.write_text('id,kind,wkt\ng1,green,"POLYGON((10 50, 10.001 50, 10.001 50.001, 10 50))"\n')
    with pytest.raises(Refused, match=r"asked\.csv: .*Set up a site of its own with geosand new"):
        against(folder, str(asked))
    broken = tmp_path / "broken.geojson"
    broken.write_text('{"type": "FeatureCollection", "features": [')
    with pytest.raises(Refused, match=r"broken\.geojson: is not JSON"):
        against(folder, str(broken))
    away = [surface(i, "green", square(LON + 0.5, LAT, 20.0)) for i in ("g1", "g2", "t1")]
    other = site_folder("away", surfaces=away[:1], catches=None, loads=None, dressings=None)
    with pytest.raises(Refused, match=r"its surfaces lie about 38 km from those of the same ids"):
        against(folder, str(other))
    strange = [surface("x", "green", square(LON + 0.5, LAT, 20.0))]
    other = site_folder("strange", surfaces=strange, catches=None, loads=None, dressings=None)
    with pytest.raises(Refused, match="no surface of it has an id of this site, or lies where"):
        against(folder, str(other))


def test_all_faults_of_the_other_survey_are_told(folder, tmp_path):
    bad = tmp_path / "bad.geojson"
    features = [surface("a b", "green", square(LON, LAT, 9)), surface(None, None, None)]
    bad.write_bytes(json.dumps(collection(features)).encode())
    with pytest.raises(Refused) as refusal:
        against(folder, str(bad))
    assert len(refusal.value.faults) >= 3


def test_the_other_survey_takes_accuracies_from_the_site(site_folder, tmp_path):
    plain = collection(OLD)
    path = tmp_path / "plain.geojson"
    path.write_bytes(json.dumps(plain).encode())
    rough = TOML.replace("edge_accuracy_m = 0.10", "edge_accuracy_m = 0.40")
    u = []
    for name, toml in (("fine", TOML), ("rough", rough)):
        folder = site_folder(name, toml=toml)
        u.append(against(folder, str(path))[0]["surfaces"][0]["u_difference_m2"])
    lengths = np.hypot(80, 88)
    assert u[1] ** 2 - u[0] ** 2 == pytest.approx((0.4**2 - 0.1**2) * lengths**2, rel=1e-3)
