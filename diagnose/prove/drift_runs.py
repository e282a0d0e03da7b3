"""Placements of ten days on the simulated machine: weather, load, rounds read through instruments, and a fault that grows or none.

The machine is not the one of its card: its parts are moved by up to a tenth. Every instrument carries one fixed error within its
accuracy for the whole run, repeats with ``REPEATS`` of it, and shows what its scale shows. Two rounds in ten are missing. A run is a
function of (seed, number, cause); the trend gets what a desk would keep: texts with units.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from diagnose.case import Machine
from diagnose.evaluate.cases import full_card
from diagnose.placement.ahead import TRIPS
from diagnose.placement.baseline import judged
from diagnose.placement.record import Done, Placement, Taken
from diagnose.placement.rounds import BASELINE, ROUND
from diagnose.plant.conditions import Conditions
from diagnose.plant.draws import draw_machine
from diagnose.plant.faults import EFFECTS, Fault, apply_faults, places, shows_on
from diagnose.plant.health import Health, healthy
from diagnose.plant.instruments import KINDS, take
from diagnose.plant.instruments import Taken as Shown
from diagnose.plant.parameters import Plant
from diagnose.plant.scatter import scattered
from diagnose.plant.simulate import simulate_health
from diagnose.plant.sizing import SPLIT_K, plant_of
from diagnose.plant.snapshot import Snapshot
from knowledge.load import Knowledge
from shared.quantities import QUANTITIES
from shared.units import to_unit

DAYS, ROUND_HOURS, MISSING = 10, 4, 0.2
SPREAD = 0.10  # machine against its card
REPEATS = (
    0.3  # standard deviation of a repeated reading over the accuracy of its instrument: common practice, no source
)
CAUSES = ("strainer-clogged", "coil-dirty", "refrigerant-leak")
START = datetime(2026, 6, 1, 10, 0)
SHAPES = (0.7, 1.6)  # power of the time with which a fault grows
BEGINS_H, LASTS_H = (0.0, 72.0), (96.0, 216.0)
LOOKED_FROM = 0.3  # a trip under this severity is the weather's, not the fault's
HOTTEST = 15  # hour of the day; looked at for a trip besides the rounds
# what a round reads: quantity -> unit it is written down in
READ = {
    "entering_fluid": "degF", "leaving_fluid": "degF", "evaporator_drop": "psi", "strainer_drop": "psi", "entering_air": "degF",
    "suction_pressure": "psig", "liquid_pressure": "psig", "suction_line": "degF", "liquid_line": "degF", "line_current": "A",
    "line_voltage": "V", "machine_load": "%",
}  # fmt: skip


REDRAWN = {
    "baseline": "its baseline was refused: nobody would have gone on",
    "trips-healthy": "the machine tripped while its fault was small or none",
    "no-trip": "the growing fault ended in no trip within the days",
}


@dataclass(frozen=True)
class Weather:
    """Air and load over the run. mean, swing: of a day [K]; days: departure of each; load: mean share, its daily swing, its changes."""

    mean_k: float
    swing_k: float
    days: tuple[float, ...]
    load: float
    load_swing: float
    changes: tuple[float, ...]
    seed: str

    def air_k(self, hour: float) -> float:
        """Air at the coil: warmest at three in the afternoon, days joined by straight lines, a little unrest each hour."""
        day = hour / 24.0
        n = min(int(day), len(self.days) - 2)
        level = self.days[n] + (self.days[n + 1] - self.days[n]) * min(day - n, 1.0)
        clock = (START.hour + hour) % 24.0
        unrest = random.Random(f"{self.seed}:air:{hour}").gauss(0.0, 0.6)
        air = self.mean_k + level + self.swing_k * math.cos(2.0 * math.pi * (clock - HOTTEST) / 24.0) + unrest
        return min(max(air, 268.15), 314.15)

    def share(self, hour: float) -> float:
        """Load as a share of nameplate capacity."""
        clock = (START.hour + hour) % 24.0
        day = min(int(hour / 24.0), len(self.changes) - 1)
        unrest = random.Random(f"{self.seed}:load:{hour}").gauss(0.0, 0.04)
        share = self.load + self.changes[day] + unrest
        return min(max(share + self.load_swing * math.cos(2.0 * math.pi * (clock - 14.0) / 24.0), 0.35), 1.05)


def draw_weather(rng: random.Random, seed: str) -> Weather:
    """Daily swing and day-to-day changes; a load with a daily course and its own changes from day to day."""
    days, level = [], 0.0
    for _ in range(DAYS + 2):
        level = 0.6 * level + rng.gauss(0.0, 2.5)
        days.append(level)
    return Weather(
        rng.uniform(283.15, 304.15),
        rng.uniform(3.0, 8.0),
        tuple(days),
        rng.uniform(0.6, 0.95),
        rng.uniform(0.0, 0.15),
        tuple(rng.uniform(-0.12, 0.12) for _ in range(DAYS + 1)),
        seed,
    )


@dataclass(frozen=True)
class Run:
    """One placement. cause: "" = healthy; place: where. trip_h: hours after the baseline, None = none. redrawn: why runs were thrown
    away before it (`REDRAWN`), one word each.
    """

    number: int
    cause: str
    place: str
    placement: Placement
    trip_h: float | None
    trip: str
    redrawn: tuple[str, ...]


@dataclass(frozen=True)
class _Story:
    """A machine, its days, and how its fault grows."""

    card: Machine
    plant: Plant
    weather: Weather
    cause: str
    place: str
    begins_h: float
    lasts_h: float
    power: float
    seed: int

    def severity(self, hour: float) -> float:
        if not self.cause or hour <= self.begins_h:
            return 0.0
        return float(min(((hour - self.begins_h) / self.lasts_h) ** self.power, 1.0))

    def health(self, hour: float) -> Health:
        severity = self.severity(hour)
        return apply_faults(self.plant, [Fault(self.cause, severity, self.place)]) if severity else healthy(self.plant)

    def conditions(self, hour: float) -> Conditions:
        """The control carries the load with so many compressors; the return stands where they do."""
        rng = random.Random(f"{self.weather.seed}:return:{hour}")
        # the baseline is taken at the end of the pull-down, with everything on
        share, total = self.weather.share(hour) if hour else 1.0, len(self.plant.compressors)
        on = max(1, min(total, math.ceil(share * total - 0.25)))
        volts = self.plant.supply.volts * (1.0 + rng.gauss(0.0, 0.008))
        entering = self.plant.control.set_point_k + share * SPLIT_K + rng.uniform(-0.4, 0.8)
        return Conditions(air_k=self.weather.air_k(hour), entering_k=entering, stages=on, board_volts=volts)

    def shot(self, hour: float) -> Snapshot:
        return simulate_health(self.plant, self.conditions(hour), self.health(hour), self.seed)


def _tripped(shot: Snapshot) -> str:
    """Name of the trip, "" while it runs; one that does not cool has tripped or will never be read."""
    trip = next((t.name for t in shot.trips if t.name in TRIPS), "")
    return trip or ("" if "cooling" in shot.readings else shot.hold)


def _story(rng: random.Random, cause: str, seed: int, circuits: int | None) -> _Story:
    while True:
        drawn = draw_machine(rng)
        card = full_card(
            drawn.model_copy(update={"circuits": circuits, "compressors": 2 * circuits}) if circuits else drawn
        )
        plant = scattered(plant_of(card), rng.randrange(1 << 30), SPREAD)
        if not cause or shows_on(plant, EFFECTS[cause]):
            break
    place = rng.choice(places(plant, EFFECTS[cause].place)) if cause else ""
    weather = draw_weather(rng, f"{seed}")
    begins, lasts, power = rng.uniform(*BEGINS_H), rng.uniform(*LASTS_H), rng.uniform(*SHAPES)
    return _Story(card, plant, weather, cause, place, begins, lasts, power, seed)


def draw_run(
    knowledge: Knowledge, seed: int, number: int, cause: str, days: int = DAYS, circuits: int | None = None
) -> Run:
    """Run ``number`` of a series. days, circuits: shorter, and of machines with so many circuits, for a quick look."""
    rng = random.Random(f"drift:{seed}:{number}:{cause}")
    redrawn: list[str] = []
    while True:
        made = _played(knowledge, _story(rng, cause, rng.randrange(1 << 30), circuits), rng, number, days)
        if isinstance(made, Run):
            return replace(made, redrawn=tuple(redrawn))
        redrawn.append(made)


def _played(knowledge: Knowledge, story: _Story, rng: random.Random, number: int, days: int) -> Run | str:
    """The record until the trip or the end, or why it is thrown away."""
    placement = Placement(name="invented", machine=story.card, qualified=("electrical", "refrigerant"))
    before = 0
    for hour in range(days * 24 + 1):
        due = hour % ROUND_HOURS == 0
        hottest = (START.hour + hour) % 24 == HOTTEST
        missing = hour > 0 and rng.random() < MISSING if due else True
        if not due and not hottest or missing and not story.cause:
            continue
        shot = story.shot(hour)
        if _tripped(shot):
            if story.severity(hour) < LOOKED_FROM:
                return "trips-healthy"
            first = next((h for h in range(before + 1, hour) if _tripped(story.shot(h))), hour)
            return Run(number, story.cause, story.place, placement, float(first), _tripped(story.shot(first)), ())
        before = hour
        if missing:
            continue
        placement = placement.model_copy(update={"entries": (*placement.entries, _entry(story, shot, hour, rng))})
        if hour == 0:
            baseline = judged(placement, 0, knowledge)
            if baseline is None or not baseline.usable:
                return "baseline"
    return "no-trip" if story.cause else Run(number, "", "", placement, None, "", ())


def _entry(story: _Story, shot: Snapshot, hour: int, rng: random.Random) -> Done:
    at = START + timedelta(hours=hour)
    readings = list(_readings(story, shot.readings["cooling"], rng))
    if hour:
        return Done(step=ROUND, at=at.isoformat(timespec="minutes"), by="rounds", readings=tuple(readings))
    before = (at - timedelta(minutes=6)).isoformat(timespec="minutes")
    again = [
        one.model_copy(update={"at": before})
        for one in _readings(story, shot.readings["cooling"], rng)
        if one.quantity in ("entering_fluid", "leaving_fluid")
    ]
    return Done(step=BASELINE, at=at.isoformat(timespec="minutes"), by="start", readings=(*again, *readings))


def _readings(story: _Story, table: Mapping[tuple[str, str], Shown], rng: random.Random) -> Iterator[Taken]:
    """What is written down: the true value with this moment's scatter, through the instrument of this run."""
    weather = table["weather_air", "unit"].true
    air_k = weather if isinstance(weather, float) else weather[0]
    standing = {f"circuit:{c.id}" for c in story.plant.circuits if _stands(c.compressors, table)}
    for (quantity, place), one in table.items():
        unit = READ.get(quantity)
        if unit is None or place in standing or place == "supply" and quantity == "line_current":
            continue
        if place.startswith("pump:") and place != f"pump:{story.plant.loop.in_use}":
            continue
        true = _mean(one.true)
        size = KINDS[quantity].accuracy * (abs(true) if KINDS[quantity].share else 1.0)
        shown = take(
            quantity, place, true + rng.gauss(0.0, REPEATS * size), healthy(story.plant).instruments, story.seed, air_k
        )
        value = to_unit(_mean(shown.shown), QUANTITIES[quantity].kind, unit)
        yield Taken(quantity=quantity, value=f"{value:.1f} {unit}", place="" if place == "unit" else place)


def _stands(compressors: Sequence[str], table: Mapping[tuple[str, str], Shown]) -> bool:
    return all(_mean(table["line_current", f"compressor:{c}"].true) <= 0.0 for c in compressors)


def _mean(value: float | tuple[float, ...]) -> float:
    return sum(value) / len(value) if isinstance(value, tuple) else value
