"""Pressure over enthalpy: the dome of the refrigerant and the cycle as measured, beside the healthy one where it is known."""

from __future__ import annotations

import math
from collections.abc import Mapping

from diagnose.chart import Axis, Series
from diagnose.pictures.picture import Picture, room
from diagnose.places import spell
from diagnose.properties.gas import (
    gas_enthalpy_j_per_kg,
    gas_entropy,
    temperature_from_entropy_k,
)
from diagnose.properties.saturation import (
    liquid_enthalpy_j_per_kg,
    p_dew_pa,
    saturation_table,
    t_bubble_k,
    t_dew_k,
    vapour_enthalpy_j_per_kg,
)
from diagnose.work import Work
from shared.errors import ChillerError
from shared.quantities import Kind
from shared.units import show, to_unit

BTU_PER_LB = 2326.0  # J/kg, exact by definition of the International Table Btu
ASSUMED_EFFICIENCY = 0.65  # isentropic, where the discharge line was not read: common practice, no source
DOME_STEPS = 40
Point = tuple[float, float]


def _corners(refrigerant: str, suction: Point, liquid: Point, discharge_k: float | None) -> tuple[list[Point], bool]:
    """Suction gas, discharge gas, liquid, evaporator inlet as (J/kg, Pa absolute); whether the discharge is assumed.

    suction, liquid: (Pa absolute, K of the line). Raises CalculatorError where a state is outside the tables.
    """
    low, line_k = suction
    high, liquid_k = liquid
    gas = gas_enthalpy_j_per_kg(refrigerant, low, max(line_k, t_dew_k(refrigerant, low)))
    if discharge_k is None:
        entropy = gas_entropy(refrigerant, low, max(line_k, t_dew_k(refrigerant, low)))
        ideal = gas_enthalpy_j_per_kg(refrigerant, high, temperature_from_entropy_k(refrigerant, high, entropy))
        hot = gas + (ideal - gas) / ASSUMED_EFFICIENCY
    else:
        hot = gas_enthalpy_j_per_kg(refrigerant, high, max(discharge_k, t_dew_k(refrigerant, high)))
    cold = liquid_enthalpy_j_per_kg(refrigerant, min(liquid_k, t_bubble_k(refrigerant, high)))
    return [(gas, low), (hot, high), (cold, high), (cold, low)], discharge_k is None


def _dome(refrigerant: str, low_pa: float, high_pa: float) -> tuple[list[Point], list[Point]]:
    """Bubble and dew line between two pressures, (J/kg, Pa)."""
    table = saturation_table(refrigerant)
    rows = [
        (t, math.exp(bubble), math.exp(dew))
        for t, bubble, dew in zip(table.temperature_k, table.ln_bubble, table.ln_dew, strict=True)
    ]
    seen = [row for row in rows if row[2] >= low_pa and row[1] <= high_pa]
    seen = seen[:: max(1, len(seen) // DOME_STEPS)]
    bubble = [(liquid_enthalpy_j_per_kg(refrigerant, t), p) for t, p, _ in seen]
    return bubble, [(vapour_enthalpy_j_per_kg(refrigerant, t), p) for t, _, p in seen]


def _healthy(work: Work, figures: Mapping[str, float]) -> list[Point] | None:
    """The cycle that these figures (suction_saturation, condensing_temperature, superheat, subcooling in K) make."""
    need = ("suction_saturation", "condensing_temperature", "superheat", "subcooling")
    if any(name not in figures for name in need):
        return None
    evaporating, condensing, superheat, subcooling = (figures[name] for name in need)
    refrigerant = work.machine.refrigerant
    low, high = p_dew_pa(refrigerant, evaporating), p_dew_pa(refrigerant, condensing)
    liquid_k = t_bubble_k(refrigerant, high) - subcooling
    return _corners(refrigerant, (low, evaporating + superheat), (high, liquid_k), None)[0]


def cycle(work: Work, place: str, healthy: Mapping[str, float] | None = None) -> Picture | None:
    """The cycle of one circuit; None without both pressures and both lines, or where a state is outside the tables.

    healthy: figures of this machine today, as in `_healthy`.
    """
    refrigerant, derivation = work.machine.refrigerant, work.derivation
    suction, line, liquid_line = (derivation.run(q, place) for q in ("suction_pressure", "suction_line", "liquid_line"))
    head = derivation.run("liquid_pressure", place) or derivation.run("discharge_pressure", place)
    if not refrigerant or suction is None or line is None or head is None or liquid_line is None:
        return None
    atmosphere = work.machine.atmosphere_pa
    low, high = suction.values[0] + atmosphere, head.values[0] + atmosphere
    discharge = derivation.run("discharge_line", place)
    try:
        corners, assumed = _corners(
            refrigerant,
            (low, line.values[0]),
            (high, liquid_line.values[0]),
            discharge.values[0] if discharge is not None else None,
        )
        should = _healthy(work, healthy) if healthy else None
        bubble, dew = _dome(refrigerant, 0.6 * low, 1.3 * high)
    except ChillerError:
        return None
    metric = any(r.metric for r in (suction, head, line, liquid_line))
    heat_unit, heat = ("kJ/kg", 1000.0) if metric else ("Btu/lb", BTU_PER_LB)
    unit = "bara" if metric else "psia"

    def shown(points: list[Point], close: bool = False) -> tuple[Point, ...]:
        rows = [(h / heat, to_unit(p, Kind.ABSOLUTE_PRESSURE, unit)) for h, p in points]
        return tuple([*rows, rows[0]] if close else rows)

    measured = shown(corners, close=True)
    series = [
        Series("liquid begins to boil, gas begins to condense", shown(bubble), style=4),
        Series("", shown(dew), style=4),
        Series("as measured", measured, "marked", style=0),
    ]
    if should is not None:
        series.append(Series("healthy today", shown(should, close=True), style=2))
    every = [p for one in series for p in one.points]
    superheat, subcooling = (derivation.values.get((q, place)) for q in ("superheat", "subcooling"))
    said = [f"{spell(place)}: evaporating at {show(t_dew_k(refrigerant, low), Kind.TEMPERATURE, metric)}"]
    said.append(f"condensing at {show(t_dew_k(refrigerant, high), Kind.TEMPERATURE, metric)} (dew)")
    said += [
        f"{name} {show(v.value, v.kind, metric)}"
        for name, v in (("superheat", superheat), ("subcooling", subcooling))
        if v
    ]
    if assumed:
        said.append("the discharge line was not read: its corner is assumed")
    if should is not None:
        said.append("the broken line is what this machine should do today")
    first, last = room([h for h, _ in every])
    below, above = min(p for _, p in every if p is not None), max(p for _, p in every if p is not None)
    return Picture(
        f"cycle-{place.replace(':', '-')}",
        f"Pressure over enthalpy, {refrigerant}, {spell(place)}",
        "; ".join(said),
        Axis(f"enthalpy [{heat_unit}]", first, last),
        Axis(
            f"pressure [{'bar' if metric else 'psi'} absolute]",
            0.9 * below,
            1.1 * above,
            log=True,
            ticks=_pressures(below, above),
        ),
        tuple(series),
        notes=tuple(
            (x, y, text)
            for (x, y), text in zip(measured, ("suction", "discharge", "liquid", "after the valve"), strict=False)
        ),
    )


def _pressures(low: float, high: float) -> tuple[float, ...]:
    return tuple(p for p in (1, 2, 5, 10, 20, 50, 100, 150, 200, 300, 400, 500, 600) if low <= p <= high)
