"""Flow, pump and capacity against open engineering libraries, closed forms, and the traps in print."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.calculators import capacity, flow, glycol, pump
from diagnose.calculators.altitude import site_atmosphere_pa
from diagnose.properties.fluids import density_kg_m3, viscosity_pa_s
from shared.errors import CalculatorError

QUICK = settings(max_examples=60, deadline=None, derandomize=True)
drops = st.floats(1.0, 1e6)


def test_flow_coefficients_against_fluids() -> None:
    """Cv/Kv of the `fluids` library, and its IEC 60534 sizing with the standard's own example 1 (Kv 165)."""
    fluids = pytest.importorskip("fluids")
    assert fluids.Kv_to_Cv(1.0) == pytest.approx(flow.CV_PER_KV, rel=1e-3)
    found = fluids.control_valve.size_control_valve_l(
        rho=965.4,
        Psat=70.1e3,
        Pc=22120e3,
        mu=3.1472e-4,
        P1=680e3,
        P2=220e3,
        Q=360 / 3600.0,
        full_output=True,
        allow_choked=False,
        D1=None,
        D2=None,
        d=None,
        FL=0.9,
        Fd=0.46,
    )
    kv = found["Kv"] if isinstance(found, dict) else found
    assert flow.valve_kv(0.1, 460e3, 965.4) == pytest.approx(kv, rel=1e-3)


@pytest.mark.parametrize("fluid", ["ethylene-glycol", "propylene-glycol"])
@pytest.mark.parametrize("percent", [20.0, 30.0, 40.0])
def test_glycol_factor_within_its_band_of_a_pipe_calculation(fluid: str, percent: float) -> None:
    """Darcy drop in a smooth passage with Colebrook friction from `fluids`, same flow, glycol over water.

    Stays inside the +/-12 % the tool shows, in turbulent flow at 10 C.
    """
    fluids = pytest.importorskip("fluids")
    t, diameter, velocity = 283.15, 0.05, 2.5
    drop = []
    for args in (("water", 0.0, "volume", t), (fluid, percent, "volume", t)):
        rho, mu = density_kg_m3(*args), viscosity_pa_s(*args)
        reynolds = rho * velocity * diameter / mu
        assert reynolds > 1.5e4
        drop.append(fluids.friction_factor(Re=reynolds, eD=0.0) * rho * velocity**2)
    water, mixture = ("water", 0.0, "volume", t), (fluid, percent, "volume", t)
    factor = flow.glycol_drop_factor(
        density_kg_m3(*mixture) / density_kg_m3(*water), viscosity_pa_s(*mixture) / viscosity_pa_s(*water)
    )
    assert factor == pytest.approx(drop[1] / drop[0], rel=flow.GLYCOL_BAND)


def test_glycol_factor_is_blasius() -> None:
    """Blasius in Darcy's equation (fluid mechanics texts): drop ~ rho^0.75 mu^0.25 at one flow."""
    assert flow.glycol_drop_factor(2.0, 1.0) == pytest.approx(2.0**0.75)
    assert flow.glycol_drop_factor(1.0, 2.0) == pytest.approx(2.0**0.25)


def test_density_alone_under_corrects() -> None:
    """Trap: correcting glycol by density only misses most of the extra drop."""
    mixture, water = ("propylene-glycol", 40.0, "volume", 278.15), ("water", 0.0, "volume", 278.15)
    by_density = density_kg_m3(*mixture) / density_kg_m3(*water)
    full = flow.glycol_drop_factor(by_density, viscosity_pa_s(*mixture) / viscosity_pa_s(*water))
    assert by_density < 1.05 < 1.3 < full


@given(drop=drops, rated=drops, q=st.floats(1e-4, 0.1))
@QUICK
def test_square_law_is_the_inverse_of_a_square(drop: float, rated: float, q: float) -> None:
    """Flow and drop are inverses; a valve of the same Kv agrees with the square law."""
    found = flow.flow_square_law(drop, q, rated)
    assert rated * (found / q) ** 2 == pytest.approx(drop, rel=1e-9)
    kv = flow.valve_kv(q, rated)
    assert flow.valve_flow_m3s(kv, drop) == pytest.approx(found, rel=1e-9)


@given(exponent=st.floats(0.45, 0.6), share=st.floats(0.3, 1.1))
@QUICK
def test_two_points_and_a_curve_follow_any_power_law(exponent: float, share: float) -> None:
    """Points made from Q = Q0 (dP/dP0)^n give n back, between and a little beyond the points."""

    def drop_at(q: float) -> float:
        return 5e4 * (q / 0.01) ** (1.0 / exponent)

    points = [(q, drop_at(q)) for q in (0.004, 0.007, 0.01)]
    q = share * 0.01
    assert flow.flow_exponent(*points[0], *points[2]) == pytest.approx(exponent, rel=1e-9)
    assert flow.flow_two_points(drop_at(q), *points[0], *points[2]) == pytest.approx(q, rel=1e-9)
    assert flow.flow_from_curve(drop_at(q), points) == pytest.approx(q, rel=1e-9)


def test_curve_is_refused_beyond_half_and_one_point_two() -> None:
    """Flows below 0.5 times the lowest and above 1.2 times the highest point are not guessed."""
    points = [(0.004, 1e4), (0.01, 6.25e4)]
    for q in (0.0019, 0.0125):
        with pytest.raises(CalculatorError, match="too far outside the curve"):
            flow.flow_from_curve(1e4 * (q / 0.004) ** 2, points)
    assert flow.flow_from_curve(0.0, points) == 0.0


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: flow.flow_square_law(-1.0, 1.0, 1.0), "negative pressure drop"),
        (lambda: flow.flow_square_law(math.nan, 1.0, 1.0), "not a number"),
        (lambda: flow.flow_square_law(1.0, 0.0, 1.0), "rated_flow_m3s must be above zero"),
        (lambda: flow.flow_exponent(1.0, 1.0, 2.0, 1.5), "exponent of the two curve points"),
        (lambda: flow.flow_exponent(1.0, 1.0, 2.0, 1.0), "the same drop"),
        (lambda: flow.flow_from_curve(1.0, [(1.0, 1.0)]), "too few curve points"),
        (lambda: flow.flow_from_curve(1.0, [(1.0, 2.0), (2.0, 1.0)]), "does not rise"),
        (lambda: flow.meter_flow_m3s("spoon", 1.0, 1000.0, 1000.0, 8000.0), "unknown meter"),
        (lambda: flow.meter_flow_m3s("variable-area", 1.0, 1000.0, 1000.0, 900.0), "float lighter"),
        (lambda: pump.affinity(0.0), "speed ratio"),
        (lambda: pump.water_power_w(-1.0, 1.0, 1000.0), "flow outside"),
        (
            lambda: capacity.flow_for_capacity_m3s(1e5, 280.0, 285.0),
            "temperature_difference must be above zero",
        ),
        (lambda: glycol.concentrate_volume_m3(1.0, 30.0, 20.0, 100.0, True), "cannot be reached"),
        (lambda: glycol.concentrate_volume_m3(1.0, 10.0, 100.0, 100.0, False), "cannot be reached"),
        (
            lambda: glycol.minimum_leaving_k("water", 0.0, "volume", 30.0),
            "leaving fluid above refrigerant inlet",
        ),
        (lambda: site_atmosphere_pa(9000.0), "altitude outside"),
    ],
)
def test_bad_input_gets_one_clear_line(call: object, text: str) -> None:
    """Each limit is enforced and named."""
    with pytest.raises(CalculatorError, match=text) as caught:
        call()  # type: ignore[operator]
    assert "\n" not in caught.value.line()


def test_two_dials_on_a_small_drop() -> None:
    """Two 100 psi dials of class 1.6 on 5 psi: +/-35 % of flow in the worst case, as printed."""
    low, high = (flow.flow_square_law(5.0 + error, 1.0, 5.0) for error in (-3.2, 3.2))
    assert (high - low) / 2.0 == pytest.approx(0.35, abs=0.02)


@given(p=st.floats(1e4, 1e6), q=st.floats(1e4, 1e6), height=st.floats(-5.0, 5.0))
@QUICK
def test_drop_between_gauges_reverses(p: float, q: float, height: float) -> None:
    """Exchanging the gauges changes the sign, height included; a standing column has no friction drop."""
    forward = flow.drop_between_gauges_pa(p, q, height, 999.0)
    assert flow.drop_between_gauges_pa(q, p, -height, 999.0) == pytest.approx(-forward, abs=1e-6)
    column = 999.0 * flow.GRAVITY * height
    assert flow.drop_between_gauges_pa(p, p - column, height, 999.0) == pytest.approx(0.0, abs=1e-6)


def test_meters_against_fluids_orifice() -> None:
    """An orifice computed by `fluids` (ISO 5167) for two densities at one drop: flow goes with
    1/sqrt(density).
    """
    fluids = pytest.importorskip("fluids")
    through = []
    for rho in (1000.0, 1050.0):
        mass = fluids.flow_meter.differential_pressure_meter_solver(
            D=0.1,
            D2=0.06,
            P1=4e5,
            P2=3.8e5,
            rho=rho,
            mu=1.5e-3,
            k=1.3,
            meter_type="ISO 5167 orifice",
            taps="corner",
        )
        through.append(mass / rho)
    found = flow.meter_flow_m3s("differential-pressure", 1.0, 1050.0, 1000.0, 8000.0)
    assert found == pytest.approx(through[1] / through[0], rel=1e-3)


@given(q=st.floats(1e-4, 0.1), dt=st.floats(0.5, 15.0), entering_c=st.floats(16.0, 35.0))
@QUICK
def test_capacity_and_flow_are_inverses(q: float, dt: float, entering_c: float) -> None:
    """Flow from the capacity of a flow is that flow; capacity changes sign with the temperatures."""
    entering, leaving = entering_c + 273.15, entering_c + 273.15 - dt
    power = capacity.capacity_w(q, entering, leaving)
    assert capacity.flow_for_capacity_m3s(power, entering, leaving) == pytest.approx(q, rel=1e-9)
    assert capacity.capacity_w(q, leaving, entering) == pytest.approx(-power, rel=1e-9)


def test_glycol_factor_from_print_fits_propylene_only() -> None:
    """Trap: 470/450/433 quoted for '30/40/50 % glycol' is propylene; ethylene is 3 to 4 % lower."""
    for percent, printed in ((30.0, 470.0), (40.0, 450.0), (50.0, 433.0)):
        assert capacity.heat_factor("propylene-glycol", percent, "volume", 278.15) == pytest.approx(printed, rel=0.015)
        assert capacity.heat_factor("ethylene-glycol", percent, "volume", 278.15) < 0.975 * printed


@given(ratio=st.floats(0.1, 3.0))
@QUICK
def test_affinity_there_and_back(ratio: float) -> None:
    """Slowing and speeding up again changes nothing; water power goes with flow times head."""
    if ratio > 1.0 / 3.0:
        back = pump.affinity(1.0 / ratio)
        assert [a * b for a, b in zip(pump.affinity(ratio), back, strict=True)] == pytest.approx([1.0, 1.0, 1.0])
    q, h, p = pump.affinity(ratio)
    assert q * h == pytest.approx(p)


def test_atmosphere_against_fluids() -> None:
    """US Standard Atmosphere 1976 as `fluids` computes it, within 0.03 kPa to 3000 m."""
    fluids = pytest.importorskip("fluids")
    for h in (-400.0, 0.0, 500.0, 1500.0, 3000.0):
        assert site_atmosphere_pa(h) == pytest.approx(fluids.ATMOSPHERE_1976(h).P, abs=30.0)


@given(present=st.floats(0.0, 40.0), extra=st.floats(0.5, 20.0), volume=st.floats(0.05, 20.0))
@QUICK
def test_concentrate_balances_the_glycol(present: float, extra: float, volume: float) -> None:
    """Glycol before plus glycol added is glycol after, both ways of doing it."""
    wanted = present + extra
    drained = glycol.concentrate_volume_m3(volume, present, wanted, 100.0, True)
    assert (volume - drained) * present + drained * 100.0 == pytest.approx(volume * wanted)
    added = glycol.concentrate_volume_m3(volume, present, wanted, 100.0, False)
    assert volume * present + added * 100.0 == pytest.approx((volume + added) * wanted)


@given(percent=st.floats(10.0, 58.0), step=st.floats(0.5, 2.0))
@QUICK
def test_more_glycol_allows_colder(percent: float, step: float) -> None:
    """Freeze protection is monotonic, and the leaving limit is the refrigerant limit plus the approach."""
    weak, strong = (glycol.minimum_leaving_k("ethylene-glycol", p, "volume", 5.0) for p in (percent, percent + step))
    assert strong < weak
    limit = glycol.lowest_refrigerant_k("ethylene-glycol", percent, "volume")
    assert weak == pytest.approx(limit + 5.0)
