"""Rounds against the baseline: the drift of every watched figure, whether it is worth a word, and how long there is to act.

    trend_of(placement, knowledge) -> Trends     baseline, rounds, one WatchTrend for each watch card and place
    trends.words                                 the early words, the most urgent first
    one.title, one.level, one.drift, one.days    each; `trend_text` says them, `trend_picture` draws them

Pure, and causal: the word of a round follows from the baseline and the rounds until then, so a record that grows never changes what
was said before.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from diagnose.machine import read_machine
from diagnose.placement.ahead import Course, Days, course_of, days_ahead, drift_between
from diagnose.placement.baseline import Baseline, baseline_of
from diagnose.placement.record import Placement
from diagnose.placement.rounds import ROUND, Figure, Key, Round, card_of, moment_of, round_of, sized
from diagnose.placement.sequential import Line, Step, cumulative
from diagnose.places import circuit_of
from diagnose.plant.conditions import Conditions
from diagnose.work import DEFAULT_FACTS
from knowledge.load import Knowledge
from knowledge.watches import FIGURES, Watch

LOOK_BACK_DAYS = 3.0  # air and return of these days are what the trip is asked for
LEAST_POINTS, MOST_POINTS = 5, 18  # points the line ahead rests on
HALF_WAY = 0.5  # share of the limit from which a sum counts as rising

Level = Literal["word", "rising", "quiet", "waiting"]
URGENCY: dict[Level, int] = {"word": 0, "rising": 1, "quiet": 2, "waiting": 3}


@dataclass(frozen=True)
class Point:
    """One round of one watch. days: since the baseline; drift: from the baseline, as measured (a logarithm, or kelvin); figure: what was
    measured and expected; step: the sum after it.
    """

    number: int
    at: datetime
    days: float
    drift: float
    figure: Figure
    step: Step


@dataclass(frozen=True)
class WatchTrend:
    """One watch at one place. since: entry its drift counts from (the baseline, or the first round that had the figure).

    level: word, rising (half way to one), quiet, waiting (no round yet). first_word: index of the point that gave the word that
    stands, None without one. goes_with: id of a watch with a word of which this one is a consequence, "" without. line: of drift or severity over days, days: how long there is to act, both only with a word.
    due_at: drift at which it is due, as measured, None where nothing says so.
    """

    card: Watch
    place: str
    since: int
    points: tuple[Point, ...]
    level: Level
    first_word: int | None = None
    line: Line | None = None
    days: Days | None = None
    due_at: float | None = None
    goes_with: str = ""

    @property
    def drift(self) -> float:
        """Drift of the last round, 0 without one."""
        return self.points[-1].drift if self.points else 0.0

    @property
    def key(self) -> Key:
        """Figure and place."""
        return self.card.figure, self.place


@dataclass(frozen=True)
class Trends:
    """baseline: what it is compared with, None = none. rounds: those after it that read something. skipped: rounds without a moment.

    lacks: why nothing or not everything is compared, in words. watches: in order of urgency.
    """

    baseline: Baseline | None
    rounds: tuple[Round, ...]
    skipped: int
    lacks: tuple[str, ...]
    watches: tuple[WatchTrend, ...]

    @property
    def words(self) -> tuple[WatchTrend, ...]:
        """The early words that stand."""
        return tuple(w for w in self.watches if w.level == "word")


def rounds_of(placement: Placement, knowledge: Knowledge, after: int = -1) -> tuple[tuple[Round, ...], int]:
    """Rounds after an entry in order of their moments, and how many had none."""
    numbers = [n for n, e in enumerate(placement.entries) if n > after and e.step == ROUND and e.outcome != "left"]
    told = [n for n in numbers if moment_of(placement.entries[n].at) is not None]
    made = [r for n in told if (r := round_of(placement, n, knowledge)) is not None]
    return tuple(sorted(made, key=lambda r: r.at)), len(numbers) - len(told)


def trend_of(placement: Placement, knowledge: Knowledge, *, ahead: bool = True) -> Trends:
    """All trends of a placement. ahead: work out the days to act as well (some tenths of a second for each word)."""
    baseline = baseline_of(placement, knowledge)
    if baseline is None:
        return Trends(None, (), 0, ("no baseline: nothing to compare with",), ())
    if not baseline.usable:
        return Trends(baseline, (), 0, tuple(f"no baseline: {one}" for one in baseline.reasons), ())
    rounds, skipped = rounds_of(placement, knowledge, baseline.round.number)
    rounds = tuple(r for r in rounds if r.at > baseline.round.at)
    lacks = list(dict.fromkeys(w for r in (baseline.round, *rounds) for w in r.why))
    watches = [
        _watched(card, key, baseline.round, rounds, placement, ahead)
        for card in knowledge.watches.values()
        if _belongs(card, placement)
        for key in _keys(card, (baseline.round, *rounds))
    ]
    watches = [_with_company(w, watches) for w in watches]
    watches.sort(key=_urgency)
    return Trends(baseline, rounds, skipped, tuple(lacks), tuple(watches))


def _belongs(card: Watch, placement: Placement) -> bool:
    facts = {**DEFAULT_FACTS, **read_machine(placement.machine).facts}
    return all(facts.get(name) in words for name, words in card.when.items())


def _with_company(one: WatchTrend, watches: Sequence[WatchTrend]) -> WatchTrend:
    """The same with the word it is a consequence of: at the same circuit, or where one of the two is of the whole unit."""
    if one.level != "word" or not one.card.goes_with:
        return one
    with_word = [
        w for w in watches if w.level == "word" and w.card.id in one.card.goes_with and _touch(w.place, one.place)
    ]
    return replace(one, goes_with=with_word[0].card.id) if with_word else one


def _touch(one: str, other: str) -> bool:
    first, second = circuit_of(one), circuit_of(other)
    return not first or not second or first == second


def _urgency(one: WatchTrend) -> tuple[float, ...]:
    days = one.days.likely if one.days is not None and one.days.likely is not None else math.inf
    total = one.points[-1].step.total / one.points[-1].step.limit if one.points else 0.0
    return URGENCY[one.level], bool(one.goes_with), days, -total


def _keys(card: Watch, rounds: Iterable[Round]) -> list[Key]:
    return sorted({k for r in rounds for k in r.figures if k[0] == card.figure and _compares(card, r.figures[k])})


def _compares(card: Watch, figure: Figure) -> bool:
    return figure.expected is not None or card.without_card


def _watched(
    card: Watch, key: Key, base: Round, rounds: Sequence[Round], placement: Placement, ahead: bool
) -> WatchTrend:
    having = [r for r in (base, *rounds) if key in r.figures]
    first, sign = having[0], 1.0 if card.way == "up" else -1.0
    zeros: dict[str, float] = {}  # residual of the first moment of each regime
    rest: list[Round] = []
    for one in having:
        if one.figures[key].regime in zeros:
            rest.append(one)
        else:
            zeros[one.figures[key].regime] = one.figures[key].residual
    if not rest:
        return WatchTrend(card, key[1], first.number, (), "waiting")
    drifts = [r.figures[key].residual - zeros[r.figures[key].regime] for r in rest]
    steps = cumulative(
        [sign * d for d in drifts],
        card.size("noise") or 1.0,
        card.size("allowance") or 0.0,
        card.size("reference") or 1.0,
        card.in_control_rounds,
    )
    points = tuple(
        Point(r.number, r.at, (r.at - base.at).total_seconds() / 86400.0, d, r.figures[key], s)
        for r, d, s in zip(rest, drifts, steps, strict=True)
    )
    last = steps[-1]
    if not last.word:
        level: Level = "rising" if last.total > HALF_WAY * last.limit else "quiet"
        return WatchTrend(card, key[1], first.number, points, level)
    quiet = [n for n, s in enumerate(steps) if not s.word]
    word_at = quiet[-1] + 1 if quiet else 0
    if not ahead:
        return WatchTrend(card, key[1], first.number, points, "word", word_at)
    days, line, due = _ahead(card, key, zeros[rest[-1].figures[key].regime], points, rest, placement)
    return WatchTrend(card, key[1], first.number, points, "word", word_at, line, days, due)


def _ahead(
    card: Watch, key: Key, zero: float, points: Sequence[Point], rounds: Sequence[Round], placement: Placement
) -> tuple[Days | None, Line | None, float | None]:
    """Days to act, the line they rest on, and the drift at which it is due (as measured)."""
    sign = 1.0 if card.way == "up" else -1.0
    begun = max((n for n, p in enumerate(points) if p.step.total == 0.0), default=0)
    first = max(min(begun, len(points) - LEAST_POINTS), len(points) - MOST_POINTS, 0)
    used = points[first:]
    limits = []
    if (at := card.size("act_at")) is not None:
        limits.append((at, "work is due"))
    if (left := card.size("act_left")) is not None and (expected := points[-1].figure.expected) is not None:
        healthy = expected + zero if FIGURES[card.figure][1] == "difference" else expected * math.exp(zero)
        way = drift_between(card.figure, healthy, left)
        if way is not None and sign * way > 0.0:
            limits.append((sign * way, f"hardly any {FIGURES[card.figure][0]} is left"))
    course = _course(card, key, rounds, placement) if card.fault else None
    days, line = days_ahead([p.days for p in used], [sign * p.drift for p in used], course, limits)
    goals = [at for at, _ in limits]
    if course is not None and course.trips_at is not None and course.trips_at <= course.severities[-1]:
        goals.append(course.drift(course.trips_at))
    return days, line, sign * min(goals) if goals else None


def _course(card: Watch, key: Key, rounds: Sequence[Round], placement: Placement) -> Course | None:
    """What the fault would do on the worst day of the last few: the hottest air and the warmest return, everything on."""
    known = [(r.at, r.conditions) for r in rounds if r.conditions is not None]
    if not known:
        return None
    recent = [c for at, c in known if at >= known[-1][0] - timedelta(days=LOOK_BACK_DAYS)]
    machine = card_of(placement.machine)
    plant = sized(machine)
    running = tuple((c.id, c.compressors) for c in plant.circuits)
    air_k, entering_k = (round(max(getattr(c, name) for c in recent), 1) for name in ("air_k", "entering_k"))
    return course_of(machine, card, key, Conditions(air_k, entering_k, stages=len(plant.compressors)), running)
