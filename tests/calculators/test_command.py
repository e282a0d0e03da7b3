"""`calc` as a technician types it: the contract's example, units, accuracy, lists, JSON, and refused
lines.
"""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

import pytest

from diagnose.calculators.command import run_calc
from diagnose.calculators.registry import CALCULATORS
from shared.errors import ChillerError

CONTRACT = ["superheat", "refrigerant=R-410A", "suction_pressure=118psig", "suction_line=50degF"]
UNITS = {
    "degF",
    "degC",
    "delta_degF",
    "delta_degC",
    "psig",
    "psi",
    "psia",
    "barg",
    "bar",
    "kPa",
    "gpm",
    "L/s",
    "V",
    "A",
    "Hz",
    "%",
    "kW",
    "min",
    "",
}
MORE = {
    "kVA",
    "ft",
    "m",
    "gal",
    "L",
    "Cv",
    "Kv",
    "delta_degF/min",
    "delta_degC/min",
}  # quantities the list lacks


def answer(*args: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(run_calc(args, as_json=True))
    return found


def output(found: dict[str, Any], key: str) -> dict[str, Any]:
    one: dict[str, Any] = next(entry for entry in found["outputs"] if entry["quantity"] == key)
    return one


def test_contract_example() -> None:
    """Value, unit and uncertainty; the printed manual says 40 F at 118.0 psig, so 10 F within 0.5 F."""
    found = answer(*CONTRACT)
    assert found["unit"] == "delta_degF"
    assert found["value"] == pytest.approx(10.0, abs=0.5)
    assert found["uncertainty"] == pytest.approx(2.34, abs=0.05)  # dial 3.5 F and clamp 2 F, both over sqrt 3
    assert output(found, "superheat")["metric"]["value"] == pytest.approx(found["value"] / 1.8, rel=1e-5)
    text = run_calc(CONTRACT)
    assert "superheat: 10.2 delta_degF (+/-4.7)" in text and "assumed instrument" in text and "source:" in text


def test_accuracy_as_typed() -> None:
    """+/- with or without its own unit, as accuracy: a/sqrt 3; +/-0 is exact and nothing is assumed."""
    typed = ["superheat", "refrigerant=R-410A", "suction_pressure=118psig+/-0", "suction_line=50degF+/-2"]
    found = answer(*typed)
    assert found["uncertainty"] == pytest.approx(2.0 / 3**0.5, rel=1e-3)
    assert [one["assumed"] for one in found["inputs"]] == [None, None, None]
    other = answer(
        "superheat",
        "refrigerant=R-410A",
        "suction_pressure=118psig±0psi",
        "suction_line=10degC ± 2 delta_degF",
    )
    assert other["uncertainty"] == pytest.approx(found["uncertainty"] / (1.0 if other["unit"] == "delta_degF" else 1.8))


def test_units_follow_what_was_typed() -> None:
    """Metric in, metric out; US beside it."""
    found = answer("superheat", "refrigerant=r407c", "suction_pressure=3.2 bar", "suction_line=2,5 °C")
    assert found["unit"] == "delta_degC" and output(found, "superheat")["us"]["unit"] == "delta_degF"
    assert found["value"] == pytest.approx(5.0, abs=0.06)  # general-purpose library, rounded to 0.1


def test_absolute_pressure_is_recognised() -> None:
    """132.7 psia at 5000 ft equals itself; 118 psig at 5000 ft does not."""
    base = ["saturation", "refrigerant=R-410A", "altitude=5000ft"]
    assert answer(*base, "pressure=132.696psia+/-0")["value"] == pytest.approx(39.84, abs=0.01)
    assert answer(*base, "pressure=118psig+/-0")["value"] == pytest.approx(38.75, abs=0.01)


@pytest.mark.parametrize("text", ["462/468/450V", "462V/468V/450V", "462;468;450 V", "462,468,450V"])
def test_three_phases(text: str) -> None:
    """Any usual separator; the last unit counts for all. 2.17 % is printed in a start-up manual."""
    assert answer("voltage-unbalance", f"line_voltage={text}")["value"] == pytest.approx(2.17, abs=0.005)


@pytest.mark.parametrize("name", CALCULATORS)
def test_every_answer_uses_known_units(name: str) -> None:
    """Units of the contract's fixed list, and the few it lacks, in the JSON description of every
    calculator.
    """
    described = json.loads(run_calc([], as_json=True))["calculators"]
    one = next(entry for entry in described if entry["name"] == name)
    for out in one["outputs"]:
        assert {out["unit_us"], out["unit_metric"]} <= UNITS | MORE, out


def test_lists_and_help() -> None:
    """No name lists all; a name alone explains its inputs and answers."""
    listed = run_calc([])
    assert all(name in listed for name in CALCULATORS)
    text = run_calc(["superheat"])
    assert "suction_pressure=118psig" in text and "default 0 m" in text
    assert json.loads(run_calc(["superheat"], as_json=True))["inputs"][0]["choices"][0] == "R-410A"


def test_one_gauge_moved_between_the_taps() -> None:
    """The same dial twice: its error cancels, and the note on two gauges goes."""
    base = ["evaporator-drop", "evaporator_in=25psig", "evaporator_out=20psig"]
    two, one = answer(*base), answer(*base, "gauges=one")
    assert any("two gauges" in note for note in two["notes"]) and one["notes"] == []
    assert one["uncertainty"] < 0.3 * two["uncertainty"]


@pytest.mark.parametrize(
    ("args", "text"),
    [
        (["superheet"], "allowed: superheat"),
        (["zzz"], "approach"),
        (["superheat", "refrigerant=R-410A", "pressure=118psig"], "did you mean suction_pressure"),
        (["superheat", "refrigerant=R-410A"], "also suction_pressure, suction_line"),
        (["superheat", "118psig"], "not key=value"),
        (["superheat", "refrigerant="], "refrigerant is empty"),
        ([*CONTRACT, "suction_line=51F"], "given twice"),
        (
            ["superheat", "refrigerant=R-410A", "suction_pressure=118psig", "suction_line=50psi"],
            "not of temperature",
        ),
        (["superheat", "refrigerant=R-410A", "suction_pressure=118", "suction_line=50F"], "no unit"),
        (
            ["superheat", "refrigerant=R-410A", "suction_pressure=118 furlongs", "suction_line=50F"],
            "unknown unit",
        ),
        (["superheat", "refrigerant=R-410A", "suction_pressure=NaN psig", "suction_line=50F"], "no number"),
        (
            ["superheat", "refrigerant=R-410A", "suction_pressure=118psig", "suction_line=1e9F"],
            "cannot be that",
        ),
        (
            ["superheat", "refrigerant=R-999", "suction_pressure=118psig", "suction_line=50F"],
            "unknown refrigerant",
        ),
        (["saturation-pressure", "refrigerant=R-32", "temperature=300F"], "outside the saturation table"),
        (["voltage-unbalance", "line_voltage=462/468V"], "needs 3 values"),
        (
            ["steady-state", "times=" + "/".join(str(i) for i in range(300)) + "s", "temperatures=1/2C"],
            "too many values",
        ),
        (
            ["capacity", "flow=100gpm", "entering_fluid=54F", "leaving_fluid=44F", "fluid=glycol"],
            "unknown fluid",
        ),
        (
            ["subcooling", "refrigerant=R-22", "liquid_pressure=200psig+/-five", "liquid_line=90F"],
            "no number",
        ),
    ],
)
def test_refused_lines(args: list[str], text: str) -> None:
    """One clear line, no traceback, whatever was typed."""
    with pytest.raises(ChillerError) as caught:
        run_calc(args)
    assert text in caught.value.line() and "\n" not in caught.value.line()


def test_calculators_stay_light() -> None:
    """The calculators import none of the heavy libraries: they are on the path of every cold start."""
    code = (
        "import sys; from diagnose.calculators.command import run_calc; "
        f"run_calc({CONTRACT!r}); "
        "heavy = {'numpy', 'scipy', 'pint', 'CoolProp', 'pandas', 'networkx'} & set(sys.modules); "
        "assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
