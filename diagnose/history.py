"""A machine over its calls: how its figures went, trouble that comes back, and a search over calls in plain words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from diagnose.chart import Axis, Series
from diagnose.derive import DerivedValue
from diagnose.pictures.picture import Picture, room
from diagnose.places import spell
from diagnose.store import Call, closing_of
from diagnose.store.records import OUTCOMES
from diagnose.work import prepare
from knowledge.load import Knowledge
from shared.quantities import DERIVED
from shared.units import SHOWN, show, to_unit

# figures worth following on one machine, the first ones first
FOLLOWED = (
    "superheat", "subcooling", "approach", "condenser_split", "fluid_split", "evaporator_drop_ratio", "flow_by_drop",
    "flow_ratio", "strainer_drop", "pump_rise", "fill_pressure", "compression_ratio", "discharge_excess",
    "compressor_current_ratio", "pump_current_ratio", "voltage_ratio", "voltage_unbalance",
)  # fmt: skip
AGAIN_DAYS = 30  # the same trouble within this time counts as having come back: common practice, no source
CAUSE_DAYS = 90
MANY = 3


@dataclass(frozen=True)
class Point:
    """One value of one call. word: as graded in that call ("" where no band judges it); call: its id."""

    at: datetime
    value: float
    sd: float
    word: str
    call: str


@dataclass(frozen=True)
class Trend:
    """One figure at one place over the calls, the oldest first; SI."""

    quantity: str
    place: str
    points: tuple[Point, ...]

    @property
    def title(self) -> str:
        """What it is, with its place where there are several."""
        name = DERIVED[self.quantity].title
        return name[0].upper() + name[1:] + (f", {spell(self.place)}" if ":" in self.place else "")


@dataclass(frozen=True)
class Repeat:
    """Trouble that came back: said in one sentence, with the calls it is about, the newest first."""

    text: str
    calls: tuple[str, ...]


def trends(calls: Iterable[Call], knowledge: Knowledge) -> tuple[Trend, ...]:
    """All followed figures of these calls of one machine; a figure read once is there too."""
    found: dict[tuple[str, str], list[Point]] = {}
    for call in sorted(calls, key=lambda c: c.line.opened_at):
        work = prepare(call.case, knowledge)
        for (quantity, place), value in work.derivation.values.items():
            if quantity in FOLLOWED:
                word = work.graded.words_of.get((quantity, place), "")
                found.setdefault((quantity, place), []).append(_point(call, value, word))
    order = {name: n for n, name in enumerate(FOLLOWED)}
    return tuple(
        Trend(q, p, tuple(points)) for (q, p), points in sorted(found.items(), key=lambda x: (order[x[0][0]], x[0][1]))
    )


def _point(call: Call, value: DerivedValue, word: str) -> Point:
    read = {source.entry for source in value.sources}
    times = [e.at for n, e in enumerate(call.case.entries) if n in read and e.at]
    at = call.line.opened_at
    for text in times:
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            continue
        if moment.tzinfo is not None:
            at = max(at, moment)
    return Point(at, value.value, value.sd, word, call.id)


def picture_of(trend: Trend, *, metric: bool = False) -> Picture | None:
    """The trend over days before its last point; None with a single one."""
    if len(trend.points) < 2:
        return None
    kind = DERIVED[trend.quantity].kind
    unit = SHOWN[kind][metric]
    last = trend.points[-1].at
    rows = [(-(last - p.at).total_seconds() / 86400.0, to_unit(p.value, kind, unit)) for p in trend.points]
    low, high = room([y for _, y in rows], 0.2)
    said = ", ".join(f"{p.at.date().isoformat()} {show(p.value, kind, metric)}" for p in trend.points[-6:])
    first = min(min(x for x, _ in rows), -1.0)
    return Picture(
        f"trend-{trend.quantity}-{trend.place.replace(':', '-')}",
        trend.title,
        f"{trend.title}: {said}",
        Axis("days before the last reading", first * 1.04, -first * 0.02),
        Axis(f"[{unit.replace('delta_', '')}]" if unit != "1" else "ratio", low, high),
        (Series("", tuple(rows), "marked"),),
        notes=tuple((x, y, p.word.replace("-", " ")) for (x, y), p in zip(rows, trend.points, strict=True) if p.word),
    )


def repeated(calls: Iterable[Call], knowledge: Knowledge) -> tuple[Repeat, ...]:
    """Trouble that comes back on one machine: the same confirmed cause, the same complaint, or many calls in a short time.

    Calls that ended as normal do not count.
    """
    troubled = [c for c in calls if c.line.outcome != "normal"]
    troubled.sort(key=lambda c: c.line.opened_at, reverse=True)
    out: list[Repeat] = []
    causes: dict[str, list[Call]] = {}
    complaints: dict[str, list[Call]] = {}
    for call in troubled:
        complaints.setdefault(call.line.complaint, []).append(call)
        closed = closing_of(call)
        for cause in closed.found if closed is not None else ():
            causes.setdefault(cause, []).append(call)
    for cause, own in causes.items():
        near = _within(own, CAUSE_DAYS)
        if len(near) > 1:
            title = knowledge.causes[cause].title if cause in knowledge.causes else cause
            out.append(
                Repeat(f"{title}: confirmed {len(near)} times within {CAUSE_DAYS} days", tuple(c.id for c in near))
            )
    for complaint, own in complaints.items():
        near = _within(own, AGAIN_DAYS)
        if len(near) > 1:
            title = knowledge.complaints[complaint].title if complaint in knowledge.complaints else complaint
            out.append(Repeat(f"{title}: called {len(near)} times within {AGAIN_DAYS} days", tuple(c.id for c in near)))
    near = _within(troubled, AGAIN_DAYS)
    if len(near) >= MANY:
        out.append(Repeat(f"{len(near)} calls within {AGAIN_DAYS} days", tuple(c.id for c in near)))
    return tuple(out)


def _within(newest_first: Sequence[Call], days: int) -> list[Call]:
    """The calls not older than ``days`` before the newest."""
    limit = timedelta(days=days)
    return [c for c in newest_first if newest_first[0].line.opened_at - c.line.opened_at <= limit]


def search_calls(calls: Iterable[Call], text: str, knowledge: Knowledge) -> list[Call]:
    """Calls in which every word of ``text`` is found: machine, complaint, what was said, noted, confirmed and decided."""
    words = re.findall(r"\w+", text.lower())
    return [call for call in calls if words and all(w in _all_words(call, knowledge) for w in words)]


def _all_words(call: Call, knowledge: Knowledge) -> str:
    case, closed = call.case, closing_of(call)
    complaint = knowledge.complaints.get(case.complaint)
    parts = [call.id, call.line.machine, case.machine.serial, case.machine.refrigerant, case.words, case.complaint]
    parts += [complaint.title if complaint else "", call.line.opened_by, call.line.opened_at.date().isoformat()]
    for entry in case.entries:
        check = knowledge.checks.get(entry.check)
        parts += [entry.note, entry.action, check.title if check else ""]
    if closed is not None:
        parts += [closed.note, closed.proof, OUTCOMES.get(closed.outcome, "")]
        parts += [knowledge.causes[c].title if c in knowledge.causes else c for c in closed.causes]
    return " ".join(parts).lower()
