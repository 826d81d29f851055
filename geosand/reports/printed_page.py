"""Self-contained HTML pages: own style and script by their hashes, no network, no templates."""

from __future__ import annotations

import base64
import json
from hashlib import sha256
from html import escape
from importlib.resources import files
from typing import Any


def asset(name: str, package: str = "geosand.reports") -> str:
    """Text of a file in the assets of a package."""
    return files(package).joinpath("assets", name).read_text(encoding="utf-8")


def page(*, title: str, body: str, style: str, script: str = "", data: Any = None) -> str:
    """A whole page; ``body`` is HTML already escaped, ``data`` goes into a JSON block ``#data``.

    Its policy lets nothing run or load but the given style and script.
    """
    block = (
        "" if data is None else f'<script type="application/json" id="data">{_json(data)}</script>'
    )
    run = f"<script>{script}</script>" if script else ""
    allowed = hashed(script) if script else "'none'"
    policy = (
        f"default-src 'none'; script-src {allowed}; style-src {hashed(style)}; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="referrer" content="no-referrer">\n<link rel="icon" href="data:,">\n'
        f"<title>{escape(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n"
        f"{body}{block}{run}\n</body>\n</html>\n"
    )


def hashed(text: str) -> str:
    """A script or style as a policy names it."""
    return "'sha256-" + base64.b64encode(sha256(text.encode()).digest()).decode() + "'"


def _json(data: Any) -> str:
    """JSON that can not end its script element: markup signs are written as escapes."""
    text = json.dumps(data, ensure_ascii=True, allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
