"""Small fields of what lies far behind the face, put away on the shelf as they are.

A cell, what it did, and the node that it left hold some thirty numbers and arrays that nothing asks for any more but
a late shot, which folds again from there: each object's lie together, so that the memory of a shift does not grow by them.
"""

from __future__ import annotations

import pickle
from collections.abc import Collection
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from steer.estimate.shelf import Place, Shelf

T = TypeVar("T")
ON_SHELF = "on the shelf"


class _Lying:
    """The fields of one object, by name."""

    __slots__ = ("_count", "_place")

    def __init__(self, place: Place, count: int) -> None:
        self._place, self._count = place, count

    def read(self) -> dict[str, bytes]:
        """Each as it was pickled: who asks for one does not wait for the others. FolderUnusable where the disk does not
        give them back."""
        # nobody else can write into the shelf: its file has no name
        found: dict[str, bytes] = pickle.loads(self._place.read(0, self._count))
        return found


class Small:
    """A field that its object holds itself until it is put away. From then on it is read for whoever asks, and an
    array can only be read: what is written into it would be lost."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __get__(self, one: object, owner: type | None = None) -> Any:
        if one is None or (lying := one.__dict__.get(ON_SHELF)) is None:
            raise AttributeError(self.name)
        value = pickle.loads(lying.read()[self.name])
        if isinstance(value, np.ndarray):
            value.setflags(write=False)
        return value


def mark(kind: type, names: Collection[str]) -> None:
    """Make these fields of a dataclass such that can be put away."""
    for name in names:
        setattr(kind, name, Small(name))


def put_away(one: object, shelf: Shelf, kept: Collection[str] = ()) -> None:
    """Put what is marked of it away, once, and forget what it has cached but for `kept`; where the shelf does not take
    it, all stays as it was."""
    held = one.__dict__
    small = {name: value for name, value in held.items() if isinstance(vars(type(one)).get(name), Small)}
    data = pickle.dumps({name: pickle.dumps(value) for name, value in small.items()})
    if not small or (place := shelf.put(data)) is None:
        return
    cached = {name for name, made in vars(type(one)).items() if isinstance(made, cached_property)}
    gone = {*small, *cached} - {*kept}
    # a new dict: one that fields were taken out of keeps their room
    left = {name: value for name, value in held.items() if name not in gone}
    object.__setattr__(one, "__dict__", {**left, ON_SHELF: _Lying(place, len(data))})


def in_memory(one: T) -> T:
    """The same with every field in memory, for who asks for many of them."""
    if (lying := one.__dict__.get(ON_SHELF)) is None:
        return one
    found = object.__new__(type(one))
    left = {name: value for name, value in one.__dict__.items() if name != ON_SHELF}
    read = {name: pickle.loads(value) for name, value in lying.read().items()}
    object.__setattr__(found, "__dict__", {**left, **read})
    return found
