"""The page: folium makes map, layer groups and layer control, everything else is our own text.

folium compiles what it is given as templates, more than once, so no text of a user's may pass
through it: names stay in the data block and in raw pieces, which are never compiled.
"""

from __future__ import annotations

import re
from html import escape
from typing import Any
from urllib.parse import urlsplit

import numpy as np

from geosand.mapping import parts
from geosand.mapping.elements import map_class, page_class, raw_class, start_class
from geosand.mapping.leaflet import read_leaflet
from geosand.mapping.payload import page_data, script_json
from geosand.mapping.still import still_picture
from geosand.mapping.table import column_style, surface_table
from geosand.mapping.view import MapView
from geosand.mapping.words import THEMES, plain
from geosand.reports.printed_page import asset, hashed

#: Our script, in the order in which its parts are read.
SCRIPTS = (
    *("words.js", "site.js", "colours.js", "drawing.js", "cells.js", "screen.js"),
    *("brief.js", "labels.js"),
    *("furniture.js", "account.js", "ledger.js", "chart.js", "card.js", "opening.js", "legend.js"),
    *("printing.js", "map.js"),
)
MAP_OPTIONS: dict[str, Any] = {
    "maxZoom": 23,
    "zoomSnap": 0.25,
    "zoomDelta": 0.5,
    "wheelPxPerZoomLevel": 110,
    "attributionControl": False,
    # Names do not ride along while a zoom moves, and a second press would be lost in it.
    "zoomAnimation": False,
    "fadeAnimation": False,
    "markerZoomAnimation": False,
}
_HOST = re.compile(r"^(\{s\}\.)?[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*(:\d+)?$")


def map_page(view: MapView) -> str:
    """The whole HTML page of a view, the same bytes each time; write it as UTF-8.

    Raises :class:`geosand.mapping.leaflet.LeafletMissing` where Leaflet is not installed, and
    ValueError where the address of the background tiles is not an https address.
    """
    tiles = tile_host(view.background[0]) if view.background else ""
    leaflet_script, leaflet_style = read_leaflet()
    raw, page = raw_class(), page_class()(_head(view))
    own_script = "\n".join(bare(asset(name, "geosand.mapping")) for name in SCRIPTS)
    style = "\n".join((leaflet_style, bare(asset("map.css", "geosand.mapping")), column_style()))
    page.header.add_child(raw(f"<style>{style}</style>"), "style")
    page.header.add_child(raw(f"<script>{leaflet_script}</script>"), "leaflet")
    page.header.add_child(raw(f"<script>{own_script}</script>"), "map")
    page.html.add_child(raw(_before(view)), "before")
    page.add_child(_map(after=_after(view), passes=bool(view.passes)), "map")
    text: str = page.render()
    return text.replace("%CSP%", _content_policy(text, tiles), 1)


def bare(text: str) -> str:
    """A script or style sheet without indents and lines of remarks.

    No text of ours runs over the end of a line, so nothing but layout is lost.

    >>> bare("a {\\n  /* why */\\n  b: c;\\n}\\n")
    'a {\\nb: c;\\n}'
    """
    lines = (
        line.strip() for line in re.sub(r"(?m)^ */\*.*?\*/\n", "", text, flags=re.S).split("\n")
    )
    return "\n".join(line for line in lines if line and not line.startswith("//"))


def tile_host(address: str) -> str:
    """The origin of the tiles, for the page's policy; the only place a page may ask.

    Raises ValueError for what is no https address with all of {z}, {x} and {y}.

    >>> tile_host("https://{s}.tiles.example/{z}/{x}/{y}.png")
    'https://*.tiles.example'
    """
    parts_of = urlsplit(address)
    whole = all(mark in parts_of.path for mark in ("{z}", "{x}", "{y}"))
    if parts_of.scheme != "https" or not _HOST.match(parts_of.netloc) or not whole:
        raise ValueError(
            f"{address!r} is not an address of map tiles; allowed is "
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
    return (  # #gs-layers: where the script puts folium's layer control
        f'{parts.masthead(view)}\n<div class="plate"><section class="sheet" aria-label="Map">\n'
        '<div class="toolbar"><div id="gs-layers"></div></div>\n<div class="frame">'
    )


def _after(view: MapView) -> str:
    data = script_json(page_data(view))
    return (
        f"{still_picture(view)}</div>\n{parts.legend(view)}\n</section>\n"
        f'<main class="side">\n{parts.balance_of(view)}\n{parts.look_first(view)}\n'
        f"{surface_table(view)}\n{parts.findings(view)}\n"
        f'<p class="caution">{parts.CAUTION}</p>\n'
        '<p class="live" role="status" aria-live="polite" id="gs-live"></p></main></div>\n'
        f'<script type="application/json" id="gs-data">{data}</script>'
    )


def _map(*, after: str, passes: bool) -> Any:
    """The folium map with one radio group a view, the overlays and the start of our script."""
    import folium

    # of a list folium asks whether it is a frame, for which it loads pandas
    middle = np.zeros(2)
    sand_map = map_class()(location=middle, tiles=None, zoom_start=16, **MAP_OPTIONS)
    themes = {
        key: folium.FeatureGroup(name, overlay=False, show=key == "depth")
        for key, name in THEMES.items()
    }
    groups = {"names": folium.FeatureGroup("Names"), "catches": folium.FeatureGroup("Catch points")}
    if passes:
        groups["passes"] = folium.FeatureGroup("Passes")
    control = folium.LayerControl(collapsed=False)
    start = start_class()(themes=themes, groups=groups, control=control, after=after)
    # folium draws ids at random; these are settled, so that the same view gives the same bytes.
    sand_map._id = "sand"
    for prefix, layers in (("view", themes), ("overlay", groups)):
        for key, group in layers.items():
            group._id = f"{prefix}_{key}"
    control._id = "views"
    for child in (*themes.values(), *groups.values(), control, start):
        sand_map.add_child(child)
    return sand_map


def _content_policy(page: str, tiles: str) -> str:
    """A policy under which only the page's own scripts run and nothing is fetched."""
    hashes = set()
    for element in page.split("<script")[1:]:
        kind, _, rest = element.partition(">")
        if "application/json" not in kind:
            hashes.add(hashed(rest.partition("</script>")[0]))
    images = f"data: {tiles}" if tiles else "data:"
    return (
        f"default-src 'none'; script-src {' '.join(sorted(hashes))}; style-src 'unsafe-inline'; "
        f"img-src {images}; base-uri 'none'; form-action 'none'"
    )
