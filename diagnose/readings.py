"""The readings of a case in SI, each with place, state, moment and instrument; which of them count now.

Same quantity, place, state and condition within ten minutes is one repeated reading, the latest counts; further apart it is a
series with a rate. Readings with a condition tag ("welders off") and references (card, last visit) are kept apart.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from datetime import datetime

from diagnose.case import Case, Entry
from diagnose.machine import MachineData
from diagnose.places import Topology, circuit_of, normalise
from knowledge.load import Knowledge
from knowledge.models import Instrument
from shared.errors import ReadingError
from shared.quantities import QUANTITIES, Kind
from shared.readings import RECTANGULAR
from shared.units import parse_reading, parse_spread

RUNNING = ("pump-only", "cooling")
RESTING = ("standing", "powered", "isolated")
REPEAT_MINUTES = 10.0
SAID_BY_OTHERS = 1.5  # a value passed on by word of mouth is taken as less exact: common practice, no source
RUNNING_AMPS = 0.5  # what a clamp shows on a dead lead is less: common practice, no source
RUNNING_RATIO = 1.35  # liquid over suction (absolute): equalised circuits stand near 1, a pumping compressor above this


@dataclass(frozen=True, slots=True)
class Variable:
    """One measured number: which reading, which phase."""

    quantity: str
    place: str
    phase: int
    instrument: str


@dataclass(frozen=True)
class Reading:
    """values: SI, one or three. sd: standard uncertainty of each. minutes: time on the case's clock (0 = now, past < 0)."""

    entry: int
    quantity: str
    place: str
    state: str
    steadiness: str
    values: tuple[float, ...]
    sd: tuple[float, ...]
    kind: Kind
    echo: str
    minutes: float
    timed: bool
    instrument: str
    instrument_kind: str
    condition: str
    source: str
    named: bool
    metric: bool

    def variable(self, phase: int = 0) -> Variable:
        """The variable of one phase of this reading."""
        return Variable(self.quantity, self.place, phase, self.instrument)


@dataclass
class Readings:
    """All readings, and those that count now by (quantity, place) in the running and in the resting machine."""

    all: list[Reading] = field(default_factory=list)
    running: dict[tuple[str, str], Reading] = field(default_factory=dict)
    resting: dict[tuple[str, str], Reading] = field(default_factory=dict)
    series: dict[tuple[str, str], list[Reading]] = field(default_factory=dict)
    references: dict[tuple[str, str], Reading] = field(default_factory=dict)
    conditioned: list[Reading] = field(default_factory=list)
    comparisons: list[tuple[Reading, Reading]] = field(default_factory=list)

    def places_of(self, *quantities: str) -> list[str]:
        """Places at which any of these quantities was read, running or resting."""
        return list(dict.fromkeys(place for (q, place) in (*self.running, *self.resting) if q in quantities))


def minutes_of(at: str, now: str) -> float:
    """Minutes relative to now (past is negative) for a clock ("10:35", ISO) or minutes before now ("-5", "5").

    Raises ReadingError.
    """
    text = at.strip()
    if re.fullmatch(r"[-+−]?\d+(\.\d+)?(\s*min(utes)?)?", text):
        return -abs(float(re.sub(r"[^\d.]", "", text)))
    clock_now = _moment(now)
    match = re.fullmatch(r"(\d{1,2}):(\d{2})(?::(\d{2}))?", text)
    if match and int(match[1]) < 24 and int(match[2]) < 60:
        if clock_now is None:
            return 0.0
        then = clock_now.replace(hour=int(match[1]), minute=int(match[2]), second=int(match[3] or 0), microsecond=0)
        delta = (then - clock_now).total_seconds() / 60.0
        return delta if delta <= 0 else delta - 1440.0
    then_full = _moment(text)
    if then_full is None:
        raise ReadingError(
            "time not understood", given=at, allowed="10:35, 2026-05-01T10:35 or minutes before now", do="correct 'at'"
        )
    if clock_now is None:
        return 0.0
    if (then_full.tzinfo is None) != (clock_now.tzinfo is None):
        then_full, clock_now = then_full.replace(tzinfo=None), clock_now.replace(tzinfo=None)
    delta = (then_full - clock_now).total_seconds() / 60.0
    if delta > 0.5:
        raise ReadingError("time after 'now'", given=at, allowed=f"not later than {now}", do="correct 'at' or 'now'")
    return delta


def _moment(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text.strip().replace("Z", "+00:00")) if text.strip() else None
    except ValueError:
        return None


def instrument_kinds(knowledge: Knowledge) -> dict[str, Instrument]:
    """Quantity -> kind of instrument that reads it."""
    memo = knowledge.memo.get("instrument-kinds")
    if memo is None:
        memo = {q: one for one in knowledge.instruments.values() for q in one.quantities}
        knowledge.memo["instrument-kinds"] = memo
    return dict(memo)


def width(text: str, kind: Kind, value: float) -> float:
    """A bias or accuracy text in SI: "%" of the reading, or a width with its unit."""
    text = text.strip()
    if text.endswith("%") and kind is not Kind.PERCENT:
        return float(text.rstrip("% ")) / 100.0 * abs(value)
    return parse_spread(text, kind)


def _default_place(entry: Entry, topology: Topology, spoken: list[str]) -> str:
    kind = QUANTITIES[entry.quantity].place
    if kind == "any":
        text = entry.place.strip().lower()
        for word, one in (
            ("pump", "pump"),
            ("compressor", "compressor"),
            ("fan", "fan"),
            ("onboard", "pump"),
            ("site", "pump"),
        ):
            if text.startswith(word):
                return normalise(entry.place, one, topology, spoken)
        if re.fullmatch(r"(circuit\W*)?[a-z]\d?", text) or text.startswith("circuit"):
            return normalise(entry.place, "compressor", topology, spoken)
        return "supply"
    return normalise(entry.place, kind, topology, spoken)


def place_of(entry: Entry, kind: str, topology: Topology, spoken: list[str]) -> str:
    """Normalised place of a check, finding or action entry whose card is for ``kind``."""
    return normalise(entry.place, kind, topology, spoken)


def spoken_circuits(case: Case, topology: Topology) -> list[str]:
    """Circuits named in the entries, in order."""
    named: list[str] = []
    for entry in case.entries:
        if re.match(r"\s*(circuit|compressor|fan)\b", entry.place, re.IGNORECASE):
            kind = entry.place.strip().lower().split(":")[0].split()[0]
            place = normalise(entry.place, "circuit" if kind == "circuit" else kind, topology)
            if (circuit := circuit_of(place)) and circuit not in ("?", "*"):
                named.append(circuit)
    return list(dict.fromkeys(named))


def default_state(case: Case, knowledge: Knowledge) -> str:
    """State assumed for readings whose state was not told: what this complaint implies."""
    complaint = knowledge.complaints.get(case.complaint)
    implied = complaint.state if complaint else "any"
    return implied if implied in (*RUNNING, *RESTING) else "cooling"


def read_all(case: Case, machine: MachineData, topology: Topology, knowledge: Knowledge) -> Readings:
    """Turn all reading entries into Readings. The case must have passed `case_check`."""
    readings = Readings()
    kinds = instrument_kinds(knowledge)
    spoken = spoken_circuits(case, topology)
    assumed = default_state(case, knowledge)
    for number, entry in enumerate(case.entries):
        if not entry.quantity:
            continue
        parsed = parse_reading(entry.quantity, entry.value, atmosphere_pa=machine.atmosphere_pa)
        place = _default_place(entry, topology, spoken)
        what = QUANTITIES[entry.quantity]
        instrument = kinds.get(entry.quantity)
        factor = SAID_BY_OTHERS if entry.who == "customer-says" else 1.0
        factor *= {"sure": 1.0, "think-so": 1.5, "guess": 3.0}[entry.sure]
        spread = tuple(
            (width(instrument.accuracy, what.kind, p.value) / RECTANGULAR if instrument else 0.0) * factor + p.about_sd
            for p in parsed
        )
        name = entry.instrument or f"{instrument.id if instrument else 'reading'}:{entry.quantity}@{place}"
        readings.all.append(
            Reading(
                number,
                entry.quantity,
                place,
                entry.state or assumed,
                entry.steadiness or "",
                tuple(p.value for p in parsed),
                spread,
                what.kind,
                " / ".join(p.echo for p in parsed),
                minutes_of(entry.at, case.now) if entry.at else 0.0,
                bool(entry.at),
                name,
                instrument.id if instrument else "",
                entry.condition,
                entry.source,
                bool(entry.state),
                any(p.metric for p in parsed),
            )
        )
    _infer_running(readings, assumed)
    _sort(readings)
    return readings


def _infer_running(readings: Readings, assumed: str) -> None:
    """Readings without a told state: a circuit whose pressures are well apart is being pumped, a compressor with current runs."""
    if assumed == "cooling":
        return
    readings.all = [
        replace(r, state="cooling")
        if r.quantity == "line_current"
        and r.place.startswith("compressor")
        and not r.named
        and r.source == "today"
        and max(r.values) > RUNNING_AMPS
        else r
        for r in readings.all
    ]
    latest: dict[tuple[str, str], Reading] = {}
    for one in readings.all:
        if not one.named and one.source == "today":
            latest[one.quantity, one.place] = one
    for place in {p for (_, p) in latest if p.startswith("circuit:")}:
        low, high = (
            latest.get(("suction_pressure", place)),
            latest.get(("liquid_pressure", place)) or latest.get(("discharge_pressure", place)),
        )
        if low is None or high is None:
            continue
        running = (high.values[0] + 101325.0) > RUNNING_RATIO * (low.values[0] + 101325.0)
        state = "cooling" if running else "standing"
        readings.all = [
            replace(r, state=state)
            if r.place == place
            and not r.named
            and r.quantity
            in (
                "suction_pressure",
                "liquid_pressure",
                "discharge_pressure",
                "suction_line",
                "liquid_line",
                "discharge_line",
            )
            else r
            for r in readings.all
        ]


def _sort(readings: Readings) -> None:
    for one in readings.all:
        key = (one.quantity, one.place)
        if one.source != "today":
            readings.references[key] = one
        elif one.condition:
            readings.conditioned.append(one)
        else:
            table = readings.running if one.state in RUNNING else readings.resting
            earlier = table.get(key)
            if (
                earlier is not None
                and earlier.instrument != one.instrument
                and abs(earlier.minutes - one.minutes) <= 60
            ):
                readings.comparisons.append((earlier, one))
            series = readings.series.setdefault(key, [])
            if series and one.timed and series[-1].timed and abs(series[-1].minutes - one.minutes) <= REPEAT_MINUTES:
                series.pop()
            series.append(one)
            if earlier is None or one.minutes >= earlier.minutes:
                table[key] = one
