"""What a node keeps in memory once it lies far behind the face, and how the rest is put away, to the last bit.

Such a node waits for a late shot, which folds again from it, and for the smoother. A covariance is symmetric
to the last bit, since `filter` makes it so after every step: its triangle is kept. Φ differs from the unit matrix in
the same few places in every plane: what stands there is kept. All of it is put away on the estimator's shelf, where
there is room. (Its small fields follow further back: `small`.)
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from math import prod
from typing import Any

import numpy as np

from steer.estimate.motion import N_STATES
from steer.estimate.shelf import Place, Shelf

_ROW, _COLUMN = np.triu_indices(N_STATES)
_UPPER, _LOWER = _ROW * N_STATES + _COLUMN, _COLUMN * N_STATES + _ROW
_PLACE = np.empty((N_STATES, N_STATES), int)  # of each element in the triangle
_PLACE[_ROW, _COLUMN] = _PLACE[_COLUMN, _ROW] = np.arange(len(_ROW))
_UNIT = np.eye(N_STATES).ravel()


@dataclass(frozen=True)
class Triangles:
    """Symmetric matrices (b, 12, 12) as their upper triangles (b, 78)."""

    upper: np.ndarray

    @classmethod
    def of(cls, p: np.ndarray) -> Triangles | None:
        """None where a matrix is not symmetric to the last bit."""
        flat = p.reshape(len(p), -1)
        upper, lower = flat.take(_UPPER, axis=1), flat.take(_LOWER, axis=1)
        return cls(upper) if upper.tobytes() == lower.tobytes() else None

    def whole(self) -> np.ndarray:
        """The matrices (b, 12, 12)."""
        return self.upper.take(_PLACE, axis=1)


@dataclass(frozen=True)
class Transitions:
    """Transitions (b, 12, 12) as what stands in them (b, k) at the places (k,), row by row, where one of them is
    not the unit matrix."""

    at: np.ndarray
    values: np.ndarray

    @classmethod
    def of(cls, phi: np.ndarray) -> Transitions:
        """Bits are compared, so that -0 is told from 0."""
        flat = np.ascontiguousarray(phi).reshape(len(phi), -1)
        at = np.flatnonzero((flat.view(np.int64) != _UNIT.view(np.int64)).any(axis=0))
        return cls(at.astype(np.uint8), flat.take(at, axis=1))

    def whole(self) -> np.ndarray:
        """The transitions (b, 12, 12)."""
        flat = np.empty((len(self.values), len(_UNIT)))
        flat[:] = _UNIT
        flat[:, self.at] = self.values
        return flat.reshape(-1, N_STATES, N_STATES)


@dataclass(frozen=True)
class Plain:
    """Numbers as they are, of any shape."""

    values: np.ndarray

    def whole(self) -> np.ndarray:
        """The numbers."""
        return self.values


InMemory = Plain | Triangles | Transitions
Shapes = tuple[tuple[np.dtype[Any], tuple[int, ...]], ...]


@dataclass(frozen=True)
class _Part:
    """Where in what is put away a part begins, and of what it is made."""

    kind: type[InMemory]
    at: int
    shapes: Shapes


_parts: dict[_Part, _Part] = {}  # one for all the nodes alike: they differ in a few ways only


class PutAway:
    """What a node, or the smoother, keeps on a shelf."""

    __slots__ = ("_part", "_place")

    def __init__(self, kept: InMemory, place: Place, at: int) -> None:
        self._place = place
        part = _Part(type(kept), at, tuple((a.dtype, a.shape) for a in _arrays(kept)))
        self._part = _parts.setdefault(part, part)

    def whole(self) -> np.ndarray:
        """The numbers, or matrices (b, 12, 12). FolderUnusable where the disk does not give them back."""
        part = self._part
        count = sum(dtype.itemsize * prod(shape) for dtype, shape in part.shapes)
        data, at, arrays = self._place.read(part.at, count), 0, []
        for dtype, shape in part.shapes:
            arrays.append(np.frombuffer(data, dtype, prod(shape), at).reshape(shape))
            at += arrays[-1].nbytes
        return part.kind(*arrays).whole()


Kept = InMemory | PutAway


def put_away(kept: dict[str, InMemory], shelf: Shelf) -> dict[str, Kept]:
    """The same on the shelf, or as it is where the shelf does not take it."""
    parts = {name: b"".join(a.tobytes() for a in _arrays(one)) for name, one in kept.items()}
    place = shelf.put(b"".join(parts.values()))
    if place is None:
        return dict(kept)
    found: dict[str, Kept] = {}
    at = 0
    for name, part in parts.items():
        found[name] = PutAway(kept[name], place, at)
        at += len(part)
    return found


def _arrays(kept: InMemory) -> list[np.ndarray]:
    return [getattr(kept, field.name) for field in fields(kept)]


class Unpacked:
    """A field of `Node`: a node holds it itself until it is packed. From then on it is unpacked anew for whoever
    asks, and can only be read: what is written into it would be lost."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __get__(self, node: object, owner: type | None = None) -> np.ndarray:
        if node is None or self.name not in (packed := node.__dict__["packed"]):
            raise AttributeError(self.name)
        whole: np.ndarray = packed[self.name].whole()
        whole.setflags(write=False)
        return whole
