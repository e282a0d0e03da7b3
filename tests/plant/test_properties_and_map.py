"""Fast gas tables against the property library, root finding, and a compressor map kept inside its limits.

Library: CoolProp 8.0.0. Map: the ten-coefficient form of AHRI Standard 540; off its superheat Dabiri and Rice 1981.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from diagnose.plant import cycle
from diagnose.plant.ahri_map import CompressorMap, map_efficiencies, off_superheat_flow, polynomial
from diagnose.plant.compressor import ScrollCurve, total_efficiency, volumetric_efficiency
from diagnose.plant.conditions import RATING
from diagnose.plant.roots import brent, rising_root
from diagnose.plant.simulate import simulate
from diagnose.properties.saturation import REFRIGERANTS, p_dew_pa
from diagnose.properties.surface import surface

NAMES = {
    "R-22": "R22",
    "R-134a": "R134a",
    "R-32": "R32",
    "R-410A": "R410A",
    "R-407C": "R407C",
    "R-454B": "R454B.mix",
    "R-513A": "R513A.mix",
}


@pytest.mark.parametrize("name", REFRIGERANTS)
def test_gas_states_match_the_library_off_the_grid(name: str) -> None:
    """Enthalpy 60 J/kg, entropy 0.15 J/(kg K) (0.2 % of a compressor's work), density 0.1 %, liquid density 0.1 %."""
    CoolProp = pytest.importorskip("CoolProp")
    from CoolProp.CoolProp import AbstractState

    fast, state = surface(name), AbstractState("HEOS", NAMES[name])
    compared = 0
    for c in (-38.7, -19.0, 1.0, 7.3, 21.0, 41.0, 55.0):
        line = fast.line(c + 273.15)
        assert line.p_pa == pytest.approx(p_dew_pa(name, c + 273.15), rel=6e-5)  # 0.002 K
        for superheat in (0.9, 3.0, 6.0, 12.0, 25.0, 40.0, 62.0, 90.0, 130.0):
            state.specify_phase(CoolProp.iphase_gas)
            try:
                state.update(CoolProp.PT_INPUTS, line.p_pa, c + 273.15 + superheat)
            except ValueError:  # the library's mixtures fail at scattered points
                continue
            h, s, d = fast.gas(line, superheat)
            assert h == pytest.approx(state.hmass(), abs=60.0)
            assert s == pytest.approx(state.smass(), abs=0.15)
            assert d == pytest.approx(state.rhomass(), rel=1e-3)
            isobar = fast.isobar(line)
            assert isobar.enthalpy_at_entropy(s) == pytest.approx(h, abs=5.0)
            assert isobar.temperature(h) == pytest.approx(line.t_dew_k + superheat, abs=0.05)
            compared += 1
    assert compared > 40
    state.unspecify_phase()
    for c in (-9.0, 11.0, 33.0):
        try:
            state.update(CoolProp.QT_INPUTS, 0.0, c + 273.15)
        except ValueError:
            continue
        assert fast.liquid(c + 273.15)[1] == pytest.approx(state.rhomass(), rel=1e-3)


@pytest.mark.parametrize("name", REFRIGERANTS)
def test_look_ups_are_inverses_and_continuous(name: str) -> None:
    fast = surface(name)
    for t in (240.0, 262.3, 280.0, 299.9, 320.1, 330.0):
        line = fast.line(t)
        assert fast.dew_k(line.p_pa) == pytest.approx(t, abs=1e-7)
        for superheat in (0.5, 5.0, 33.0, 80.0):
            assert fast.superheat_of(line, fast.gas(line, superheat)[0]) == pytest.approx(superheat, abs=1e-4)
    for knot in (273.15, 293.15, 313.15):
        below, above = fast.line(knot - 1e-7), fast.line(knot + 1e-7)
        assert all(a == pytest.approx(b, rel=1e-6) for a, b in zip(below, above, strict=True))


def test_a_root_is_found_or_its_side_is_told() -> None:
    root = rising_root(lambda x: x**3 - 2.0, -5.0, 5.0, 1e-12)
    assert root.side == 0 and root.x == pytest.approx(2.0 ** (1.0 / 3.0), abs=1e-10)
    assert rising_root(lambda x: x + 10.0, -5.0, 5.0, 1e-9).side == -1
    assert rising_root(lambda x: x - 10.0, -5.0, 5.0, 1e-9, guess=0.0).side == 1
    assert rising_root(math.atan, -50.0, 50.0, 1e-12, guess=40.0).x == pytest.approx(0.0, abs=1e-9)
    assert brent(lambda x: math.cos(x) - x, 0.0, 1.0, 1.0, math.cos(1.0) - 1.0, 1e-13) == pytest.approx(
        0.7390851332151607
    )


def test_scroll_efficiencies_lie_in_the_published_bands() -> None:
    """Five published air-conditioning scrolls: eta_t 0.66-0.71 at 2.3, 0.69-0.71 at 2.7, 0.71-0.73 at 2.9, 0.69-0.71 at 3.2,
    0.68-0.71 at 3.5, 0.58-0.64 at 4.8, each widened by 0.015; volume flow 5-9 % lower at 4.8 than at 2.3.
    """
    curve = ScrollCurve()
    for ratio, low, high in (
        (2.3, 0.66, 0.71),
        (2.7, 0.69, 0.71),
        (2.9, 0.71, 0.73),
        (3.2, 0.69, 0.71),
        (3.5, 0.68, 0.71),
        (4.8, 0.58, 0.64),
    ):
        assert low - 0.015 <= total_efficiency(curve, ratio) <= high + 0.015, ratio
    fall = 1.0 - volumetric_efficiency(curve, 4.8) / volumetric_efficiency(curve, 2.3)
    assert 0.05 <= fall <= 0.09
    assert total_efficiency(curve, 50.0) == total_efficiency(curve, 10.0) and volumetric_efficiency(curve, 0.5) <= 1.0


def test_rice_correction_is_the_printed_example() -> None:
    """R-410A, 2.5/50 C, map superheat 11.1 K used at 5 K: density +4.0 %, flow +3.0 % (computed with the plant's notes)."""
    fast = surface("R-410A")
    line = fast.line(275.65)
    at_map, at_real = fast.gas(line, 11.1)[2], fast.gas(line, 5.0)[2]
    assert at_real / at_map == pytest.approx(1.040, abs=0.003)
    assert off_superheat_flow(1.0, at_map, at_real) == pytest.approx(1.030, abs=0.003)


def fitted_map() -> CompressorMap:
    """A map that repeats the generic scroll near rating: constants and slopes only, so it is wrong far away, as maps are."""
    fast, curve, swept = surface("R-410A"), ScrollCurve(), 0.011

    def at(s: float, d: float) -> tuple[float, float]:
        low, high = fast.line(s + 273.15), fast.line(d + 273.15)
        h, e, rho = fast.gas(low, 11.1)
        ratio = high.p_pa / low.p_pa
        m = swept * rho * volumetric_efficiency(curve, ratio)
        return m, m * (fast.isobar(high).enthalpy_at_entropy(e) - h) / total_efficiency(curve, ratio)

    base = [at(s, d) for s, d in ((3.0, 49.0), (5.0, 49.0), (3.0, 51.0))]
    rows = []
    for n in (0, 1):
        ds, dd = (base[1][n] - base[0][n]) / 2.0, (base[2][n] - base[0][n]) / 2.0
        rows.append((base[0][n] - 3.0 * ds - 49.0 * dd, ds, dd, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    return CompressorMap(rows[0], rows[1], 11.1, (-2.0, 10.0), (40.0, 56.0))


def test_a_map_rules_inside_its_limits_and_is_never_extrapolated(lab: Any) -> None:
    """Inside: the map's own figures. Outside: efficiencies of the nearest point, following the generic shape; said in the notes."""
    chart, fast, curve = fitted_map(), surface("R-410A"), ScrollCurve()
    inside = map_efficiencies(chart, curve, fast, 0.011, 276.15, 322.15)
    assert inside.inside and inside.volumetric == pytest.approx(volumetric_efficiency(curve, 3.4), abs=0.01)
    flow = inside.volumetric * 0.011 * fast.gas(fast.line(276.15), 11.1)[2]
    assert flow == pytest.approx(polynomial(chart.flow, 3.0, 49.0), rel=1e-9)
    far = map_efficiencies(chart, curve, fast, 0.011, 258.15, 338.15)
    assert not far.inside and 0.4 < far.efficiency < 0.75 and 0.6 < far.volumetric < 1.0
    raw = polynomial(chart.power, -15.0, 65.0) / polynomial(chart.flow, -15.0, 65.0)
    assert raw > 0.0  # the polynomial would answer there; the model does not ask it
    edge = map_efficiencies(chart, curve, fast, 0.011, 283.15, 329.15)
    past = map_efficiencies(chart, curve, fast, 0.011, 283.15 + 1e-6, 329.15 + 1e-6)
    assert edge.efficiency == pytest.approx(past.efficiency, rel=1e-5)


def test_a_machine_with_a_map_runs_on_it(lab: Any) -> None:
    plant = lab.plant()
    circuit = plant.circuits[0]
    scale = circuit.swept_m3s / 0.011
    chart = fitted_map()
    chart = replace(chart, flow=tuple(scale * c for c in chart.flow), power=tuple(scale * c for c in chart.power))
    mapped = replace(plant, circuits=(replace(circuit, chart=chart),))
    plain, with_map = simulate(plant, RATING), simulate(mapped, RATING)
    assert with_map.balance["cooling_w"] == pytest.approx(plain.balance["cooling_w"], rel=0.03)
    hot = simulate(mapped, replace(RATING, air_k=318.0))
    assert any("compressor map" in n for n in hot.notes) and not any("compressor map" in n for n in with_map.notes)


def test_wet_suction_collapses_the_discharge_superheat(lab: Any) -> None:
    """Liquid carried over: discharge superheat under 10 K (from memory), entropy still rises."""
    from diagnose.plant.faults import Fault

    wet = lab.balance(lab.with_faults(lab.plant(), Fault("expansion-valve-overfeeding", 0.8)))
    assert wet.outlet < 0.0 and wet.superheat_k == 0.0
    assert wet.t2_k - wet.discharge_dew_k < 10.0 and wet.s2 > wet.s1
    assert isinstance(wet, cycle.Balance)
