"""The simulated machine at its rating point, off it, and its balances, against published figures.

Sources: AHRI 550/590 (2015) Table 1 (rating conditions); published air-cooled scroll chiller sets (COP 2.61 to 3.17 with
fans, evaporating 34-40 F, condensing 118-127 F); capacity and power curves of three such sets as printed in the open
EnergyPlus data file AirCooledChiller.idf (sets A to C, renormalised at 6.67 C leaving and 35 C air).
"""

from __future__ import annotations

import pytest

from diagnose.case import Machine
from diagnose.plant.conditions import RATING, Conditions
from diagnose.plant.parameters import Plant
from diagnose.plant.simulate import simulate
from diagnose.plant.sizing import plant_of
from diagnose.plant.snapshot import Snapshot
from diagnose.properties.saturation import REFRIGERANTS


def fahrenheit(kelvin: float) -> float:
    return (kelvin - 273.15) * 1.8 + 32.0


def unit_w(shot: Snapshot) -> float:
    """Compressors and fans, as catalogues count; without the pump."""
    return shot.balance["power_w"] - shot.balance["pump_w"]


@pytest.fixture(scope="module", params=REFRIGERANTS)
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
    assert 2.6 <= shot.balance["cooling_w"] / unit_w(shot) <= 3.2
    assert shot.balance["cop"] < shot.balance["cooling_w"] / unit_w(shot)  # with the pump it is less
    assert 34.0 <= fahrenheit(shot.balance["A.evaporating_dew_k"]) <= 40.0
    assert 118.0 <= fahrenheit(shot.balance["A.condensing_dew_k"]) <= 127.0
    assert 8.0 <= 1.8 * shot.balance["A.superheat_k"] <= 12.0
    assert 3.3 <= shot.balance["A.ratio"] <= 4.2


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


#: capacity and power curves of sets A to C over leaving fluid x and entering air y, in C (same file): c1 + c2 x + c3 x2 + c4 y +
#: c5 y2 + c6 x y; power = capacity x the second curve
CURVES = {
    "A": (
        (1.0623081676, 0.037220208, 8.23915e-05, -0.004381736, -7.07957e-05, -0.0003134539),
        (0.7422902904, -0.0077520481, 0.0005978983, -0.0086094845, 0.0005933819, -0.0006153752),
    ),
    "B": (
        (1.0527292709, 0.0375079438, 0.0002294184, -0.003213844, -0.0001016416, -0.0003133766),
        (0.5363279857, -0.0099693061, 0.0004111273, 0.0041571647, 0.0004088049, -0.0005399259),
    ),
    "C": (
        (0.9425959488, 0.0471425373, 8.63539e-05, -0.0040432836, -2.07249e-05, -0.0003989552),
        (0.7096127963, -0.0195088672, 0.0006095844, 0.0026697339, 0.0003311083, -0.0004551415),
    ),
}
CORNERS = [(5.6, 28.0), (5.6, 43.0), (10.0, 28.0), (10.0, 43.0), (10.0, 35.0), (5.6, 35.0)]


def curve(c: tuple[float, ...], x: float, y: float) -> float:
    return c[0] + c[1] * x + c[2] * x * x + c[3] * y + c[4] * y * y + c[5] * x * y


def published(name: str, leaving: float, air: float) -> tuple[float, float]:
    """Capacity and power of a set over its own values at 6.67 C and 35 C."""
    capacity, ratio = CURVES[name]
    share = curve(capacity, leaving, air) / curve(capacity, 6.67, 35.0)
    return share, share * curve(ratio, leaving, air) / curve(ratio, 6.67, 35.0)


def at_leaving(plant: Plant, leaving_c: float, air_c: float) -> Snapshot:
    """Full load with this leaving temperature: the entering one is found by bisection."""
    low, high = leaving_c + 273.15 + 2.0, leaving_c + 273.15 + 10.0
    for _ in range(22):
        middle = 0.5 * (low + high)
        shot = simulate(plant, Conditions(air_k=air_c + 273.15, entering_k=middle, set_point_k=270.0))
        low, high = (middle, high) if shot.balance["leaving_k"] < leaving_c + 273.15 else (low, middle)
    return shot


def test_the_curves_are_the_printed_points() -> None:
    """Guards the coefficients above: they give the ratios printed with them."""
    for leaving, air, capacities, powers in PUBLISHED:
        for name, capacity, power in zip(CURVES, capacities, powers, strict=True):
            assert published(name, leaving, air) == pytest.approx((capacity, power), abs=1.5e-3)


def test_off_design_follows_published_sets() -> None:
    """Calibrated at rating only, R-410A: within 3 % capacity and 5 % power of the mean of the sets, no set off by over 8 %."""
    card = {"refrigerant": "R-410A", "capacity": "60 tons", "voltage": "460 V", "frequency": "60 Hz", "fluid": "water"}
    plant = plant_of(
        Machine.model_validate({**card, "circuits": "2", "design_flow": "144 gpm", "design_drop": "7 psi"})
    )
    rated = at_leaving(plant, 6.67, 35.0).balance
    corners = [(x, y, *zip(*(published(n, x, y) for n in CURVES), strict=True)) for x, y in CORNERS]
    for leaving, air, capacities, powers in (*PUBLISHED, *corners):
        now = at_leaving(plant, leaving, air).balance
        capacity = now["cooling_w"] / rated["cooling_w"]
        power = (now["power_w"] - now["pump_w"]) / (rated["power_w"] - rated["pump_w"])
        assert capacity == pytest.approx(sum(capacities) / 3, rel=0.03), (leaving, air)
        assert power == pytest.approx(sum(powers) / 3, rel=0.05), (leaving, air)
        assert all(capacity == pytest.approx(one, rel=0.08) for one in capacities)
        assert all(power == pytest.approx(one, rel=0.08) for one in powers)
