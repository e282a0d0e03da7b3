"""From what a technician types to SI numbers, and back.

One table holds the units the trade uses, so that the common path never loads the unit library; a unit outside the
table goes to the one pint registry. The KIND of the quantity decides: a gauge pressure is not an absolute one,
a temperature is not a difference ("10 degC" for a superheat is refused, "10 K" or "10 delta_degC" is right).
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from shared.errors import ImpossibleValueError, ReadingError, UnknownUnitError, WrongKindError, shorten
from shared.quantities import QUANTITIES, Kind, Quantity

ATMOSPHERE_PA = 101325.0
PSI_PA = 6894.757293168
_GPM_M3S = 6.30901964e-5
_F = 5.0 / 9.0

_PRESSURE = {
    "psi": PSI_PA,
    "bar": 1e5,
    "kpa": 1e3,
    "mpa": 1e6,
    "pa": 1.0,
    "mbar": 100.0,
    "hpa": 100.0,
    "inhg": 3386.389,
    "mmhg": 133.322387415,
    "ftwc": 2989.06692,
    "fth2o": 2989.06692,
    "ft": 2989.06692,
    "inwc": 249.08891,
    "inh2o": 249.08891,
    "mwc": 9806.65,
    "mh2o": 9806.65,
    "kgf/cm2": 98066.5,
}
_GAUGE = {"psig": PSI_PA, "barg": 1e5, "kpag": 1e3, "mpag": 1e6}
_ABSOLUTE = {
    "psia": PSI_PA,
    "bara": 1e5,
    "kpaa": 1e3,
    "mpaa": 1e6,
    "paa": 1.0,
    "mbara": 100.0,
    "micron": 0.133322387415,
}
_TEMPERATURE: dict[str, tuple[float, float]] = {
    "f": (_F, 255.3722222222222),
    "degf": (_F, 255.3722222222222),
    "c": (1.0, 273.15),
    "degc": (1.0, 273.15),
    "k": (1.0, 0.0),
}
_TEMPERATURE_DIFFERENCE = {
    "delta_degf": _F,
    "deltaf": _F,
    "delta_f": _F,
    "fdiff": _F,
    "delta_degc": 1.0,
    "deltac": 1.0,
    "delta_c": 1.0,
    "k": 1.0,
    "delta_k": 1.0,
}
_PLAIN: dict[Kind, dict[str, float]] = {
    Kind.FLOW: {
        "gpm": _GPM_M3S,
        "usgpm": _GPM_M3S,
        "l/s": 1e-3,
        "lps": 1e-3,
        "m3/h": 1 / 3600.0,
        "m3/s": 1.0,
        "l/min": 1e-3 / 60,
        "lpm": 1e-3 / 60,
        "l/h": 1e-3 / 3600,
        "gal/min": _GPM_M3S,
        "cmh": 1 / 3600.0,
    },
    Kind.VOLTAGE: {"v": 1.0, "volt": 1.0, "volts": 1.0, "kv": 1e3, "mv": 1e-3, "vac": 1.0, "vdc": 1.0},
    Kind.CURRENT: {"a": 1.0, "amp": 1.0, "amps": 1.0, "ma": 1e-3, "ka": 1e3},
    Kind.FREQUENCY: {"hz": 1.0, "khz": 1e3},
    Kind.PERCENT: {"%": 1.0, "percent": 1.0, "pct": 1.0},
    Kind.RATIO: {"": 1.0, "1": 1.0},
    Kind.COUNT: {"": 1.0, "1": 1.0},
    Kind.POWER: {
        "w": 1.0,
        "kw": 1e3,
        "hp": 745.69987,
        "ton": 3516.8528,
        "tons": 3516.8528,
        "tr": 3516.8528,
        "btu/h": 0.29307107,
        "btuh": 0.29307107,
        "mbh": 293.07107,
        "mw": 1e6,
    },
    Kind.APPARENT_POWER: {"va": 1.0, "kva": 1e3, "mva": 1e6},
    Kind.LENGTH: {"m": 1.0, "ft": 0.3048, "in": 0.0254, "mm": 1e-3, "cm": 1e-2, "km": 1e3},
    Kind.AREA: {"m2": 1.0, "mm2": 1e-6, "cmil": 5.067075e-10, "kcmil": 5.067075e-7, "mcm": 5.067075e-7},
    Kind.VOLUME: {"m3": 1.0, "l": 1e-3, "gal": 3.785411784e-3, "usgal": 3.785411784e-3, "ft3": 0.028316846592},
    Kind.TIME: {
        "s": 1.0,
        "sec": 1.0,
        "min": 60.0,
        "minutes": 60.0,
        "minute": 60.0,
        "h": 3600.0,
        "hr": 3600.0,
        "hours": 3600.0,
        "hour": 3600.0,
        "d": 86400.0,
        "days": 86400.0,
        "day": 86400.0,
        "seconds": 1.0,
    },
    Kind.SPEED: {"rpm": 1.0, "1/min": 1.0, "r/min": 1.0},
    Kind.DENSITY: {"kg/m3": 1.0, "lb/ft3": 16.01846337, "g/cm3": 1000.0, "kg/l": 1000.0},
    Kind.RESISTANCE: {
        "ohm": 1.0,
        "ohms": 1.0,
        "kohm": 1e3,
        "megohm": 1e6,
        "megohms": 1e6,
        "milliohm": 1e-3,
        "milliohms": 1e-3,
        "gohm": 1e9,
        "ω": 1.0,
        "kω": 1e3,
        "gω": 1e9,
    },
    Kind.FLOW_COEFFICIENT: {"kv": 1.0, "cv": 1 / 1.156},
    Kind.RATE: {
        "k/s": 1.0,
        "k/min": 1 / 60.0,
        "k/h": 1 / 3600.0,
        "delta_degf/min": _F / 60,
        "f/min": _F / 60,
        "degf/min": _F / 60,
        "delta_degf/h": _F / 3600,
        "delta_degc/min": 1 / 60.0,
        "c/min": 1 / 60.0,
        "degc/min": 1 / 60.0,
        "c/h": 1 / 3600.0,
        "degc/h": 1 / 3600.0,
        "f/h": _F / 3600,
        "degf/h": _F / 3600,
    },
}
# the units written in errors, and those of answers (US, metric)
ALLOWED: dict[Kind, str] = {
    Kind.TEMPERATURE: "F, C, K",
    Kind.TEMPERATURE_DIFFERENCE: "delta_degF, delta_degC, K",
    Kind.GAUGE_PRESSURE: "psig, bar, kPa, inHg vacuum (psia, bara, kPa abs are converted)",
    Kind.ABSOLUTE_PRESSURE: "psia, bara, kPa abs (psig, barg are converted)",
    Kind.PRESSURE_DIFFERENCE: "psi, kPa, bar, mbar, ft of water",
    Kind.FLOW: "gpm, L/s, m3/h, L/min",
    Kind.VOLTAGE: "V",
    Kind.CURRENT: "A",
    Kind.FREQUENCY: "Hz",
    Kind.PERCENT: "%",
    Kind.RATIO: "a plain number",
    Kind.COUNT: "a plain number",
    Kind.POWER: "kW, hp, tons, Btu/h",
    Kind.APPARENT_POWER: "kVA",
    Kind.LENGTH: "m, ft, in, mm",
    Kind.AREA: "mm2, kcmil",
    Kind.VOLUME: "L, gal, m3",
    Kind.TIME: "s, min, h, days",
    Kind.SPEED: "rpm",
    Kind.DENSITY: "kg/m3, lb/ft3",
    Kind.RESISTANCE: "ohm, kohm, megohm",
    Kind.FLOW_COEFFICIENT: "Kv, Cv",
    Kind.RATE: "delta_degF/min, K/min",
    Kind.CHOICE: "a word from the list",
}
SHOWN: dict[Kind, tuple[str, str]] = {
    Kind.TEMPERATURE: ("degF", "degC"),
    Kind.TEMPERATURE_DIFFERENCE: ("delta_degF", "delta_degC"),
    Kind.GAUGE_PRESSURE: ("psig", "barg"),
    Kind.ABSOLUTE_PRESSURE: ("psia", "bara"),
    Kind.PRESSURE_DIFFERENCE: ("psi", "kPa"),
    Kind.FLOW: ("gpm", "L/s"),
    Kind.VOLTAGE: ("V", "V"),
    Kind.CURRENT: ("A", "A"),
    Kind.FREQUENCY: ("Hz", "Hz"),
    Kind.PERCENT: ("%", "%"),
    Kind.RATIO: ("1", "1"),
    Kind.COUNT: ("1", "1"),
    Kind.POWER: ("kW", "kW"),
    Kind.APPARENT_POWER: ("kVA", "kVA"),
    Kind.LENGTH: ("ft", "m"),
    Kind.AREA: ("mm2", "mm2"),
    Kind.VOLUME: ("gal", "L"),
    Kind.TIME: ("min", "min"),
    Kind.SPEED: ("rpm", "rpm"),
    Kind.DENSITY: ("kg/m3", "kg/m3"),
    Kind.RESISTANCE: ("ohm", "ohm"),
    Kind.FLOW_COEFFICIENT: ("Cv", "Kv"),
    Kind.RATE: ("delta_degF/min", "delta_degC/min"),
    Kind.CHOICE: ("", ""),
}
_NICE = {
    "kpa": "kPa",
    "mpa": "MPa",
    "pa": "Pa",
    "inhg": "inHg",
    "mmhg": "mmHg",
    "v": "V",
    "a": "A",
    "hz": "Hz",
    "l/s": "L/s",
    "kw": "kW",
    "kva": "kVA",
    "va": "VA",
    "w": "W",
    "l": "L",
    "l/min": "L/min",
    "fth2o": "ft of water",
    "inh2o": "in of water",
}
_METRIC_HINT = {"c", "degc", "k", "bar", "barg", "bara", "kpa", "mpa", "l/s", "lps", "m3/h", "delta_degc"}

_NUMBER = re.compile(
    r"^\s*(?P<about>about|approx\.?|approximately|around|ca\.?|roughly|~|≈)?\s*"
    r"(?P<sign>[-+−–]?)\s*(?P<digits>\d[\d.,]*(?:[eE][-+]?\d+)?|[.,]\d+)\s*(?P<unit>.*?)\s*$",
    re.IGNORECASE,
)
_ABOUT_SPREAD = 0.03  # "about 60" is taken as +/-3 % standard uncertainty: common practice, no source


@dataclass(frozen=True, slots=True)
class Parsed:
    """value in SI of ``kind``; echo: how it was understood; about_sd: extra standard uncertainty for "about"."""

    value: float
    kind: Kind
    echo: str
    about_sd: float = 0.0
    metric: bool = False


def _clean_unit(unit: str) -> str:
    prefixed = re.fullmatch(r"\s*([mM])\s*(?:[\u03a9\u2126]|[oO][hH][mM][sS]?)\s*", unit)
    if prefixed:  # the only prefix whose capital decides between a winding (milli) and its insulation (mega)
        return "milliohm" if prefixed[1] == "m" else "megohm"
    u = (
        unit.strip()
        .lower()
        .replace("°", "deg")
        .replace("º", "deg")
        .replace("Δ".lower(), "delta_")
        .replace("δ", "delta_")
    )
    u = u.replace("³", "3").replace("²", "2").replace("usg", "g") if u != "usgpm" else u
    u = re.sub(r"\bdeg(rees?)?\s*\.?\s*", "deg", u)
    u = re.sub(r"\bdeg(fahrenheit|celsius)", lambda m: "degf" if m.group(1)[0] == "f" else "degc", u)
    u = {"fahrenheit": "f", "celsius": "c", "kelvin": "k", "centigrade": "c"}.get(u, u)
    u = re.sub(r"delta[\s_-]*(deg)?[\s_-]*([fck])\b", r"delta_deg\2", u)
    u = u.replace("delta_degk", "k")
    u = (
        re.sub(r"\s*(abs\.?|absolute)$", "a", u)
        if re.search(r"(psi|bar|kpa|mpa|pa|mbar)\s*(abs\.?|absolute)$", u)
        else u
    )
    u = re.sub(r"\s*(g|gauge)$", "g", u) if re.search(r"(psi|bar|kpa|mpa)\s*(\(?g\)?|gauge)$", u) else u
    u = re.sub(r"^(psi|bar|kpa|mpa)\s*[(_ ]([ga])\)?$", r"\1\2", u)
    u = {
        "psid": "psi",
        "feet": "ft",
        "foot": "ft",
        "inches": "in",
        "inch": "in",
        "ft wc": "ftwc",
        "ft h2o": "fth2o",
        "ft of water": "fth2o",
        "feet of water": "fth2o",
        "ft head": "ft",
        "m wc": "mwc",
        "m of water": "mwc",
        "in wc": "inwc",
        "in h2o": "inh2o",
        "litres": "l",
        "liters": "l",
        "litre/s": "l/s",
        "liter/s": "l/s",
        "l/sec": "l/s",
        "gallons": "gal",
        "gallon": "gal",
        "us gpm": "gpm",
        "per cent": "%",
    }.get(u, u)
    return u.replace(" ", "") if u not in ("",) else ""


def parse_number(text: str) -> float:
    """Read one decimal number written with a comma or a dot; refuse what could be read two ways."""
    digits = text.strip()
    mantissa, _, exponent = digits.lower().partition("e")
    commas, dots = mantissa.count(","), mantissa.count(".")
    if commas + dots > 1:
        raise ReadingError(
            "number with more than one separator",
            given=text,
            allowed="one comma or dot as decimal sign",
            do="write it without thousands separators",
        )
    if commas == 1 and re.fullmatch(r"\d{1,3},\d{3}", mantissa) and not mantissa.startswith("0"):
        raise ReadingError(
            "number can be read two ways",
            given=text,
            allowed="12.345 or 12345",
            do="write it with a dot or without separator",
        )
    number = float(mantissa.replace(",", ".") + (f"e{exponent}" if exponent else ""))
    if not math.isfinite(number):
        raise ReadingError("not a finite number", given=text, allowed="a plain number", do="type the value again")
    return number


@lru_cache(maxsize=1)
def _pint_registry() -> Any:
    import pint

    return pint.UnitRegistry()


# One-digit powers only: a tower of them ("m**9**9**9") would keep the library busy for hours.
_FOREIGN = re.compile(
    r"(?=.{1,40}$)[A-Za-z_µ]+(?:\s*(?:\*\*|\^)\s*\d)?(?:\s*[*/]\s*[A-Za-z_µ]+(?:\s*(?:\*\*|\^)\s*\d)?)*"
)
# Kinds whose other units the library may read. Not frequency: to it radians, turns and bits are plain numbers.
_DIMENSION: dict[Kind, str] = {
    Kind.TEMPERATURE: "kelvin",
    Kind.GAUGE_PRESSURE: "pascal",
    Kind.ABSOLUTE_PRESSURE: "pascal",
    Kind.PRESSURE_DIFFERENCE: "pascal",
    Kind.FLOW: "meter**3/second",
    Kind.VOLTAGE: "volt",
    Kind.CURRENT: "ampere",
    Kind.POWER: "watt",
    Kind.LENGTH: "meter",
    Kind.AREA: "meter**2",
    Kind.VOLUME: "meter**3",
    Kind.TIME: "second",
    Kind.DENSITY: "kilogram/meter**3",
    Kind.RESISTANCE: "ohm",
    Kind.TEMPERATURE_DIFFERENCE: "delta_degree_Celsius",
    Kind.RATE: "delta_degree_Celsius/second",
}


def _pint_factor(unit: str, kind: Kind) -> float | None:
    """Factor to SI for a multiplicative unit outside the table, None when the unit is unknown or of another kind."""
    target = _DIMENSION.get(kind)
    if target is None or _kinds_of(unit) or not _FOREIGN.fullmatch(unit):
        return None
    registry = _pint_registry()
    try:
        return float(
            registry.Quantity(1.0, unit).to(target).magnitude - registry.Quantity(0.0, unit).to(target).magnitude
        )
    except Exception:
        return None


def _kinds_of(unit: str) -> list[Kind]:
    """Kinds in which this unit is known, for the error text."""
    found = [kind for kind, table in _PLAIN.items() if unit in table and unit]
    if unit in _TEMPERATURE:
        found.append(Kind.TEMPERATURE)
    if unit in _TEMPERATURE_DIFFERENCE:
        found.append(Kind.TEMPERATURE_DIFFERENCE)
    if unit in _PRESSURE:
        found.append(Kind.PRESSURE_DIFFERENCE)
    if unit in _GAUGE:
        found.append(Kind.GAUGE_PRESSURE)
    if unit in _ABSOLUTE:
        found.append(Kind.ABSOLUTE_PRESSURE)
    return found


def _wrong(text: object, unit: str, kind: Kind) -> ReadingError:
    kinds = _kinds_of(unit)
    if kinds:
        what = f"'{_NICE.get(unit, shorten(unit, 20))}' is a unit of {kinds[0].value.replace('-', ' ')}, not of {kind.value.replace('-', ' ')}"
        return WrongKindError(what, given=text, allowed=ALLOWED[kind], do="type the value again with its unit")
    what = "no unit" if not unit else f"unknown unit '{shorten(unit, 20)}'"
    return UnknownUnitError(what, given=text, allowed=ALLOWED[kind], do="type the value again with its unit")


def _convert(number: float, unit: str, kind: Kind, text: object, atmosphere_pa: float) -> tuple[float, str]:
    """SI value and the unit as it is echoed."""
    if kind is Kind.TEMPERATURE:
        if unit in _TEMPERATURE:
            factor, offset = _TEMPERATURE[unit]
            return number * factor + offset, {"f": "°F", "degf": "°F", "c": "°C", "degc": "°C", "k": "K"}[unit]
        raise _wrong(text, unit, kind)
    if kind is Kind.TEMPERATURE_DIFFERENCE:
        if unit in _TEMPERATURE_DIFFERENCE:
            return number * _TEMPERATURE_DIFFERENCE[unit], "°F difference" if "f" in unit else "K difference"
        raise _wrong(text, unit, kind)
    if kind in (Kind.GAUGE_PRESSURE, Kind.ABSOLUTE_PRESSURE):
        return _convert_pressure(number, unit, kind, text, atmosphere_pa)
    if kind is Kind.PRESSURE_DIFFERENCE:
        if unit in _PRESSURE:
            return number * _PRESSURE[unit], _NICE.get(unit, unit)
        if unit in _GAUGE or unit in _ABSOLUTE:
            raise _wrong(text, unit, kind)
    table = _PLAIN.get(kind, {})
    if unit in table:
        return number * table[unit], _NICE.get(unit, unit)
    foreign = _pint_factor(unit, kind) if unit else None
    if foreign is None:
        raise _wrong(text, unit, kind)
    return number * foreign, unit


def _convert_pressure(number: float, unit: str, kind: Kind, text: object, atmosphere_pa: float) -> tuple[float, str]:
    vacuum = re.fullmatch(r"(inhg|mmhg|mbar|kpa|psi|bar)(vac|vacuum)", unit)
    if vacuum:
        plain = vacuum.group(1)
        value, said = -abs(number) * _PRESSURE[plain], f"{_NICE.get(plain, plain)} vacuum"
        return (value, said) if kind is Kind.GAUGE_PRESSURE else (value + atmosphere_pa, said)
    if unit in _GAUGE:
        value = number * _GAUGE[unit]
        return (
            value if kind is Kind.GAUGE_PRESSURE else value + atmosphere_pa
        ), f"{_NICE.get(unit[:-1], unit[:-1])} gauge"
    if unit in _ABSOLUTE:
        value = number * _ABSOLUTE[unit]
        if value < 0:
            raise ImpossibleValueError(
                "absolute pressure below zero", given=text, allowed="0 or more", do="was it a gauge pressure?"
            )
        return (
            value if kind is Kind.ABSOLUTE_PRESSURE else value - atmosphere_pa
        ), f"{_NICE.get(unit[:-1], unit[:-1])} absolute"
    if unit in _PRESSURE:
        sense = "gauge" if kind is Kind.GAUGE_PRESSURE else "absolute"
        return number * _PRESSURE[unit], f"{_NICE.get(unit, unit)} {sense}"
    factor = _pint_factor(unit, kind) if unit else None
    if factor is None:
        raise _wrong(text, unit, kind)
    return number * factor, f"{unit} {'gauge' if kind is Kind.GAUGE_PRESSURE else 'absolute'}"


def parse(text: str, kind: Kind, *, default_unit: str = "", atmosphere_pa: float = ATMOSPHERE_PA) -> Parsed:
    """Read "118 psig", "8,1 bar", "50F", "12,5 °C", "about 60 psi" as SI.

    default_unit: used when no unit was typed. atmosphere_pa: site pressure for gauge <-> absolute.
    Raises ReadingError (UnknownUnitError, WrongKindError, ImpossibleValueError).
    """
    text = str(text)
    if len(text) > 200:
        raise ReadingError("value too long", given=text, allowed="a number and a unit", do="type the value again")
    match = _NUMBER.match(text)
    if match is None:
        raise ReadingError(
            "no number found", given=text, allowed=f"a number and a unit ({ALLOWED[kind]})", do="type the value again"
        )
    if re.match(r"(?:[-+\u2212\u2013]|\.\.|to\b|and\b|or\b)?\s*\d(?!/)", match["unit"]):
        raise ReadingError(
            "more than one number",
            given=text,
            allowed="one number and its unit",
            do="write it without thousands separators, and give one entry for each reading",
        )
    number = parse_number(match["digits"])
    if match["sign"] in ("-", "−", "–"):
        number = -number
    raw = match["unit"] or default_unit
    unit = _clean_unit(raw)
    value, said = _convert(number, unit, kind, text, atmosphere_pa)
    if not math.isfinite(value):
        raise ImpossibleValueError("not a finite value", given=text, allowed=ALLOWED[kind], do="type the value again")
    if kind is Kind.TEMPERATURE and value < 0 or kind is Kind.ABSOLUTE_PRESSURE and value < 0:
        raise ImpossibleValueError(
            "below absolute zero", given=text, allowed="a level that can exist", do="check sign and unit"
        )
    about = abs(number) * _ABOUT_SPREAD if match["about"] else 0.0
    about_si = abs(_convert(number + about, unit, kind, text, atmosphere_pa)[0] - value) if about else 0.0
    echo = f"{'about ' if about else ''}{number:g} {said}".strip()
    return Parsed(value, kind, echo, about_si, unit in _METRIC_HINT)


def parse_value(text: str, kind: Kind, *, atmosphere_pa: float = ATMOSPHERE_PA) -> float:
    """SI number only; see ``parse``.

    >>> round(parse_value("50F", Kind.TEMPERATURE), 2)
    283.15
    """
    return parse(text, kind, atmosphere_pa=atmosphere_pa).value


def parse_reading(quantity: str, value: object, *, atmosphere_pa: float = ATMOSPHERE_PA) -> tuple[Parsed, ...]:
    """Read the value(s) of a named quantity and refuse what it cannot be on this machine.

    value: text, or a list of three for three-phase quantities; "462/460/461 V" is split. One value is a tuple of one.
    """
    what = QUANTITIES.get(quantity)
    if what is None:
        raise ReadingError(
            "unknown quantity",
            given=quantity,
            allowed="a name of the fixed list (see 'checks --json')",
            do="check the spelling",
        )
    parts = _split_phases(value, what)
    parsed = tuple(parse(str(p), what.kind, atmosphere_pa=atmosphere_pa) for p in parts)
    for part, one in zip(parts, parsed, strict=True):
        if not what.low <= one.value <= what.high:
            low, high = show(what.low, what.kind, one.metric), show(what.high, what.kind, one.metric)
            raise ImpossibleValueError(
                f"{what.title} cannot be that", given=part, allowed=f"{low} to {high}", do="check value and unit"
            )
    return parsed


def _split_phases(value: object, what: Quantity) -> list[str]:
    if isinstance(value, Sequence) and not isinstance(value, str):
        parts = [str(v) for v in value]
    else:
        text = str(value)
        pieces = [p.strip() for p in re.split(r"\s*[/;|]\s*(?=[-+−]?\s*[\d.,])", text)] if what.phases else [text]
        parts = [p for p in pieces if p]
    if not parts:
        raise ReadingError(f"no value for {what.title}", given=value, allowed=ALLOWED[what.kind], do="type the value")
    if len(parts) > 1 and not what.phases:
        raise ReadingError(
            f"{what.title} is one value",
            given=" / ".join(parts),
            allowed="one value",
            do="give one entry for each reading",
        )
    if len(parts) not in (1, 3):
        raise ReadingError(
            f"{what.title} is one value or three (L1, L2, L3)",
            given=" / ".join(parts),
            allowed="one or three values",
            do="give all three legs",
        )
    unit = next((m["unit"] for p in reversed(parts) if (m := _NUMBER.match(p)) and m["unit"]), "")
    return [p if (m := _NUMBER.match(p)) is None or m["unit"] else f"{p} {unit}" for p in parts]


def to_unit(value: float, kind: Kind, unit: str) -> float:
    """SI value in one of the units of ``SHOWN``."""
    key = _clean_unit(unit)
    if kind is Kind.TEMPERATURE:
        factor, offset = _TEMPERATURE[key]
        return (value - offset) / factor
    tables: dict[Kind, dict[str, float]] = {
        Kind.TEMPERATURE_DIFFERENCE: _TEMPERATURE_DIFFERENCE,
        Kind.GAUGE_PRESSURE: {**_PRESSURE, **_GAUGE},
        Kind.ABSOLUTE_PRESSURE: {**_PRESSURE, **_ABSOLUTE},
        Kind.PRESSURE_DIFFERENCE: _PRESSURE,
        **_PLAIN,
    }
    return value / tables[kind][key if key != "1" else "1"]


def spread_in_unit(sd: float, kind: Kind, unit: str) -> float:
    """A standard uncertainty in SI as a width in ``unit`` (no offset)."""
    if kind is Kind.TEMPERATURE:
        return sd / _TEMPERATURE[_clean_unit(unit)][0]
    return to_unit(sd, kind, unit)


def parse_spread(text: str, kind: Kind) -> float:
    """A width ("1.2 psi", "2 delta_degF") of a quantity of ``kind`` in SI."""
    width_kind = {
        Kind.TEMPERATURE: Kind.TEMPERATURE_DIFFERENCE,
        Kind.GAUGE_PRESSURE: Kind.PRESSURE_DIFFERENCE,
        Kind.ABSOLUTE_PRESSURE: Kind.PRESSURE_DIFFERENCE,
    }.get(kind, kind)
    return parse(text, width_kind).value


_DECIMALS = {
    "degF": 1,
    "degC": 1,
    "delta_degF": 1,
    "delta_degC": 1,
    "psig": 1,
    "psi": 1,
    "psia": 1,
    "barg": 2,
    "bara": 2,
    "bar": 2,
    "kPa": 1,
    "gpm": 1,
    "L/s": 2,
    "V": 0,
    "A": 1,
    "Hz": 1,
    "%": 1,
    "kW": 1,
    "min": 1,
}
_SIGN = {
    "degF": "°F",
    "degC": "°C",
    "delta_degF": "°F",
    "delta_degC": "K",
    "barg": "bar",
    "1": "",
    "delta_degF/min": "°F/min",
    "delta_degC/min": "K/min",
}


def show(value: float, kind: Kind, metric: bool = False) -> str:
    """A value as people read it, in US or metric units."""
    unit = SHOWN[kind][1 if metric else 0]
    number = to_unit(value, kind, unit)
    decimals = _DECIMALS.get(unit, 2)
    text = f"{number:.{decimals}f}"
    if decimals and kind not in (Kind.RATIO,):
        text = text.rstrip("0").rstrip(".") if abs(number) >= 1000 else text
    return f"{text} {_SIGN.get(unit, unit)}".strip()
