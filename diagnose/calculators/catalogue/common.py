"""Inputs that several calculators share, and small helpers for notes."""

from __future__ import annotations

from diagnose.calculators.model import Input, Spread, Values
from diagnose.properties.fluids import BASES, FLUIDS, WATER, basis_name, density_kg_m3, fluid_name
from diagnose.properties.saturation import REFRIGERANTS, refrigerant_name
from shared.quantities import Kind

REFRIGERANT = Input(
    "refrigerant", Kind.CHOICE, "refrigerant on the plate", choices=REFRIGERANTS, normal=refrigerant_name
)
ALTITUDE = Input(
    "altitude",
    Kind.LENGTH,
    "height of the site; a vented gauge needs its air pressure",
    required=False,
    default="0 m",
)
FLUID = Input(
    "fluid",
    Kind.CHOICE,
    "fluid in the loop",
    required=False,
    default=WATER,
    choices=FLUIDS,
    normal=fluid_name,
)
GLYCOL = Input(
    "glycol_percent",
    Kind.PERCENT,
    "glycol in the fluid",
    required=False,
    default="0 %",
    instrument="refractometer",
)
BASIS = Input(
    "basis",
    Kind.CHOICE,
    "percent basis of the glycol",
    required=False,
    default="volume",
    choices=BASES,
    normal=basis_name,
)
MIXTURE = (FLUID, GLYCOL, BASIS)
FLUID_TEMPERATURE = Input(
    "fluid_temperature",
    Kind.TEMPERATURE,
    "fluid temperature, for its properties",
    required=False,
    default="10 degC",
)


def pressure(key: str, text: str, *, required: bool = True, instrument: str = "dial-500-psi") -> Input:
    """A refrigerant or pump pressure that the calculator needs absolute."""
    return Input(key, Kind.GAUGE_PRESSURE, text, required=required, absolute=True, instrument=instrument)


def temperature(key: str, text: str, *, required: bool = True, instrument: str = "pipe-clamp") -> Input:
    """A temperature reading."""
    return Input(key, Kind.TEMPERATURE, text, required=required, instrument=instrument)


SUCTION_PRESSURE = pressure("suction_pressure", "suction pressure")
DISCHARGE_PRESSURE = pressure("discharge_pressure", "discharge pressure", instrument="dial-800-psi")
LIQUID_PRESSURE = pressure("liquid_pressure", "pressure at the LIQUID port", instrument="dial-800-psi")
SUCTION_LINE = temperature("suction_line", "suction line temperature at the compressor")
LIQUID_LINE = temperature("liquid_line", "liquid line temperature")
DISCHARGE_LINE = temperature("discharge_line", "discharge line temperature")
ENTERING_FLUID = temperature("entering_fluid", "fluid entering the evaporator", instrument="well-probe")
LEAVING_FLUID = temperature("leaving_fluid", "fluid leaving the evaporator", instrument="well-probe")


def mixture(values: Values) -> tuple[str, float, str]:
    """Fluid, percent and basis. A word 'water' with a percent of zero is plain water."""
    return values.text("fluid"), values.number("glycol_percent"), values.text("basis")


def mixture_density(values: Values, key: str = "fluid_temperature") -> float:
    """Density of the loop's fluid at the temperature of an input [kg/m3]."""
    return density_kg_m3(*mixture(values), values.number(key))


def basis_note(values: Values) -> list[str]:
    """Says which percent basis was used, where there is glycol."""
    if values.number("glycol_percent") == 0.0:
        return []
    return [f"glycol percent taken as {values.text('basis')} percent"]


def relative_pct(value: float, sd: float | None) -> float:
    """Expanded uncertainty (coverage factor 2) in percent of the value; infinite where none is known."""
    if sd == 0.0:
        return 0.0
    if sd is None:
        return float("inf")
    return 200.0 * sd / abs(value) if value else float("inf")


def spread_of(spread: Spread, key: str) -> float:
    """Standard uncertainty as a number, 0 when none is known."""
    return spread.get(key) or 0.0
