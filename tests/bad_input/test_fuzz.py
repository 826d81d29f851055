"""Boundary files with damage: boundaries or a refusal, never a crash, a hang or a flood of memory.

Each case is read in a forked process with a limit on its memory and its time, as a library that
reads the file may not be written in Python. Seeded: the same damage in every run.
"""

from __future__ import annotations

import functools
import json
import resource
import signal
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.bad_input.faults import in_child
from tests.sites import SURFACES, collection

Record = Callable[[str, object], None]
MEMORY_BYTES = 4_000_000_000
SECONDS = 20
ROUNDS = 25
JUNK = (
    b"",
    b"\0",
    b"\xff\xff\xff\xff",
    b"<",
    b'"',
    b"1e400",
    b"nan",
    b"-1",
    b"{" * 40,
    b"[" * 4000,
)


@functools.cache
def _frame():  # type: ignore[no-untyped-def]
    import geopandas

    frame = geopandas.GeoDataFrame.from_features(collection(SURFACES)["features"], crs=4326)
    return frame[["id", "kind", "name", "geometry"]]


def _geojson(path: Path) -> None:
    path.write_text(json.dumps(collection(SURFACES)))


def _shapefile(path: Path) -> None:
    folder = path.parent / "shape"
    folder.mkdir()
    _frame().to_file(folder / "a.shp", engine="pyogrio")
    with zipfile.ZipFile(path, "w") as archive:
        for part in sorted(folder.iterdir()):
            archive.write(part, part.name)


def _shapes(path: Path) -> None:
    """The part of a Shapefile that holds the polygons, alone."""
    _frame().to_file(path.with_name("b.shp"), engine="pyogrio")
    path.write_bytes(path.with_name("b.shp").read_bytes())


def _with_driver(driver: str) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        _frame().to_file(path, driver=driver, engine="pyogrio")

    return write


def _drawing(path: Path) -> None:
    import ezdxf

    drawing = ezdxf.new(units=6)
    for feature in SURFACES:
        ring = np.array(feature["geometry"]["coordinates"][0])
        metres = (ring - ring[0]) * 1e5 + 500_000
        drawing.modelspace().add_lwpolyline(metres.tolist(), close=True, dxfattribs={"layer": "g"})
    drawing.saveas(path)


def _survey(path: Path) -> None:
    lines = ["point,northing,easting,elevation,code"]
    for k, (e, n) in enumerate([(0, 0), (20, 0), (20, 20), (0, 20)], start=1):
        lines.append(f"{k},{5_200_000 + n},{500_000 + e},12.5,green1")
    path.write_text("\n".join(lines))


def _track(path: Path) -> None:
    points = "".join(
        f'<trkpt lat="{lat}" lon="{lon}"><ele>3</ele></trkpt>'
        for lon, lat in SURFACES[0]["geometry"]["coordinates"][0]
    )
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="t" '
        f'xmlns="http://www.topografix.com/GPX/1/1"><trk><name>g</name><trkseg>{points}'
        "</trkseg></trk></gpx>"
    )


WRITERS: dict[str, Callable[[Path], None]] = {
    "a.geojson": _geojson,
    "a.gpkg": _with_driver("GPKG"),
    "a.fgb": _with_driver("FlatGeobuf"),
    "a.kml": _with_driver("KML"),
    "a.gml": _with_driver("GML"),
    "a.zip": _shapefile,
    "a.shp": _shapes,
    "a.dxf": _drawing,
    "a.csv": _survey,
    "a.gpx": _track,
}


def damaged(rng: np.random.Generator, content: bytes) -> bytes:
    """One to four cuts, insertions, swaps or flipped bytes."""
    data = bytearray(content)
    for _ in range(int(rng.integers(1, 5))):
        start = int(rng.integers(0, len(data) + 1))
        stop = min(len(data), start + int(rng.integers(0, 40)))
        what = rng.integers(4)
        if what == 0:
            data[start:stop] = JUNK[int(rng.integers(len(JUNK)))]
        elif what == 1:
            data[start:stop] = rng.bytes(stop - start)
        elif what == 2:
            del data[start:]
        else:
            data[start:start] = data[start:stop] * int(rng.integers(1, 30))
        if not data:
            break
    return bytes(data)


def limits() -> None:
    """No more memory and no more time than a reader may take."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    signal.alarm(SECONDS)


@pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
@pytest.mark.parametrize("name", WRITERS)
def test_damaged_boundaries_are_read_or_refused(
    name: str, tmp_path: Path, record_property: Record
) -> None:
    from geosand.errors import Refused
    from geosand.formats.boundaries.read import read_boundaries

    path = tmp_path / name
    WRITERS[name](path)
    sound = path.read_bytes()
    seed = sum(name.encode())
    crs = "EPSG:32630" if name in ("a.csv", "a.dxf") else None

    def read(content: bytes) -> Callable[[], None]:
        def act() -> None:
            path.write_bytes(content)
            try:
                read_boundaries(path, crs=crs)
            except Refused as problem:
                assert str(problem).replace("\n", "").isprintable()
                assert str(tmp_path) not in str(problem)

        return act

    assert in_child(read(sound), limits, tmp_path / "said") == 0, (tmp_path / "said").read_text()
    for round_ in range(ROUNDS):
        rng = np.random.default_rng([seed, round_])
        code = in_child(read(damaged(rng, sound)), limits, tmp_path / "said")
        assert code == 0, f"round {round_}: {code}\n{(tmp_path / 'said').read_text()}"
        record_property("fault injected", "damaged boundary file")
