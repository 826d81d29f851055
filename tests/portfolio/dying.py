"""Work that ends its own process: once, or whenever it meets one site."""

from __future__ import annotations

import os
import time
from pathlib import Path

from geosand.portfolio.chunk import Chunk, ChunkDone, work_chunk

FLAG = "GEOSAND_TEST_FLAG"
DEADLY = "site-00003"


def dies_once(chunk: Chunk) -> ChunkDone:
    """Ends the process the first time the deadly site comes; the flag file remembers it."""
    if DEADLY in chunk.keys:
        try:
            Path(os.environ[FLAG]).touch(exist_ok=False)
        except FileExistsError:
            return work_chunk(chunk)
        os._exit(1)
    return work_chunk(chunk)


def always_dies(chunk: Chunk) -> ChunkDone:
    """Ends the process whenever the deadly site is among those of the chunk."""
    if DEADLY in chunk.keys:
        os._exit(1)
    return work_chunk(chunk)


def never_called(chunk: Chunk) -> ChunkDone:
    """For runs in which nothing but fingerprints may be looked at."""
    done = work_chunk(chunk)
    assert not done.fingerprints, f"worked out again: {list(done.fingerprints)}"
    return done


class Interrupted(Exception):
    """Stands for a run that was stopped."""


def stops_at_third(chunk: Chunk) -> ChunkDone:
    if DEADLY in chunk.keys:
        raise Interrupted
    return work_chunk(chunk)


def never_ends_third(chunk: Chunk) -> ChunkDone:
    if DEADLY in chunk.keys:
        time.sleep(3600)
    return work_chunk(chunk)
