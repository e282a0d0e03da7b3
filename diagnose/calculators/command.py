"""`calc NAME key=value...`: typed inputs in, a rendered answer out.

    calc superheat refrigerant=R-410A suction_pressure=118psig suction_line=50degF
    calc voltage-unbalance line_voltage=462/468/450V
    calc flow-from-drop evaporator_drop=4.2psi+/-0.2psi rated_flow=96gpm rated_drop=6.5psi

Several values are separated by / or ; and the last unit counts for all. An accuracy is written +/-; without
one the usual instrument of that input is assumed and the answer says so (+/-0 = exact). An absolute
pressure is recognised by its unit (psia, bara, kPa abs). The answer is in the units typed most: US or
metric, the other beside it.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from diagnose.calculators.instruments import instrument
from diagnose.calculators.model import Calculator, Evaluation, Given, Input, Result
from diagnose.calculators.registry import CALCULATORS, calculator, evaluate, example
from shared.errors import CalculatorError
from shared.quantities import Kind
from shared.readings import RECTANGULAR, Measured
from shared.units import SHOWN, Parsed, parse, parse_spread, spread_in_unit, to_unit

FORMAT = 1
MOST_VALUES = 200  # a pasted log is for the steady-state trend at most; more is a slip
_PLUS_MINUS = re.compile(r"\s*(?:\+/-|\+-|±)\s*")
_SEVERAL = re.compile(r"\s*[/;|]\s*(?=[-+−]?\s*[\d.,])")
_UNIT = re.compile(r"^\s*(?:about\s+)?[-+−]?[\d.,]+(?:[eE][-+]?\d+)?\s*(.*?)\s*$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Typed:
    """One input as typed: what it means, how it was understood, what was assumed, whether its unit is
    metric.
    """

    given: Given
    echo: str
    assumed: str = ""
    metric: bool = False
    united: bool = False


def run_calc(args: Sequence[str], as_json: bool = False) -> str:
    """The answer to ``calc ARGS`` as text or JSON; no arguments: the list of calculators.

    Raises ChillerError with one clear line: unknown calculator (near names), unknown, missing or repeated
    key, unknown unit, wrong kind, impossible value, outside the calculator's limits.
    """
    if not args:
        return _list_json() if as_json else _list_text()
    chosen = calculator(args[0])
    if len(args) == 1 and any(one.required for one in chosen.inputs):
        return _help_json(chosen) if as_json else _help_text(chosen)
    typed = read_inputs(chosen, args[1:])
    evaluation = evaluate(chosen.name, {key: one.given for key, one in typed.items()})
    united = [one.metric for one in typed.values() if one.united]
    metric = sum(united) * 2 > len(united)
    return (
        _answer_json(chosen, typed, evaluation, metric) if as_json else _answer_text(chosen, typed, evaluation, metric)
    )


def read_inputs(chosen: Calculator, args: Sequence[str]) -> dict[str, Typed]:
    """key=value arguments as typed inputs, each key known and given once."""
    inputs = {one.key: one for one in chosen.inputs}
    words: dict[str, str] = {}
    for arg in args:
        key, equals, text = arg.partition("=")
        key = key.strip().replace("-", "_")
        if not equals:
            raise CalculatorError(
                "not key=value", given=arg, allowed=example(chosen.inputs[0]), do="quote values with spaces"
            )
        if key in words:
            raise CalculatorError(f"{key} given twice", given=arg, allowed="each input once")
        if key not in inputs:
            # the registry's own error names the near key
            evaluate(chosen.name, {key: text})
        if not text.strip():
            raise CalculatorError(f"{key} is empty", given=arg, allowed=example(inputs[key]))
        words[key] = text.strip()
    usual = chosen.usual(words) if chosen.usual else {}
    return {key: typed_input(inputs[key], text, usual.get(key, inputs[key].instrument)) for key, text in words.items()}


def typed_input(one: Input, text: str, usual: str) -> Typed:
    """One input from its text. usual: instrument (id) assumed where the text states no accuracy; "" =
    exact.
    """
    if one.kind is Kind.CHOICE:
        return Typed(text, text)
    if one.many == 1:
        measured, parsed, assumed = _measured(one, text, usual)
        return Typed(measured, parsed.echo, assumed, parsed.metric, _has_two_systems(one.kind))
    body, *accuracy = _PLUS_MINUS.split(text, maxsplit=1)
    parts = [part for part in _SEVERAL.split(body) if part.strip()]
    if len(parts) == 1 and body.count(",") >= 2:
        parts = body.split(",")
    if len(parts) > MOST_VALUES:
        raise CalculatorError(f"{one.key} has too many values", given=len(parts), allowed=f"up to {MOST_VALUES}")
    unit = _unit_in(parts[-1])
    tail = f" +/- {accuracy[0]}" if accuracy else ""
    full = [part if _unit_in(part) else f"{part} {unit}" for part in parts]
    read = [_measured(one, part + tail, usual) for part in full]
    return Typed(
        tuple(measured for measured, _, _ in read),
        " / ".join(parsed.echo for _, parsed, _ in read),
        read[0][2],
        read[0][1].metric,
        _has_two_systems(one.kind),
    )


def _measured(one: Input, text: str, usual: str) -> tuple[Measured, Parsed, str]:
    """Value with its standard uncertainty, how it was read, and the assumed instrument."""
    body, *accuracy = _PLUS_MINUS.split(text, maxsplit=1)
    default_unit = "%" if one.kind is Kind.PERCENT else ""
    parsed = parse(body, one.kind, default_unit=default_unit)
    if one.absolute and parsed.echo.endswith("absolute"):
        parsed = parse(body, Kind.ABSOLUTE_PRESSURE)
    assumed = ""
    if accuracy:
        width = accuracy[0] if _unit_in(accuracy[0]) else _like(body, accuracy[0], one.kind)
        sd = abs(parse_spread(width, parsed.kind)) / RECTANGULAR
    elif usual:
        tool = instrument(usual)
        sd, assumed = tool.sd(parsed.value), tool.title
    else:
        sd = 0.0
    return Measured(parsed.value, parsed.kind, (sd**2 + parsed.about_sd**2) ** 0.5), parsed, assumed


def _like(body: str, number: str, kind: Kind) -> str:
    """A width without a unit has that of its value: 50degF+/-2 is 2 delta_degF, 118psig+/-3 is 3 psi."""
    unit = _unit_in(body)
    if kind is Kind.PERCENT:
        unit = "%"
    elif kind is Kind.TEMPERATURE:
        unit = "delta_degF" if "f" in unit.lower() else "delta_degC"
    elif kind in (Kind.GAUGE_PRESSURE, Kind.ABSOLUTE_PRESSURE):
        unit = re.sub(r"^(psi|bar|kpa|mpa|mbar)\s*(g|a|abs|gauge|absolute)$", r"\1", unit.lower())
    return f"{number} {unit}"


def _unit_in(text: str) -> str:
    found = _UNIT.match(text)
    return found.group(1) if found else ""


def _has_two_systems(kind: Kind) -> bool:
    us, metric = SHOWN[kind]
    return us != metric


def unit_of(kind: Kind, metric: bool) -> str:
    """Unit of an answer, from the contract's fixed list as far as it reaches; plain numbers have none."""
    if kind is Kind.ABSOLUTE_PRESSURE:
        return "kPa" if metric else "psia"  # the fixed list has no bar absolute
    unit = SHOWN[kind][1 if metric else 0]
    return "" if unit == "1" else unit


def _number(result: Result, metric: bool) -> dict[str, Any]:
    """value, unit and uncertainty of a result in one unit system."""
    if isinstance(result.value, str):
        return {"value": result.value, "unit": "", "uncertainty": None}
    unit = unit_of(result.kind, metric)
    if result.kind is Kind.ABSOLUTE_PRESSURE and metric:
        value, sd = result.value / 1e3, None if result.sd is None else result.sd / 1e3
    else:
        name = unit or "1"
        value = to_unit(result.value, result.kind, name)
        sd = None if result.sd is None else spread_in_unit(result.sd, result.kind, name)
    return {"value": _round(value), "unit": unit, "uncertainty": None if sd is None else _round(sd)}


def _round(value: float) -> float:
    return float(f"{value:.6g}") + 0.0


def _answer_json(chosen: Calculator, typed: Mapping[str, Typed], evaluation: Evaluation, metric: bool) -> str:
    outputs = []
    for result in evaluation.results:
        entry = {"quantity": result.key, **_number(result, metric)}
        other = _number(result, not metric)
        if other["unit"] != entry["unit"]:
            entry["us" if metric else "metric"] = other
        outputs.append(entry)
    first = outputs[0]
    answer = {
        "format": FORMAT,
        "calculator": chosen.name,
        "title": chosen.title,
        "value": first["value"],
        "unit": first["unit"],
        "uncertainty": first["uncertainty"],
        "outputs": outputs,
        "inputs": [{"key": key, "understood": one.echo, "assumed": one.assumed or None} for key, one in typed.items()],
        "notes": list(evaluation.notes),
        "limits": chosen.limits,
        "source": chosen.source,
    }
    return json.dumps(answer, indent=2, ensure_ascii=False)


def _text_value(entry: Mapping[str, Any]) -> str:
    if isinstance(entry["value"], str):
        return str(entry["value"])
    sd = entry["uncertainty"]
    decimals = _decimals(entry["value"], sd)
    text = f"{entry['value']:.{decimals}f} {entry['unit']}".rstrip()
    return f"{text} (+/-{2 * sd:.{decimals}f})" if sd else text


def _decimals(value: float, sd: float | None) -> int:
    """Two figures of the uncertainty, or four of the value; never more than four decimals."""
    if sd:
        return max(0, min(4, 1 - _power(2 * sd)))
    return max(0, min(4, 3 - _power(value))) if value else 1


def _power(value: float) -> int:
    return int(f"{abs(value):e}".partition("e")[2])


def _answer_text(chosen: Calculator, typed: Mapping[str, Typed], evaluation: Evaluation, metric: bool) -> str:
    lines = [chosen.title]
    for key, one in typed.items():
        lines.append(f"  {key} = {one.echo}" + (f" (assumed instrument: {one.assumed})" if one.assumed else ""))
    for result in evaluation.results:
        entry, other = _number(result, metric), _number(result, not metric)
        also = f"   {_text_value(other)}" if other["unit"] != entry["unit"] else ""
        lines.append(f"{result.key}: {_text_value(entry)}{also}")
    lines.append("(+/- is twice the standard uncertainty, about 95 %)")
    lines += [f"note: {note}" for note in evaluation.notes]
    lines += [f"limits: {chosen.limits}", f"source: {chosen.source}"]
    return "\n".join(lines)


def _line(one: Input) -> str:
    state = "required" if one.required else f"default {one.default}" if one.default else "optional"
    words = f"; one of {', '.join(one.choices)}" if one.choices else ""
    return f"  {example(one)}   {one.help} ({state}{words})"


def _help_text(chosen: Calculator) -> str:
    lines = [f"{chosen.name}: {chosen.title}", "inputs:", *(_line(one) for one in chosen.inputs), "answers:"]
    lines += [f"  {out.key}   {out.help}" for out in chosen.outputs]
    lines += [f"limits: {chosen.limits}", f"source: {chosen.source}"]
    return "\n".join(lines)


def _description(chosen: Calculator) -> dict[str, Any]:
    return {
        "name": chosen.name,
        "title": chosen.title,
        "inputs": [
            {
                "key": one.key,
                "kind": str(one.kind),
                "required": one.required,
                "default": one.default or None,
                "choices": list(one.choices),
                "values": one.many or "any",
                "help": one.help,
            }
            for one in chosen.inputs
        ],
        "outputs": [
            {
                "key": out.key,
                "kind": str(out.kind),
                "unit_us": unit_of(out.kind, False),
                "unit_metric": unit_of(out.kind, True),
                "help": out.help,
            }
            for out in chosen.outputs
        ],
        "limits": chosen.limits,
        "source": chosen.source,
    }


def _help_json(chosen: Calculator) -> str:
    return json.dumps({"format": FORMAT, **_description(chosen)}, indent=2, ensure_ascii=False)


def _list_text() -> str:
    width = max(len(name) for name in CALCULATORS)
    lines = [f"{name:<{width}}  {one.title}" for name, one in CALCULATORS.items()]
    return "\n".join([*lines, "'calc NAME' shows the inputs of one"])


def _list_json() -> str:
    return json.dumps(
        {"format": FORMAT, "calculators": [_description(one) for one in CALCULATORS.values()]},
        indent=2,
        ensure_ascii=False,
    )
