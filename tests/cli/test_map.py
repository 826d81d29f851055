"""``geosand map``: the optional background of the user's own choice."""

from __future__ import annotations

import re

import pytest
from click.testing import CliRunner

from geosand.cli import main
from tests import sites

DEMO = str(sites.DEMO)
TILES = "https://{s}.tiles.example/{z}/{x}/{y}.png"


def run(*arguments):
    return CliRunner().invoke(main, ["map", DEMO, *arguments])


def policy(path):
    return re.search(r'Content-Security-Policy" content="([^"]*)"', path.read_text("utf-8"))[1]


def test_without_an_address_the_page_may_ask_nobody(tmp_path):
    path = tmp_path / "map.html"
    result = run("--out", str(path))
    assert result.exit_code == 0, result.output
    assert result.output.splitlines() == [f"Map: {path}"]
    assert "img-src data:;" in policy(path)
    assert "http" not in policy(path)


def test_a_background_opens_the_page_for_its_host_only_and_is_credited(tmp_path):
    path = tmp_path / "map.html"
    result = run("--out", str(path), "--tiles", TILES, "--tiles-credit", "Tiles {{ 7*7 }} <b>")
    assert result.exit_code == 0, result.output
    assert "sends the place you look at to Tiles {{ 7*7 }} <b>" in result.output
    assert "img-src data: https://*.tiles.example;" in policy(path)
    assert "Tiles {{ 7*7 }} \\u003cb\\u003e" in path.read_text("utf-8")
    assert run("--out", str(path), "--tiles", TILES).exit_code == 0
    assert '"tiles.example"]' in path.read_text("utf-8")


@pytest.mark.parametrize("bad", ["http://tiles.example/{z}/{x}/{y}.png", "https://tiles.example/a"])
def test_an_address_that_is_none_ends_with_2_and_says_the_form(tmp_path, bad):
    result = run("--out", str(tmp_path / "map.html"), "--tiles", bad)
    assert result.exit_code == 2
    said = re.sub(r"\s+", " ", result.output)
    assert "allowed is https://host/{z}/{x}/{y}.png" in said
    assert not (tmp_path / "map.html").exists()


def test_a_credit_without_an_address_is_wrong_usage(tmp_path):
    result = run("--tiles-credit", "somebody")
    assert result.exit_code == 2
    assert "--tiles-credit goes with --tiles" in result.output
