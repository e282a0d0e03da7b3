"""What to do next at least expected cost: remedies, looks and handing over, two steps ahead.

Pure functions over a few hundred worlds. A world is one joint state of the machine; in it certain parts are wrong, and it is
resolved once each of them is mended. A remedy mends each part with its own chance and is tried once; a look splits the
belief by its answers; a change of set-up does so too, and where it takes the trouble away for the time being every later
minute counts less; handing over ends the call at a cost that depends on the world. Values are sums over worlds, not
normalised: a belief's value is its expected cost times its mass, so branches simply add.

V0 is the cost of acting without looking: remedies in order of updated probability over cost, cut where handing over is
cheapest (for faults that exclude each other, with a remedy for each, that order is the best one: Kadane & Simon 1977;
Kalagnanam & Henrion 1990). V1 puts one look before it. `choose` compares, each followed by V1: handing over, acting as V0
would, the likeliest few remedies and the best few looks. V0 is among the candidates at every step, so following `choose`
never costs more than V0 in its own model where V0's order, once begun, is the order it goes on with (faults that exclude
each other). Answers of different looks are taken as independent given the world.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import islice
from typing import Literal

import numpy as np

from diagnose.network import Array, Index

SOME_REMEDIES = 24  # remedies in the first try at V0; doubled where acting on might still pay
ROWS_AT_ONCE = 32  # beliefs weighed in one go: their tables then stay in the processor's cache
FAINT = 0.004  # answers rarer than this are weighed together: which of them was given is then not used


@dataclass(frozen=True)
class Limits:
    """How wide the second step is: looks and remedies tried first, and looks tried after each."""

    looks: int = 5
    acts: int = 2
    then: int = 4


@dataclass(frozen=True)
class Acting:
    """What can be done in which world.

    wrong: (W, S) numbers of the parts wrong in each world, -1 = none more. cures: (R, P) chance that a remedy mends a part.
    costs: (R,) minutes of each remedy with its proof, above 0. handed: (W,) minutes if the call is handed over.
    """

    wrong: Index
    cures: Array
    costs: Array
    handed: Array

    @cached_property
    def groups(self) -> tuple[Index, Index, Index, Array]:
        """Worlds in which the same is wrong, as one: (order of worlds, where each group starts, parts (G, S), handed (G,))."""
        wrong = np.sort(self.wrong, axis=1)
        keys = np.column_stack([wrong, np.round(self.handed * 1024).astype(np.int64)])
        _, first, group = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        order = np.argsort(group.ravel(), kind="stable")
        starts = np.searchsorted(group.ravel()[order], np.arange(len(first)))
        return order, starts, wrong[first], self.handed[first]

    @cached_property
    def own(self) -> Array | None:
        """(R,) chances, where remedy number n mends part n and nothing else; None where remedies overlap."""
        chances = np.diagonal(self.cures)
        square = self.cures.shape[0] == self.cures.shape[1]
        return chances if square and np.array_equal(self.cures, np.diag(chances)) else None

    @cached_property
    def has(self) -> Array:
        """(G, P) 1 where a part is wrong."""
        parts = self.groups[2]
        out = np.zeros((len(parts), self.cures.shape[1] + 1))
        np.put_along_axis(out, parts, 1.0, axis=1)  # -1 falls into the last column
        return out[:, :-1]

    @cached_property
    def alone(self) -> tuple[Index, Index, Index]:
        """Groups with one part wrong, the first of each part; that part; all other groups."""
        parts = self.groups[2]
        single = np.flatnonzero((parts >= 0).sum(axis=1) == 1)
        part, first = np.unique(parts[single].max(axis=1), return_index=True)
        return single[first], part, np.setdiff1d(np.arange(len(parts)), single[first])

    @cached_property
    def certain(self) -> Array:
        """(G,) minutes to resolution where it is certain what is wrong and each part has one remedy of its own: all of them, or
        handing over."""
        _, _, parts, handed = self.groups
        assert self.own is not None
        some = parts >= 0
        minutes = np.where(some, self.costs[parts], 0.0).sum(axis=1)
        left = 1.0 - np.where(some, self.own[parts], 1.0).prod(axis=1)
        out: Array = np.minimum(handed, minutes + left * handed)
        return out

    def grouped(self, beliefs: Array) -> Array:
        """(N, W) -> (N, G)."""
        order, starts, _, _ = self.groups
        out: Array = np.add.reduceat(beliefs[:, order], starts, axis=1)
        return out

    def left_after(self, tried: Sequence[int]) -> Array:
        """(P,) chance that each part is still as wrong after these remedies."""
        out: Array = np.prod(1.0 - self.cures[list(tried)], axis=0)
        return out

    def unresolved(self, left: Array) -> Array:
        """(N, P) chances that parts are still wrong -> (N, G) chances that a group's world is still not resolved."""
        parts = self.groups[2]
        mended = np.ones((len(left), len(parts)))
        done = 1.0 - left
        for column in range(parts.shape[1]):
            some = np.flatnonzero(parts[:, column] >= 0)  # most worlds have one part wrong
            mended[:, some] *= done[:, parts[some, column]]
        return 1.0 - mended


def acting_for(need: Index, cures: Array, costs: Array, hand_over: float) -> Acting:
    """Acting where every part has one remedy of its own: need (W, S) remedy numbers, -1 = none; cures, costs (R,).

    Whoever takes over needs ``hand_over`` minutes to come and find it, and then does what the world needs.
    """
    work = np.where(need >= 0, costs[need], 0.0).sum(axis=1)
    return Acting(need, np.diag(cures), costs, hand_over + work)


@dataclass(frozen=True)
class Look:
    """A look: cost in minutes, given: (W, A) chance of each answer in each world.

    cover: what has to be opened for it ("" = nothing, or open already); saves: minutes of ``cost`` that fall away once another
    look has opened the same. eases: (A,) what a minute counts from then on, by answer; None = as before. Not None for a change
    of set-up by which the site may be cooled meanwhile; of several, one alone eases. name; blocks: names of looks that cannot be
    made after an answer that eases.
    """

    cost: float
    given: Array
    cover: str = ""
    saves: float = 0.0
    eases: Array | None = None
    name: str = ""
    blocks: frozenset[str] = frozenset()


Path = tuple[str, ...]  # how a belief came about: looks and their answers, remedies tried
Known = dict[tuple[Path, str], Array]


@dataclass(frozen=True)
class Choice:
    """What to do now. kind and number (of the remedy or look); value: expected minutes from here, not normalised.

    acting: V0. looks: value of each look, two steps ahead for the best few, one step for the rest. acts: remedy -> value.
    """

    kind: Literal["act", "look", "hand-over"]
    number: int
    value: float
    acting: float
    looks: Array
    acts: dict[int, float]


def unresolved_mass(beliefs: Array, acting: Acting, tried: Sequence[int] = ()) -> Array:
    """(N, W) beliefs -> (N,) mass of what is still wrong after ``tried`` did not resolve it."""
    alive = acting.unresolved(acting.left_after(tried)[None, :])
    out: Array = (acting.grouped(beliefs) * alive).sum(axis=1)
    return out


def act_values(beliefs: Array, acting: Acting, tried: Sequence[int] = ()) -> tuple[Array, Index]:
    """V0 of each belief (N, W), and the remedy it begins with (-1 = hand over).

    Beliefs are those before the outcomes of ``tried`` (remedies that were tried and did not resolve it); their failure is
    weighed in here, exactly, also where two parts are wrong at once.
    """
    if acting.own is None:
        return _updated_order(acting.grouped(beliefs), acting, tried)
    parts = [
        _by_fixed_order(acting.grouped(beliefs[at : at + ROWS_AT_ONCE]), acting, acting.own, tried)
        for at in range(0, len(beliefs), ROWS_AT_ONCE)
    ]
    return np.concatenate([best for best, _ in parts]), np.concatenate([first for _, first in parts])


def _by_fixed_order(b: Array, acting: Acting, own: Array, tried: Sequence[int]) -> tuple[Array, Index]:
    """V0 of grouped beliefs, with as many remedies looked at as may still pay."""
    most = SOME_REMEDIES
    while True:
        best, first, spent = _fixed_order(b, acting, own, tried, most)
        if most >= len(acting.costs) or (spent >= best).all():
            return best, first
        most *= 2


def _fixed_order(b: Array, acting: Acting, own: Array, tried: Sequence[int], most: int) -> tuple[Array, Index, Array]:
    """V0 where each remedy mends one part of its own, for grouped beliefs (N, G): (value, first remedy, minutes spent by the end).

    A failed remedy tells nothing of the others then, so the order is settled at the start. A world is resolved by the last of its
    remedies, if all of them work. ``most`` remedies are looked at.
    """
    _, _, parts, handed = acting.groups
    alone, of_alone, others = acting.alone
    n, count = len(b), len(acting.costs)
    per = b[:, others] @ acting.has[others]
    per[:, of_alone] += b[:, alone]
    ratio = per * (own / acting.costs)
    ratio[:, list(tried)] = 0.0
    most = min(most, count)
    top = np.argpartition(-ratio, most - 1, axis=1)[:, :most]
    rows = np.arange(n)[:, None]
    order = top[rows, np.argsort(-ratio[rows, top], axis=1, kind="stable")]
    # worlds with one part wrong are resolved by its remedy; (N, 1 + most): mass that is resolved before, and by each remedy
    weight = np.zeros((n, count))
    weight[:, of_alone] = b[:, alone] * own[of_alone]
    handed_alone = np.zeros(count)
    handed_alone[of_alone] = handed[alone]
    mass, over = np.empty((n, most + 1)), np.empty((n, most + 1))
    mass[:, 0], mass[:, 1:] = weight[:, list(tried)].sum(axis=1), weight[rows, order]
    over[:, 0], over[:, 1:] = weight[:, list(tried)] @ handed_alone[list(tried)], mass[:, 1:] * handed_alone[order]
    if len(others):
        position = np.full((n, count), most, dtype=np.int64)
        position[rows, order] = np.arange(most)
        position[:, list(tried)] = -1
        # the last of a world's remedies; a world whose remedies were all tried counts with what they left of it
        last = np.full((n, len(others)), -1, dtype=np.int64)
        cured = np.ones(len(others))
        for column in parts[others].T:
            some = np.flatnonzero(column >= 0)
            cured[some] *= own[column[some]]
            last[:, some] = np.maximum(last[:, some], position[:, column[some]])
        bins = (last + 1 + rows * (most + 2)).ravel()
        resolving = b[:, others] * cured
        mass += np.bincount(bins, resolving.ravel(), n * (most + 2)).reshape(n, most + 2)[:, :-1]
        over += np.bincount(bins, (resolving * handed[others]).ravel(), n * (most + 2)).reshape(n, most + 2)[:, :-1]
    left = b.sum(axis=1) - mass[:, 0]
    none = b @ handed - over[:, 0]
    resolved = np.cumsum(mass[:, 1:], axis=1)
    before = left[:, None] - resolved + mass[:, 1:]
    helps = ratio[rows, order] > 0
    spent = np.cumsum(np.where(helps, before * acting.costs[order], np.inf), axis=1)
    total = spent + none[:, None] - np.cumsum(over[:, 1:], axis=1)
    best = np.minimum(none, total.min(axis=1))
    first = np.where(total.min(axis=1) < none, order[:, 0], -1)
    return best, first, spent[:, -1]


def _updated_order(b: Array, acting: Acting, tried: Sequence[int]) -> tuple[Array, Index]:
    """V0 where remedies overlap, for grouped beliefs (N, G): the order is updated after each failure."""
    handed, costs = acting.groups[3], acting.costs
    left = np.repeat(acting.left_after(tried)[None, :], len(b), axis=0)
    alive = b * acting.unresolved(left)
    best = alive @ handed
    first = np.full(len(b), -1, dtype=np.int64)
    free = np.ones((len(b), len(costs)))
    free[:, list(tried)] = 0.0
    per = b @ acting.has
    spent, mass = np.zeros(len(b)), alive.sum(axis=1)
    begun = first
    rows = np.arange(len(b))  # beliefs for which acting on may still pay; the arrays below hold these alone
    for step in range(len(costs) - len(tried)):
        ratio = ((per * left) @ acting.cures.T) / costs * free
        remedy = ratio.argmax(axis=1)
        at = np.arange(len(rows))
        use = (ratio[at, remedy] > 0) & (spent < best[rows])
        if not use.any():
            break
        if not use.all():
            rows, remedy, b, per = rows[use], remedy[use], b[use], per[use]
            left, free, spent, mass = left[use], free[use], spent[use], mass[use]
            begun, at = begun[use], at[: len(rows)]
        begun = remedy if step == 0 else begun
        spent = spent + mass * costs[remedy]
        free[at, remedy] = 0.0
        left *= 1.0 - acting.cures[remedy]
        alive = b * acting.unresolved(left)
        mass = alive.sum(axis=1)
        total = spent + alive @ handed
        better = total < best[rows]
        best[rows[better]] = total[better]
        first[rows[better]] = begun[better]
    return best, first


def _answers(look: Look, belief: Array) -> tuple[Array, Array]:
    """(A', W) beliefs by answer, the faint ones together; (A',) what a minute counts after each."""
    rows = look.given.T * belief
    counts = np.ones(len(rows)) if look.eases is None else look.eases
    mass = rows.sum(axis=1)
    faint = mass < FAINT * mass.sum()
    if faint.sum() < 2:
        return rows, counts
    together = rows[faint].sum(axis=0, keepdims=True)
    return np.concatenate([rows[~faint], together]), np.append(counts[~faint], 1.0)


def look_values(
    beliefs: Sequence[Array],
    acting: Acting,
    looks: Sequence[Sequence[tuple[int, Look]]],
    tried: Sequence[int] = (),
    known: Known | None = None,
    paths: Sequence[Path] | None = None,
) -> list[dict[int, float]]:
    """One look, then V0: for each belief (W,) and each of its own (number, look) the value. One pass for all.

    known: V0 of answers worked out before, by the path of the belief and the name of the look.
    """
    known = {} if known is None else known
    paths = [(str(row),) for row in range(len(beliefs))] if paths is None else paths
    stack: list[Array] = []
    asked: list[tuple[tuple[Path, str], int]] = []
    split: list[tuple[tuple[Path, str], int, int, Look, Array]] = []
    for row, (belief, path, own) in enumerate(zip(beliefs, paths, looks, strict=True)):
        for number, look in own:
            rows, count = _answers(look, belief)
            key = (path, look.name or str(number))
            split.append((key, row, number, look, count))
            if key not in known:
                known[key] = count  # worked out below
                stack.append(rows)
                asked.append((key, len(rows)))
    if stack:
        values, at = act_values(np.concatenate(stack), acting, tried)[0], 0
        for key, size in asked:
            known[key] = values[at : at + size]
            at += size
    mass = unresolved_mass(np.stack(list(beliefs)), acting, tried) if split else np.zeros(0)
    out: list[dict[int, float]] = [{} for _ in beliefs]
    for key, row, number, look, count in split:
        out[row][number] = look.cost * float(mass[row]) + float(known[key] @ count)
    return out


def choose(
    belief: Array,
    acting: Acting,
    looks: Sequence[Look],
    tried: Sequence[int] = (),
    limits: Limits | None = None,
    known: Known | None = None,
) -> Choice:
    """The next step for a belief (W,) before the outcomes of ``tried``; looks already answered are left out by the caller.

    known: kept from one choice to another of the same belief among the same looks, by name, where only what a minute counts
    differs.
    """
    limits = limits or Limits()
    known = {} if known is None else known
    base_values, firsts = act_values(belief[None, :], acting, tried)
    base, first = float(base_values[0]), int(firsts[0])
    single = look_values([belief], acting, [list(enumerate(looks))], tried, known, [()])[0]
    values = np.array([single[n] for n in range(len(looks))])
    order = np.argsort(values, kind="stable")
    ahead = _Ahead(acting, looks, order, limits, known)
    deep = values.copy()
    chosen = [int(n) for n in order[: limits.looks]]
    for number, value in zip(chosen, ahead.after_looks(belief, chosen, tried), strict=True):
        deep[number] = min(value, values[number])
    acts = ahead.after_acts(belief, tried)
    kind: Literal["act", "look", "hand-over"] = "act" if first >= 0 else "hand-over"
    number, value = first, base
    for remedy, one in acts.items():
        if one < value - 1e-9:
            kind, number, value = "act", remedy, one
    if len(deep) and deep.min() < value - 1e-9:
        kind, number, value = "look", int(deep.argmin()), float(deep.min())
    return Choice(kind, number, value, base, deep, acts)


class _Ahead:
    """The second step: V1 of what the first may leave. order: looks from the best by one step."""

    def __init__(self, acting: Acting, looks: Sequence[Look], order: Index, limits: Limits, known: Known) -> None:
        self.acting, self.looks, self.order, self.limits, self.known = acting, looks, order, limits, known

    def _next(self, after: int, counts: float = 1.0) -> list[tuple[int, Look]]:
        """Looks worth trying once look ``after`` was done (-1 = none was), at what they then cost. counts: what a minute does."""
        opened = self.looks[after].cover if after >= 0 else ""
        changed = after >= 0 and self.looks[after].eases is not None
        blocked = self.looks[after].blocks if changed and counts < 1.0 else frozenset()
        left = (
            int(n)
            for n in self.order
            if n != after
            and not (changed and self.looks[n].eases is not None)
            and not (blocked and self.looks[n].name in blocked)
        )
        out = []
        for n in islice(left, self.limits.then):
            look = self.looks[n]
            shared = bool(opened) and look.cover == opened
            out.append((n, replace(look, cost=look.cost - look.saves) if shared else look))
        return out

    def _v1(
        self, beliefs: list[Array], nexts: list[list[tuple[int, Look]]], tried: Sequence[int], paths: list[Path]
    ) -> Array:
        fresh = [n for n, path in enumerate(paths) if (path, "") not in self.known]
        if fresh:
            acted, _ = act_values(np.stack([beliefs[n] for n in fresh]), self.acting, tried)
            self.known.update({(paths[n], ""): acted[at : at + 1] for at, n in enumerate(fresh)})
        looked = look_values(beliefs, self.acting, nexts, tried, self.known, paths)
        return np.array(
            [min([float(self.known[path, ""][0]), *one.values()]) for path, one in zip(paths, looked, strict=True)]
        )

    def after_looks(self, belief: Array, chosen: Sequence[int], tried: Sequence[int]) -> list[float]:
        """Each chosen look, then V1 of each answer."""
        beliefs: list[Array] = []
        nexts: list[list[tuple[int, Look]]] = []
        paths: list[Path] = []
        counts, sizes = [], []
        for number in chosen:
            rows, count = _answers(self.looks[number], belief)
            beliefs += list(rows)
            nexts += [self._next(number, float(c)) for c in count]
            name = self.looks[number].name or str(number)
            own = [(name, str(answer)) for answer in range(len(rows))]
            paths += own
            # acting right after an answer was weighed when the look was weighed alone
            self.known.update({(path, ""): self.known[(), name][n : n + 1] for n, path in enumerate(own)})
            counts.append(count)
            sizes.append(len(rows))
        if not beliefs:
            return []
        v1 = self._v1(beliefs, nexts, tried, paths) * np.concatenate(counts)
        mass = float(unresolved_mass(belief[None, :], self.acting, tried)[0])
        ends = np.cumsum(sizes)
        return [
            self.looks[n].cost * mass + float(v1[end - size : end].sum())
            for n, end, size in zip(chosen, ends, sizes, strict=True)
        ]

    def after_acts(self, belief: Array, tried: Sequence[int]) -> dict[int, float]:
        """The likeliest few remedies for their cost, each followed by V1 if it did not resolve it."""
        acting = self.acting
        per = acting.grouped(belief[None, :])[0] @ acting.has
        ratio = (acting.cures @ (per * acting.left_after(tried))) / acting.costs
        ratio[list(tried)] = 0.0
        out = {}
        mass = float(unresolved_mass(belief[None, :], acting, tried)[0])
        for remedy in (int(r) for r in np.argsort(-ratio, kind="stable")[: self.limits.acts] if ratio[r] > 0):
            v1 = self._v1([belief], [self._next(-1)], (*tried, remedy), [("remedy", str(remedy))])
            out[remedy] = float(acting.costs[remedy]) * mass + float(v1[0])
        return out
