"""Boundary files of every sort for ``geosand new``: a site, a site and a word, or a refusal."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.bad_input.boundaries import CASES, Boundary
from tests.bad_input.case import FOUND, REFUSED
from tests.bad_input.test_corpus import digests, run


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(
    case: Boundary, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    path, site = tmp_path / case.file, tmp_path / "site"
    path.write_bytes(case.content if isinstance(case.content, bytes) else case.content.encode())
    before = digests(tmp_path)

    end = run("new", site, "--boundaries", path, "--season-start", "2026-03-01", *case.options)

    assert end.exit_code == (1 if case.outcome == REFUSED else 0), end.output
    said = end.output.replace(str(tmp_path), "")
    assert "/tmp" not in said
    assert said.replace("\n", "").replace("\u202f", "").isprintable()  # between thousands
    assert case.text in said
    assert path.read_bytes() == (
        case.content if isinstance(case.content, bytes) else case.content.encode()
    )
    if case.outcome == REFUSED:
        assert digests(tmp_path) == before
        assert not site.exists()
    else:
        assert ("Worth knowing" in said) or case.outcome != FOUND
        checked = run("check", site)
        assert checked.exit_code == 0, checked.output
    record_property("bad input", case.outcome)


def test_there_are_enough_and_each_has_its_name() -> None:
    assert len({case.name for case in CASES}) == len(CASES) >= 40
