"""Pictures of a call: what stands where, against an outside library and by hand."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest

from diagnose.advise import advise
from diagnose.bench import CASE
from diagnose.case import Case
from diagnose.pictures import Picture, pictures_of
from diagnose.pictures.chain import chain_svg, chain_words
from diagnose.pictures.course import course
from diagnose.pictures.supply import triangle
from diagnose.replay import read_call
from knowledge.load import Knowledge, load_knowledge

CALLS = Path(__file__).parents[1] / "calls"
PSI = 6894.757


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def named(case: Case, base: Knowledge, name: str) -> Picture:
    return next(p for p in pictures_of(case, base) if p.name == name)


def points(picture: Picture, series: str) -> list[tuple[float, float]]:
    return [(x, y) for s in picture.series if s.name == series for x, y in s.points if y is not None]


def case_of(machine: dict[str, Any], *entries: dict[str, Any]) -> Case:
    return Case.model_validate({"complaint": "no-flow", "role": "technician", "machine": machine, "entries": entries})


def test_corners_of_the_cycle_against_an_independent_library(base: Knowledge) -> None:
    """Enthalpy differences along the cycle, R-410A, 129.7 and 384.7 psia, against CoolProp (its own equation of state)."""
    cool = pytest.importorskip("CoolProp.CoolProp")
    picture = named(Case.model_validate(CASE), base, "cycle-circuit-A")
    (gas, low), (hot, high), (liquid, _), (after, _), _ = points(picture, "as measured")
    atmosphere = 14.696
    assert low == pytest.approx(115 + atmosphere, abs=0.05)
    assert high == pytest.approx(370 + atmosphere, abs=0.05)
    fluid = "R410A"
    suction_k, liquid_k = (49 - 32) / 1.8 + 273.15, (98 - 32) / 1.8 + 273.15
    want_gas = cool.PropsSI("H", "P", low * PSI, "T", suction_k, fluid)
    want_liquid = cool.PropsSI("H", "T", liquid_k, "Q", 0, fluid)
    assert (gas - liquid) * 2326.0 == pytest.approx(want_gas - want_liquid, rel=0.005)
    entropy = cool.PropsSI("S", "P", low * PSI, "T", suction_k, fluid)
    ideal = cool.PropsSI("H", "P", high * PSI, "S", entropy, fluid)
    assert (hot - gas) * 2326.0 == pytest.approx((ideal - want_gas) / 0.65, rel=0.01)
    assert liquid == after
    assert "assumed" in picture.words


def test_drop_is_a_flow_by_the_square_law(base: Knowledge) -> None:
    """By hand: 2.9 psi on a card of 7.0 psi at 144 gpm is 144 sqrt(2.9/7) = 92.7 gpm."""
    picture = named(read_call(CALLS / "call-13.yaml", base).case, base, "evaporator-drop")
    ((flow, drop),) = points(picture, "drop read now")
    assert flow == pytest.approx(144 * math.sqrt(2.9 / 7.0), abs=0.1)
    assert drop == pytest.approx(2.9, abs=0.01)


MACHINE = {
    "fluid": "water",
    "design_flow": "100 gpm",
    "design_drop": "7 psi",
    "pump_shutoff_rise": "50 psi",
    "pump_design_rise": "40 psi",
}


@pytest.mark.parametrize(
    ("rise", "drop", "says"),
    [
        ("40 psi", "7 psi", "near design"),
        ("48 psi", "1 psi", "the system holds back more"),
        ("28 psi", "3.4 psi", "the pump gives less"),
    ],
)
def test_the_working_point_is_told_in_words(base: Knowledge, rise: str, drop: str, says: str) -> None:
    """40 psi at design flow; 48 psi where the pump's curve has 48.6 psi; 28 psi at 70 gpm where a new pump gives 45 psi."""
    number = float(rise.split()[0])
    case = case_of(
        MACHINE,
        {"quantity": "pump_suction", "value": "12 psig", "state": "cooling"},
        {"quantity": "pump_discharge", "value": f"{12 + number} psig", "state": "cooling"},
        {"quantity": "evaporator_drop", "value": drop, "state": "cooling"},
    )
    picture = named(case, base, "pump")
    assert says in picture.words
    ((flow, level),) = points(picture, "now")
    assert level == pytest.approx(number, abs=0.01)
    assert flow == pytest.approx(100 * math.sqrt(float(drop.split()[0]) / 7.0), abs=0.1)


def test_pump_curve_passes_through_its_two_points(base: Knowledge) -> None:
    case = case_of(
        MACHINE,
        {"quantity": "pump_suction", "value": "12 psig", "state": "cooling"},
        {"quantity": "pump_discharge", "value": "52 psig", "state": "cooling"},
    )
    curve = dict(points(named(case, base, "pump"), "pump, new"))
    assert curve[0.0] == pytest.approx(50.0, abs=0.01)
    near = min(curve, key=lambda q: abs(q - 100.0))
    assert curve[near] == pytest.approx(50.0 - 10.0 * (near / 100.0) ** 2, abs=0.01)


def test_phasors_close_and_show_a_weak_phase() -> None:
    even = triangle(460, 460, 460)
    assert even is not None
    assert even[2] == (pytest.approx(230.0), pytest.approx(460 * math.sqrt(3) / 2))
    # a phase lost at an open leg: the two pairs of the dead leg share the whole pair's voltage, the triangle is flat
    flat = triangle(460, 230, 230)
    assert flat is not None and flat[2] == (pytest.approx(230.0), pytest.approx(0.0, abs=1e-6))
    assert triangle(460, 100, 100) is None


def test_belief_over_the_entries_ends_where_the_advice_stands(base: Knowledge) -> None:
    case = Case.model_validate(CASE)
    stages = [case.model_copy(update={"entries": case.entries[:n]}) for n in (0, 6, 12)]
    advices = [advise(one, base) for one in stages]
    picture = course(advices)
    assert picture is not None
    lead = advices[-1].suspects[0]
    assert points(picture, lead.title)[-1] == (2.0, pytest.approx(10 * lead.probability))
    assert course(advices[:1]) is None


def test_every_picture_of_every_sample_call_is_sound_markup_with_words(base: Knowledge) -> None:
    seen = set()
    for path in sorted(CALLS.glob("*.yaml")):
        for picture in pictures_of(read_call(path, base).case, base):
            root = ET.fromstring(picture.svg())
            assert next(e for e in root if e.tag.endswith("title")).text == picture.words
            assert len(picture.words) > 20
            seen.add(picture.name.split("-")[0])
    assert {"evaporator", "cycle", "bars", "phasors"} <= seen


def test_the_chain_is_boxes_and_a_sentence() -> None:
    links = ("Strainer clogged", "low flow <b>", "low suction")
    assert chain_words(links) == "“Strainer clogged” leads to “low flow <b>” leads to “low suction”"
    root = ET.fromstring(chain_svg(links))
    assert sum(e.tag.endswith("rect") for e in root) == 3
    assert not chain_svg(("alone",))
