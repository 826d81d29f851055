"""Named tuples that cost little at import."""

from __future__ import annotations

from typing import TYPE_CHECKING

__all__ = ["NamedTuple"]

if TYPE_CHECKING:
    from typing import NamedTuple
else:
    from collections import namedtuple

    class _ByName(type):
        """Makes the tuple of a class with annotated fields, as ``typing.NamedTuple`` does.

        That one compiles each annotation, more than half of what a class costs, and a balance
        loads sixty. What it refuses a type checker tells.
        """

        def __new__(cls, name, bases, body):
            fields = body["__annotations__"]
            defaults = [body.pop(field) for field in fields if field in body]
            made = namedtuple(name, fields, defaults=defaults, module=body["__module__"])
            for key in body.keys() - {"__module__", "__qualname__"}:
                setattr(made, key, body[key])
            return made

    NamedTuple = type.__new__(_ByName, "NamedTuple", (), {})
