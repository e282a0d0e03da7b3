"""The simulated machine at its rating point, off it, and its balances, against published figures.

Sources: AHRI 550/590 (2015) Table 1 (rating conditions); published air-cooled scroll chiller sets (COP 2.61 to 3.17 with
fans, evaporating 34-40 F, condensing 118-127 F); capacity and power curves of three such sets as printed in the open
EnergyPlus data file AirCooledChiller.idf (sets A to C, renormalised at 6.67 C leaving and 35 C air).
"""

from __future__ import annotations

import random

import pytest

from diagnose.case import Machine
from diagnose.plant.conditions import RATING, Conditions
from diagnose.plant.faults import EFFECTS, Fault
from diagnose.plant.parameters import Plant
from diagnose.plant.simulate import simulate
from diagnose.plant.sizing import plant_of
from diagnose.plant.snapshot import Snapshot
from knowledge.load import load_knowledge


def fahrenheit(kelvin: float) -> float:
    return (kelvin - 273.15) * 1.8 + 32.0


@pytest.fixture(scope="module", params=["R-410A", "R-134a", "R-407C", "R-454B"])
def plant(request: pytest.FixtureRequest) -> Plant:
    """One invented 60 ton machine a refrigerant, sized at rating only."""
    card = {"capacity": "60 tons", "voltage": "460 V", "frequency": "60 Hz", "fluid": "water", "circuits": "2"}
    more = {"compressors": "4", "design_flow": "144 gpm", "design_drop": "7 psi", "refrigerant": request.param}
    return plant_of(Machine.model_validate({**card, **more}))


def test_rating_point(plant: Plant) -> None:
    """At 95 F air and 54/44 F fluid: COP, evaporating and condensing temperature inside the published band."""
    shot = simulate(plant, RATING)
    assert shot.state == "cooling" and not shot.trips
    assert shot.balance["cooling_w"] == pytest.approx(60 * 3516.85, rel=0.01)
    assert 2.6 <= shot.balance["cop"] <= 3.2
    assert 34.0 <= fahrenheit(shot.balance["A.evaporating_dew_k"]) <= 40.0
    assert (
        118.0 <= fahrenheit(shot.balance["A.condensing_dew_k"]) <= 128.5
    )  # dew lies above the mean on blends with glide


def test_balances_close(plant: Plant) -> None:
    """Heat in, work in and heat out agree within 0.1 %, and so does the mass flow through compressor and valve."""
    balance = simulate(plant, RATING).balance
    for circuit in ("A", "B"):
        into = balance[f"{circuit}.cooling_w"] + balance[f"{circuit}.power_w"] - balance[f"{circuit}.shell_w"]
        assert into == pytest.approx(balance[f"{circuit}.rejected_w"], rel=1e-3)
        assert balance[f"{circuit}.flow_kg_s"] == pytest.approx(balance[f"{circuit}.device_kg_s"], rel=1e-3)
    assert balance["resistance_pa"] == pytest.approx(balance["pump_rise_pa"], rel=1e-3)


# (leaving fluid C, air C, capacity ratio and power ratio of sets A, B, C as printed)
PUBLISHED = [
    (6.67, 28.0, (1.076, 1.082, 1.056), (0.890, 0.884, 0.904)),
    (6.67, 38.0, (0.965, 0.962, 0.975), (1.054, 1.049, 1.045)),
    (6.67, 43.0, (0.904, 0.894, 0.933), (1.147, 1.125, 1.124)),
    (7.5, 35.0, (1.023, 1.025, 1.029), (1.005, 1.005, 1.006)),
    (8.9, 35.0, (1.061, 1.067, 1.077), (1.014, 1.014, 1.015)),
    (8.9, 38.0, (1.024, 1.027, 1.050), (1.069, 1.065, 1.061)),
    (6.0, 32.0, (1.015, 1.016, 1.001), (0.946, 0.946, 0.953)),
]


def at_leaving(plant: Plant, leaving_c: float, air_c: float) -> Snapshot:
    """Full load with this leaving temperature: the entering one is found by bisection."""
    low, high = leaving_c + 273.15 + 2.0, leaving_c + 273.15 + 10.0
    for _ in range(22):
        middle = 0.5 * (low + high)
        shot = simulate(plant, Conditions(air_k=air_c + 273.15, entering_k=middle, set_point_k=270.0))
        low, high = (middle, high) if shot.balance["leaving_k"] < leaving_c + 273.15 else (low, middle)
    return shot


def test_off_design_follows_published_sets() -> None:
    """Calibrated at rating only, R-410A: within 3 % capacity and 5 % power of the mean of the sets, no set off by over 8 %."""
    card = {"refrigerant": "R-410A", "capacity": "60 tons", "voltage": "460 V", "frequency": "60 Hz", "fluid": "water"}
    plant = plant_of(
        Machine.model_validate({**card, "circuits": "2", "design_flow": "144 gpm", "design_drop": "7 psi"})
    )
    rated = at_leaving(plant, 6.67, 35.0).balance
    for leaving, air, capacities, powers in PUBLISHED:
        now = at_leaving(plant, leaving, air).balance
        capacity = now["cooling_w"] / rated["cooling_w"]
        power = now["power_w"] / rated["power_w"]
        assert capacity == pytest.approx(sum(capacities) / 3, rel=0.03), (leaving, air)
        assert power == pytest.approx(sum(powers) / 3, rel=0.05), (leaving, air)
        assert all(capacity == pytest.approx(one, rel=0.08) for one in capacities)
        assert all(power == pytest.approx(one, rel=0.08) for one in powers)


def test_faults_name_cause_cards() -> None:
    """At least seventy causes of the base can be put into the machine, and every one of them exists as a card."""
    causes = load_knowledge().causes
    assert len(EFFECTS) >= 70
    assert not sorted(set(EFFECTS) - set(causes))


def test_random_faults_are_physical_or_a_named_trip() -> None:
    """A hundred random days and faults: no crash; where cooling ran, temperatures and pressures are in their order."""
    rng = random.Random(11)
    names = sorted(EFFECTS)
    cooled = 0
    for number in range(100):
        refrigerant = rng.choice(["R-410A", "R-134a", "R-32", "R-22"])
        card = {
            "refrigerant": refrigerant,
            "capacity": f"{rng.choice([20, 60, 120])} tons",
            "voltage": "460 V",
            "frequency": "60 Hz",
        }
        plant = plant_of(Machine.model_validate({**card, "fluid": "water", "circuits": str(rng.choice([1, 2]))}))
        day = Conditions(air_k=rng.uniform(278.0, 316.0), entering_k=rng.uniform(281.0, 296.0))
        shot = simulate(plant, day, [Fault(rng.choice(names), rng.uniform(0.2, 1.0))], number)
        assert shot.state in ("cooling", "pump-only", "powered", "standing", "isolated")
        if shot.state != "cooling" or shot.balance.get("A.steady") != 1.0:
            continue
        cooled += 1
        balance = shot.balance
        assert balance["A.leaving_k"] >= balance["A.evaporator_inlet_k"] - 1e-6
        assert balance["A.condensing_dew_k"] > balance["A.air_in_k"]
        assert balance["A.p_condenser_pa"] > balance["A.p_evaporator_pa"] > 0
        assert balance["A.s2"] >= balance["A.s1"] - 1e-6
    assert cooled >= 25  # else the loop above has shown nothing
