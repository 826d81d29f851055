"""KML of squares in a row, as text and as files."""

import shapely

from .conftest import LAT, LON


def square(k, size=0.0002):
    return shapely.box(LON + k * 0.001, LAT, LON + k * 0.001 + size, LAT + size)


def ring_text(shape):
    return " ".join(f"{x!r},{y!r},41.0" for x, y in shapely.get_coordinates(shape).tolist())


def placemark(name, shape, extra=""):
    return (
        f"<Placemark><name>{name}</name>{extra}<Polygon><outerBoundaryIs><LinearRing><coordinates>"
        f"{ring_text(shape)}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>"
    )


def kml(tmp_path, body):
    path = tmp_path / "traced.kml"
    head = '<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2">'
    path.write_text(f"{head}<Document><name>Course</name>{body}</Document></kml>", "utf-8")
    return path
