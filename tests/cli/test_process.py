"""The process of a run: what it loads, and how it ends."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.sites import DEMO

#: Runs the command with a ``main`` of the test's own.
RUN = """
import atexit, sys, threading, time
import geosand.cli
from geosand.__main__ import run
def main():
{body}
geosand.cli.main = main
run()
"""


def python(*words: str, stdout: int = subprocess.PIPE) -> subprocess.CompletedProcess[str]:
    environ = {key: value for key, value in os.environ.items() if key != "PYTHONUNBUFFERED"}
    return subprocess.run(
        [sys.executable, *words],
        check=False,
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
        env=environ,
        timeout=60,
    )


def ended(*body: str) -> subprocess.CompletedProcess[str]:
    return python("-c", RUN.format(body="\n".join(f"    {line}" for line in body)))


def test_a_map_is_made_without_what_folium_needs_for_frames_and_addresses(tmp_path: Path) -> None:
    words = ("account", str(DEMO), "--out", str(tmp_path / "map.html"))
    done = python("-X", "importtime", "-m", "geosand", *words)
    loaded = {line.split("|")[-1].strip() for line in done.stderr.splitlines()}
    assert done.returncode == 0 and (tmp_path / "map.html").exists()
    assert {"folium", "folium.features", "branca.element"} <= loaded
    assert not {"pandas.core.frame", "pyarrow", "requests.sessions", "geopandas"} & loaded


def test_what_comes_late_is_whole_when_it_is_used() -> None:
    code = (
        "import sys\n"
        "from geosand.__main__ import _LateForFolium\n"
        "sys.meta_path.insert(0, _LateForFolium())\n"
        "import folium\n"
        "assert 'pandas.core.frame' not in sys.modules\n"
        "from folium.utilities import pd, validate_location\n"
        "from pandas.api.types import is_float_dtype\n"
        "import pandas\n"
        "frame = pandas.DataFrame([[1.5, 2.5]])\n"
        "print(validate_location(frame), pd is pandas, is_float_dtype(frame[0]))\n"
    )
    done = python("-c", code)
    assert (done.returncode, done.stdout) == (0, "[1.5, 2.5] True True\n"), done.stderr


def test_nothing_else_comes_late() -> None:
    code = (
        "import sys\n"
        "from geosand.__main__ import _LateForFolium\n"
        "sys.meta_path.insert(0, _LateForFolium())\n"
        "import pandas\n"
        "print('pandas.core.frame' in sys.modules)\n"
    )
    assert python("-c", code).stdout == "True\n"


@pytest.mark.parametrize("code", [0, 1, 2, 130])
def test_a_run_ends_with_its_code_when_all_is_said_and_done(code: int) -> None:
    done = ended(
        "atexit.register(print, 'registered', flush=False)",
        "threading.Thread(target=lambda: (time.sleep(0.1), print('thread'))).start()",
        "print('last words', end=' ')",
        "print('aside', file=sys.stderr)",
        f"sys.exit({code})",
    )
    assert done.returncode == code
    assert (done.stdout, done.stderr) == ("last words thread\nregistered\n", "aside\n")


def test_modules_are_not_taken_apart_at_the_end() -> None:
    left = (
        "class Left:",
        "    def __del__(self, write=__import__('os').write): write(1, b'taken apart')",
        "globals()['left'] = Left()",
    )
    assert ended(*left, "sys.exit(0)").stdout == ""
    assert ended(*left, "sys.exit()").stdout == "taken apart"  # as Python does by itself


def test_other_ends_are_told_by_python() -> None:
    done = ended("sys.exit('in words')")
    assert (done.returncode, done.stderr) == (1, "in words\n")
    done = ended("raise ValueError('not foreseen')")
    assert done.returncode == 1 and done.stderr.endswith("ValueError: not foreseen\n")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_words_that_found_no_room_at_the_end_are_missed() -> None:
    with open("/dev/full", "w") as full:
        code = RUN.format(body="    print('last words'); sys.exit(0)")
        done = python("-c", code, stdout=full.fileno())
    assert done.returncode == 120 and "No space left" in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="no terminals of this kind")
@pytest.mark.parametrize("columns", [40, 72])
def test_a_refusal_is_folded_at_words_in_a_window(columns: int, site_folder) -> None:
    import fcntl
    import pty
    import struct
    import termios

    folder = site_folder(loads="load,dressing,count,unit_mass_kg\nL1,D7,many,25\n")
    command = [sys.executable, "-m", "geosand", "check", str(folder)]
    plain = python(*command[1:]).stderr
    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=follower) as program:
        os.close(follower)
        shown = b""
        while part := next_part(leader):
            shown += part
    os.close(leader)
    lines = shown.decode().splitlines()
    assert program.returncode == 1
    assert max(map(len, lines)) <= columns < max(map(len, plain.splitlines()))
    assert " ".join(shown.decode().split()) == " ".join(plain.split())


def next_part(leader: int) -> bytes:
    """What a terminal shows next, nothing once its program is gone."""
    try:
        return os.read(leader, 4096)
    except OSError:
        return b""
