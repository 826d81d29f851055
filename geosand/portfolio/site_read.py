"""One site of a portfolio as it was read, and where such come from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from geosand.site.tables import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteRead:
    """One site of a chunk as it was read: its fingerprint, and the site or why it was refused."""

    key: str
    fingerprint: str
    site: Site | None  #: None where it was refused, or is already known by its fingerprint
    refused: Sequence[str] = ()
    unforeseen: str = ""  #: kind of an error for which it had to be read by itself


class Source(Protocol):
    """Sites by key; travels to other processes, so it holds no open file."""

    def keys(self) -> list[str]:
        """All sites, in order."""
        ...

    def as_they_stand(self) -> Mapping[str, int]:
        """All sites, in the order in which they are read fastest, and about how many bytes each."""
        ...

    def changed(self) -> list[str]:
        """Files of many sites that are others by now than when the sites were listed."""
        ...

    def not_read(self) -> Sequence[str]:
        """Sentences on files of many sites that are not read, though their owner may believe so."""
        ...

    def read(self, keys: Sequence[str], known: dict[str, str]) -> Iterator[SiteRead]:
        """The sites of one chunk; those whose fingerprint is ``known`` are not read further."""
        ...
