"""README's commands and figures are those that run."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from click.testing import CliRunner

from geosand.cli import main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()


def command_of(mark: str) -> str:
    found = re.search(rf"<!-- {mark} -->\n```sh\n(.*?)\n```\n<!-- end -->", README, re.S)
    assert found, f"README.md has no {mark} command"
    return found[1]


def test_the_two_commands_are_one_line_each() -> None:
    assert command_of("job").count("\n") == 0
    assert command_of("tests").count("\n") == 0
    assert "geosand account data/demo_site" in command_of("job")
    assert "pytest" in command_of("tests")


def test_ci_calls_the_readme_test_command() -> None:
    script = (ROOT / ".ci" / "run").read_text()
    assert "<!-- tests -->" in script and "README.md" in script


def test_every_example_command_runs(tmp_path: Path, monkeypatch) -> None:
    """Each ``geosand …`` line of README runs as printed, in a folder with the demo site."""
    shutil.copytree(ROOT / "data" / "demo_site", tmp_path / "data" / "demo_site")
    monkeypatch.chdir(tmp_path)
    lines = re.findall(r"^geosand ([^#\n]+)", README, re.M)
    assert len(lines) >= 5
    for line in lines:
        result = CliRunner().invoke(main, line.split(), catch_exceptions=False)
        assert result.exit_code == 0, f"geosand {line}: {result.output}"


def test_the_worked_result_is_what_the_demo_gives(tmp_path: Path) -> None:
    printed = re.search(r"<!-- result -->\n```text\n(.*?)\n```", README, re.S)
    assert printed, "README.md has no worked result"
    out = tmp_path / "demo_site.html"
    demo = str(ROOT / "data" / "demo_site")
    result = CliRunner().invoke(main, ["account", demo, "--out", str(out)])
    output = "\n".join(line.rstrip() for line in result.output.splitlines())
    assert printed[1].rstrip() in output
