"""How verbs end: refusals, what was not foreseen, what a person broke off."""

from __future__ import annotations

import json

import click
import pytest
from click.testing import CliRunner

from geosand.cli import main
from geosand.cli.options import verb
from tests.sites import DEMO


def _ends(problem: BaseException) -> click.testing.Result:
    def function(**options: object) -> None:
        raise problem

    return CliRunner().invoke(verb(function), ["anywhere"])


def test_what_was_not_foreseen_is_said_without_a_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("GEOSAND_TRACEBACK")
    end = _ends(ZeroDivisionError("no\x1b[31m way"))
    assert end.exit_code == 1
    assert end.stdout == ""
    assert (
        "geosand met something that it did not foresee (ZeroDivisionError: no·[31m way)"
        in end.stderr
    )
    assert "a fault of the program, not of your data" in end.stderr


def test_it_is_raised_where_somebody_looks_for_it() -> None:
    assert isinstance(_ends(ZeroDivisionError()).exception, ZeroDivisionError)


def test_out_of_memory() -> None:
    end = _ends(MemoryError())
    assert end.exit_code == 1
    assert "not enough memory" in end.stderr


def test_wrong_usage_keeps_its_code() -> None:
    assert _ends(click.UsageError("no")).exit_code == 2


@pytest.mark.parametrize(
    ("words", "option"),
    [
        ("place nowhere --catches 2 --out a.geojson --out b.gpx", "--out"),
        ("place nowhere --catches 2 --ring 0.3m --ring 1m", "--ring"),
        ("plan nowhere --depth 1mm --units us --depth=2mm", "--depth"),
        ("new nowhere --near 1 2 --near 3 4", "--near"),
        ("bring a b --into a --into b --valid-from 2026-05-01", "--into"),
        ("many nowhere --chunk 2 --chunk 3", "--chunk"),
    ],
)
def test_of_an_option_that_is_given_twice_none_is_left_out_unsaid(words: str, option: str) -> None:
    end = CliRunner().invoke(main, words.split())
    assert end.exit_code == 2
    assert f"{option} is given twice: say which one counts" in end.stderr


def test_lists_and_switches_may_be_given_twice() -> None:
    words = ["place", str(DEMO), "--json", "--json", "--catches", "1"]
    end = CliRunner().invoke(main, [*words, "--surfaces", "g1", "--surfaces", "t1"])
    assert [p["surface"] for p in json.loads(end.stdout)["points"]] == ["g1", "t1"]


def test_a_closed_pipe_ends_quietly() -> None:
    end = _ends(BrokenPipeError())
    assert (end.exit_code, end.output) == (0, "")
