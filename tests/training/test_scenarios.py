"""Scenario cards: what is shipped holds together and runs; each way to write a bad one is reported with key and remedy."""

from __future__ import annotations

import copy
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from diagnose.training.checking import checked_scenario, plant_problems, read_scenario
from diagnose.training.world import complaint_shows, world_of
from knowledge.check import find_problems
from knowledge.load import Knowledge, RawCards, read_cards
from knowledge.scenarios import DIFFICULTIES, TOPICS, Scenario, scenario_problems
from shared.errors import CaseError
from shared.quantities import DERIVED
from tests.training.conftest import PLAIN

MAKE = Callable[..., Scenario]


@pytest.fixture(scope="module")
def shipped() -> RawCards:
    """The shipped cards as read."""
    return read_cards()


def beside(shipped: RawCards, card: Scenario) -> RawCards:
    """The shipped cards with this as the only scenario."""
    raw = copy.copy(shipped)
    raw.cards = {**shipped.cards, "scenarios": {card.id: card}}
    raw.where = {**shipped.where, f"scenarios/{card.id}": f"scenarios/{card.id}.yaml"}
    return raw


def test_the_keepers_check_looks_at_scenarios(shipped: RawCards) -> None:
    """A wrong id in a scenario is a problem of the whole set."""
    raw = beside(shipped, Scenario.model_validate({**PLAIN, "complaint": "no-such"}))
    problems = find_problems(raw, {d.name: d.kind for d in DERIVED.values()})
    assert f"{PLAIN['id']}.complaint" in [p.key for p in problems]


def test_enough_are_shipped_over_all_topics_and_difficulties(base: Knowledge) -> None:
    """At least 40; each topic at least three times, each difficulty at least eight times; nobody's cause too often."""
    cards = base.scenarios.values()
    assert len(cards) >= 40
    topics = Counter(t for s in cards for t in s.topics)
    assert set(topics) == set(TOPICS) and min(topics.values()) >= 3, topics
    difficulties = Counter(s.difficulty for s in cards)
    assert set(difficulties) == set(DIFFICULTIES) and min(difficulties.values()) >= 8
    causes = Counter(f.cause for s in cards for f in s.faults)
    assert max(causes.values()) <= 4 and len(causes) >= 35
    assert sum(len(s.faults) == 2 for s in cards) >= 4 and sum(s.role == "customer" for s in cards) >= 5


def test_every_shipped_scenario_runs_and_somebody_would_call(base: Knowledge) -> None:
    """True causes are cards, the machine can have them, and the complaint shows or is one under which such a cause is reported."""
    shown = 0
    for one in base.scenarios.values():
        assert all(f.cause in base.causes for f in one.faults)
        assert plant_problems(one, base) == [], one.id
        shown += bool(complaint_shows(world_of(one, base, 1)))
    assert shown >= 0.75 * len(base.scenarios), "the machine itself shows too few of the complaints"


@pytest.mark.parametrize(
    ("changes", "key", "says"),
    [
        ({"complaint": "no-such"}, "complaint", "no complaint 'no-such'"),
        ({"topics": ["flowers"]}, "topics", "allowed: no-flow"),
        ({"faults": [{"cause": "no-such"}]}, "faults.0.cause", "no cause 'no-such'"),
        ({"faults": [{"cause": "wet-plug-earth-leakage", "acts_as": "nothing"}]}, "faults.0.acts_as", "no cause"),
        ({"faults": [PLAIN["faults"][0]] * 2}, "faults", "twice"),
        ({"lies": [{"instrument": "crystal-ball", "mode": "low"}]}, "lies.0.instrument", "no instrument"),
        ({"lies": [{"instrument": "suction-gauge", "mode": "odd"}]}, "lies.0.mode", "allowed: high, low"),
        ({"answers": {"pump-look": {"answer": "sings"}}}, "answers.pump-look.answer", "allowed: right-way"),
        ({"answers": {"pump-look": {}}}, "answers.pump-look", "either answer or readings"),
        (
            {"answers": {"flow-meter-read": {"readings": {"flow": "12 bar"}}}},
            "answers.flow-meter-read.readings.flow",
            "",
        ),
        ({"faults": []}, "ends", "write explain"),
        ({"ends": "explain"}, "ends", "has a fault"),
        ({"role": "customer"}, "qualified", "only a technician"),
        ({"conditions": {"air": "warm"}}, "conditions.air", ""),
        ({"conditions": {"entering": "54 F", "load_percent": "50"}}, "conditions.load_percent", "remove one"),
    ],
)
def test_what_does_not_fit_the_cards_is_reported(
    shipped: RawCards, changes: dict[str, Any], key: str, says: str
) -> None:
    """With file and key, and a remedy."""
    problems = scenario_problems(beside(shipped, Scenario.model_validate({**PLAIN, **changes})))
    found = [p for p in problems if p.key == f"{PLAIN['id']}.{key}"]
    assert len(found) == 1 and says in found[0].text, [str(p) for p in problems]
    assert found[0].file == f"scenarios/{PLAIN['id']}.yaml"


@pytest.mark.parametrize(
    ("changes", "key", "says"),
    [
        ({"machine": "demo-dodo"}, "machine", "allowed: demo-wren"),
        ({"changes": {"circuits": "many"}}, "changes", ""),
        (
            {"faults": [{"cause": "coil-dirty", "place": "circuit:Q"}]},
            "faults.0.place",
            "allowed: circuit:A, circuit:B",
        ),
        (
            {"faults": [{"cause": "generator-too-small"}], "complaint": "phase-fault"},
            "faults.0.cause",
            "generator supply",
        ),
        (
            {"faults": [{"cause": "wet-plug-earth-leakage", "acts_as": "mounts-loose"}]},
            "faults.0.acts_as",
            "does not make",
        ),
        ({"lies": [{"instrument": "suction-gauge", "mode": "low", "place": "circuit:Q"}]}, "lies.0.place", "circuit:A"),
        ({"faults": [{"cause": "coil-dirty", "severity": "0.2"}]}, "complaint", "raise the severity"),
    ],
)
def test_what_the_machine_cannot_be_is_reported(
    base: Knowledge, scenario: MAKE, changes: dict[str, Any], key: str, says: str
) -> None:
    """With the key and what would do."""
    found = plant_problems(scenario(**changes), base)
    assert [k for k, _ in found] == [key] and says in found[0][1], found


def test_a_trainers_own_scenario_is_checked_like_a_shipped_one(base: Knowledge) -> None:
    """Good text becomes a scenario; every problem of a bad one comes at once; a huge one is refused."""
    text = "\n".join(f"{k}: {v}" for k, v in PLAIN.items() if not isinstance(v, list))
    text += "\ntopics: [no-flow]\npoints: [Look.]\nfaults: [{cause: suction-valve-shut, severity: 0.97}]\n"
    assert read_scenario(text, base).faults[0].cause == "suction-valve-shut"
    with pytest.raises(CaseError) as bad:
        checked_scenario({**PLAIN, "topics": ["flowers"], "complaint": "no-such"}, base)
    assert len(bad.value.problems) == 2
    with pytest.raises(CaseError):
        read_scenario("x" * 50_000, base)
    with pytest.raises(CaseError):
        read_scenario("a: [", base)
