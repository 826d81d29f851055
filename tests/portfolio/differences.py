"""Where two readings of one site differ."""

from __future__ import annotations

from dataclasses import fields, is_dataclass

import numpy as np
import shapely


def difference(one, other, path="site"):
    """Where two things differ, "" where they do not."""
    if type(one) is not type(other):
        return f"{path}: {one!r} and {other!r}"
    if isinstance(one, np.ndarray):
        if one.dtype.kind == "O":
            one, other = shapely.to_wkb(one), shapely.to_wkb(other)
        same = one.shape == other.shape and one.dtype.kind == other.dtype.kind
        return "" if same and np.array_equal(one, other, equal_nan=one.dtype.kind in "fM") else path
    if is_dataclass(one):
        parts = ((f.name, getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
        return next(filter(None, (difference(a, b, f"{path}.{n}") for n, a, b in parts)), "")
    if isinstance(one, (tuple, list)) and len(one) == len(other):
        pairs = enumerate(zip(one, other, strict=True))
        return next(filter(None, (difference(a, b, f"{path}[{k}]") for k, (a, b) in pairs)), "")
    same = one == other or (one != one and other != other)  # noqa: PLR0124
    return "" if same else f"{path}: {one!r} and {other!r}"
