"""How long until it trips or is due: the simulated machine of the card is asked which severity of the fault ends in the trip.

A drift that grows evenly hardly ever shows evenly (a strainer's drop rises with the square of what is closed), so the drift seen is
first turned into a severity of the fault by what the simulated machine shows at each, then continued by a robust line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from diagnose.placement.rounds import Key, Running, faulty_figures, shown_by, sized
from diagnose.placement.sequential import Line, robust_line
from diagnose.plant.conditions import Conditions
from diagnose.plant.controller import FLOW, FREEZE, HIGH, LOW, OVERLOAD, PROTECTION
from diagnose.plant.faults import EFFECTS, Fault, apply_faults, shows_on
from diagnose.plant.parameters import Plant
from diagnose.plant.simulate import simulate_health
from knowledge.watches import FIGURES, Watch

TRIPS = (FLOW, FREEZE, HIGH, LOW, OVERLOAD, PROTECTION)  # what a machine ends in; the supply is another matter
STEPS = 10
REFINE = 3
MOST_DAYS = 60.0  # further ahead nothing is said
# The line's own band leaves out that weather, load and pace change. Set on one half of 140 played stays so that nine in ten trips
# fall within, and checked on the other half; the proof counts it anew.
WIDER = 3.0


@dataclass(frozen=True)
class Days:
    """Days from the last round: early, likely, late (None = not within ``MOST_DAYS``). until: what is reached then, in words."""

    early: float
    likely: float | None
    late: float | None
    until: str


@dataclass(frozen=True)
class Course:
    """What a fault does to one figure. severities and drifts rise together; trips_at: severity of the trip, None = none of it; trip:
    its name.
    """

    severities: tuple[float, ...]
    drifts: tuple[float, ...]
    trips_at: float | None
    trip: str = ""

    def severity(self, drift: float) -> float:
        """Severity that shows this drift; beyond the ends it goes on as at the end."""
        x, y = self.drifts, self.severities
        if drift <= x[0]:
            return y[0] + (drift - x[0]) * _rise(x, y, 0)
        if drift >= x[-1]:
            return min(y[-1] + (drift - x[-1]) * _rise(x, y, len(x) - 2), 1.2)
        n = next(i for i in range(1, len(x)) if drift <= x[i])
        return y[n - 1] + (drift - x[n - 1]) * _rise(x, y, n - 1)

    def drift(self, severity: float) -> float:
        """Drift that this severity shows, within the ends."""
        x, y = self.severities, self.drifts
        n = next((i for i in range(1, len(x)) if severity <= x[i]), len(x) - 1)
        return y[n - 1] + (min(severity, x[n]) - x[n - 1]) * _rise(x, y, n - 1)


def _rise(x: Sequence[float], y: Sequence[float], n: int) -> float:
    return (y[n + 1] - y[n]) / (x[n + 1] - x[n])


def drift_between(figure: str, healthy: float, now: float) -> float | None:
    """Drift of a figure: logarithm of the ratio, or the difference."""
    if FIGURES[figure][1] == "difference":
        return now - healthy
    return math.log(now / healthy) if now > 0.0 and healthy > 0.0 else None


def course_of(card: str, watch: Watch, key: Key, conditions: Conditions, running: Running) -> Course | None:
    """The course of a watch's fault on this machine under these conditions; None where the machine cannot have it or shows nothing."""
    return _course(card, watch.fault, watch.way, key, conditions, running)


@lru_cache(maxsize=256)
def _course(card: str, fault: str, way: str, key: Key, conditions: Conditions, running: Running) -> Course | None:
    plant = sized(card)
    effect = EFFECTS.get(fault)
    if effect is None or not shows_on(plant, effect):
        return None
    healthy = shown_by(card, conditions, running).get(key)
    if healthy is None or _trip(plant, fault, key, conditions, 0.0):
        return None
    sign = 1.0 if way == "up" else -1.0
    severities, drifts, trips_at = [0.0], [0.0], None
    trip = ""
    for step in range(1, STEPS + 1):
        s = step / STEPS
        seen = _figure(plant, fault, key, conditions, running, s)
        drift = drift_between(key[0], healthy, seen) if seen is not None else None
        if drift is not None and sign * drift > drifts[-1] + 1e-9:
            severities.append(s)
            drifts.append(sign * drift)
        trip = _trip(plant, fault, key, conditions, s)
        if trip:
            low, high = s - 1.0 / STEPS, s
            for _ in range(REFINE):
                middle = 0.5 * (low + high)
                low, high = (low, middle) if _trip(plant, fault, key, conditions, middle) else (middle, high)
            trips_at = high
            break
    return Course(tuple(severities), tuple(drifts), trips_at, trip) if len(severities) > 1 else None


def _health_place(plant: Plant, fault: str, key: Key) -> str:
    kind = EFFECTS[fault].place
    if key[1].split(":")[0] == kind:
        return key[1]
    return f"pump:{plant.loop.in_use}" if kind == "pump" else ""


def _figure(
    plant: Plant, fault: str, key: Key, conditions: Conditions, running: Running, severity: float
) -> float | None:
    health = apply_faults(plant, [Fault(fault, severity, _health_place(plant, fault, key))])
    return faulty_figures(plant, health, conditions, running).get(key)


def _trip(plant: Plant, fault: str, key: Key, conditions: Conditions, severity: float) -> str:
    """Name of the first trip of the machine with this severity, "" without one."""
    health = apply_faults(plant, [Fault(fault, severity, _health_place(plant, fault, key))])
    return next((t.name for t in simulate_health(plant, conditions, health).trips if t.name in TRIPS), "")


def days_ahead(
    times: Sequence[float],
    drifts: Sequence[float],
    course: Course | None,
    limits: Sequence[tuple[float, str]],
) -> tuple[Days | None, Line | None]:
    """Days until the first of the limits, and the line it rests on. times: days, rising; drifts: way of the trouble up; limits:
    (drift, in words). None where the line does not rise toward any of them.
    """
    path = [course.severity(d) for d in drifts] if course is not None else list(drifts)
    line = robust_line(times, path)
    if line is None:
        return None, None
    goals = [(course.severity(d) if course is not None else d, text) for d, text in limits]
    if course is not None and course.trips_at is not None:
        goals.append((course.trips_at, f"it trips: {course.trip.replace('-', ' ')}"))
    made = [d for goal, text in goals if (d := _until(line, goal, text)) is not None]
    return min(made, key=lambda d: (d.likely if d.likely is not None else math.inf, d.early), default=None), line


def _until(line: Line, goal: float, text: str) -> Days | None:
    left = goal - line.value
    if left <= 0.0:
        return Days(0.0, 0.0, 0.0, text)
    early = left / line.high if line.high > 0.0 else math.inf
    likely = left / line.slope if line.slope > 0.0 else math.inf
    late = left / line.low if line.low > 0.0 else math.inf
    if math.isfinite(likely):
        early = likely * (early / likely) ** WIDER
        late = likely * (late / likely) ** WIDER if math.isfinite(late) else late
    if early > MOST_DAYS:
        return None
    return Days(early, likely if likely <= MOST_DAYS else None, late if late <= MOST_DAYS else None, text)
