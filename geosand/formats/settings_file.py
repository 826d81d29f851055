"""``site.toml`` from bytes to a document: what is wrong with its text, in plain words."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

from geosand.errors import Faults
from geosand.site.cells import quoted
from geosand.site.settings_document import FILE

LARGEST_MB = 1
MAXIMUM_DOTS = 500  #: in one line
MAXIMUM_SANDS = 200
MAXIMUM_KEYS = 2_000


def read_settings_file(content: bytes, faults: Faults) -> Mapping[str, Any] | None:
    """The document; None, with a fault, where it can not be read."""
    if len(content) > LARGEST_MB * 1_000_000:
        found = f"is larger than {LARGEST_MB} MB"
        faults.add(FILE, found, remedy="it says what is the same all season, no more")
        return None
    try:
        # a key of very many parts costs its square in time and memory
        if any(line.count(b".") > MAXIMUM_DOTS for line in content.splitlines()):
            raise RecursionError
        return _few_enough(tomllib.loads(content.decode("utf-8-sig")), faults)
    except UnicodeDecodeError as problem:
        line = content[: problem.start].count(b"\n") + 1
        faults.add(FILE, "is not UTF-8", row=line, remedy="save it as UTF-8")
    except RecursionError:
        faults.add(FILE, "is too deeply nested", remedy="write plain tables")
    except ValueError as problem:
        found = f"is not TOML: {_in_plain_words(str(problem))[:120]}{_line_of(content, problem)}"
        remedy = 'mend that line: name = "a text", day = 2026-03-01, number = 9.5, answer = true'
        faults.add(FILE, found, remedy=remedy)
    return None


def _line_of(content: bytes, problem: ValueError) -> str:
    """The line that the parser names, as it stands; "" where it names none."""
    import re

    number = re.search(r"at line ([0-9]+),", str(problem))
    lines = content.decode("utf-8-sig").split("\n")
    line = lines[int(number[1]) - 1].strip() if number and int(number[1]) <= len(lines) else ""
    return f": {quoted(line)}" if line else ""


def _in_plain_words(problem: str) -> str:
    """What the parser says, without the names of its own parts."""
    if "int_max_str_digits" in problem:
        return "a number of thousands of digits"
    import re

    problem = problem.replace("Cannot overwrite a value", "a key stands twice")
    table = re.search(r"Cannot declare \((.*?),?\) twice", problem)
    if table is None:
        return problem
    name = ".".join(re.findall(r"'([^']*)'", table[1]))
    return problem.replace(table[0], f"[{name}] stands twice")


def _few_enough(document: dict[str, Any], faults: Faults) -> dict[str, Any] | None:
    """The document; None, with a fault, where it holds more than any site needs."""
    tables = [document, *(part for part in document.values() if isinstance(part, dict))]
    if (keys := max(map(len, tables))) > MAXIMUM_KEYS:
        found = f"has {keys:,} keys in one table"
        faults.add(FILE, found, allowed=f"at most {MAXIMUM_KEYS:,}")
        return None
    sands = document.get("sands")
    if isinstance(sands, dict) and len(sands) > MAXIMUM_SANDS:
        found = f"has {len(sands):,} sands"
        faults.add(FILE, found, column="[sands]", allowed=f"at most {MAXIMUM_SANDS}")
        return None
    return document
