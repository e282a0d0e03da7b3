"""Every calculator against values from outside the project (outside_values.yaml), and proof that none lacks
them.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import pytest
import yaml

from diagnose.calculators.command import read_inputs
from diagnose.calculators.model import Calculator
from diagnose.calculators.registry import CALCULATORS, calculator, evaluate
from shared.quantities import Kind
from shared.readings import Measured
from shared.units import parse, parse_spread

ENTRIES: list[dict[str, Any]] = yaml.safe_load(
    Path(__file__).with_name("outside_values.yaml").read_text(encoding="utf-8")
)
SEEN = {"read", "library", "memory", "definition", "common practice, no source"}
COUNTED = {"read", "library", "memory", "definition"}


def given(chosen: Calculator, typed: dict[str, str]) -> dict[str, Any]:
    """Typed inputs as the command line reads them, taken as exact."""
    exact: dict[str, Any] = {}
    for key, one in read_inputs(chosen, [f"{k}={v}" for k, v in typed.items()]).items():
        value = one.given
        if isinstance(value, Measured):
            value = Measured(value.value, value.kind)
        elif isinstance(value, tuple):
            value = tuple(Measured(part.value, part.kind) for part in value)
        exact[key] = value
    return exact


def label(entry: dict[str, Any]) -> str:
    return f"{entry['calculator']}: {' '.join(entry['inputs'].values())}"


@pytest.mark.parametrize("entry", ENTRIES, ids=label)
def test_value_from_outside(entry: dict[str, Any]) -> None:
    """The calculator gives the printed value within the tolerance stated beside it."""
    chosen = calculator(entry["calculator"])
    evaluation = evaluate(chosen.name, given(chosen, entry["inputs"]))
    kinds = {out.key: out.kind for out in chosen.outputs}
    results = {result.key: result.value for result in evaluation.results}
    for key, wanted in entry["expect"].items():
        if kinds[key] is Kind.CHOICE:
            assert results[key] == wanted
            continue
        within = entry["within"][key] if isinstance(entry["within"], dict) else entry["within"]
        value = results[key]
        assert isinstance(value, float)
        assert value == pytest.approx(parse(wanted, kinds[key]).value, abs=parse_spread(within, kinds[key])), (
            f"{key}: {entry['source']}"
        )


def test_every_entry_names_its_source_and_reason() -> None:
    """No entry without a source, a reason for its tolerance and a word on how it was seen."""
    for entry in ENTRIES:
        assert len(entry["source"]) > 15 and entry["why"] and entry["seen"] in SEEN, label(entry)


def test_every_calculator_has_three_outside_checks() -> None:
    """The live registry is walked: a calculator without three checks from outside fails, by name."""
    counted = Counter(entry["calculator"] for entry in ENTRIES if entry["seen"] in COUNTED)
    lacking = {name: counted[name] for name in CALCULATORS if counted[name] < 3}
    assert not lacking
    assert not set(counted) - set(CALCULATORS)


def test_no_output_goes_unchecked() -> None:
    """Each output of each calculator is compared with the outside at least once, or is listed here with the
    reason.
    """
    checked = {(entry["calculator"], key) for entry in ENTRIES for key in entry["expect"]}
    elsewhere = {
        ("saturation", "glide"),
        ("saturation", "absolute_pressure"),  # difference and sum of checked results
        ("saturation-pressure", "bubble_pressure_absolute"),
        ("superheat", "suction_dew"),
        ("subcooling", "liquid_bubble"),
        ("discharge-superheat", "discharge_dew"),
        ("approach", "suction_dew"),
        ("condenser-split", "condensing"),  # saturation, checked above
        ("approach", "evaporator_inlet"),
        ("approach", "leaving_above_inlet"),  # evaporator-inlet, checked above
        ("strainer-loading", "clean_drop_now"),
        ("flow-from-drop", "share_of_rated"),  # square law, checked above
        ("capacity", "fluid_difference"),
        ("npsh", "npsh_margin"),
        ("npsh-from-surface", "npsh_margin"),
        ("affinity", "speed_ratio"),
        ("voltage-unbalance", "mean_voltage"),
        ("current-unbalance", "mean_current"),
        ("current-unbalance", "lowest_leg"),
        ("generator-start", "step_share"),
        ("line-drop", "drop_percent"),
        ("site-pressure", "below_sea_level_pressure"),
        ("phase-loss", "live_lines_low"),
        ("phase-loss", "live_lines_high"),  # plain arithmetic on checked results
        ("voltage-unbalance", "derating"),
        ("voltage-unbalance", "extra_temperature_rise"),
        ("motor-derating", "extra_temperature_rise"),
        ("voltage-unbalance", "negative_sequence"),  # test_electrical
    }
    every = {(name, out.key) for name, one in CALCULATORS.items() for out in one.outputs}
    assert every - checked - elsewhere == set()
    assert elsewhere <= every
