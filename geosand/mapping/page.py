"""The page: folium makes map, layer groups and layer control, everything else is our own text.

folium compiles what it is given as templates, more than once, so no text of a user's may pass
through it: names stay in the data block and in :class:`Raw` pieces, which are never compiled.
"""

from __future__ import annotations

import base64
import re
from functools import cache
from hashlib import sha256
from html import escape
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlsplit

from geosand.mapping import parts
from geosand.mapping.leaflet import own_asset, read_leaflet
from geosand.mapping.payload import page_data, script_json
from geosand.mapping.table import surface_table
from geosand.mapping.view import MapView
from geosand.mapping.words import THEMES, plain

_SCRIPT = re.compile(r"<script([^>]*)>(.*?)</script>", re.DOTALL)
_HOST = re.compile(r"^(\{s\}\.)?[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*(:\d+)?$")


def map_page(view: MapView) -> str:
    """The whole HTML page of a view, the same bytes each time; write it as UTF-8.

    Raises :class:`geosand.mapping.leaflet.LeafletMissing` where Leaflet is not installed, and
    ValueError where the address of the background tiles is not an https address.
    """
    tiles = tile_host(view.background[0]) if view.background else ""
    folium_pieces = _pieces()
    leaflet = read_leaflet()
    raw = folium_pieces.Raw
    page = folium_pieces.Page(_head(view))
    page.header.add_child(raw(f"<style>{leaflet.style}\n{own_asset('map.css')}</style>"), "style")
    page.header.add_child(raw(f"<script>{leaflet.script}</script>"), "leaflet")
    page.header.add_child(raw(f"<script>{own_asset('map.js')}</script>"), "map")
    page.html.add_child(raw(_before(view)), "before")
    page.add_child(_map(folium_pieces, after=_after(view), passes=bool(view.passes)), "map")
    text: str = page.render()
    return text.replace("%CSP%", _content_policy(text, tiles), 1)


def tile_host(address: str) -> str:
    """The origin of the tiles, for the page's policy; the only place a page may ask.

    >>> tile_host("https://{s}.tiles.example/{z}/{x}/{y}.png")
    'https://*.tiles.example'
    """
    parts_of = urlsplit(address)
    if parts_of.scheme != "https" or not _HOST.match(parts_of.netloc):
        raise ValueError(
            f"background: {address!r} is not an address of map tiles; allowed is "
            "https://host/{z}/{x}/{y}.png (with {s}. before the host where it has subdomains)"
        )
    return "https://" + parts_of.netloc.replace("{s}", "*")


def _head(view: MapView) -> list[str]:
    return [
        '<meta charset="utf-8">',
        '<meta http-equiv="Content-Security-Policy" content="%CSP%">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="referrer" content="no-referrer">',
        '<link rel="icon" href="data:,">',
        f"<title>{escape(plain(view.title))}: sand on turf</title>",
        "<!-- Map drawing by Leaflet, (c) 2010-2023 Vladimir Agafonkin, (c) 2010-2011 CloudMade, "
        "BSD-2-Clause; its notice stands at the head of its script. -->",
    ]


def _before(view: MapView) -> str:
    return (
        f'{parts.masthead(view)}\n<div class="plate"><section class="sheet" aria-label="Map">\n'
        f'{parts.toolbar(view)}\n<div class="frame">'
    )


def _after(view: MapView) -> str:
    data = script_json(page_data(view))
    return (
        f"{parts.still_picture(view)}</div>\n{parts.legend(view)}\n</section>\n"
        f'<main class="side">\n{parts.balances(view)}\n{parts.look_first(view)}\n'
        f"{surface_table(view)}\n{parts.findings(view)}\n"
        f'<p class="caution">{parts.CAUTION}</p>\n'
        '<p class="live" role="status" aria-live="polite" id="gs-live"></p></main></div>\n'
        f'<script type="application/json" id="gs-data">{data}</script>'
    )


def _map(pieces: Any, *, after: str, passes: bool) -> Any:
    """The folium map with one radio group a view, the overlays and the start of our script."""
    import folium

    sand_map = pieces.SandMap(
        location=[0, 0],
        tiles=None,
        zoom_start=16,
        maxZoom=23,
        zoomSnap=0.25,
        zoomDelta=0.5,
        wheelPxPerZoomLevel=110,
        attributionControl=False,
    )
    themes = {
        key: folium.FeatureGroup(name, overlay=False, show=key == "depth")
        for key, name in THEMES.items()
    }
    groups = {key: folium.FeatureGroup(key.capitalize()) for key in ("catches", "names")}
    if passes:
        groups["passes"] = folium.FeatureGroup("Passes", show=False)
    control = folium.LayerControl(collapsed=False)
    start = pieces.Start(themes=themes, groups=groups, control=control, after=after)
    # folium draws ids at random; these are settled, so that the same view gives the same bytes.
    sand_map._id = "sand"
    for key, group in (themes | groups).items():
        group._id = key
    control._id = "views"
    for child in (*themes.values(), *groups.values(), control, start):
        sand_map.add_child(child)
    return sand_map


def _content_policy(page: str, tiles: str) -> str:
    """A policy under which only the page's own scripts run and nothing is fetched."""
    hashes = {
        "'sha256-" + base64.b64encode(sha256(body.encode()).digest()).decode() + "'"
        for kind, body in _SCRIPT.findall(page)
        if "application/json" not in kind
    }
    images = f"data: {tiles}" if tiles else "data:"
    return (
        f"default-src 'none'; script-src {' '.join(sorted(hashes))}; style-src 'unsafe-inline'; "
        f"img-src {images}; base-uri 'none'; form-action 'none'"
    )


@cache
def _pieces() -> SimpleNamespace:
    """Our kinds of folium's elements, made at first use: folium is slow to import."""
    import folium
    from branca.element import Element, Figure, MacroElement
    from folium.template import Template

    class Raw(Element):
        """Text that is written as it is: branca's own Element compiles it as a template."""

        def __init__(self, text: str) -> None:
            super().__init__()
            self._name = "Raw"
            self.text = text

        def render(self, **_: Any) -> str:
            return self.text

    class Page(Figure):
        """A figure with a language, our own head, and its script inside the body."""

        _template = Template(
            '<!DOCTYPE html>\n<html lang="en" class="still">\n<head>\n'
            "{{ this.header.render(**kwargs) }}\n</head>\n<body>\n"
            "{{ this.html.render(**kwargs) }}\n"
            "<script>\n{{ this.script.render(**kwargs) }}\n</script>\n</body>\n</html>\n"
        )

        def __init__(self, head: list[str]) -> None:
            super().__init__()
            self.header._children.clear()
            for index, line in enumerate(head):
                self.header.add_child(Raw(line), f"head{index}")

    class SandMap(folium.Map):
        """A map without links to other hosts and without a locked viewport."""

        default_js: list[tuple[str, str]] = []  # noqa: RUF012
        default_css: list[tuple[str, str]] = []  # noqa: RUF012
        _template = Template(
            "{% macro html(this, kwargs) %}"
            '<div class="map" id="{{ this.get_name() }}" role="region" '
            'aria-label="Map; the table holds the same figures"></div>{% endmacro %}'
            "{% macro script(this, kwargs) %}"
            'var {{ this.get_name() }} = L.map("{{ this.get_name() }}", '
            "{center: {{ this.location|tojson }}, ...{{ this.options|tojavascript }}});"
            "{% endmacro %}"
        )

    class Start(MacroElement):
        """Hands folium's variables to our script, and writes what follows the map."""

        _template = Template(
            "{% macro script(this, kwargs) %}"
            "geosand.start({{ this._parent.get_name() }}, {{ this.control.get_name() }}, "
            "{ {%- for key, group in this.themes.items() %}{{ key }}: {{ group.get_name() }}, "
            "{% endfor -%} }, { {%- for key, group in this.groups.items() %}{{ key }}: "
            "{{ group.get_name() }}, {% endfor -%} });{% endmacro %}"
        )

        def __init__(self, *, themes: Any, groups: Any, control: Any, after: str) -> None:
            super().__init__()  # type: ignore[no-untyped-call]
            self._name = "Start"
            self.themes, self.groups, self.control = themes, groups, control
            self.after = after

        def render(self, **kwargs: Any) -> str:
            super().render(**kwargs)  # type: ignore[no-untyped-call]
            page: Any = self.get_root()
            page.html.add_child(Raw(self.after), "after")
            return ""

    return SimpleNamespace(Raw=Raw, Page=Page, SandMap=SandMap, Start=Start)
