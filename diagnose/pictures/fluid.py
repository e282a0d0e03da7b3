"""The fluid side: pump curve against system curve with the working point, and the drop of the evaporator over its flow.

Curves are drawn from the two points a nameplate gives: rise = shut-off - (shut-off - design) (flow / design flow)^2, and
drop = design drop (flow / design flow)^2 (affinity and turbulent flow; Hydraulic Institute, common texts).
"""

from __future__ import annotations

from collections.abc import Callable

from diagnose.chart import Axis, Series
from diagnose.derive import DerivedValue, glycol_factor
from diagnose.pictures.picture import Picture
from diagnose.work import Work
from shared.quantities import Kind
from shared.units import SHOWN, show, to_unit

STEPS = 24
FARTHEST = 1.5  # of design flow


def working_flow(work: Work) -> tuple[float, str] | None:
    """Flow now [m3/s] and how it is known: the meter before the drop; None when neither was read."""
    meter = work.derivation.run("flow", "unit")
    if meter is not None:
        return meter.values[0], "by the meter"
    by_drop = work.derivation.values.get(("flow_by_drop", "unit"))
    return (max(by_drop.value, 0.0), "by the evaporator drop") if by_drop is not None else None


def _curve(at: Callable[[float], float], last: float, flow_unit: str, unit: str) -> tuple[tuple[float, float], ...]:
    flows = [last * n / STEPS for n in range(STEPS + 1)]
    return tuple(
        (to_unit(q, Kind.FLOW, flow_unit), to_unit(max(at(q), 0.0), Kind.PRESSURE_DIFFERENCE, unit)) for q in flows
    )


def _units(work: Work) -> tuple[bool, str, str]:
    metric = work.machine.metric
    return metric, SHOWN[Kind.FLOW][metric], SHOWN[Kind.PRESSURE_DIFFERENCE][metric]


def pump(work: Work, *, card: bool = False) -> Picture | None:
    """Rise of the pump over flow, with what the system takes; None without the pump's two points.

    Without its two gauges also None, unless the curves of the card alone are asked for (``card``).
    """
    machine = work.machine
    shut, design, flow = (machine.get(k) for k in ("pump_shutoff_rise", "pump_design_rise", "design_flow"))
    rise = work.derivation.values.get(("pump_rise", "unit"))
    if not (shut and design and flow) or rise is None and not card:
        return None
    metric, flow_unit, unit = _units(work)
    known = working_flow(work)
    last = FARTHEST * flow
    series = [
        Series("pump, new", _curve(lambda q: shut - (shut - design) * (q / flow) ** 2, last, flow_unit, unit), style=0),
        Series("system, as designed", _curve(lambda q: design * (q / flow) ** 2, last, flow_unit, unit), style=1),
    ]
    risen = max(rise.value, 0.0) if rise is not None else 0.0
    level = to_unit(risen, Kind.PRESSURE_DIFFERENCE, unit)
    said = [f"rise {show(rise.value, Kind.PRESSURE_DIFFERENCE, metric)}"] if rise is not None else []
    said.append(f"card {show(design, Kind.PRESSURE_DIFFERENCE, metric)} at {show(flow, Kind.FLOW, metric)}")
    said.append(f"{show(shut, Kind.PRESSURE_DIFFERENCE, metric)} at no flow")
    notes = []
    if rise is None:
        said.append("nothing read")
    elif known is not None:
        now, how = known
        at = to_unit(now, Kind.FLOW, flow_unit)
        series.append(Series("now", ((at, level),), "points", style=2))
        notes.append((at, level, "now"))
        if now > 0.05 * flow:
            series.append(
                Series("system, as it is now", _curve(lambda q: risen * (q / now) ** 2, last, flow_unit, unit), style=3)
            )
        said.append(f"flow now {show(now, Kind.FLOW, metric)} {how}")
        said.append(_against(risen, shut - (shut - design) * (now / flow) ** 2, design * (now / flow) ** 2, shut))
    else:
        said.append("flow is not known: the level line is the rise read")
    return Picture(
        "pump",
        "Pump against system",
        "; ".join(said),
        Axis(f"flow [{flow_unit}]", 0.0, to_unit(last, Kind.FLOW, flow_unit)),
        Axis(f"pressure rise [{unit}]", 0.0, 1.15 * to_unit(max(shut, risen), Kind.PRESSURE_DIFFERENCE, unit)),
        tuple(series),
        limits=(("rise read", level),) if rise is not None else (),
        notes=tuple(notes),
    )


def _against(risen: float, pump_gives: float, system_takes: float, shut: float) -> str:
    """Where the working point lies, in words."""
    close = 0.08 * shut
    if risen < pump_gives - close:
        return "below the pump's curve: the pump gives less than new, or air is in it"
    if risen > system_takes + close:
        return "on the pump's curve, left of design: the system holds back more than designed"
    return "near design"


def drop(work: Work, *, card: bool = False) -> Picture | None:
    """Evaporator drop over flow with today's point; None without the card's drop and flow.

    Without a drop read now also None, unless the curve of the card alone is asked for (``card``).
    """
    machine = work.machine
    flow, design = machine.get("design_flow"), machine.get("design_drop")
    read = _drop_read(work)
    if not (flow and design) or read is None and not card:
        return None
    metric, flow_unit, unit = _units(work)
    expected = design * glycol_factor(machine)
    last = FARTHEST * flow
    series = [
        Series(
            "curve of the card, for the fluid in it",
            _curve(lambda q: expected * (q / flow) ** 2, last, flow_unit, unit),
        )
    ]
    if expected != design:
        series.append(
            Series("the same for water", _curve(lambda q: design * (q / flow) ** 2, last, flow_unit, unit), style=4)
        )
    said = [f"card {show(expected, Kind.PRESSURE_DIFFERENCE, metric)} at {show(flow, Kind.FLOW, metric)}"]
    notes: list[tuple[float, float, str]] = []
    fallen = read.value * expected if read is not None else 0.0
    level = to_unit(max(fallen, 0.0), Kind.PRESSURE_DIFFERENCE, unit)
    if read is None:
        said.append("nothing read")
    else:
        by_curve = flow * (max(fallen, 0.0) / expected) ** 0.5
        at = to_unit(by_curve, Kind.FLOW, flow_unit)
        series.append(Series("drop read now", ((at, level),), "points", style=2))
        notes.append((at, level, "by the drop"))
        drop_said, flow_said = show(fallen, Kind.PRESSURE_DIFFERENCE, metric), show(by_curve, Kind.FLOW, metric)
        said.insert(0, f"drop {drop_said} is a flow of {flow_said} by the curve")
    meter = work.derivation.run("flow", "unit")
    if meter is not None and read is not None:
        metered = to_unit(meter.values[0], Kind.FLOW, flow_unit)
        series.append(Series("flow by the meter, drop read", ((metered, level),), "points", style=1))
        notes.append((metered, level, "by the meter"))
        said.append(f"the meter says {show(meter.values[0], Kind.FLOW, metric)}")
    return Picture(
        "evaporator-drop",
        "Evaporator drop over flow",
        "; ".join(said),
        Axis(f"flow [{flow_unit}]", 0.0, to_unit(last, Kind.FLOW, flow_unit)),
        Axis(
            f"pressure drop [{unit}]",
            0.0,
            to_unit(max(expected * FARTHEST**2, fallen * 1.1), Kind.PRESSURE_DIFFERENCE, unit),
        ),
        tuple(series),
        notes=tuple(notes),
    )


def _drop_read(work: Work) -> DerivedValue | None:
    return work.derivation.values.get(("evaporator_drop_ratio", "unit"))
