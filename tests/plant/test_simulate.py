"""The control's order, trips by name, instruments, random draws."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from diagnose.plant import cycle
from diagnose.plant.conditions import Conditions
from diagnose.plant.cycle import NoBalance
from diagnose.plant.draws import draw
from diagnose.plant.faults import Fault
from diagnose.plant.health import InstrumentHealth, Lie, healthy
from diagnose.plant.instruments import KINDS, take
from diagnose.plant.physical import violations
from diagnose.plant.prove import plant_text, prove_draws, prove_plant
from diagnose.plant.scatter import scattered
from diagnose.plant.simulate import simulate, simulate_health
from diagnose.prove.result import Options
from knowledge.load import load_knowledge
from shared.quantities import QUANTITIES
from shared.units import parse_spread

DAY = Conditions()


def holds(lab: Any, *faults: Fault, day: Conditions = DAY, **card: object) -> tuple[str, str]:
    shot = simulate(lab.plant(circuits=2, compressors=4, **card), day, faults)
    return shot.state, shot.hold


def test_the_control_asks_in_its_order(lab: Any) -> None:
    """Each fault alone stops at its own place; together the one asked first is the one that speaks."""
    line = [
        (Fault("site-supply-dead", 1.0), ("standing", "no-power")),
        (Fault("phases-reversed", 1.0), ("powered", "phase-monitor")),
        (Fault("control-fuse-open", 1.0), ("powered", "control-voltage")),
        (Fault("emergency-stop-pressed", 1.0), ("powered", "emergency-stop-pressed")),
        (Fault("pump-jammed", 1.0), ("powered", "pump-overload")),
        (Fault("flow-switch-failed", 1.0), ("pump-only", "flow-proof")),
        (Fault("start-delay-running", 1.0), ("pump-only", "start-delay")),
        (Fault("set-point-satisfied", 1.0), ("pump-only", "set-point-satisfied")),
    ]
    for number, (fault, expected) in enumerate(line):
        assert holds(lab, fault) == expected
        assert holds(lab, *(f for f, _ in line[number:])) == expected


def test_readings_stop_where_the_machine_stops(lab: Any) -> None:
    """No cooling readings of a machine that never cooled; standing pressures are saturation at the air."""
    shot = simulate(lab.plant(), DAY, [Fault("flow-switch-failed", 1.0)])
    assert "cooling" not in shot.readings and shot.alarms == ("flow",)
    suction, liquid = shot.taken("suction_pressure", "circuit:A"), shot.taken("liquid_pressure", "circuit:A")
    assert suction is not None and liquid is not None and suction.true == liquid.true
    assert isinstance(suction.true, float)
    assert suction.true / 6894.757 == pytest.approx(295.0, abs=2.0)  # R-410A at 95 F, psig: printed tables


@pytest.mark.parametrize(
    ("fault", "alarm", "device"),
    [
        (Fault("coil-covered", 1.0), "high-pressure", "high-pressure-switch"),
        (Fault("circuit-wet", 1.0), "low-pressure", "low-pressure-switch"),
        (Fault("freeze-limit-set-wrong", 1.0), "freeze", "freeze-limit"),
        (Fault("overload-set-low", 1.0), "motor-overload", "pump-overload"),
        (Fault("scroll-reversed", 1.0), "compressor-protection", "winding-protector"),
        (Fault("motor-earth-fault", 1.0), "earth-fault", "earth-leakage"),
        (Fault("phase-lost-upstream", 1.0), "phase-or-voltage", "phase-monitor"),
    ],
)
def test_trips_are_named_in_the_words_of_the_alarm_list(lab: Any, fault: Fault, alarm: str, device: str) -> None:
    shot = simulate(lab.plant(circuits=2, compressors=4), DAY, [fault])
    words = load_knowledge().checks["alarm-list-read"].answers
    assert alarm in shot.alarms and set(shot.alarms) <= set(words)
    assert device in {t.device for t in shot.trips}
    assert all(t.why and t.after_s >= 0.0 for t in shot.trips)


def test_a_tripped_circuit_shows_its_last_moment_and_the_other_runs_on(lab: Any) -> None:
    shot = simulate(lab.plant(circuits=2, compressors=4), DAY, [Fault("coil-covered", 1.0, "circuit:B")])
    assert shot.state == "cooling" and shot.running == ("A1", "A2")
    head, other = shot.taken("liquid_pressure", "circuit:B"), shot.taken("liquid_pressure", "circuit:A")
    assert head is not None and other is not None
    assert isinstance(head.true, float) and isinstance(other.true, float)
    assert head.true == pytest.approx(4175e3, rel=0.01) and other.true < 3.2e6  # at the cut-out; its sibling is not


def test_no_balance_is_a_named_answer(lab: Any) -> None:
    """No sign change in a bracket: too much heat for the air, or a compressor that nothing feeds."""
    state = lab.solved(lab.plant())
    circuit = state.circuits[0]
    air = replace(circuit.air.side, capacity_rate=circuit.air.side.capacity_rate * 0.02)
    hot = cycle.solve(circuit.hardware, circuit.fluid_side, air)
    assert isinstance(hot, NoBalance) and hot.name == "high-pressure" and hot.why
    shut = cycle.solve(replace(circuit.hardware, most_opening=1e-5), circuit.fluid_side, circuit.air.side)
    assert isinstance(shut, NoBalance) and shut.name == "low-pressure" and shut.why
    empty = cycle.solve(replace(circuit.hardware, charge_kg=1e-3), circuit.fluid_side, circuit.air.side)
    assert isinstance(empty, NoBalance)


def test_a_warm_start_changes_nothing(lab: Any) -> None:
    """Started from a neighbour or from far away: the same balance to 1e-4 K."""
    state = lab.solved(lab.plant())
    circuit = state.circuits[0]
    base = lab.balance(state)
    for start in (cycle.start_from(base), cycle.Start(340.0, 250.0, 20.0), cycle.Start(300.0, 284.0, -5.0)):
        found = cycle.solve(circuit.hardware, circuit.fluid_side, circuit.air.side, start)
        assert isinstance(found, cycle.Balance)
        assert found.discharge_dew_k == pytest.approx(base.discharge_dew_k, abs=1e-3)
        assert found.evaporating_dew_k == pytest.approx(base.evaporating_dew_k, abs=1e-3)


def test_deterministic_by_seed(lab: Any) -> None:
    """Same seed: same snapshot. Another seed: the machine is the same, only the instruments show something else."""
    plant, faults = lab.plant(), [Fault("coil-dirty", 0.5)]
    one, again, other = (simulate(plant, DAY, faults, s) for s in (3, 3, 4))
    assert one == again and one.balance == other.balance and one.state == other.state
    assert [t.true for _, t in one.all_readings()] == [t.true for _, t in other.all_readings()]
    assert [t.shown for _, t in one.all_readings()] != [t.shown for _, t in other.all_readings()]


def test_every_reading_is_a_quantity_at_its_kind_of_place(lab: Any) -> None:
    plant = lab.plant(circuits=2, compressors=4, pumps=("onboard", "site"), expansion="electronic", pump_drive="yes")
    shot = simulate(plant, DAY)
    seen = set()
    for _, taken in shot.all_readings():
        quantity = QUANTITIES[taken.quantity]
        kind = taken.place.partition(":")[0]
        assert quantity.place in ("any", kind), taken
        assert quantity.phases or not isinstance(taken.true, tuple)
        seen.add(taken.quantity)
    refrigerant = {"suction_pressure", "liquid_pressure", "discharge_pressure", "suction_line", "liquid_line"}
    fluid = {
        "entering_fluid",
        "leaving_fluid",
        "flow",
        "evaporator_drop",
        "strainer_drop",
        "pump_suction",
        "fill_pressure",
    }
    power = {"line_voltage", "board_voltage", "line_current", "fan_current", "frequency", "control_voltage"}
    assert refrigerant | fluid | power | {"discharge_line", "entering_air", "valve_opening", "sump"} <= seen


def test_instruments_are_no_worse_than_their_cards() -> None:
    """What advice takes as an instrument's accuracy covers what the simulated one does."""
    cards = load_knowledge().instruments
    of = {q: one for one in cards.values() for q in one.quantities}
    for quantity, instrument in KINDS.items():
        if quantity not in of:
            continue
        card = of[quantity].accuracy
        if card.strip().endswith("%") and QUANTITIES[quantity].kind.value != "percent":
            allowed, got = float(card.rstrip("% ")) / 100.0, instrument.accuracy
            assert instrument.share, quantity
        else:
            allowed, got = parse_spread(card, QUANTITIES[quantity].kind), instrument.accuracy
        assert got <= allowed + 1e-12, (quantity, got, allowed)


def test_liars_lie_and_the_truth_stays_beside(lab: Any) -> None:
    health = InstrumentHealth(
        (Lie("suction_line", "circuit:A", toward_air=0.3), Lie("flow", gain=0.7), Lie("sump", stuck=300.0))
    )
    clamp = take("suction_line", "circuit:A", 281.0, health, 1, 308.0)
    assert clamp.true == 281.0 and isinstance(clamp.shown, float) and clamp.shown == pytest.approx(289.2, abs=1.0)
    elsewhere = take("suction_line", "circuit:B", 281.0, health, 1, 308.0)
    assert isinstance(elsewhere.shown, float) and elsewhere.shown == pytest.approx(281.3, abs=0.8)
    flow = take("flow", "unit", 0.01, health, 1, 308.0)
    assert isinstance(flow.shown, float) and flow.shown == pytest.approx(0.007, rel=0.04)
    assert take("sump", "compressor:A1", 320.0, health, 1, 308.0).shown == pytest.approx(300.0, abs=0.6)


def test_noise_stays_inside_the_accuracy_and_is_not_biased(lab: Any) -> None:
    """Two hundred seeds of one gauge: within its accuracy and a quantum, mean near the truth."""
    instrument = KINDS["suction_pressure"]
    shown = [take("suction_pressure", "circuit:A", 8e5, InstrumentHealth(), s, 300.0).shown for s in range(200)]
    errors = [float(x) - 8e5 for x in shown if isinstance(x, float)]
    assert max(abs(e) for e in errors) <= instrument.accuracy + 0.5 * instrument.quantum
    assert abs(sum(errors) / len(errors)) < 0.15 * instrument.accuracy


def test_scattered_machines_differ_within_a_tenth(lab: Any) -> None:
    """Deterministic by seed, each part within its width, what is printed on the plate unmoved."""
    plant = lab.plant()
    one = scattered(plant, 5)
    assert one == scattered(plant, 5) != scattered(plant, 6)
    before, after = plant.circuits[0], one.circuits[0]
    for a, b in (
        (before.ua_evaporator, after.ua_evaporator),
        (before.air.ua, after.air.ua),
        (before.swept_m3s, after.swept_m3s),
    ):
        assert a != b and abs(b / a - 1.0) <= 0.10 * 1.03
    assert one.loop.design_m3s == plant.loop.design_m3s and one.control == plant.control
    assert scattered(plant, 5, 0.0) == plant


def test_hundred_and_fifty_random_draws_are_physical() -> None:
    """Machines, days, none to three faults: no crash, nothing impossible; enough of them cool for that to mean something."""
    result = prove_draws(seed=77, draws=150)
    assert result["passes"], result["wrong"]
    assert result["states"]["cooling"] >= 40 and sum(result["states"].values()) == 150
    assert len(result["trips"]) >= 4


def test_the_check_for_the_impossible_can_fail() -> None:
    """Each rule speaks when its balance is spoiled."""
    one = next(d for d in (draw(77, n) for n in range(200)) if simulate(d.plant, d.conditions).state == "cooling")
    shot = simulate(one.plant, one.conditions)
    name = one.plant.circuits[0].id
    assert not violations(one.plant, shot)
    for key, value in (
        ("leaving_k", 200.0),
        ("air_in_k", 400.0),
        ("t1_k", 400.0),
        ("s2", 0.0),
        ("p_condenser_pa", 1.0),
        ("rejected_w", 1.0),
        ("charge_kg", 0.1),
    ):
        spoiled = replace(shot, balance={**shot.balance, f"{name}.{key}": value})
        assert violations(one.plant, spoiled), key


def test_speed_is_measured_not_judged_here(lab: Any) -> None:
    """The proof prints times beside their targets; a loaded machine must not fail a test."""
    digest, result = prove_plant(Options(seed=2, draws=3))
    assert digest == "" and result["draws"] == 3 and result["passes"]
    assert result["speed"]["healthy"]["runs"] == 36 and result["speed"]["faulty"]["runs"] > 300
    text = plant_text(result)
    assert "target 20" in text and "target 40" in text


def test_held_load_or_held_return_is_said(lab: Any) -> None:
    """At equal load a fouled plate warms the return until the load is carried; at equal return the load falls."""
    plant, fouled = lab.plant(), [Fault("evaporator-fouled", 0.7)]
    load = replace(DAY, hold="load", load_share=0.9)
    healthy_load = simulate_health(plant, load, healthy(plant)).balance
    held = simulate(plant, load, fouled).balance
    free = simulate(plant, DAY, fouled).balance
    assert held["cooling_w"] == pytest.approx(healthy_load["cooling_w"], rel=1e-3)
    assert held["entering_k"] > healthy_load["entering_k"] + 1.0
    assert free["cooling_w"] < 0.95 * simulate(plant, DAY).balance["cooling_w"]


def test_a_worn_relay_leaves_its_dial_where_it_stands(lab: Any) -> None:
    """It opens under its setting, but the dial reads what it always read; a dial set low reads low."""
    plant = lab.plant()

    def dial(cause: str) -> float:
        shot = simulate(plant, Conditions(), [Fault(cause, 1.0)])
        assert "motor-overload" in shot.alarms, cause
        taken = shot.taken("overload_setting", "pump:onboard")
        assert taken is not None and isinstance(taken.true, float)
        return taken.true

    sound = simulate(plant, Conditions()).taken("overload_setting", "pump:onboard")
    assert sound is not None
    assert dial("overload-relay-worn") == dial("overload-box-hot") == sound.true
    assert dial("overload-set-low") < 0.7 * float(sound.true)  # type: ignore[arg-type]
