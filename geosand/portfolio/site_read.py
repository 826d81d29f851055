"""One site of a portfolio as it was read, and where such come from."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from geosand.errors import printable
from geosand.site.tables import Site

Read = TypeVar("Read")


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteRead:
    """One site of a chunk as it was read: its fingerprint, and the site or why it was refused."""

    key: str
    fingerprint: str
    site: Site | None  #: None where it was refused, or is already known by its fingerprint
    refused: Sequence[str] = ()
    unforeseen: str = ""  #: kind of an error for which it had to be read by itself
    failed: bool = False  #: by an error that was not foreseen, which ``refused`` tells


def or_failed(key: str, read: Callable[[], Read]) -> Read | SiteRead:
    """What ``read`` gives; a site that failed where there is an error that was not foreseen.

    It must not cost the others. With GEOSAND_TRACEBACK set it is raised.
    """
    try:
        return read()
    except Exception as problem:
        if os.environ.get("GEOSAND_TRACEBACK"):
            raise
        return SiteRead(key=key, fingerprint="", site=None, refused=[why(problem)], failed=True)


def why(problem: Exception) -> str:
    """An error that was not foreseen, for people."""
    return printable(f"{type(problem).__name__}: {problem}"[:500])


class Source(Protocol):
    """Sites by key; travels to other processes, so it holds no open file."""

    def keys(self) -> list[str]:
        """All sites, in order."""

    def as_they_stand(self) -> Mapping[str, int]:
        """All sites, in the order in which they are read fastest, and about how many bytes each."""

    def changed(self) -> list[str]:
        """Files of many sites that are others by now than when the sites were listed."""

    def not_read(self) -> Sequence[str]:
        """Sentences on files of many sites that are not read, though their owner may believe so."""

    def read(self, keys: Sequence[str], known: dict[str, str]) -> Iterator[SiteRead]:
        """The sites of one chunk; those whose fingerprint is ``known`` are not read further."""
