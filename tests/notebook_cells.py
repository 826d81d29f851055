"""Runs a notebook's cells as a notebook would, without the notebook's own packages.

``python -m tests.notebook_cells FILE`` writes what the cells print into the file.
"""

from __future__ import annotations

import ast
import contextlib
import io
import json
import sys
from pathlib import Path
from typing import Any


def code_cells(notebook: dict[str, Any]) -> list[dict[str, Any]]:
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]


def run_cells(notebook: dict[str, Any]) -> list[tuple[str, Any]]:
    """What each code cell prints, and the value of its last line; one namespace for all."""
    names: dict[str, Any] = {"__name__": "__main__"}
    found = []
    for number, cell in enumerate(code_cells(notebook), start=1):
        tree = ast.parse("".join(cell["source"]), filename=f"cell {number}")
        last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
        printed, value = io.StringIO(), None
        with contextlib.redirect_stdout(printed):
            exec(compile(tree, f"cell {number}", "exec"), names)
            if last is not None:
                value = eval(compile(ast.Expression(last.value), f"cell {number}", "eval"), names)
        found.append((printed.getvalue(), value))
    return found


def kept_text(cell: dict[str, Any]) -> str:
    """The text that a cell's stored outputs hold."""
    return "".join("".join(o["text"]) for o in cell["outputs"] if o["output_type"] == "stream")


def write_outputs(path: Path) -> None:
    """Store what the cells print; pictures and pages are left to whoever runs the notebook."""
    notebook = json.loads(path.read_text(encoding="utf-8"))
    results = run_cells(notebook)
    for number, (cell, (text, _)) in enumerate(
        zip(code_cells(notebook), results, strict=True), start=1
    ):
        lines = text.splitlines(keepends=True)
        stream = {"name": "stdout", "output_type": "stream", "text": lines}
        cell["outputs"] = [stream] if lines else []
        cell["execution_count"] = number
    path.write_text(json.dumps(notebook, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    file = Path(sys.argv[1]).resolve()
    with contextlib.chdir(file.parent):
        write_outputs(file)
