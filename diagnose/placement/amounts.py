"""Figures worked out for a placement: what the calculators make of the machine card, the site and the readings taken."""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.calculators.model import Given
from diagnose.calculators.registry import calculator, evaluate
from diagnose.placement.record import Placement
from knowledge.placement import SITE, PlacementStep
from shared.errors import ChillerError
from shared.quantities import QUANTITIES, Kind
from shared.readings import Measured
from shared.units import parse, parse_reading, show


@dataclass(frozen=True)
class Figure:
    """One figure. lines: results in words; lacks: what has to be told first; problem: why it cannot be worked out; minutes: a
    time to wait for, where the figure is one."""

    title: str
    lines: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()
    problem: str = ""
    source: str = ""
    minutes: float = 0.0


def site_of(placement: Placement) -> dict[str, str]:
    """Figures of the site as last told."""
    told = dict(placement.site)
    for entry in placement.entries:
        told.update(entry.site)
    return told


def taken_of(placement: Placement) -> dict[str, str | tuple[str, ...]]:
    """Readings as last taken, by quantity."""
    return {one.quantity: one.value for entry in placement.entries for one in entry.readings}


def figures(step: PlacementStep, placement: Placement) -> tuple[Figure, ...]:
    """All lists and amounts of a step."""
    site, taken = site_of(placement), taken_of(placement)
    metric = is_metric(placement)
    out = [_low_points(placement) for _ in step.lists]
    for amount in step.amounts:
        chosen = calculator(amount.calculator)
        needed = {one.key: one for one in chosen.inputs}
        given: dict[str, Given] = {}
        lacks: list[str] = []
        problem = ""
        for target, source in amount.inputs.items():
            where, _, key = source.partition(".")
            text = {
                "machine": getattr(placement.machine, key, ""),
                "site": site.get(key, ""),
                "taken": taken.get(key, ""),
            }[where]
            one = needed[target]
            if not text:
                if one.required:
                    lacks.append(SITE[key][0] if where == "site" else key.replace("_", " "))
                continue
            try:
                given[target] = given_of(text, one.kind, where, key)
            except ChillerError as error:
                problem = error.line()
        if lacks or problem:
            out.append(Figure(amount.title, (), tuple(lacks), problem))
            continue
        try:
            made = evaluate(chosen.name, given)
        except ChillerError as error:
            out.append(Figure(amount.title, problem=error.line()))
            continue
        said = {o.key: o.help for o in chosen.outputs}
        lines = [
            f"{r.key.replace('_', ' ')}: {show(r.value, r.kind, metric) if isinstance(r.value, float) else r.value} ({said[r.key]})"
            for r in made.results
            if r.key in amount.shows
        ]
        waits = sum(float(r.value) / 60 for r in made.results if r.kind is Kind.TIME and r.key in amount.shows)
        out.append(Figure(amount.title, (*lines, *made.notes), source=chosen.source, minutes=waits))
    return tuple(out)


def _low_points(placement: Placement) -> Figure:
    """Every drain and low point of this machine, to be ticked off one by one."""
    points = tuple(p.strip() for p in placement.machine.low_points.split(";") if p.strip())
    said = f"Drains and low points of this machine{f' ({len(points)})' if points else ''}"
    return Figure(said, points, () if points else ("low points, from its plate or book, on the machine card",))


def is_metric(placement: Placement) -> bool:
    """Whether figures are shown in metric units: as the site and the plate are told."""
    told = (*site_of(placement).values(), placement.machine.design_flow, placement.machine.capacity)
    return any(_metric(text) for text in told if text)


def given_of(text: str | tuple[str, ...], kind: Kind, where: str, key: str) -> Given:
    """An input of a calculator as told. where: "machine", "site" or "taken" (key: its quantity). Raises ChillerError."""
    if kind is Kind.CHOICE:
        return str(text)
    if where == "taken":
        parts = parse_reading(key, text)
        values = tuple(Measured(p.value, QUANTITIES[key].kind) for p in parts)
        return values if len(values) > 1 else values[0]
    return Measured(parse(str(text), kind).value, kind)


def _metric(text: str) -> bool:
    return any(unit in text for unit in (" L", " m", "kPa", "bar", "degC", " C", "mm"))
