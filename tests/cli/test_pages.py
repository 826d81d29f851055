"""Every page that a verb writes: silent, self-contained, and without a fault that axe-core sees.

axe-core (MPL-2.0) tries the rules of WCAG 2.0 to 2.2, levels A and AA, and best practice.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import axe_playwright_python.base
import pytest
from click.testing import CliRunner

from geosand.cli import main
from tests.sites import SURFACES, surface, write_site

pytestmark = pytest.mark.browser
AXE = Path(axe_playwright_python.base.AXE_FILE_PATH).read_text(encoding="utf-8")
HOSTILE = "</title><script>document.title='ran'</script><img src=http://x.invalid/> {{7*7}} \u202e"
WIDTHS = (1280, 390)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """All pages of a small site with a hostile name on one of its surfaces."""
    place = tmp_path_factory.mktemp("pages")
    first = surface("g1", "green", SURFACES[0]["geometry"], name=HOSTILE)
    site = write_site(place / "set" / "site", surfaces=[first, *SURFACES[1:]])
    names = ("map", "report", "field", "job", "power")
    made = {name: place / f"{name}.html" for name in names}
    for words in (
        ("account", site, "--out", made["map"], "--report", made["report"]),
        ("place", site, "--catches", "3", "--out", made["field"]),
        ("plan", site, "--depth", "1mm", "--job-sheet", made["job"]),
        ("place", site, "--show-power", "--out", made["power"]),
        ("many", place / "set", "--out", place / "many"),
    ):
        end = CliRunner().invoke(main, [str(word) for word in words], catch_exceptions=False)
        assert end.exit_code == 0, end.output
    return made | {"index": place / "many" / "index.html"}


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", ["map", "report", "field", "job", "power", "index"])
def test_page_is_silent_and_has_no_violation(
    chromium: Any, pages: dict[str, Path], name: str, width: int
) -> None:
    asked: list[str] = []
    said: list[str] = []
    context = chromium.new_context(viewport={"width": width, "height": 844}, offline=True)
    page = context.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(pages[name].as_uri())
    policy = page.locator('meta[http-equiv="Content-Security-Policy"]').get_attribute("content")
    assert policy.startswith("default-src 'none'; script-src 'sha256-") or (
        name in ("report", "job", "power") and "script-src 'none'" in policy
    )
    assert page.title() != "ran"
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.evaluate(AXE)
    found = page.evaluate("axe.run({resultTypes: ['violations']})")
    context.close()
    assert len(found["passes"]) > 15
    assert [
        (rule["id"], node["html"]) for rule in found["violations"] for node in rule["nodes"]
    ] == []
    assert asked == [pages[name].as_uri()]
    assert said == []
