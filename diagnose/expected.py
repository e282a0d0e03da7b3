"""What this machine shows against what it should show today: derived quantities beside those of `diagnose.derive`.

Where the machine card is complete enough to size the machine (`NEEDED`), and the air, the return and full load are known, the
healthy machine is solved once for the day (`diagnose.plant.expected`) and each figure is compared with it: as a ratio, or as a
difference where the figure is a temperature. How much machines of one card differ enters as uncertainty. Where anything is missing,
nothing is added and the general bands judge.

An expected figure hangs on the air and the return that were read. Its slopes enter the partials, so a thermometer that lies moves
the figure and its expectation together, and the machine is solved once, under the conditions as read.
"""

from __future__ import annotations

import math
from dataclasses import replace

from diagnose.case import Machine
from diagnose.derive import Derivation, DerivedValue, air_at_coil
from diagnose.plant.conditions import Conditions
from diagnose.plant.expected import COVERS, RATING_SPLIT_K, Expected, expected_readings
from diagnose.readings import Reading, Variable
from shared.errors import ChillerError
from shared.quantities import DERIVED
from shared.units import show

NEEDED = ("refrigerant", "capacity", "design_flow", "fluid")
FULL_PCT = 95.0  # share of load told as full
NEAR_FULL = 0.8  # share of the rated fluid difference above which a control has all compressors on
HEALTHY_VOLTS = (0.9, 1.1)  # outside it is a finding, not a condition of the day (NEMA MG 1)
LEAST_K = 2.0  # an expected superheat or subcooling under this gives no ratio
WIDE = {"air_k": (258.15, 325.15), "entering_k": (263.15, 313.15)}

#: derived quantity made here -> (derived quantity it compares, expected figure, further keys of the card it needs)
AGAINST: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "superheat_of_expected": ("superheat", "superheat", ()),
    "subcooling_of_expected": ("subcooling", "subcooling", ()),
    "approach_of_expected": ("approach", "approach", ()),
    "split_of_expected": ("condenser_split", "condenser_split", ()),
    "suction_over_expected": ("suction_saturation", "suction_saturation", ()),
    "head_over_expected": ("condensing_temperature", "condensing_temperature", ()),
    "fluid_split_of_expected": ("fluid_split", "fluid_split", ()),
    "compressor_current_of_expected": (
        "compressor_current_ratio",
        "compressor_current_ratio",
        ("compressor_plate_current", "voltage", "compressors"),
    ),
}


def lacking(machine: Machine) -> tuple[str, ...]:
    """Keys without which nothing is expected of this machine."""
    return tuple(key for key in NEEDED if not getattr(machine, key))


def _full_load(work: Derivation, entering: Reading) -> bool:
    load = work.run("machine_load", "unit")
    if load is not None:
        return load.values[0] >= FULL_PCT
    set_point = work.machine.get("set_point")
    told = work.run("set_point", "unit")
    wanted = told.values[0] if told is not None else set_point
    if wanted is None:
        wanted = Conditions().entering_k - RATING_SPLIT_K
    return entering.values[0] - wanted >= NEAR_FULL * RATING_SPLIT_K


def _conditions(work: Derivation) -> tuple[Conditions, Reading, Reading] | None:
    """The day as read, with the readings of return and air it hangs on; None when one is missing or it is no full load."""
    entering, air = work.run("entering_fluid", "unit"), air_at_coil(work) or work.any("weather_air", "unit")
    if entering is None or air is None or entering.state != "cooling" or not _full_load(work, entering):
        return None
    for name, reading in (("air_k", air), ("entering_k", entering)):
        if not WIDE[name][0] <= reading.values[0] <= WIDE[name][1]:
            return None
    volts, plate = work.any("line_voltage", "supply"), work.machine.get("voltage")
    board = None
    if volts is not None and plate:
        mean = sum(volts.values) / len(volts.values)
        board = round(mean) if HEALTHY_VOLTS[0] <= mean / plate <= HEALTHY_VOLTS[1] else None
    return Conditions(air_k=air.values[0], entering_k=entering.values[0], board_volts=board), entering, air


def add_expected(work: Derivation, machine: Machine) -> None:
    """Add what can be compared with today's expectation to the derived values."""
    if lacking(machine):
        return
    day = _conditions(work)
    if day is None:
        return
    conditions, entering, air = day
    try:
        figures = expected_readings(machine, conditions)
    except ChillerError:
        return  # a card that contradicts itself is told elsewhere
    for name, (quantity, figure, needs) in AGAINST.items():
        if figure not in figures or any(not getattr(machine, key) for key in needs):
            continue
        for place in [p for (q, p) in work.values if q == quantity]:
            value = work.values[quantity, place]
            if value.state in ("cooling", "") and not value.condition:
                made = _compared(name, value, figures[figure], entering, air)
                if made is not None:
                    work.values[name, place] = made


def _compared(
    name: str, value: DerivedValue, expected: Expected, entering: Reading, air: Reading
) -> DerivedValue | None:
    """value over (or as a ratio of) what was expected, with the sensitivities of both."""
    difference = name.endswith("_over_expected")
    own = expected.band / COVERS
    if difference:
        by_value, by_expected, made = 1.0, -1.0, value.value - expected.value
    else:
        if expected.value <= (LEAST_K if value.kind is DERIVED["superheat"].kind else 0.0):
            return None
        by_value, made = 1.0 / expected.value, value.value / expected.value
        by_expected = -made / expected.value
    partials = {variable: by_value * slope for variable, slope in value.partials.items()}
    for key, reading in (("entering_k", entering), ("air_k", air)):
        variable = reading.variable(0)
        partials[variable] = partials.get(variable, 0.0) + by_expected * expected.slopes[key]
    sources = (*value.sources, *(r for r in (entering, air) if r not in value.sources))
    spread: dict[Variable, float] = {r.variable(i): sd for r in sources for i, sd in enumerate(r.sd)}
    own_sd = math.hypot(by_value * value.own_sd, by_expected * own)
    variance = own_sd**2 + sum((slope * spread.get(v, 0.0)) ** 2 for v, slope in partials.items())
    metric = any(r.metric for r in sources)
    base = DERIVED[value.quantity]
    told = f"{base.title} {show(value.value, value.kind, metric)}, expected today {show(expected.value, value.kind, metric)}"
    return replace(
        value,
        quantity=name,
        value=made,
        sd=math.sqrt(variance),
        kind=DERIVED[name].kind,
        partials=partials,
        sources=sources,
        own_sd=own_sd,
        told=told,
    )


def used(quantity: str) -> bool:
    """Whether a derived quantity compares with what was expected."""
    return quantity in AGAINST
