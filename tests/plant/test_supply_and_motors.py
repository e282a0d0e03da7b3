"""Supply and motors against NEMA, ISO 8528 and the closed form of the voltage triangle.

Sources beside each test; "separate calculation" is the one noted with the plant's equations.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import replace
from typing import Any

import pytest

from diagnose.calculators.electrical import (
    derating_factor,
    extra_temperature_rise_pct,
    generator_dip_pct,
    negative_sequence_pct,
    unbalance_pct,
)
from diagnose.plant import motor
from diagnose.plant.health import Branch, SupplyHealth
from diagnose.plant.motor import A, MotorState, locked, run, run_on_two
from diagnose.plant.supply import (
    negative_share,
    run_motor,
    sequences,
    solve_supply,
    start_dip_pct,
    trip_seconds,
)


def triangle(ab: float, bc: float, ca: float) -> tuple[complex, complex]:
    """Sequence voltages of three line voltages over rated; the phasors close."""
    corner = math.acos((ab * ab + bc * bc - ca * ca) / (2.0 * ab * bc))
    one, two = complex(ab, 0.0), cmath.rect(bc, -(math.pi - corner))
    three = -(one + two)
    first, second = (one + A * two + A * A * three) / 3.0, (one + A * A * two + A * three) / 3.0
    return first, second


def one_low(unbalance: float) -> MotorState:
    """A motor at full load whose line voltages have this NEMA unbalance, one line low."""
    return run(*triangle(1.0 + unbalance / 2.0, 1.0 + unbalance / 2.0, 1.0 - unbalance), 1.0, 1.0)


@pytest.mark.parametrize(("unbalance", "low", "high"), [(0.03, 14.0, 17.0), (0.05, 23.0, 29.0)])
def test_current_unbalance_amplifies_voltage_unbalance(unbalance: float, low: float, high: float) -> None:
    """Separate calculation: 3 % gives 14-17 %, 5 % gives 23-29 % at full load; NEMA MG 1: about 6 to 10 times."""
    found = unbalance_pct(one_low(unbalance).currents)
    assert low <= found <= high
    assert 4.5 <= found / (100.0 * unbalance) <= 10.0


@pytest.mark.parametrize("percent", [2.0, 3.5, 5.0])
def test_heating_brackets_the_nema_rule(percent: float) -> None:
    """Extra rise about 2 u^2 (NEMA MG 1 commentary; 3.5 % gives 25 %): between the mean copper loss of all windings, which copper
    spreads, and that of the hottest line, which nothing shares.
    """
    found = one_low(percent / 100.0)
    rule = extra_temperature_rise_pct(percent)
    mean, hottest = 100.0 * (found.loss - 1.0), 100.0 * (found.most**2 - 1.0)
    assert mean < rule < hottest * 1.1


def test_derating_keeps_the_mean_loss_bounded() -> None:
    """At the NEMA derated load the mean copper loss stays at or under that of full load: 3 % 0.89, 5 % 0.76 (MG 1 figure 14-1)."""
    for percent in (3.0, 5.0):
        u = percent / 100.0
        derated = run(*triangle(1.0 + u / 2.0, 1.0 + u / 2.0, 1.0 - u), 1.0, derating_factor(percent))
        assert derated.loss <= 1.02


def test_negative_sequence_is_the_closed_form() -> None:
    """b = sum V^4/(sum V^2)^2 gives the same negative sequence as the phasors (IEC 61000-4-30)."""
    for volts in ((460.0, 455.0, 440.0), (462.0, 468.0, 450.0), (400.0, 380.0, 395.0)):
        first, second = triangle(*volts)
        found = 100.0 * min(abs(first), abs(second)) / max(abs(first), abs(second))
        assert found == pytest.approx(negative_sequence_pct(volts), rel=1e-6)


def test_single_phasing() -> None:
    """Running at full load: about 2.1 times in two lines, nothing in the third (separate calculation); at a standstill no
    torque and 0.866 of locked rotor in two lines (circuit theory).
    """
    running = run_on_two(1.0, 1.0, 1.0, 2)
    assert running.currents[2] == 0.0 and not running.stalled
    assert running.currents[0] == running.currents[1] == pytest.approx(2.1, abs=0.2)
    still, three = run_on_two(1.0, 1.0, 1e3, 2), locked(1.0 + 0j, 0j, 1.0)
    assert still.stalled
    assert still.currents[0] / three.currents[0] == pytest.approx(math.sqrt(3.0) / 2.0, abs=0.01)


def test_motor_circuit_is_an_ordinary_motor() -> None:
    """Locked rotor 5 to 7 times, slip 1.5-3 % at duty, breakdown torque over twice duty (four-pole 10-50 hp, from memory)."""
    assert 5.0 <= locked(1.0 + 0j, 0j, 1.0).most <= 7.0
    assert run(1.0 + 0j, 0j, 1.0, 1.0).slip == pytest.approx(motor.DUTY_SLIP, rel=1e-4)
    assert not run(1.0 + 0j, 0j, 1.0, 2.0).stalled and run(1.0 + 0j, 0j, 1.0, 4.0).stalled


def test_low_voltage_means_more_amps(lab: Any) -> None:
    """A scroll asks for torque: at 0.9 of the volts about 8-12 % more current, the same load."""
    assert run(0.9 + 0j, 0j, 1.0, 1.0).most == pytest.approx(1.0 / 0.9, abs=0.06)
    p = lab.plant().supply
    low = run_motor(
        p, solve_supply(p, SupplyHealth(volts=0.9), 0.0, True), p.compressor, Branch(), p.compressor.shaft_w
    )
    assert low.most > 1.04


@pytest.mark.parametrize(("size", "low", "high"), [(1.0, 13.0, 20.0), (2.0, 23.0, 33.4)])
def test_generator_dip(lab: Any, size: float, low: float, high: float) -> None:
    """Start kVA once and twice the generator's, X'd 0.15 to 0.25: 13-20 % and 23-33 % (same circuit, separate calculation;
    ISO 8528-5 class G2 allows 20 %).
    """
    p = replace(lab.plant(supply="generator").supply, reactance=0.2)
    found = start_dip_pct(p, SupplyHealth(), size * p.generator_va)
    assert found == generator_dip_pct(size * p.generator_va, p.generator_va, 0.2)
    assert low <= found <= high
    assert start_dip_pct(p, SupplyHealth(generator=0.5), size * p.generator_va) > found


def test_generator_droops_and_rolls_off(lab: Any) -> None:
    """Frequency falls in proportion to load; far under speed the volts follow."""
    p = replace(lab.plant(supply="generator").supply, droop=0.04)
    half = solve_supply(p, SupplyHealth(), 0.5 * p.generator_va, True)
    assert half.hertz == pytest.approx(60.0 * 0.98)
    slow = solve_supply(p, SupplyHealth(hertz=0.85), 0.0, False)
    assert slow.board_volts()[0] == pytest.approx(460.0 * 0.85 / 0.95, rel=1e-6)


def test_feeder_drop_is_ohms_law(lab: Any) -> None:
    """Balanced load: sqrt3 I R cos phi, within the small angle."""
    p = lab.plant().supply
    va = 100e3
    state = solve_supply(p, SupplyHealth(), va, True)
    current = va / (math.sqrt(3.0) * p.volts)
    drop = state.board_volts()[0] - state.unit_volts()[0]
    assert drop == pytest.approx(math.sqrt(3.0) * current * p.feeder_ohm * 0.85, rel=0.03)


def test_unbalance_of_single_phase_loads_is_the_given_one(lab: Any) -> None:
    """A leg low by 3 u makes a NEMA unbalance of u; the negative sequence agrees within a sixth."""
    p = lab.plant().supply
    state = solve_supply(p, SupplyHealth(leg_low=0.09), 0.0, False)
    assert unbalance_pct(state.unit_volts()) == pytest.approx(3.0, abs=0.15)
    assert 100.0 * negative_share(state.unit) == pytest.approx(3.0, rel=0.17)


def test_a_lost_leg_is_fed_back_by_running_motors(lab: Any) -> None:
    """With motors running an open leg can hold over 92 % of the volts; with nothing running it reads nothing."""
    p = lab.plant().supply
    running = solve_supply(p, SupplyHealth(open_unit=2), 50e3, True).unit_volts()
    still = solve_supply(p, SupplyHealth(open_unit=2), 0.0, False).unit_volts()
    assert min(running) > 0.90 * max(running)
    assert min(still) < 0.05 * max(still)


def test_reversed_sequence_turns_the_phasors(lab: Any) -> None:
    p = lab.plant().supply
    right, wrong = (solve_supply(p, SupplyHealth(reversed=r), 0.0, False).unit for r in (False, True))
    assert abs(sequences(right)[0]) > 100.0 * abs(sequences(right)[1])
    assert abs(sequences(wrong)[1]) > 100.0 * abs(sequences(wrong)[0])


def test_overload_relay_times() -> None:
    """Class 10 opens in 10 s at 7.2 times its setting, holds at 1.05, goes within the two hours at 1.2 (IEC 60947-4-1, from memory)."""
    assert trip_seconds(7.2, 10.0) == pytest.approx(10.0, rel=1e-6)
    assert trip_seconds(1.05, 10.0) is None
    slow = trip_seconds(1.2, 10.0)
    assert slow is not None and 60.0 < slow < 7200.0
    twenty, ten = trip_seconds(3.0, 20.0), trip_seconds(3.0, 10.0)
    assert twenty is not None and ten is not None and twenty == pytest.approx(2.0 * ten)
