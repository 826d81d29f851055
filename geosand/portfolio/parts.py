"""What is finished, kept on disk: an interrupted run goes on from here, a changed site does not.

A part is a folder with an Arrow stream a table and ``part.json``: the fingerprint of each of its
sites and where its rows stand. It is written beside its place and renamed, so that a part is whole
or not there.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pyarrow as pa

from geosand.formats.writing import write_whole
from geosand.portfolio.chunk import ChunkDone

FOLDER = "parts"
OWN = re.compile(r"[0-9a-f]{20}|\.part-.{8}")  #: names of parts; what has another name stays
BATCH_ROWS = 50_000  #: of a table, of more than one site
OPEN_PARTS = 4  #: kept in memory at once while tables are put together


@dataclass(slots=True)
class Parts:
    """The finished sites below ``root``, of one version and one set of options."""

    root: Path
    options: str  #: fingerprint of version and options
    place: dict[str, tuple[str, str]] = field(default_factory=dict)  #: site -> part, fingerprint
    rows: dict[str, Mapping[str, Sequence[int]]] = field(default_factory=dict)

    @classmethod
    def opened(cls, out: Path, options: str) -> Parts:
        """What earlier runs with the same options left; other and broken parts are removed.

        Of a site that two parts hold the newer counts.
        """
        parts = cls(root=out / FOLDER, options=options)
        for folder in parts._folders():
            told = _read(folder)
            if told is None or told.get("options") != options:
                shutil.rmtree(folder, ignore_errors=True)
                continue
            for key, one in told["sites"].items():
                parts.place[key] = (folder.name, one["fingerprint"])
                parts.rows[key] = one["rows"]
        return parts

    def known(self, keys: Sequence[str]) -> dict[str, str]:
        """Fingerprints of those of ``keys`` that are finished."""
        return {key: self.place[key][1] for key in keys if key in self.place}

    def add(self, done: ChunkDone) -> None:
        """Keep what a chunk brought."""
        if not done.fingerprints:
            return
        if done.folder is None:
            done = stored(done, self.root, self.options)
        assert done.folder is not None
        for key, mark in done.fingerprints.items():
            self.place[key] = (done.folder.name, mark)
            self.rows[key] = done.rows[key]

    def forget_others(self, keys: Sequence[str]) -> None:
        """Drop sites that are no longer there, and parts that no site needs."""
        wanted = set(keys)
        for key in [key for key in self.place if key not in wanted]:
            del self.place[key], self.rows[key]
        used = {part for part, _ in self.place.values()}
        for folder in self._folders():
            if folder.name not in used:
                shutil.rmtree(folder, ignore_errors=True)

    def _folders(self) -> list[Path]:
        """Parts, whole or not, the oldest first; a folder that somebody else made is none."""
        found = list[tuple[int, str]]()
        for path in self.root.glob("*"):
            # a process of a killed run that has not ended yet may still put its part in place
            with suppress(FileNotFoundError):
                if OWN.fullmatch(path.name):
                    found.append((path.stat().st_mtime_ns, path.name))
        return [self.root / name for _, name in sorted(found)]

    def table(self, name: str, keys: Sequence[str], batch: int) -> Iterator[Any]:
        """Arrow tables of ``batch`` sites each, in the order of ``keys``, wherever they stand.

        Fewer, where sites are large: memory does not grow with them.
        """
        stream_of = lru_cache(OPEN_PARTS)(self._stream_of)
        for some in self._batches(name, keys, batch):
            slices = [
                stream_of(part, name).slice(start, count)
                for part, start, count in self._stretches(name, some)
            ]
            if slices:
                yield pa.concat_tables(slices).combine_chunks()

    def _batches(self, name: str, keys: Sequence[str], batch: int) -> Iterator[Sequence[str]]:
        begun, rows = 0, 0
        for number, key in enumerate(keys):
            count = self.rows[key].get(name, (0, 0))[1]
            if number > begun and (number == begun + batch or rows + count > BATCH_ROWS):
                yield keys[begun:number]
                begun, rows = number, 0
            rows += count
        yield keys[begun:]

    def _stretches(self, name: str, keys: Sequence[str]) -> list[tuple[str, int, int]]:
        """Part, first row and number of rows of the sites; such as follow each other as one."""
        found: list[tuple[str, int, int]] = []
        for key in keys:
            part, (start, count) = self.place[key][0], self.rows[key].get(name, (0, 0))
            if count and found and found[-1][0] == part and sum(found[-1][1:]) == start:
                found[-1] = (part, found[-1][1], found[-1][2] + count)
            elif count:
                found.append((part, start, count))
        return found

    def _stream_of(self, part: str, name: str) -> Any:
        file = pa.memory_map(str(self.root / part / f"{name}.arrow"))
        with pa.ipc.open_stream(file) as stream:
            return stream.read_all()


def stored(done: ChunkDone, root: Path, options: str) -> ChunkDone:
    """The same with its tables in a part below ``root``.

    Where the process that works a chunk out keeps it, its tables need not travel, and a run that is
    killed loses no chunk that is finished.
    """
    if not done.fingerprints:
        return done
    root.mkdir(parents=True, exist_ok=True)
    made = Path(tempfile.mkdtemp(prefix=".part-", dir=root))
    try:
        for name, table in done.tables.items():
            _write_stream(made / f"{name}.arrow", table)
        sites = {
            key: {"fingerprint": mark, "rows": done.rows[key]}
            for key, mark in done.fingerprints.items()
        }
        told = {"options": options, "sites": sites, "sizes": _sizes(made)}
        text = json.dumps(told, sort_keys=True)
        write_whole(made / "part.json", text.encode("utf-8"))
    except BaseException:
        shutil.rmtree(made, ignore_errors=True)
        raise
    place = root / hashlib.sha256(text.encode()).hexdigest()[:20]
    shutil.rmtree(place, ignore_errors=True)
    os.replace(made, place)
    return replace(done, tables={}, folder=place)


def _write_stream(path: Path, table: Any) -> None:
    with path.open("wb") as file:
        with pa.ipc.new_stream(file, table.schema) as stream:
            stream.write_table(table)
        file.flush()
        os.fsync(file.fileno())


def _sizes(folder: Path) -> dict[str, int]:
    """Bytes of each stream."""
    return {path.stem: path.stat().st_size for path in folder.glob("*.arrow")}


def _read(folder: Path) -> dict[str, Any] | None:
    """The manifest of a part; None where the part is not whole."""
    try:
        told = json.loads((folder / "part.json").read_text(encoding="utf-8"))
        sizes = _sizes(folder)
    except (OSError, ValueError):
        return None
    whole = isinstance(told, dict) and isinstance(told.get("sites"), dict)
    return told if whole and told.get("sizes") == sizes else None
