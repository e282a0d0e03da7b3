"""The table of faults: every card is either simulated or scripted, each effect touches one layer, all of them run."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import pytest

from diagnose.plant.conditions import Conditions
from diagnose.plant.effects.scripted import SCRIPTED
from diagnose.plant.faults import EFFECTS, Fault, apply_faults, places, shows_on
from diagnose.plant.health import Health, healthy
from diagnose.plant.parameters import Plant
from diagnose.plant.physical import violations
from diagnose.plant.scatter import scattered
from diagnose.plant.simulate import simulate
from diagnose.plant.telling import apart, same_effect, telling_severity
from knowledge.load import load_knowledge
from shared.errors import ChillerError


@pytest.fixture(scope="module")
def plants(lab: Any) -> list[Plant]:
    """Three invented machines that between them have all a fault may need."""
    both = {"pumps": ("onboard", "site"), "circuits": 2, "compressors": 4}
    site = {"pump_in_use": "site", "supply": "generator", "expansion": "electronic", "pump_drive": "yes"}
    glycol = {"fluid": "propylene-glycol", "glycol_percent": "30 %", "set_point": "38 degF"}
    return [
        lab.plant(**both, fan_drive="yes"),
        lab.plant(**both, **site, **glycol),
        lab.plant(voltage="400 V", frequency="50 Hz"),
    ]


def plant_for(plants: list[Plant], cause: str) -> Plant:
    return next(p for p in plants if shows_on(p, EFFECTS[cause]))


def layers_changed(before: Health, after: Health) -> set[str]:
    return {f.name for f in fields(before) if getattr(before, f.name) != getattr(after, f.name)}


def test_every_card_is_simulated_or_scripted() -> None:
    """No card without a word, no word without a card; at least seventy simulated."""
    causes = load_knowledge().causes
    assert not set(EFFECTS) & set(SCRIPTED)
    assert set(EFFECTS) | set(SCRIPTED) == set(causes)
    assert len(EFFECTS) >= 70
    assert {c: EFFECTS[c].place for c in EFFECTS} == {c: causes[c].place for c in EFFECTS}
    assert all(len(why) > 10 for why in SCRIPTED.values())


def test_each_fault_enters_in_its_layer_only(plants: list[Plant]) -> None:
    """The layer named is the one that changes, and no other."""
    for cause, effect in EFFECTS.items():
        plant = plant_for(plants, cause)
        changed = layers_changed(healthy(plant), apply_faults(plant, [Fault(cause, 0.7)]))
        assert changed == {effect.layer}, cause


def test_faults_are_refused_in_one_clear_line(plants: list[Plant]) -> None:
    for fault, words in (
        (Fault("no-such-thing"), "no such cause"),
        (Fault("mounts-loose"), "scripted"),
        (Fault("coil-dirty", 1.5), "0 to 1"),
        (Fault("coil-dirty", 0.5, "circuit:Z"), "circuit:A"),
    ):
        with pytest.raises(ChillerError, match=words) as caught:
            apply_faults(plants[0], [fault])
        assert "\n" not in str(caught.value)


def test_severity_nothing_is_healthy(plants: list[Plant]) -> None:
    for cause in EFFECTS:
        plant = plant_for(plants, cause)
        assert apply_faults(plant, [Fault(cause, 0.0)]) == healthy(plant)


def test_every_fault_runs_and_is_physical(plants: list[Plant]) -> None:
    """All of them, in the last place of their kind, half and full."""
    for cause, effect in EFFECTS.items():
        plant = plant_for(plants, cause)
        place = places(plant, effect.place)[-1]
        for severity in (0.5, 1.0):
            shot = simulate(plant, Conditions(), [Fault(cause, severity, place)])
            assert not violations(plant, shot), (cause, severity)


def test_a_fault_that_hides_among_healthy_machines_does_not_tell(lab: Any) -> None:
    """A tenth of condenser air lost shows against the same machine; among machines whose air differs by a tenth it takes more."""
    nominal = lab.plant(circuits=2, compressors=4)
    plant, day = scattered(nominal, 1), Conditions()
    others = [simulate(scattered(nominal, seed), day) for seed in range(2, 8)]
    alone, among = (telling_severity(plant, day, "coil-dirty", "circuit:A", x) for x in ((), others))
    assert alone is not None and among is not None and among > alone
    assert not apart(others, others[1]) and apart(others, simulate(plant, day, [Fault("coil-covered", 1.0)]))


#: causes that no reading of a machine in steady state can show by themselves
SILENT = {"flow-switch-stuck-made", "safety-jumpered"}


@pytest.mark.parametrize(
    "cause", ["strainer-clogged", "refrigerant-leak", "pump-reversed", "lug-loose-burnt", "monitor-failed"]
)
def test_faults_tell_from_some_severity_on(plants: list[Plant], cause: str) -> None:
    plant = plant_for(plants, cause)
    least = telling_severity(plant, Conditions(), cause)
    assert least is not None and least <= 0.9


@pytest.mark.parametrize("cause", sorted(SILENT))
def test_a_sleeping_fault_shows_nothing_alone(plants: list[Plant], cause: str) -> None:
    """A proof that is always made and a bridged safety wait for a second fault: said, so that nobody draws them alone."""
    assert telling_severity(plants[0], Conditions(), cause) is None


def test_a_sleeping_fault_shows_with_a_second_one(plants: list[Plant]) -> None:
    """Flow proof stuck made: with the valve shut the machine goes on to cool, and low pressure is what stops it."""
    shut = Fault("site-valve-shut", 1.0)
    alone = simulate(plants[0], Conditions(), [shut])
    both = simulate(plants[0], Conditions(), [shut, Fault("flow-switch-stuck-made", 1.0)])
    assert alone.alarms[0] == "flow" and alone.hold == "flow-proof"
    assert "low-pressure" in both.alarms or "freeze" in both.alarms


def test_what_cannot_be_told_apart_is_listed(plants: list[Plant]) -> None:
    """Causes that act through the same value in the same direction; the usual pairs of the trade are among them."""
    groups = [set(g) for g in same_effect(plants[0])]
    for pair in (
        {"hose-kinked", "plug-left-in"},
        {"phases-reversed", "plug-leads-swapped"},
        {"fan-motor-failed", "fan-supply-lost"},
        {"refrigerant-leak", "undercharged-after-service"},
    ):
        assert any(pair <= g for g in groups), pair
    assert not any({"refrigerant-leak", "overcharge"} <= g for g in groups)
    assert not any({"drier-restricted", "liquid-service-valve-part-shut"} <= g for g in groups)  # felt across the drier
    assert not any({"coil-dirty", "evaporator-fouled"} <= g for g in groups)


def test_what_is_there_or_not_is_the_same_at_every_severity(plants: list[Plant]) -> None:
    """The search for the severity that tells relies on it, and asks such a fault once."""
    for plant in plants:
        for effect in (e for e in EFFECTS.values() if e.switch and shows_on(plant, e)):
            place = places(plant, effect.place)[0]
            little, whole = (apply_faults(plant, [Fault(effect.cause, s, place)]) for s in (0.05, 1.0))
            assert little == whole, effect.cause
