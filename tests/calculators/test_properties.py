"""Property tables against CoolProp and IAPWS between their grid points, their self-checks, inverses and
limits.
"""

from __future__ import annotations

import dataclasses
import json
import math
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.properties import fluids, gas, saturation, tables
from shared.errors import CalculatorError

CoolProp = pytest.importorskip("CoolProp")
from CoolProp.CoolProp import AbstractState, PropsSI  # noqa: E402

NAMES = {
    "R-22": "R22",
    "R-134a": "R134a",
    "R-32": "R32",
    "R-410A": "R410A",
    "R-407C": "R407C",
    "R-454B": "R454B.mix",
    "R-513A": "R513A.mix",
}
refrigerants = st.sampled_from(saturation.REFRIGERANTS)
QUICK = settings(max_examples=60, deadline=None, derandomize=True)


def off_grid(name: str, start_c: int = -69) -> list[float]:
    """Temperatures halfway between grid points, where a straight piece is worst."""
    top = saturation.saturation_table(name).temperature_k[-1] - 273.15
    return [c + 273.15 for c in range(start_c, int(top), 2)]


@pytest.mark.parametrize("name", saturation.REFRIGERANTS)
def test_lines_match_the_library_between_grid_points(name: str) -> None:
    """0.005 K is far below any gauge: 0.01 psi on R-410A suction. Points where the library itself fails are
    skipped.
    """
    state = AbstractState("HEOS", NAMES[name])
    compared = 0
    for t in off_grid(name):
        for quality, line in ((0.0, saturation.t_bubble_k), (1.0, saturation.t_dew_k)):
            try:
                state.update(CoolProp.QT_INPUTS, quality, t)
            except ValueError:
                continue
            if state.p() > math.exp(saturation.saturation_table(name).ln_dew[-1]):
                continue
            assert line(name, state.p()) == pytest.approx(t, abs=0.005)
            compared += 1
    assert compared > 100


@pytest.mark.parametrize("name", saturation.REFRIGERANTS)
def test_enthalpies_match_the_library_between_grid_points(name: str) -> None:
    """0.1 kJ/kg is 0.05 % of a latent heat; only the last kelvin below 0.95 p_crit comes near it."""
    state = AbstractState("HEOS", NAMES[name])
    for t in off_grid(name):
        for quality, line in (
            (0.0, saturation.liquid_enthalpy_j_per_kg),
            (1.0, saturation.vapour_enthalpy_j_per_kg),
        ):
            try:
                state.update(CoolProp.QT_INPUTS, quality, t)
            except ValueError:
                continue
            assert line(name, t) == pytest.approx(state.hmass(), abs=100.0)


@pytest.mark.parametrize("name", saturation.REFRIGERANTS)
def test_isentropic_discharge_matches_the_library(name: str) -> None:
    """Suction 0 C dew with 8 K superheat to 30, 45 and 60 C dew: 0.1 K, against a clamp that reads to 1 K."""
    state = AbstractState("HEOS", NAMES[name])
    state.specify_phase(CoolProp.iphase_gas)
    p_suction = saturation.p_dew_pa(name, 273.15)
    state.update(CoolProp.PT_INPUTS, p_suction, 281.15)
    entropy = state.smass()
    for dew_c in (30.0, 45.0, 60.0):
        p_discharge = saturation.p_dew_pa(name, dew_c + 273.15)
        found = gas.temperature_from_entropy_k(name, p_discharge, gas.gas_entropy(name, p_suction, 281.15))
        low, high = dew_c + 273.15 + 0.05, dew_c + 273.15 + 130.0
        for _ in range(60):  # the library's own p,s flash fails on mixtures: bracket on T instead
            middle = 0.5 * (low + high)
            state.update(CoolProp.PT_INPUTS, p_discharge, middle)
            low, high = (middle, high) if state.smass() < entropy else (low, middle)
        assert found == pytest.approx(low, abs=0.1)


@pytest.mark.parametrize(
    ("name", "expected_f"), [("R-410A", 184), ("R-32", 220), ("R-134a", 157), ("R-407C", 184), ("R-22", 191)]
)
def test_discharge_temperature_at_efficiency(name: str, expected_f: float) -> None:
    """40 F dew, 120 F bubble, superheat 10 F, efficiency 0.70: general-purpose library, whole degrees F.

    Trap: taken at the dew point of 120 F, R-407C comes out 11 F colder.
    """
    from diagnose.calculators.refrigerant import discharge_temperature_k

    def kelvin(f: float) -> float:
        return (f - 32.0) / 1.8 + 273.15

    suction = PropsSI("P", "T", kelvin(40.0), "Q", 1, NAMES[name])
    discharge = PropsSI("P", "T", kelvin(120.0), "Q", 0, NAMES[name])
    found = discharge_temperature_k(name, suction, kelvin(50.0), discharge, 0.70)
    assert (found - 273.15) * 1.8 + 32.0 == pytest.approx(expected_f, abs=0.6)


def test_evaporator_inlet_of_r407c_against_a_mixture_flash() -> None:
    """The proportional glide stays within 0.7 K of the mixture calculation, at the same quality."""
    from diagnose.calculators.heat_transfer import evaporator_inlet_k, inlet_quality

    p = saturation.p_dew_pa("R-407C", 278.15)
    for liquid_c in (25.0, 35.0, 45.0):
        mixture = PropsSI("T", "P", p, "Q", inlet_quality("R-407C", p, liquid_c + 273.15), "R407C.mix")
        assert evaporator_inlet_k("R-407C", p, liquid_c + 273.15) == pytest.approx(mixture, abs=0.7)


def test_glide_swap_on_r407c_is_nine_to_eleven_f() -> None:
    """Trap: bubble and dew columns exchanged. The two lines must stay that far apart, bubble the colder."""
    for c in (0.0, 20.0, 43.0):
        p = saturation.p_dew_pa("R-407C", c + 273.15)
        glide = (saturation.t_dew_k("R-407C", p) - saturation.t_bubble_k("R-407C", p)) * 1.8
        assert 8.0 < glide < 12.5  # published glide at suction 8 to 12 F; the library gives 11.1 F at 40 F dew


@given(name=refrigerants, share=st.floats(0.0, 1.0))
@QUICK
def test_pressure_and_temperature_are_inverses(name: str, share: float) -> None:
    """Both lines, whole table, to 1e-9 K."""
    table = saturation.saturation_table(name)
    t = table.temperature_k[0] + share * (table.temperature_k[-1] - table.temperature_k[0])
    assert saturation.t_dew_k(name, saturation.p_dew_pa(name, t)) == pytest.approx(t, abs=1e-8)
    assert saturation.t_bubble_k(name, saturation.p_bubble_pa(name, t)) == pytest.approx(t, abs=1e-8)


@given(name=refrigerants, a=st.floats(1.2e5, 2.2e6), b=st.floats(1.2e5, 2.2e6))
@QUICK
def test_more_pressure_is_more_temperature(name: str, a: float, b: float) -> None:
    """Monotonic; and the bubble line is never above the dew line by more than the azeotrope's crossing."""
    low, high = sorted((a, b))
    assert saturation.t_dew_k(name, low) <= saturation.t_dew_k(name, high)
    assert saturation.t_bubble_k(name, low) <= saturation.t_dew_k(name, low) + 0.06


@given(name=refrigerants, dew_c=st.floats(-38.0, 62.0), superheat=st.floats(0.5, 120.0))
@QUICK
def test_gas_inverses(name: str, dew_c: float, superheat: float) -> None:
    """Temperature from the entropy and the enthalpy of a temperature is that temperature."""
    p = saturation.p_dew_pa(name, dew_c + 273.15)
    t = dew_c + 273.15 + superheat
    assert gas.temperature_from_entropy_k(name, p, gas.gas_entropy(name, p, t)) == pytest.approx(t, abs=1e-6)
    enthalpy = gas.gas_enthalpy_j_per_kg(name, p, t)
    assert gas.temperature_from_enthalpy_k(name, p, enthalpy) == pytest.approx(t, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("r410a", "R-410A"),
        ("R 410 A", "R-410A"),
        ("410A", "R-410A"),
        ("HFC-134a", None),
        ("R-134A", "R-134a"),
        ("r-32", "R-32"),
        ("R454b", "R-454B"),
        ("", None),
        ("R-12", None),
    ],
)
def test_spellings(text: str, name: str | None) -> None:
    """Usual spellings are understood, others refused with the list of what there is."""
    if name:
        assert saturation.refrigerant_name(text) == name
    else:
        with pytest.raises(CalculatorError, match=r"allowed: R-410A, R-134a"):
            saturation.refrigerant_name(text)


@pytest.mark.parametrize("bad", [0.0, -1e5, 4.9e6, 1.0, math.nan, math.inf])
def test_pressure_outside_the_table_is_refused(bad: float) -> None:
    """Negative absolute, above critical, NaN: one line that says what is allowed."""
    with pytest.raises(CalculatorError, match="R-410A absolute pressure outside"):
        saturation.t_dew_k("R-410A", bad)


def test_damaged_tables_are_refused() -> None:
    """Self-check on load: a column that does not rise, and bubble below dew."""
    good = saturation.saturation_table("R-407C")
    ln_dew = list(good.ln_dew)
    ln_dew[10] = ln_dew[9]
    with pytest.raises(CalculatorError, match="dew pressure does not rise at row 10"):
        saturation.check_table(dataclasses.replace(good, ln_dew=tuple(ln_dew)))
    with pytest.raises(CalculatorError, match="bubble pressure below dew pressure"):
        saturation.check_table(dataclasses.replace(good, ln_bubble=good.ln_dew, ln_dew=good.ln_bubble))


def test_tables_load_fast() -> None:
    """Cold start: each refrigerant loads alone and in a few milliseconds (generous factor for a busy
    machine).
    """
    saturation.saturation_table.cache_clear()
    gas.gas_table.cache_clear()
    start = time.perf_counter()
    for name in saturation.REFRIGERANTS:
        saturation.saturation_table(name)
        gas.gas_table(name)
    assert time.perf_counter() - start < 0.5


def test_heads_name_library_and_method() -> None:
    """Each committed table says what it came from."""
    folder = tables.files("diagnose.properties").joinpath("data")
    names = sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".json"))
    assert len(names) == 12
    for name in names:
        table = json.loads(folder.joinpath(name).read_text(encoding="utf-8"))
        assert table["library"].startswith("CoolProp 8.") and table["method"] and table["equation"], name


def test_water_against_iapws() -> None:
    """Density 0.02 %, heat capacity 0.1 %, viscosity 0.5 % (between grid points), vapour pressure 0.1 %:
    IAPWS-97.
    """
    iapws = pytest.importorskip("iapws")
    for c in (1.0, 5.0, 13.0, 33.0, 71.0, 97.0):
        state = iapws.IAPWS97(T=c + 273.15, P=0.3)
        args = ("water", 0.0, "volume", c + 273.15)
        assert fluids.density_kg_m3(*args) == pytest.approx(state.rho, rel=2e-4)
        assert fluids.heat_capacity_j_per_kg_k(*args) == pytest.approx(state.cp * 1e3, rel=1e-3)
        assert fluids.viscosity_pa_s(*args) == pytest.approx(state.mu, rel=5e-3)
        vapour = iapws.IAPWS97(T=c + 273.15, x=0).P * 1e6
        assert fluids.water_vapour_pressure_pa(c + 273.15) == pytest.approx(vapour, rel=1e-3)


@pytest.mark.parametrize(
    ("fluid", "basis", "code"),
    [
        ("ethylene-glycol", "volume", "AEG"),
        ("propylene-glycol", "volume", "APG"),
        ("ethylene-glycol", "mass", "MEG"),
        ("propylene-glycol", "mass", "MPG"),
    ],
)
def test_glycols_match_the_library_between_grid_points(fluid: str, basis: str, code: str) -> None:
    """Density and heat capacity 0.1 %, freeze point 0.3 K; viscosity 3 %, which is 0.4 % of a flow."""
    for percent in (12.5, 27.5, 42.5, 57.5):
        name = f"INCOMP::{code}[{percent / 100}]"
        freeze = PropsSI("T_freeze", "T", 293.15, "P", 101325, name)
        assert fluids.freeze_point_k(fluid, percent, basis) == pytest.approx(freeze, abs=0.3)
        for t in (freeze + 1.0, 277.6, 292.4, 318.0):
            args = (fluid, percent, basis, max(t, 250.0))
            density, heat, viscosity = (PropsSI(key, "T", args[3], "P", 3e5, name) for key in "DCV")
            assert fluids.density_kg_m3(*args) == pytest.approx(density, rel=1e-3)
            assert fluids.heat_capacity_j_per_kg_k(*args) == pytest.approx(heat, rel=1e-3)
            assert fluids.viscosity_pa_s(*args) == pytest.approx(viscosity, rel=3e-2)


@pytest.mark.parametrize(("percent", "lb_ft3"), [(10, 63.61), (20, 64.66), (30, 65.66), (40, 66.59), (50, 67.47)])
def test_ethylene_glycol_density_in_print(percent: float, lb_ft3: float) -> None:
    """40 F, volume percent: table 5-16 of a piping design manual, after ASHRAE Fundamentals; 0.2 %."""
    found = fluids.density_kg_m3("ethylene-glycol", percent, "volume", (40 - 32) / 1.8 + 273.15)
    assert found == pytest.approx(lb_ft3 * 16.01846, rel=2e-3)


def test_percent_basis_matters_and_is_consistent() -> None:
    """Trap: 30 % by volume is not 30 % by mass. Converted, both table families agree within 1.5 K to 30 %."""
    for fluid in ("ethylene-glycol", "propylene-glycol"):
        by_volume = fluids.freeze_point_k(fluid, 30.0, "volume")
        assert abs(by_volume - fluids.freeze_point_k(fluid, 30.0, "mass")) > 0.2
        for percent in (10.0, 20.0, 30.0):
            mass = fluids.mass_percent(fluid, percent)
            assert fluids.freeze_point_k(fluid, mass, "mass") == pytest.approx(
                fluids.freeze_point_k(fluid, percent, "volume"), abs=1.5
            )


@given(
    fluid=st.sampled_from(fluids.FLUIDS[1:]),
    percent=st.floats(0.0, 60.0),
    basis=st.sampled_from(fluids.BASES),
)
@QUICK
def test_glycol_inverses(fluid: str, percent: float, basis: str) -> None:
    """Percent from freeze point, and the two bases, are exact inverses."""
    freeze = fluids.freeze_point_k(fluid, percent, basis)
    assert fluids.percent_for_freeze_point(fluid, freeze, basis) == pytest.approx(percent, abs=1e-6)
    assert fluids.volume_percent(fluid, fluids.mass_percent(fluid, percent)) == pytest.approx(percent, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: fluids.freeze_point_k("glycol", 30.0), "unknown fluid"),
        (lambda: fluids.freeze_point_k("ethylene-glycol", 70.0), "0 to 60 %"),
        (lambda: fluids.freeze_point_k("ethylene-glycol", math.nan), "outside the table"),
        (lambda: fluids.freeze_point_k("water", 20.0), "plain water"),
        (lambda: fluids.freeze_point_k("ethylene-glycol", 30.0, "brix"), "unknown percent basis"),
        (lambda: fluids.density_kg_m3("ethylene-glycol", 30.0, "volume", 250.0), "outside the liquid range"),
        (lambda: fluids.density_kg_m3("water", 0.0, "volume", 270.0), "outside the liquid range"),
        (lambda: fluids.percent_for_freeze_point("water", 270.0), "one freeze point"),
        (lambda: saturation.p_dew_pa("R-22", 400.0), "temperature outside the saturation table"),
        (lambda: gas.gas_entropy("R-410A", 8e5, 260.0), "below the dew point there is liquid"),
    ],
)
def test_bad_input_gets_one_clear_line(call: object, text: str) -> None:
    """What was given, what is allowed, what to do."""
    with pytest.raises(CalculatorError, match=text) as caught:
        call()  # type: ignore[operator]
    assert "\n" not in caught.value.line()
