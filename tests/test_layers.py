"""Imports run one way, pure layers stay light, and the first screen loads nothing heavy."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import geosand

ROOT = Path(geosand.__file__).parent

#: Each may import from itself and from those before it.
ORDER = (
    *("tuples", "columns", "errors", "units", "distributions", "half_width", "effects"),
    "estimates",
    *("site", "areas", "rates"),
    *("balance", "season", "planning", "results", "formats", "reports", "mapping", "portfolio"),
    *("notebook", "cli", "__main__"),
)
#: Within a layer of many rooms: each room or module may import from itself and from those before.
ROOMS = {
    "balance": ("rings", "reconciliation"),
    "formats.boundaries": (
        *("drawn", "tables", "words", "place", "files", "drawings", "shapes", "sites", "read"),
    ),
}
PURE = ("tuples", "columns", "errors", "units", "distributions", "half_width", "effects")
PURE += ("estimates", "areas", "rates", "balance", "season", "planning", "results")
#: What pure layers may load, apart from the standard library and geosand itself.
LIGHT = ("numpy", "shapely")
HEAVY = ("pandas", "geopandas", "folium", "scipy", "pyproj", "pint", "openpyxl", "pyogrio")

MODULES = sorted(ROOT.rglob("*.py"))


def layer_of(module: str) -> str:
    """``geosand.rates.uniformity`` -> ``rates``; the package itself is last."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def statements(tree: ast.Module, *, top_only: bool) -> list[ast.stmt]:
    """Import statements; those for type checkers only are left out."""
    nodes: list[ast.AST] = list(tree.body) if top_only else [tree]
    found: list[ast.stmt] = []
    while nodes:
        node = nodes.pop()
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            found.append(node)
        elif isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test):
            nodes += node.orelse
        elif top_only and isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)):
            continue
        else:
            nodes += list(ast.iter_child_nodes(node))
    return found


def imported(path: Path, *, top_only: bool) -> set[str]:
    """Full names of the modules that a file imports."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names: set[str] = set()
    for node in statements(tree, top_only=top_only):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
            continue
        base = node.module or ""
        if node.level:
            package = name_of(path).split(".")
            package = package if path.name == "__init__.py" else package[:-1]
            base = ".".join([*package[: len(package) - node.level + 1], base]).rstrip(".")
        # "from geosand import units" imports a layer, "from geosand.units import figure" a name
        names |= {f"geosand.{a.name}" for a in node.names} if base == "geosand" else {base}
    return names


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_run_one_way(path):
    here = layer_of(name_of(path))
    if not here:
        return
    assert here in ORDER, f"{here} is not a layer: give it a place in the order"
    for name in imported(path, top_only=False):
        if name.startswith("geosand.") and layer_of(name) in ORDER:
            assert ORDER.index(layer_of(name)) <= ORDER.index(here), f"{name_of(path)} -> {name}"


@pytest.mark.parametrize("layer", ROOMS)
def test_rooms_of_a_layer_run_one_way(layer):
    """And every room has its place in the order; a room may use what lies loose beside it."""
    base, order = f"geosand.{layer}.", ROOMS[layer]
    folder = ROOT / layer.replace(".", "/")
    assert {path.parent.name for path in folder.glob("*/__init__.py")} <= {*order}
    for path in folder.rglob("*.py"):
        here = name_of(path).removeprefix(base).split(".")[0]
        for name in imported(path, top_only=False) if here in order else ():
            room = name.removeprefix(base).split(".")[0]
            if name.startswith(base) and room in order:
                assert order.index(room) <= order.index(here), f"{name_of(path)} -> {name}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_pure_layers_load_only_light_libraries(path):
    """And no layer loads a heavy one before a function needs it, formats and mapping included."""
    here = layer_of(name_of(path))
    for name in imported(path, top_only=True):
        first = name.split(".")[0]
        assert first not in HEAVY, f"{name_of(path)} loads {first} when it is imported"
        if here in PURE and first != "geosand" and first not in sys.stdlib_module_names:
            assert first in LIGHT, f"{name_of(path)} loads {first}"


def test_the_check_itself_sees_a_wrong_import(tmp_path):
    file = tmp_path / "wrong.py"
    file.write_text(
        "from typing import TYPE_CHECKING\n"
        "if TYPE_CHECKING:\n    import folium\n"
        "try:\n    import pandas.core\nexcept ImportError:\n    pass\n"
        "def f():\n    from geosand.cli import main\n    import scipy\n"
        "class C:\n    import pint\n"
    )
    assert imported(file, top_only=True) == {"typing", "pandas.core", "pint"}
    assert imported(file, top_only=False) >= {"geosand.cli", "scipy", "pandas.core"}


def loaded_by(code: str) -> set[str]:
    """First names of all modules that a fresh interpreter holds after ``code``."""
    asked = f"import sys\n{code}\nprint(*{{name.split('.')[0] for name in sys.modules}})"
    done = subprocess.run(
        [sys.executable, "-c", asked], capture_output=True, text=True, check=True, cwd=ROOT.parent
    )
    return set(done.stdout.splitlines()[-1].split())


HELP = (
    "from geosand.cli import main\n"
    "try:\n    main(['--help'])\n"
    "except SystemExit as done:\n    assert done.code in (0, None), done.code\n"
)
READ = (
    "from geosand.formats.site_folder import read_site\n"
    "from pathlib import Path\n"
    "import tempfile\n"
    "from tests.sites import write_site\n"
    "read_site(write_site(Path(tempfile.mkdtemp())))\n"
)


@pytest.mark.parametrize(
    "code",
    ["import geosand", "import geosand.cli", HELP, READ],
    ids=["package", "cli", "help", "read a site"],
)
def test_nothing_heavy_is_loaded_before_it_is_needed(code):
    loaded = loaded_by(code)
    assert "geosand" in loaded
    assert loaded.isdisjoint(HEAVY), loaded & set(HEAVY)
