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
        (Fault("compressor-branch-open", place="compressor:A2"), ("what-runs", "unit"), "one-circuit"),
        (Fault("compressor-branch-open", place="compressor:A2"), ("circuits-alike", "unit"), "one-differs"),
        (Fault("compressor-branch-open", place="compressor:A2"), ("compressor-sound", "compressor:A2"), "silent"),
        (Fault("compressor-branch-open", place="compressor:A2"), ("start-attempt", "compressor:A2"), "nothing"),
        (Fault("module-lock-out"), ("alarm-text", "unit"), "compressor-protection"),
        (Fault("refrigerant-leak", 0.9), ("circuits-alike", "unit"), "one-differs"),
        (Fault("hose-kinked", 0.7), ("circuits-alike", "unit"), "alike"),
        (Fault("pump-switched-off"), ("pump-noise", "pump:onboard"), "silent"),
        (Fault("pump-jammed"), ("pump-noise", "pump:onboard"), "hum"),
    ],
)
def test_faults_look_like_themselves(lab: Any, fault: Fault, key: tuple[str, str], word: str) -> None:
    assert seen(lab.plant(circuits=2, compressors=4), fault)[key] == word


def test_a_compressor_that_ran_until_its_trip_was_heard_before(lab: Any) -> None:
    """What one that turns backwards sounds like is not "silent", though its protector has stopped it by now: its card says it."""
    words = seen(lab.plant(circuits=2, compressors=4), Fault("scroll-reversed"))
    assert ("compressor-sound", "compressor:A1") not in words
    assert words["start-attempt", "compressor:A1"] == "starts-then-stops"


def test_one_compressor_alone_on_its_circuit_leaves_equal_pressures(lab: Any) -> None:
    """Its circuit equalises while the other one cools; beside a twin the pressures stay apart."""
    alone, beside = lab.plant(circuits=2, compressors=2), lab.plant(circuits=2, compressors=4)
    fault = Fault("compressor-branch-open", place="compressor:A1")
    assert seen(alone, fault)["pressures-equal", "circuit:A"] == "nearly-equal"
    assert seen(beside, fault)["pressures-equal", "circuit:A"] == "apart"


def test_one_of_two_compressors_standing_halves_the_approach(lab: Any) -> None:
    """Half the gas over the same plate and the same coil: suction rises toward the fluid, head sinks toward the air (common
    practice, no source). The cards of what makes a compressor stand say the same.
    """
    plant = lab.plant(circuits=2, compressors=4)
    well, fault = simulate(plant, Conditions()), Fault("compressor-branch-open", place="compressor:A2")
    half = simulate(plant, Conditions(), [fault])

    def over(shot: Any, name: str, against: str) -> float:
        return float(shot.taken(against, "unit", "cooling").true - shot.balance[f"A.{name}"])

    assert over(half, "suction_dew_k", "leaving_fluid") < 0.6 * over(well, "suction_dew_k", "leaving_fluid")
    assert over(half, "discharge_dew_k", "weather_air") > 0.85 * over(well, "discharge_dew_k", "weather_air")
    knowledge = load_knowledge()
    for cause in ("compressor-branch-open", "compressor-contactor-coil-failed", "module-lock-out"):
        brought = {b.finding or b.effect: set(b.gives) for b in knowledge.causes[cause].brings}
        assert "low" in brought["approach"] and "low" in brought["condenser-split"] and "high" in brought["suction"]


def test_a_lost_leg_is_no_low_supply_and_the_generator_does_not_know_of_it(lab: Any) -> None:
    """The whole pair has its volts; the fuse blew behind the generator's meters; a drive is not at work, so a pump on two legs hums."""
    plant = lab.plant(supply="generator", circuits=2, compressors=4, pump_drive="no")
    words = seen(plant, Fault("supply-fuse-open"))
    assert words["effect:supply-volts", "supply"] == "normal" and words["effect:phase-balance", "supply"] == "one-lost"
    assert ("generator-display", "supply") not in words
    pole = seen(plant, Fault("contactor-pole-lost"))
    assert pole["pump-supply-volts", "pump:onboard"] == "leg-missing" and pole["pump-turning", "pump:onboard"] == "hums"


def test_a_site_breaker_that_opens_on_the_start_leaves_nothing_fed(lab: Any) -> None:
    """It ran until the first compressor came on; then the screen is dark, and no volts are left to read at the unit."""
    plant = lab.plant(circuits=2, compressors=4)
    breaker = Fault("site-breaker-too-small", 1.0)
    shot, words = simulate(plant, Conditions(), [breaker]), seen(plant, breaker)
    assert shot.state == "standing" and shot.lamps["screen"] == "off"
    volts = shot.taken("line_voltage", "supply")
    assert volts is not None and isinstance(volts.true, tuple) and max(volts.true) < 1.0
    assert words["what-runs", "unit"] == "starts-then-stops" and words["tripped-device", "unit"] == "breaker"
    assert ("alarm-text", "unit") not in words


def test_a_lock_out_from_before_lets_the_pump_run(lab: Any) -> None:
    """Cooling is locked out, the flow is there; which safety it was its card says."""
    words = seen(lab.plant(circuits=2, compressors=4), Fault("safety-not-reset"))
    assert words["what-runs", "unit"] == "pump-only" and words["effect:flow-proof", "unit"] == "made"
    assert ("alarm-text", "unit") not in words and ("tripped-device", "unit") not in words


def test_only_a_drop_across_the_drier_is_felt_across_it(lab: Any) -> None:
    """The service valve throttles ahead of the drier: both of its ends are as cold as what comes out of the valve."""
    plant = lab.plant(circuits=2, compressors=4)
    for cause, word in (("drier-restricted", "high"), ("liquid-service-valve-part-shut", "normal")):
        assert seen(plant, Fault(cause, 0.95, "circuit:A"))["drier-drop", "circuit:A"] == word


def test_the_pump_s_clock_is_the_pump_s(lab: Any) -> None:
    """A circuit that trips on its head says nothing of how long the pump runs to its own trip."""
    plant = lab.plant(circuits=2, compressors=4)
    assert seen(plant, Fault("coil-covered", 1.0, "circuit:A"))["trip-time", "unit"] == "no-trip"
    assert seen(plant, Fault("pump-jammed"))["trip-time", "unit"] == "seconds"
