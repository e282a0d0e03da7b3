"""A machine card read into SI numbers and the machine facts rules and cards may ask for."""

from __future__ import annotations

from dataclasses import dataclass, field

from diagnose.calculators.altitude import site_atmosphere_pa
from diagnose.case import Machine
from diagnose.properties.saturation import refrigerant_name
from shared.errors import ChillerError, ReadingError
from shared.quantities import DERIVED, QUANTITIES, Kind
from shared.units import parse

A2L = ("R-32", "R-454B")
GLIDE = ("R-407C", "R-454B")
HIGH_PRESSURE = ("R-410A", "R-32", "R-454B")  # above 10 bar at 20 C; what is topped up by mistake stands lower
CARD_DIFFERENCES = (
    "condenser_split",
    "superheat",
    "subcooling",
    "approach",
    "fluid_split",
    "pump_rise",
    "strainer_drop",
)
MOST_ALTITUDE_M = 6000.0

_KINDS: dict[str, Kind] = {
    "capacity": Kind.POWER,
    "voltage": Kind.VOLTAGE,
    "frequency": Kind.FREQUENCY,
    "glycol_percent": Kind.PERCENT,
    "design_flow": Kind.FLOW,
    "design_drop": Kind.PRESSURE_DIFFERENCE,
    "strainer_clean_drop": Kind.PRESSURE_DIFFERENCE,
    "strainer_clean_flow": Kind.FLOW,
    "pump_shutoff_rise": Kind.PRESSURE_DIFFERENCE,
    "pump_design_rise": Kind.PRESSURE_DIFFERENCE,
    "pump_plate_current": Kind.CURRENT,
    "compressor_plate_current": Kind.CURRENT,
    "fan_plate_current": Kind.CURRENT,
    "low_pressure_cutout": Kind.GAUGE_PRESSURE,
    "high_pressure_cutout": Kind.GAUGE_PRESSURE,
    "set_point": Kind.TEMPERATURE,
    "design_entering": Kind.TEMPERATURE,
    "max_entering": Kind.TEMPERATURE,
    "loop_volume": Kind.VOLUME,
    "monitor_limit": Kind.PERCENT,
}
_RANGE: dict[str, tuple[float, float, str]] = {
    "capacity": (1e3, 5e6, "1 kW to 5000 kW"),
    "voltage": (100, 700, "100 V to 700 V"),
    "frequency": (45, 65, "50 Hz or 60 Hz"),
    "glycol_percent": (0, 70, "0 % to 70 %"),
    "design_flow": (1e-5, 0.5, "above 0"),
    "design_drop": (100, 5e5, "above 0, up to 72 psi"),
    "pump_shutoff_rise": (1e3, 2e6, "above 0"),
    "pump_design_rise": (1e3, 2e6, "above 0"),
    "pump_plate_current": (0.1, 1000, "above 0"),
    "compressor_plate_current": (0.5, 1500, "above 0"),
    "strainer_clean_drop": (10, 3e5, "above 0"),
    "monitor_limit": (0.1, 30, "0.1 % to 30 %"),
}


@dataclass(frozen=True)
class MachineData:
    """SI numbers of a machine card (absent keys were not given), its facts, and what was wrong with it.

    values: SI by card key. card: healthy readings (SI) by quantity. curve: (flow m3/s, drop Pa) points.
    """

    values: dict[str, float]
    card: dict[str, tuple[float, ...]]
    curve: tuple[tuple[float, float], ...]
    refrigerant: str
    fluid: str
    glycol_percent: float
    glycol_basis: str
    atmosphere_pa: float
    facts: dict[str, str]
    metric: bool
    problems: tuple[str, ...] = field(default=())

    def get(self, key: str) -> float | None:
        """SI value of a card key, None when it was not given."""
        return self.values.get(key)


def _line(key: str, error: ChillerError) -> str:
    return f"machine.{key}: {error.line()}"


def read_machine(machine: Machine) -> MachineData:
    """Parse every text value of the card; problems are collected, never raised."""
    problems: list[str] = []
    values: dict[str, float] = {}
    metric = False
    altitude_m = 0.0
    if machine.altitude:
        try:
            altitude_m = parse(machine.altitude, Kind.LENGTH).value
            if not -500 <= altitude_m <= MOST_ALTITUDE_M:
                problems.append(
                    f"machine.altitude: given: '{machine.altitude}'; allowed: -500 m to 6000 m; correct the machine card"
                )
                altitude_m = 0.0
        except ReadingError as error:
            problems.append(_line("altitude", error))
    atmosphere = site_atmosphere_pa(altitude_m)
    for key, kind in _KINDS.items():
        text = getattr(machine, key)
        if not text:
            continue
        try:
            parsed = parse(text, kind, atmosphere_pa=atmosphere)
        except ReadingError as error:
            problems.append(_line(key, error))
            continue
        low, high, allowed = _RANGE.get(key, (float("-inf"), float("inf"), ""))
        if not low <= parsed.value <= high:
            problems.append(f"machine.{key}: given: '{text}'; allowed: {allowed}; correct the machine card")
            continue
        values[key] = parsed.value
        metric = metric or parsed.metric
    refrigerant = ""
    if machine.refrigerant:
        try:
            refrigerant = refrigerant_name(machine.refrigerant)
        except ChillerError as error:
            problems.append(_line("refrigerant", error))
    curve = _read_curve(machine, problems)
    card = _read_card(machine, atmosphere, problems)
    percent = values.get("glycol_percent", 0.0)
    fluid = machine.fluid or ("" if not percent else "propylene-glycol")
    problems += _contradictions(machine, values, percent)
    return MachineData(
        values,
        card,
        curve,
        refrigerant,
        fluid,
        percent,
        machine.glycol_basis,
        atmosphere,
        _facts(machine, refrigerant, fluid, card),
        metric,
        tuple(problems),
    )


def _read_curve(machine: Machine, problems: list[str]) -> tuple[tuple[float, float], ...]:
    points: list[tuple[float, float]] = []
    for number, (flow, drop) in enumerate(machine.drop_curve):
        try:
            points.append((parse(flow, Kind.FLOW).value, parse(drop, Kind.PRESSURE_DIFFERENCE).value))
        except ReadingError as error:
            problems.append(_line(f"drop_curve.{number}", error))
    points.sort()
    if any(b[1] <= a[1] or b[0] <= a[0] for a, b in zip(points, points[1:], strict=False)) or any(
        p[0] <= 0 or p[1] <= 0 for p in points
    ):
        problems.append("machine.drop_curve: the drop must rise with the flow, both above 0; correct the machine card")
        return ()
    return tuple(points)


def _read_card(machine: Machine, atmosphere: float, problems: list[str]) -> dict[str, tuple[float, ...]]:
    card: dict[str, tuple[float, ...]] = {}
    for name, text in machine.card.items():
        kind = QUANTITIES[name].kind if name in QUANTITIES else DERIVED[name].kind if name in CARD_DIFFERENCES else None
        if kind is None:
            problems.append(
                f"machine.card.{name}: no such quantity; allowed: a quantity of the fixed list or {', '.join(CARD_DIFFERENCES)}"
            )
            continue
        try:
            card[name] = (parse(text, kind, atmosphere_pa=atmosphere).value,)
        except ReadingError as error:
            problems.append(_line(f"card.{name}", error))
    return card


def _contradictions(machine: Machine, values: dict[str, float], percent: float) -> list[str]:
    problems = []
    if machine.fluid == "water" and percent > 0:
        problems.append(
            f"machine.fluid: water with {percent:g} % glycol; allowed: one of the two; correct fluid or glycol_percent"
        )
    low, high = values.get("low_pressure_cutout"), values.get("high_pressure_cutout")
    if low is not None and high is not None and low >= high:
        problems.append("machine.low_pressure_cutout: not below high_pressure_cutout; correct the machine card")
    shut, design = values.get("pump_shutoff_rise"), values.get("pump_design_rise")
    if shut is not None and design is not None and design >= shut:
        problems.append(
            "machine.pump_design_rise: not below pump_shutoff_rise; a pump builds most at no flow; correct the machine card"
        )
    set_point, entering = values.get("set_point"), values.get("design_entering")
    if set_point is not None and entering is not None and entering <= set_point:
        problems.append("machine.design_entering: not above set_point; the machine cools; correct the machine card")
    return problems


def _facts(machine: Machine, refrigerant: str, fluid: str, card: dict[str, tuple[float, ...]]) -> dict[str, str]:
    facts: dict[str, str] = {
        "tank-at": machine.tank_at,
        "plate-pressure": "unknown",
        "valve": machine.expansion or "unknown",
    }
    if refrigerant:
        facts["refrigerant-class"] = "a2l" if refrigerant in A2L else "a1"
        facts["glide"] = "yes" if refrigerant in GLIDE else "no"
        facts["plate-pressure"] = "high" if refrigerant in HIGH_PRESSURE else "lower"
    if fluid:
        facts["fluid"] = "water" if fluid == "water" else "glycol"
    for name in ("expansion", "coil", "supply", "pump_in_use", "pump_drive", "fan_drive", "receiver"):
        given = getattr(machine, name)
        if given:
            facts[name.replace("_", "-")] = given
    drives = [facts[name] for name in ("pump-drive", "fan-drive") if name in facts]
    if "yes" in drives or len(drives) == 2:
        facts["any-drive"] = "yes" if "yes" in drives else "no"
    if "condenser_split" in card:
        facts["clean-split"] = "known"
    if "subcooling" in card:
        facts["card-subcooling"] = "known"
    return facts
