"""What is seen at a simulated machine, in words that the cards have, and right in cases anybody can judge."""

from __future__ import annotations

from typing import Any

import pytest

from diagnose.plant.conditions import Conditions
from diagnose.plant.draws import draw
from diagnose.plant.faults import Fault, apply_faults
from diagnose.plant.parameters import Plant
from diagnose.plant.seen import seen_words
from diagnose.plant.simulate import simulate
from knowledge.load import load_knowledge


def seen(plant: Plant, *faults: Fault, **day: float) -> dict[tuple[str, str], str]:
    conditions = Conditions(**day)  # type: ignore[arg-type]
    return seen_words(plant, apply_faults(plant, faults), conditions, simulate(plant, conditions, faults))


def test_every_name_and_word_is_a_card_s() -> None:
    """Over a hundred random machines, days and faults: each key is an effect or finding at a place of its kind, each word its own."""
    knowledge, met = load_knowledge(), set()
    for number in range(100):
        one = draw(11, number)
        words = seen_words(
            one.plant,
            apply_faults(one.plant, one.faults),
            one.conditions,
            simulate(one.plant, one.conditions, one.faults),
        )
        for (name, place), word in words.items():
            effect = name.startswith("effect:")
            card: Any = knowledge.effects[name.removeprefix("effect:")] if effect else knowledge.findings[name]
            assert place.split(":")[0] == card.place, (name, place)
            assert word in (card.ordered or card.words), (name, word)
            met.add(name)
    assert len(met) > 35


def test_a_healthy_machine_looks_healthy(lab: Any) -> None:
    """Every word is the healthy one of its card, on water and on glycol, on a generator and on the utility."""
    knowledge = load_knowledge()
    glycol = {"fluid": "propylene-glycol", "glycol_percent": "30 %"}
    for plant in (lab.plant(circuits=2, compressors=4), lab.plant(supply="generator", **glycol)):
        for (name, _), word in seen(plant).items():
            effect = name.startswith("effect:")
            card: Any = knowledge.effects[name.removeprefix("effect:")] if effect else knowledge.findings[name]
            assert word == card.neutral, name


def test_what_the_machine_cannot_know_is_left_to_the_cards(lab: Any) -> None:
    """A dead board says nothing of the generator, a blade loose on its shaft nothing of how it turns, a clear glass nothing of
    moisture in it.
    """
    plant = lab.plant(supply="generator", circuits=2, compressors=4)
    assert ("generator-display", "supply") not in seen(plant, Fault("site-supply-dead"))
    assert ("fans", "circuit:A") not in seen(plant, Fault("fan-blade-loose", 0.8))
    assert ("sight-glass", "circuit:A") not in seen(plant, Fault("circuit-wet", 0.3))
    assert seen(plant, Fault("compressor-branch-open"))["stages", "unit"] == "fewer"
    assert seen(plant, Fault("generator-setting-moved", 1.0))["generator-display", "supply"] == "low-volts"


@pytest.mark.parametrize(
    ("fault", "key", "word"),
    [
        (Fault("site-valve-shut", 1.0), ("effect:fluid-flow", "unit"), "none"),
        (Fault("site-valve-shut", 1.0), ("alarm-text", "unit"), "flow"),
        (Fault("site-valve-shut", 1.0), ("control-string", "unit"), "at-flow"),
        (Fault("phases-reversed"), ("monitor-lamp", "supply"), "sequence"),
        (Fault("phases-reversed"), ("what-runs", "unit"), "nothing"),
        (Fault("supply-fuse-open"), ("effect:phase-balance", "supply"), "one-lost"),
        (Fault("pump-reversed"), ("pump-turning", "pump:onboard"), "backwards"),
        (Fault("coil-covered", 1.0), ("high-pressure-trip", "circuit:A"), "yes"),
        (Fault("coil-covered", 1.0), ("effect:head", "circuit:A"), "high"),
        (Fault("fan-motor-failed", 0.9), ("fans", "circuit:A"), "one-stopped"),
        (Fault("refrigerant-leak", 0.9), ("effect:suction", "circuit:A"), "low"),
        (Fault("refrigerant-leak", 0.9), ("sight-glass", "circuit:A"), "bubbles"),
        (Fault("control-fuse-open"), ("screen-lit", "unit"), "dark"),
        (Fault("compressor-seized"), ("start-attempt", "compressor:A1"), "hums-then-trips"),
        (Fault("overload-set-low", 1.0), ("tripped-device", "unit"), "pump-overload"),
        (Fault("start-delay-running"), ("screen-status", "unit"), "timer"),
    ],
)
def test_faults_look_like_themselves(lab: Any, fault: Fault, key: tuple[str, str], word: str) -> None:
    assert seen(lab.plant(circuits=2, compressors=4), fault)[key] == word
