"""The flow proved three ways: by the pressure drop, by the meter, by the temperature difference; and what a difference means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from diagnose.calculators.registry import evaluate
from diagnose.placement.amounts import given_of, is_metric, taken_of
from diagnose.placement.record import Done, Placement
from knowledge.load import Knowledge
from knowledge.placement import PlacementStep
from shared.errors import ChillerError
from shared.quantities import Kind
from shared.units import show

# Common practice, no source: two ways to measure a flow agree within a tenth; the plate's capacity is worth less than that.
AGREE, AGREE_BY_TEMPERATURE = 0.10, 0.15
_METERS = ("differential-pressure", "variable-area")
_MORE_BY_METER = (
    "The meter says more than the drop. Look for fluid that passes the meter and not the evaporator (a bypass not quite shut), "
    "for air in a gauge line, and for a plate drop that was given for water."
)
_LESS_BY_METER = (
    "The meter says less than the drop. Look for an evaporator or its inlet partly blocked (more drop at the same flow), for gauges "
    "at different heights, and for a meter too near a bend, partly full of air, or made for water."
)
_MORE_BY_TEMPERATURE = (
    "The temperature difference is small for this flow. The machine is not at full load or not steady yet, a thermometer is off, or "
    "capacity is missing: compare air, approach and the pressures before you trust it."
)
_LESS_BY_TEMPERATURE = (
    "The temperature difference is large for this flow. Warm fluid gives more cooling than the plate says; else a thermometer is "
    "off, or less fluid goes through the evaporator than drop and meter say."
)


@dataclass(frozen=True)
class Way:
    """One way. flow: m3/s; sd: its standard uncertainty, None where none is known."""

    name: str
    flow: float
    sd: float | None
    text: str
    source: str


@dataclass(frozen=True)
class Flows:
    """All ways there are readings for, and sentences on how they compare."""

    ways: tuple[Way, ...] = ()
    words: tuple[str, ...] = ()


def flows(placement: Placement, knowledge: Knowledge) -> Flows:
    """The flow by every way the readings of this placement allow, compared. Nothing is judged with fewer than two."""
    metric = is_metric(placement)
    found = {w.name: w for w in (_by_drop(placement), _by_meter(placement), _by_temperature(placement, knowledge)) if w}
    ways = tuple(found.values())
    if len(ways) < 2:
        return Flows(ways)
    words = []
    drop, meter, split = (found.get(name) for name in ("drop", "meter", "temperature"))
    if drop and meter:
        off = meter.flow / drop.flow - 1
        said = f"Meter and drop differ by {abs(off):.0%}. "
        if abs(off) <= AGREE:
            words.append(said + "That is as close as the two come.")
        else:
            words.append(said + (_MORE_BY_METER if off > 0 else _LESS_BY_METER))
    if split:
        others = [w.flow for w in (drop, meter) if w]
        off = split.flow / (sum(others) / len(others)) - 1
        said = f"The temperature difference is {abs(off):.0%} off the {'others' if len(others) > 1 else 'other'}. "
        if abs(off) <= AGREE_BY_TEMPERATURE:
            words.append(said + "That is as good as the plate's capacity.")
        else:
            words.append(said + (_MORE_BY_TEMPERATURE if off > 0 else _LESS_BY_TEMPERATURE))
    if meter and meter.text:
        words.append(meter.text)
    words.append("Design: " + _shown(placement, metric) if placement.machine.design_flow else "")
    return Flows(ways, tuple(w for w in words if w))


def way_line(way: Way, metric: bool) -> str:
    """One way in words, with about 95 in 100."""
    title = {"drop": "By the drop", "meter": "By the meter", "temperature": "By the temperature difference"}[way.name]
    spread = f" (+/- {2 * way.sd / way.flow:.0%})" if way.sd else ""
    return f"{title}: {show(way.flow, Kind.FLOW, metric)}{spread}"


def _shown(placement: Placement, metric: bool) -> str:
    flow = given_of(placement.machine.design_flow, Kind.FLOW, "machine", "design_flow")
    return show(flow.value, Kind.FLOW, metric) + "." if hasattr(flow, "value") else ""


def _worked_out(
    name: str, told: Mapping[str, tuple[str | tuple[str, ...], Kind, str, str]]
) -> tuple[float, float | None, str] | None:
    """(flow, standard uncertainty, source), None where something is missing or cannot be worked out."""
    try:
        given = {key: given_of(*one) for key, one in told.items() if one[0]}
        made = evaluate(name, given)
    except ChillerError:
        return None
    flow = next((r for r in made.results if r.key == "flow"), None)
    if flow is None or not isinstance(flow.value, float) or flow.value <= 0:
        return None
    return flow.value, getattr(flow, "sd", None), name


def _fluid(placement: Placement) -> dict[str, tuple[str | tuple[str, ...], Kind, str, str]]:
    card = placement.machine
    return {
        "fluid": (card.fluid or "", Kind.CHOICE, "machine", "fluid"),
        "glycol_percent": (card.glycol_percent, Kind.PERCENT, "machine", "glycol_percent"),
    }


def _by_drop(placement: Placement) -> Way | None:
    read, card = taken_of(placement).get("evaporator_drop"), placement.machine
    if not read or not card.design_flow or not card.design_drop:
        return None
    found = _worked_out(
        "flow-from-drop",
        {
            "evaporator_drop": (read, Kind.PRESSURE_DIFFERENCE, "taken", "evaporator_drop"),
            "rated_flow": (card.design_flow, Kind.FLOW, "machine", "design_flow"),
            "rated_drop": (card.design_drop, Kind.PRESSURE_DIFFERENCE, "machine", "design_drop"),
            **_fluid(placement),
        },
    )
    return Way("drop", found[0], found[1], "", "flow-from-drop") if found else None


def _by_meter(placement: Placement) -> Way | None:
    """As read: what kind of meter it is, nobody was asked, so what glycol does to the kinds it matters for is told beside it."""
    read = taken_of(placement).get("flow")
    if not read:
        return None
    try:
        flow = given_of(read, Kind.FLOW, "taken", "flow")
    except ChillerError:
        return None
    value = getattr(flow, "value", 0.0)
    if value <= 0:
        return None
    text = ""
    if placement.machine.fluid not in (None, "water"):
        other = []
        for kind in _METERS:
            found = _worked_out(
                "meter-correction",
                {
                    "meter": (kind, Kind.CHOICE, "machine", "meter"),
                    "flow": (read, Kind.FLOW, "taken", "flow"),
                    **_fluid(placement),
                },
            )
            if found:
                shown = show(found[0], Kind.FLOW, is_metric(placement))
                other.append(f"{shown} if it is a {kind.replace('-', ' ')} meter")
        if other:
            text = f"The meter on this glycol, when it was made for water: {', '.join(other)}; as read with any other kind."
    return Way("meter", value, getattr(flow, "sd", None), text, "meter-correction")


def _by_temperature(placement: Placement, knowledge: Knowledge) -> Way | None:
    """From the newest answer with both temperatures once it ran steadily; earlier ones say nothing of a flow."""
    steady = [e for e in placement.entries if (s := knowledge.steps.get(e.step)) and s.stage in ("baseline", "stay")]
    for entry in reversed(steady):
        read = _both(entry)
        if read:
            found = _worked_out(
                "flow-from-capacity",
                {
                    "cooling": (placement.machine.capacity, Kind.POWER, "machine", "capacity"),
                    "entering_fluid": (read[0], Kind.TEMPERATURE, "taken", "entering_fluid"),
                    "leaving_fluid": (read[1], Kind.TEMPERATURE, "taken", "leaving_fluid"),
                    **_fluid(placement),
                },
            )
            return Way("temperature", found[0], found[1], "", "flow-from-capacity") if found else None
    return None


def _both(entry: Done) -> tuple[str | tuple[str, ...], str | tuple[str, ...]] | None:
    read = {r.quantity: r.value for r in entry.readings}
    both = ("entering_fluid", "leaving_fluid")
    return (read[both[0]], read[both[1]]) if all(q in read for q in both) else None


def shows_flow(card: PlacementStep) -> bool:
    """Whether the flow belongs on the screen of a step: it reads something that tells it, with the pump running."""
    reads = set(card.takes)
    tells = bool(reads & {"evaporator_drop", "flow"}) or {"entering_fluid", "leaving_fluid"} <= reads
    return tells and card.stage in ("pump", "cooling", "baseline", "stay")
