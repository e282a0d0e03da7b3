"""Slices of the base too large for the exact optimum: the search against long rollouts of itself, on the same calls.

A rollout tries each of the best few next steps many times to the end, the search going on after it, and takes the one that was
cheapest on average; so it looks as far ahead as calls last. Where it is hardly cheaper than the search, looking further ahead
than two steps would gain little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from diagnose.network import Array
from diagnose.plan_search import Acting, Look, choose

OPTIONS = 3  # looks, and as many remedies, that a rollout tries besides what the search would do

Move = tuple[str, int]


@dataclass(frozen=True)
class Model:
    """p: (W,) prior of the worlds; what can be done; looks."""

    p: Array
    acting: Acting
    looks: tuple[Look, ...]


@dataclass(frozen=True)
class State:
    """What was seen, as (look, answer), and which remedies were tried in vain."""

    seen: frozenset[tuple[int, int]] = frozenset()
    tried: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Luck:
    """One call: the world it is in, and a number from 0 to 1 for each look and each remedy; the same step gives the same again."""

    world: int
    looks: Array
    remedies: Array


def at_cost(looks: Sequence[Look], asked: frozenset[int]) -> list[Look]:
    """All looks at what they cost once those in ``asked`` have opened their covers."""
    opened = {looks[n].cover for n in asked}
    return [
        replace(look, cost=look.cost - look.saves, cover="") if look.cover and look.cover in opened else look
        for look in looks
    ]


class Calls:
    """Calls on one model where one part is wrong in each world; the search's choices are kept by state."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self._options: dict[State, tuple[Move, ...]] = {}

    def belief(self, state: State) -> Array:
        """(W,) not normalised, before the failure of what was tried."""
        out = self.model.p
        for look, answer in state.seen:
            out = out * self.model.looks[look].given[:, answer]
        return out

    def luck(self, state: State, rng: np.random.Generator) -> Luck:
        """A call that has come to ``state``, drawn from what is believed there."""
        failed = np.prod([1.0 - self._cures(r) for r in state.tried], axis=0) if state.tried else 1.0
        p = self.belief(state) * failed
        return Luck(
            int(rng.choice(len(p), p=p / p.sum())),
            rng.random(len(self.model.looks)),
            rng.random(len(self.model.acting.costs)),
        )

    def _cures(self, remedy: int) -> Array:
        out: Array = self.model.acting.cures[remedy, self.model.acting.wrong[:, 0]]
        return out

    def options(self, state: State) -> tuple[Move, ...]:
        """What the search would do, then the next best looks and remedies, and handing over."""
        found = self._options.get(state)
        if found is not None:
            return found
        asked = frozenset(look for look, _ in state.seen)
        now = at_cost(self.model.looks, asked)
        still = [n for n in range(len(now)) if n not in asked]
        choice = choose(self.belief(state), self.model.acting, [now[n] for n in still], tuple(sorted(state.tried)))
        first: Move = (choice.kind, still[choice.number] if choice.kind == "look" else choice.number)
        looks = [("look", still[int(n)]) for n in np.argsort(choice.looks, kind="stable")[:OPTIONS]]
        acts = [("act", r) for r in sorted(choice.acts, key=lambda r: choice.acts[r])[:OPTIONS]]
        moves = tuple(dict.fromkeys([first, *looks, *acts, ("hand-over", -1)]))
        self._options[state] = moves
        return moves

    def step(self, state: State, move: Move, luck: Luck) -> tuple[float, State | None]:
        """(minutes, where the call stands then; None = resolved or handed over)."""
        kind, number = move
        if kind == "look":
            look = at_cost(self.model.looks, frozenset(n for n, _ in state.seen))[number]
            chances = np.cumsum(look.given[luck.world])
            answer = min(int(np.searchsorted(chances, luck.looks[number])), len(chances) - 1)
            return look.cost, State(state.seen | {(number, answer)}, state.tried)
        if kind == "act":
            cured = luck.remedies[number] < self._cures(number)[luck.world]
            return float(self.model.acting.costs[number]), None if cured else State(state.seen, state.tried | {number})
        return float(self.model.acting.handed[luck.world]), None

    def searched(self, state: State | None, luck: Luck) -> float:
        """Minutes to the end with the search choosing."""
        spent = 0.0
        while state is not None:
            minutes, state = self.step(state, self.options(state)[0], luck)
            spent += minutes
        return spent

    def rolled_out(self, luck: Luck, rng: np.random.Generator, repeats: int) -> float:
        """Minutes to the end with each step chosen by ``repeats`` rollouts of every option."""
        spent, state = 0.0, State()
        while True:
            moves = self.options(state)
            tries = [self.luck(state, rng) for _ in range(repeats)]
            means = []
            for move in moves:
                cost = 0.0
                for one in tries:
                    minutes, then = self.step(state, move, one)
                    cost += minutes + self.searched(then, one)
                means.append(cost)
            minutes, then = self.step(state, moves[int(np.argmin(means))], luck)
            spent += minutes
            if then is None:
                return spent
            state = then


def against_rollouts(models: Sequence[Model], calls: int, repeats: int, seed: int) -> dict[str, Any]:
    """Mean minutes of search and rollouts on the same ``calls`` of each model, and the share by which the search is dearer."""
    searched, rolled = [], []
    for number, model in enumerate(models):
        work, rng = Calls(model), np.random.default_rng([seed, number])
        for _ in range(calls):
            luck = work.luck(State(), rng)
            searched.append(work.searched(State(), luck))
            rolled.append(work.rolled_out(luck, rng, repeats))
    more = np.array(searched) - np.array(rolled)
    scale = float(np.mean(rolled))
    return {
        "models": len(models),
        "calls": len(searched),
        "rollouts_per_step": repeats,
        "search_minutes": round(float(np.mean(searched)), 2),
        "rollout_minutes": round(scale, 2),
        "search_dearer_by": round(float(more.mean()) / scale, 5),
        "standard_error": round(float(more.std(ddof=1)) / len(more) ** 0.5 / scale, 5),
    }
