"""A cause that cannot be on a machine is no suspect there; what nobody told rules nothing out."""

from __future__ import annotations

from typing import Any

import pytest

from diagnose.case import Machine
from diagnose.case_check import checked, parse_case
from diagnose.machine import read_machine
from diagnose.work import DEFAULT_FACTS, prepare, reason
from knowledge.check import find_problems
from knowledge.facts import ASSUMED_FACTS, MACHINE_FACTS
from knowledge.load import Knowledge, RawCards
from shared.quantities import DERIVED


def suspected(base: Knowledge, **machine: Any) -> set[str]:
    network, _, _ = reason(prepare(checked(parse_case({"complaint": "breaker-open", "machine": machine}), base), base))
    return {instance.cause for instance in network.instances}


@pytest.mark.parametrize(
    ("cause", "machine", "there"),
    [
        ("drive-faulted", {}, True),
        ("drive-faulted", {"pump_drive": "yes"}, True),
        ("drive-faulted", {"pump_drive": "no"}, False),
        ("fan-drive-fault", {"fan_drive": "no"}, False),
        ("earth-leakage-drive-filters", {"pump_drive": "no"}, True),  # the fans may have one
        ("earth-leakage-drive-filters", {"pump_drive": "no", "fan_drive": "no"}, False),
        ("earth-leakage-drive-filters", {"pump_drive": "no", "fan_drive": "yes"}, True),
    ],
)
def test_told_otherwise_it_is_no_suspect(base: Knowledge, cause: str, machine: dict[str, str], there: bool) -> None:
    assert (cause in suspected(base, **machine)) == there


def test_nothing_is_ruled_out_where_nothing_is_told(base: Knowledge) -> None:
    """On a bare machine card every cause is a suspect, whatever is assumed."""
    assert suspected(base) == set(base.causes)


def test_assumed_facts_are_those_the_reasoning_assumes(base: Knowledge) -> None:
    assert set(ASSUMED_FACTS) == set(DEFAULT_FACTS)
    bare = read_machine(Machine()).facts
    for cause in base.causes.values():
        assert not set(cause.when) & {*ASSUMED_FACTS, "several-circuits"}, cause.id
        assert all(bare[name] in words for name, words in cause.when.items() if name in bare), cause.id


@pytest.mark.parametrize(
    ("when", "said"),
    [
        ({"pump-in-use": ("site",)}, "does not rule a cause out"),
        ({"role": ("technician",)}, "does not rule a cause out"),
        ({"pump-drive": ("maybe",)}, "is never 'maybe'"),
        ({"moon": ("full",)}, "no fact 'moon'"),
    ],
)
def test_the_checker_knows_what_may_rule_out(raw: RawCards, change: Any, when: dict[str, Any], said: str) -> None:
    change("causes", "drive-faulted", when=when)
    problems = [
        p for p in find_problems(raw, {d.name: d.kind for d in DERIVED.values()}) if p.key == "drive-faulted.when"
    ]
    assert problems and any(said in p.text for p in problems), problems
    assert "any-drive" in MACHINE_FACTS
