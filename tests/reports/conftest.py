"""A browser for the pages of the reports."""

from __future__ import annotations

import pytest


@pytest.fixture
def browser_page(chromium, tmp_path):
    """Opens a text from a file at a width, without network; at the end it must have been quiet."""
    opened, noise = [], []

    def start(text, width):
        file = tmp_path / "page.html"
        file.write_text(text, encoding="utf-8")
        context = chromium.new_context(viewport={"width": width, "height": 800}, offline=True)
        opened.append(context)
        page = context.new_page()
        page.on("request", lambda r: r.url == file.as_uri() or noise.append(r.url))
        page.on("console", lambda m: noise.append(m.text))
        page.goto(file.as_uri())
        return page

    yield start
    for context in opened:
        context.close()
    assert noise == []
