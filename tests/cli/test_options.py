"""How verbs end: refusals, what was not foreseen, what a person broke off."""

from __future__ import annotations

import click
import pytest
from click.testing import CliRunner

from geosand.cli.options import verb


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


def test_a_closed_pipe_ends_quietly() -> None:
    end = _ends(BrokenPipeError())
    assert (end.exit_code, end.output) == (0, "")
