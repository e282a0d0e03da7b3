"""Causes that look alike to some nodes: what a tree says of a pair of causes depends only on the rows they take in its tables.

Most causes touch few trees, so all pairs of a few dozen classes stand for all pairs of hundreds of causes, exactly.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.network import Array, Index, Part

MOST_CODES = 1 << 40


@dataclass(frozen=True)
class Alike:
    """of: (m,) class of each member of a part. one: (c,) a member's instance number for each class. alone: no pairs are formed."""

    of: Index
    one: Index
    alone: bool

    def representatives(self) -> tuple[Index, Index]:
        """Instance numbers that stand for each class alone (second 0), or for each pair of classes, either order once."""
        if self.alone:
            return self.one, np.zeros_like(self.one)
        first, second = _triangle(len(self.one))
        return self.one.take(first), self.one.take(second)

    def among(self) -> tuple[Index, Index | None]:
        """The same as classes."""
        return (np.arange(len(self.one)), None) if self.alone else _triangle(len(self.one))

    def rows(self, first: Index, second: Index | None) -> Index:
        """Row among ``representatives`` for members by position; second None where the part has each alone."""
        return _rows(self.of, len(self.one), first, second)


def _rows(of: Index, count: int, first: Index, second: Index | None) -> Index:
    a = of.take(first)
    if second is None:
        return a
    b = of.take(second)
    low, high = np.minimum(a, b), np.maximum(a, b)
    low *= 2 * count - 1 - low
    low >>= 1
    low += high
    return low


@functools.lru_cache(maxsize=64)
def _triangle(count: int) -> tuple[Index, Index]:
    first, second = np.triu_indices(count)
    return first.astype(np.int64), second.astype(np.int64)


def _classes(columns: Sequence[Index]) -> tuple[Index, Index]:
    """(m,) class of each row over all columns (m,) of small numbers, and (c,) the first row of each class."""
    code = columns[0]
    most = int(code.max()) + 1
    for column in columns[1:]:
        width = int(column.max()) + 1
        if most * width > MOST_CODES:
            code = np.unique(code, return_inverse=True)[1].astype(np.int64)
            most = int(code.max()) + 1
        code = code * width + column
        most *= width
    _, one, of = np.unique(code, return_index=True, return_inverse=True)
    return of.ravel().astype(np.int64), one.astype(np.int64)


def alike(part: Part, columns: Sequence[Index]) -> Alike:
    """Classes of the members of a part that are equal in every column; columns (n + 1,) by instance number, at least one."""
    if not len(part.members):
        return Alike(part.members, part.members, part.second is None)
    of, one = _classes([column.take(part.members) for column in columns])
    return Alike(of, part.members.take(one), part.second is None)


def combined(parts: Sequence[tuple[Alike, Array]]) -> tuple[Alike, Array]:
    """Sum of tables over classes of their own (all of one part), as one table over the classes that tell all of them apart."""
    if len(parts) == 1:
        return parts[0]
    of, member = _classes([found.of for found, _ in parts])
    lead = parts[0][0]
    both = Alike(of, lead.one.take(lead.of.take(member)), lead.alone)
    first, second = both.among()
    table = np.zeros(len(first))
    for found, own in parts:
        table += own.take(_rows(found.of.take(member), len(found.one), first, second))
    return both, table
