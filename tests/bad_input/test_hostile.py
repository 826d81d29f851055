"""Files made to do harm: names that run, formulas, archives that grow, entities, calls for the net.

The patterns are those of the OWASP pages on XSS and CSV injection and of the XML and zip attacks
that the Python documentation lists for xml and zipfile; the files are made here.
"""

from __future__ import annotations

import csv
import io
import json
import re
import threading
import unicodedata
import zipfile
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from tests.bad_input.test_corpus import digests, run
from tests.sites import CATCHES, DRESSINGS, G1, SURFACES, collection, square, surface, write_site

Record = Callable[[str, object], None]

NAMES = {
    "markup": "<img src=x onerror=document.title='x'>",
    "script": "</script><script>document.title='x'</script>",
    "template": "{{ 7*7 }} {% raw %} ${7*7} `${alert(1)}`",
    "quotes": "\"' onmouseover='document.title=1",
    "path": "../../../../etc/passwd",
    "turned round": "abc\u202egnp.exe",
    "escape": "a[31mred[/31m] [link=http://x]y[/link]",
    "formula": '=HYPERLINK("http://x","y")',
    "command": "@SUM(1+1)*cmd|' /C calc'!A0",
    "plus": "+1+1",
    "minus": "-2+3",
    "tab": "\t=1+1",
    "line separator": "a\u2028b\u2029c",
    "without width": "a\u200b\u200d\ufeffb",
    "comment": "<!-- ]]> -->",
}


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A valid site whose every free text is one of the names, one surface a name."""
    names = list(NAMES.values())
    surfaces = [
        surface(f"h{k}", "green", square(G1[0] + 0.0006 * k, G1[1] + 0.0008, 20.0), name=name)
        for k, name in enumerate(names)
    ]
    dressings = DRESSINGS.replace("swath_m", "swath_m,spreader,setting,note").splitlines()
    line = io.StringIO()
    csv.writer(line, lineterminator="\n").writerow(
        [*dressings[1].split(","), NAMES["script"], NAMES["formula"], NAMES["template"]]
    )
    catches = [{**row, "note": "<b>"} for row in CATCHES]
    return write_site(
        tmp_path / "site",
        surfaces=[*SURFACES, *surfaces],
        dressings=dressings[0] + "\n" + line.getvalue(),
        catches=catches,
    )


PRINTED = {
    "check": ("check", "{site}"),
    "areas": ("areas", "{site}"),
    "balance": ("balance", "{site}"),
    "witness": ("balance", "{site}", "--witness"),
    "season": ("season", "{site}", "--rings"),
    "plan": ("plan", "{site}", "--to-target"),
    "account": ("account", "{site}", "--out", "{out}/map.html"),
}


@pytest.mark.parametrize("verb", PRINTED)
def test_nothing_turns_or_colours_the_terminal(
    verb: str, site: Path, tmp_path: Path, record_property: Record
) -> None:
    shown = run(*(word.format(site=site, out=tmp_path / "out") for word in PRINTED[verb]))
    assert shown.exit_code == 0, shown.stderr
    odd = {c for c in shown.output if unicodedata.category(c) in ("Cc", "Cf", "Cs")} - {"\n"}
    assert not odd
    record_property("bad input", "hostile")


class Elements(HTMLParser):
    """Tags and attributes of a page, to find what a name may have put there."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attributes)))


PAGES = {
    "map": ("map", "{site}", "--out", "{out}/page.html"),
    "field sheet": ("place", "{site}", "--catches", "2", "--out", "{out}/page.html"),
    "job sheet": ("plan", "{site}", "--to-target", "--job-sheet", "{out}/page.html"),
    "plan's map": ("plan", "{site}", "--to-target", "--map", "{out}/page.html"),
    "report": ("account", "{site}", "--out", "{out}/m.html", "--report", "{out}/page.html"),
    "power": ("place", "{site}", "--show-power", "--out", "{out}/page.html"),
}


@pytest.mark.parametrize("page", PAGES)
def test_names_stay_text_in_pages(
    page: str, site: Path, tmp_path: Path, record_property: Record
) -> None:
    """The browser tests open them; here no name reaches the markup at all."""
    made = run(*(word.format(site=site, out=tmp_path / "out") for word in PAGES[page]))
    assert made.exit_code == 0, made.stderr
    text = (tmp_path / "out" / "page.html").read_text()
    for tag, attributes in Elements(text).found:
        assert tag != "img" or "onerror" not in attributes
        assert not any(name.startswith("on") for name in attributes), (tag, attributes)
    assert "<img src=x" not in text
    assert text.lower().count("</script>") == text.lower().count("<script")
    assert "Content-Security-Policy" in text
    assert "default-src 'none'" in text
    record_property("bad input", "hostile")


def _spreadsheet_formula(cell: str) -> bool:
    return cell[:1] in tuple("=+-@\t\r") and not re.fullmatch(r"[+-]?[\d.]+(e[+-]?\d+)?", cell)


def test_no_formula_reaches_a_csv_file(site: Path, tmp_path: Path, record_property: Record) -> None:
    path = tmp_path / "areas.csv"
    assert run("areas", site, "--out", path).exit_code == 0
    rows = list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines()))
    assert not [cell for row in rows for cell in row if _spreadsheet_formula(cell)]
    assert any("HYPERLINK" in cell for row in rows for cell in row), "the name is still there"
    record_property("bad input", "hostile")


def test_no_formula_reaches_a_workbook(site: Path, tmp_path: Path, record_property: Record) -> None:
    from openpyxl import load_workbook

    path = tmp_path / "areas.xlsx"
    assert run("areas", site, "--out", path).exit_code == 0
    cells = [c for sheet in load_workbook(path) for row in sheet.iter_rows() for c in row]
    assert not [c.coordinate for c in cells if c.data_type == "f"]
    assert any("HYPERLINK" in str(c.value) for c in cells), "the name is still there"
    record_property("bad input", "hostile")


LONG = "x" * 300
LONG_NAMES = {
    "a site": ("check", LONG),
    "a site beneath": ("account", f"{LONG}/{LONG}"),
    "a new site": ("new", LONG),
    "a boundary file": ("bring", LONG, "--into", "{site}", "--valid-from", "2026-07-01"),
    "an older survey": ("areas", "{site}", "--against", LONG),
    "claimed areas": ("areas", "{site}", "--claimed", LONG),
    "a result": ("map", "{site}", "--out", f"{{out}}/{LONG}.html"),
    "a set": ("many", LONG, "--out", "{out}"),
}


@pytest.mark.parametrize("name", LONG_NAMES)
def test_a_name_that_no_system_takes_is_told(
    name: str, site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, record_property: Record
) -> None:
    monkeypatch.chdir(tmp_path)
    end = run(*(w.format(site=site, out=tmp_path / "out") for w in LONG_NAMES[name]))
    assert end.exit_code == 1
    assert "did not foresee" not in end.stderr
    record_property("bad input", "hostile")


def test_a_name_as_long_as_a_system_takes_can_be_written(
    site: Path, tmp_path: Path, record_property: Record
) -> None:
    path = tmp_path / f"{'y' * 250}.html"
    assert run("map", site, "--out", path).exit_code == 0
    assert [p.name for p in tmp_path.iterdir() if p.is_file()] == [path.name]
    record_property("bad input", "hostile")


def test_stock_is_not_called_counted_twice_where_no_sand_is_known(
    tmp_path: Path, record_property: Record
) -> None:
    """Two sands of one day are no doubles because site.toml can not be read."""
    site = write_site(
        tmp_path / "site",
        toml="name = ",
        deliveries="date,kind,mass_kg,sand\n2026-05-01,count,800,a\n2026-05-01,count,900,b\n",
    )
    end = run("check", site)
    assert end.exit_code == 1
    assert "1 thing is wrong" in end.stderr
    record_property("bad input", "refused")


# archives and markup languages --------------------------------------------------------------


KML = """<?xml version="1.0" encoding="UTF-8"?>{doctype}
<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{more}<Placemark><name>{name}</name>
<Polygon><outerBoundaryIs><LinearRing><coordinates>
-30,47 -29.9997,47 -29.9997,47.0002 -30,47.0002 -30,47
</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"""
ENTITY = '<!DOCTYPE kml [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
LAUGHS = (
    '<!DOCTYPE kml [<!ENTITY a "ha ha ha ha ha">'
    + "".join(
        f'<!ENTITY {b} "{f"&{a};" * 20}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True)
    )
    + "]>"
)


def _zip(**files: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return stream.getvalue()


def _kml(doctype: str = "", name: str = "green", more: str = "") -> str:
    return KML.format(doctype=doctype, name=name, more=more)


GPX = """<?xml version="1.0"?>{doctype}<gpx version="1.1" creator="t"
xmlns="http://www.topografix.com/GPX/1/1"><trk><name>{name}</name><trkseg>
<trkpt lat="47" lon="-30"/><trkpt lat="47" lon="-29.9997"/><trkpt lat="47.0002" lon="-29.9997"/>
<trkpt lat="47" lon="-30"/></trkseg></trk></gpx>"""

HOSTILE = {
    "entity.kml": _kml(ENTITY, "&a;").encode(),
    "laughs.kml": _kml(LAUGHS, "&i;").encode(),
    "entity.gpx": GPX.format(doctype=ENTITY, name="&a;").encode(),
    "laughs.gpx": GPX.format(doctype=LAUGHS, name="&i;").encode(),
    "laughs.gml": _kml(LAUGHS, "&i;").replace("kml", "gml").encode(),
    "up.kmz": _zip(**{"../../doc.kml": _kml().encode()}),
    "absolute.kmz": _zip(**{"/etc/doc.kml": _kml().encode()}),
    "backslash.zip": _zip(**{"..\\..\\doc.shp": b"x"}),
    "bomb.kmz": _zip(**{"doc.kml": b" " * 300_000_000}),
    "many.zip": _zip(**{f"{n}.txt": b"" for n in range(20_000)}),
    "nested.zip": _zip(**{"inner.zip": _zip(**{"inner.zip": _zip(**{"a.kml": _kml().encode()})})}),
    "cut.kmz": _zip(**{"doc.kml": _kml().encode()})[:-30],
    "empty.kmz": _zip(),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_archives_and_entities_are_refused(
    name: str, tmp_path: Path, record_property: Record
) -> None:
    path = tmp_path / name
    path.write_bytes(HOSTILE[name])
    target = tmp_path / "in" / "site"
    target.parent.mkdir()
    before = digests(tmp_path)

    end = run("new", target, "--boundaries", path, "--one-kind", "green")

    assert end.exit_code == 1, end.output
    assert name in end.stderr
    assert "/tmp" not in end.stderr
    assert Path("/etc/hostname").read_text().strip() not in end.output
    assert digests(tmp_path) == before
    record_property("bad input", "hostile")


# the net ------------------------------------------------------------------------------------


@pytest.fixture
def server() -> Iterator[tuple[str, list[str]]]:
    """A server on this machine that notes what is asked of it."""
    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *_: object) -> None:
            pass

    found = HTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=found.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{found.server_port}", asked
    found.shutdown()
    found.server_close()


def _calls(address: str) -> dict[str, str]:
    geojson = json.dumps(
        collection(SURFACES, crs={"type": "link", "properties": {"href": f"{address}/crs"}})
    )
    link = f"<NetworkLink><Link><href>{address}/more.kml</href></Link></NetworkLink>"
    style = f"<styleUrl>{address}/style.kml#s</styleUrl>"
    return {
        "link.kml": _kml(more=link),
        "style.kml": _kml(more=style),
        "dtd.kml": _kml(f'<!DOCTYPE kml SYSTEM "{address}/kml.dtd">'),
        "entity.kml": _kml(f'<!DOCTYPE kml [<!ENTITY a SYSTEM "{address}/x">]>', "&a;"),
        "schema.gml": (
            '<gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml" '
            'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" '
            f'xsi:schemaLocation="http://x {address}/schema.xsd"><gml:featureMember><a:g '
            'xmlns:a="http://x"><a:geometry><gml:Polygon srsName="EPSG:4326"><gml:exterior>'
            "<gml:LinearRing><gml:posList>47 -30 47 -29.9997 47.0002 -29.9997 47 -30</gml:posList>"
            "</gml:LinearRing></gml:exterior></gml:Polygon></a:geometry></a:g></gml:featureMember>"
            "</gml:FeatureCollection>"
        ),
        "crs.geojson": geojson,
        "source.vrt": (
            f"<OGRVRTDataSource><OGRVRTLayer name='a'><SrcDataSource>{address}/a.geojson"
            "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
        ),
        "vrt.gml": (
            f"<OGRVRTDataSource><OGRVRTLayer name='a'><SrcDataSource>/vsicurl/{address}/a.geojson"
            "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
        ),
    }


@pytest.mark.parametrize("name", _calls(""))
def test_no_file_makes_geosand_call_the_net(
    name: str, tmp_path: Path, server: tuple[str, list[str]], record_property: Record
) -> None:
    address, asked = server
    path = tmp_path / name
    path.write_text(_calls(address)[name])
    end = run("new", tmp_path / "site", "--boundaries", path, "--one-kind", "green")
    assert end.exit_code in (0, 1)
    assert asked == []
    record_property("bad input", "hostile")


@pytest.mark.parametrize("verb", {**PRINTED, **PAGES})
def test_no_verb_opens_a_connection(
    verb: str, site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import socket

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a connection was opened")

    for name in ("connect", "connect_ex", "sendto"):
        monkeypatch.setattr(socket.socket, name, refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    words = {**PRINTED, **PAGES}[verb]
    assert run(*(w.format(site=site, out=tmp_path / "out") for w in words)).exit_code == 0
