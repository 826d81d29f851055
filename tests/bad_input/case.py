"""One case of the corpus: what is spoiled, and what must happen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

ACCEPTED = "accepted"  #: exit 0, and nothing is said about it
FOUND = "accepted with a finding"  #: exit 0, and the finding says so
REFUSED = "refused"  #: exit 1, this text on stderr


@dataclass(frozen=True, slots=True)
class Case:
    """A valid site with ``changes`` (arguments of ``write_site``) and its outcome."""

    name: str
    changes: Mapping[str, Any]
    outcome: str
    text: str = ""  #: part of the refusal or the finding
