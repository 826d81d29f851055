"""GML as land registries and older services write it: old names of CRS, two geometries, arcs."""

import math

import geopandas
import pyproj
import pytest
import shapely

from geosand.areas.crosscheck import grid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob, to_lon_lat

X, Y = 560_000, 5_906_000
GREEN = blob(0, 0, 13)
SRS = 'srsName="urn:ogc:def:crs:EPSG::25832"'


def places(shape, joint=" "):
    return " ".join(f"{x!r}{joint}{y!r}" for x, y in shapely.get_coordinates(shape).tolist())


def outline(shape=GREEN, srs=SRS):
    ring = f"<gml:LinearRing><gml:posList>{places(shape)}</gml:posList></gml:LinearRing>"
    return f"<gml:Polygon {srs}><gml:exterior>{ring}</gml:exterior></gml:Polygon>"


@pytest.fixture
def read(tmp_path):
    def reading(properties):
        """Features of one layer, each given by its properties."""
        members = "".join(
            f"<gml:featureMember><a:parcel><a:kind>green</a:kind>{p}</a:parcel></gml:featureMember>"
            for p in properties
        )
        (tmp_path / "a.gml").write_text(
            '<?xml version="1.0"?><gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml" '
            f'xmlns:a="urn:a">{members}</gml:FeatureCollection>'
        )
        return read_boundaries(tmp_path / "a.gml")

    return reading


def transformed(shape, code):
    move = pyproj.Transformer.from_crs(UTM, code, always_xy=True)
    return shapely.transform(shape, move.transform, interleaved=False)


def areas(found):
    return grid_areas_m2(found.features.geometry, UTM)


@pytest.mark.parametrize(("code", "shape"), [(25832, GREEN), (4326, to_lon_lat(GREEN))])
def test_the_names_of_gml_2_go_with_east_before_north(read, code, shape):
    """As in GML 2.1.2 (OGC 02-069), where lon/lat of EPSG 4326 is written longitude first."""
    name = f'srsName="http://www.opengis.net/gml/srs/epsg.xml#{code}"'
    ring = f"<gml:coordinates>{places(shape, ',')}</gml:coordinates>"
    ring = f"<gml:outerBoundaryIs><gml:LinearRing>{ring}</gml:LinearRing></gml:outerBoundaryIs>"
    found = read([f"<a:geom><gml:Polygon {name}>{ring}</gml:Polygon></a:geom>"])
    assert areas(found) == pytest.approx([GREEN.area], abs=1e-3)


@pytest.mark.parametrize("srs", [SRS, ""])
@pytest.mark.parametrize("last", [True, False])
def test_a_point_beside_an_outline_hides_no_surface(read, srs, last):
    """Parcels of INSPIRE have a referencePoint after their geometry: D2.8.I.6 (from memory)."""
    point = f"<a:ref><gml:Point {srs}><gml:pos>{X} {Y}</gml:pos></gml:Point></a:ref>"
    geometry = f"<a:geom>{outline()}</a:geom>"
    found = read([geometry + point if last else point + geometry])
    assert areas(found) == pytest.approx([GREEN.area], abs=1e-3)
    said = "1 feature has a point beside an outline: the outline is taken"
    assert (said in [f.text for f in found.findings]) == last
    assert found.tally.left_out == ()


def test_an_element_that_comes_twice_is_a_list(read):
    """As national agencies write them: each reason for a change."""
    changed = "".join(f"<a:reason>{word}</a:reason>" for word in ("Attributes", "Reclassified"))
    found = read([outline() + changed, outline(blob(60, 0, 9)) + "<a:reason>New</a:reason>"])
    assert areas(found) == pytest.approx([GREEN.area, blob(60, 0, 9).area], rel=1e-6)
    assert [row["reason"] for row in found.features.attributes] == [
        '["Attributes", "Reclassified"]',
        "New",
    ]


def test_points_by_themselves_stay_points(read):
    point = f"<a:geom><gml:Point {SRS}><gml:pos>{X} {Y}</gml:pos></gml:Point></a:geom>"
    found = read([f"<a:geom>{outline()}</a:geom>", point])
    assert len(found.features) == 1
    assert [item.reason for item in found.tally.left_out] == ["a point"]


def test_circles_keep_their_area_to_a_millionth(read):
    """π r², in the plan: chords of 0.12° leave out θ²/6 of it, 0.73 ppm."""
    arc = (
        f"<gml:Curve {SRS}><gml:segments><gml:CircleByCenterPoint numArc='1'><gml:pos>{X} {Y}"
        "</gml:pos><gml:radius uom='m'>250</gml:radius></gml:CircleByCenterPoint></gml:segments>"
        "</gml:Curve>"
    )
    ring = f"<gml:Ring><gml:curveMember>{arc}</gml:curveMember></gml:Ring>"
    shape = f"<gml:Polygon {SRS}><gml:exterior>{ring}</gml:exterior></gml:Polygon>"
    (found,) = areas(read([f"<a:geom>{shape}</a:geom>"]))
    assert found == pytest.approx(math.pi * 250**2, rel=1e-6)


def test_a_schema_that_names_the_point_first_hides_nothing_either(read, tmp_path):
    (tmp_path / "a.gfs").write_text(
        "<GMLFeatureClassList><GMLFeatureClass><Name>parcel</Name><ElementPath>parcel</ElementPath>"
        "<GeometryName>ref</GeometryName><GeometryElementPath>ref</GeometryElementPath>"
        "<GeometryType>1</GeometryType></GMLFeatureClass></GMLFeatureClassList>"
    )
    point = f"<a:ref><gml:Point {SRS}><gml:pos>{X} {Y}</gml:pos></gml:Point></a:ref>"
    found = read([f"<a:geom>{outline()}</a:geom>{point}"])
    assert areas(found) == pytest.approx([GREEN.area], abs=1e-3)


def test_a_crs_that_nobody_knows_is_asked(read):
    with pytest.raises(Refused, match="does not say in which coordinate reference system"):
        read([f"<a:geom>{outline(srs='')}</a:geom>"])


def test_outlines_of_one_layer_in_several_systems(read):
    other = outline(to_lon_lat(GREEN), 'srsName="EPSG:4326"')
    with pytest.raises(Refused) as refusal:
        read([f"<a:geom>{outline()}</a:geom>", f"<a:geom>{other}</a:geom>"])
    (fault,) = refusal.value.faults
    assert fault.found == "outlines of one layer are in several reference systems: EPSG 25832, 4326"
    assert fault.remedy == "export those of each system by themselves"


@pytest.mark.parametrize("name", ["osm.gml", "gpx.gml", "course.kml"])
def test_the_outermost_element_says_the_format_not_a_layer_or_an_ending(tmp_path, name):
    frame = geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[GREEN], crs=UTM)
    frame.to_file(tmp_path / "a.gml", driver="GML", layer=name[:3])
    text = (tmp_path / "a.gml").read_text().replace("?>", "?>\n<!-- a course -->", 1)
    (tmp_path / name).write_text(text)
    assert read_boundaries(tmp_path / name).features.kind.tolist() == ["green"]


@pytest.mark.parametrize(
    ("name", "code"),
    [("ETRS89_UTM32", 25832), ("DE_DHDN_3GK3", 31467), ("DE_DHDN_3GK3_NI000", 31467)],
)
def test_the_names_of_german_land_registers(read, name, code):
    """GeoInfoDok names CRS so, and writes east before north."""
    shape = transformed(GREEN, code)
    found = read(
        [f"<a:geom>{outline(shape, f'srsName={chr(34)}urn:adv:crs:{name}{chr(34)}')}</a:geom>"]
    )
    lon_lat = to_lon_lat(GREEN)
    apart = shapely.distance(shapely.centroid(found.features.geometry[0]), lon_lat.centroid)
    assert apart < 1e-4  # degrees: about 10 m, what the datum shift may be off
    assert areas(found) == pytest.approx([GREEN.area], rel=5e-4)
