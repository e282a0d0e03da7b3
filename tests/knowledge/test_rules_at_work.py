"""No rule without a firing and a quiet specimen, no exception that nobody sees at work: the engine is asked, not the card."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from diagnose.specimens import fires, specimen_problems
from knowledge.facts import STRATA
from knowledge.load import Knowledge


@pytest.fixture
def changed(base: Knowledge) -> Any:
    """A copy of the base with keys of one rule replaced."""

    def put(rule_id: str, **changes: Any) -> Knowledge:
        card = base.rules[rule_id]
        data = {**card.model_dump(by_alias=True, exclude_defaults=True), **changes}
        rules = {**base.rules, rule_id: type(card).model_validate(data)}
        return dataclasses.replace(base, rules=rules, memo={})

    return put


def test_every_shipped_rule_fires_and_stays_quiet(base: Knowledge) -> None:
    assert specimen_problems(base) == []
    assert {rule.kind for rule in base.rules.values()} == set(STRATA)
    assert all(rule.fires_on and rule.quiet_on for rule in base.rules.values())


@pytest.mark.parametrize("stratum", STRATA)
def test_a_rule_whose_specimens_are_swapped_is_told(base: Knowledge, changed: Any, stratum: str) -> None:
    """One rule of each kind: what it should fire on is quiet, what should be quiet fires."""
    rule = next(r for r in base.rules.values() if r.kind == stratum)
    data = rule.model_dump(by_alias=True, exclude_defaults=True)
    swapped = changed(rule.id, fires_on=data["quiet_on"], quiet_on=data["fires_on"])
    told = {p.key: p.text for p in specimen_problems(swapped)}
    assert "stays quiet on this specimen" in told[f"{rule.id}.fires_on.0"]
    assert "fires on this specimen" in told[f"{rule.id}.quiet_on.0"]


def test_an_exception_nobody_sees_at_work_is_told(base: Knowledge, changed: Any) -> None:
    """Its specimen is gone; or it has the exception but would be quiet anyhow."""
    rule = base.rules["hold-flow-before-cooling"]
    shown = [s for s in rule.quiet_on if "meter-flow" in s.findings]
    assert shown and not fires(rule, shown[0], base)
    left = [s.model_dump() for s in rule.quiet_on if s not in shown]
    key = f"{rule.id}.unless.0"
    assert key in {
        p.key for p in specimen_problems(changed(rule.id, quiet_on=left or [{"findings": {"meter-flow": "high"}}]))
    }
    idle = [{"findings": {"evaporator-drop": "normal", "meter-flow": "normal"}}]
    assert key in {p.key for p in specimen_problems(changed(rule.id, quiet_on=idle))}
