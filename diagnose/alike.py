"""Causes that look alike to some nodes: what a tree says of a pair of causes depends only on the rows they take in its tables.

Most causes touch few trees, so all pairs of a few dozen classes stand for all pairs of hundreds of causes, exactly.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.network import Array, Index

MOST_CODES = 1 << 40


@dataclass(frozen=True)
class Alike:
    """of: (n + 1,) class of each instance number, 0 = no cause. one: (c,) an instance number of each class."""

    of: Index
    one: Index

    def pairs(self) -> tuple[Index, Index]:
        """Instance numbers that stand for each pair of classes, either order once: ((c * (c + 1) / 2,), the same)."""
        first, second = _triangle(len(self.one))
        return self.one.take(first), self.one.take(second)

    def rows(self, first: Index, second: Index) -> Index:
        """Row among ``pairs`` of each pair of instance numbers."""
        count = len(self.one)
        a, b = self.of.take(first), self.of.take(second)
        low, high = np.minimum(a, b), np.maximum(a, b)
        out: Index = low * (2 * count - 1 - low) // 2 + high
        return out


@functools.lru_cache(maxsize=64)
def _triangle(count: int) -> tuple[Index, Index]:
    first, second = np.triu_indices(count)
    return first.astype(np.int64), second.astype(np.int64)


def alike(columns: Sequence[Index]) -> Alike:
    """Classes of instances that are equal in every column; columns (n + 1,) of small numbers, at least one."""
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
    return Alike(of.ravel().astype(np.int64), one.astype(np.int64))


def combined(parts: Sequence[tuple[Alike, Array]]) -> tuple[Alike, Array]:
    """Sum of tables over pairs of classes of their own, as one table over the classes that tell all of them apart."""
    if len(parts) == 1:
        return parts[0]
    both = alike([part.of for part, _ in parts])
    first, second = both.pairs()
    table = np.zeros(len(first))
    for part, own in parts:
        table += own.take(part.rows(first, second))
    return both, table
