"""What this machine should show today, as it enters the findings: today's figure where the card is complete, else the general bands."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from diagnose.advise import advise
from diagnose.case import Case
from diagnose.evaluate.answers import UNITS
from diagnose.expected import AGAINST, NEEDED, lacking
from diagnose.grade import Evidence, farther, moved
from diagnose.plant.conditions import RATING, Conditions
from diagnose.plant.expected import expected_readings
from diagnose.plant.faults import Fault
from diagnose.plant.simulate import simulate
from diagnose.work import Work, prepare
from knowledge.load import load_knowledge
from shared.quantities import DERIVED, QUANTITIES
from shared.units import to_unit

READ = ("suction_pressure", "suction_line", "liquid_pressure", "liquid_line")
COLD = replace(RATING, air_k=280.0, entering_k=285.4)


def case_of(lab: Any, day: Conditions, *faults: Fault, more: tuple[str, ...] = (), **card: object) -> Case:
    """A technician's true readings at a simulated 60 ton machine with a complete card."""
    given = {"circuits": 2, "compressors": 4, "design_flow": "144 gpm", "design_drop": "7 psi", "set_point": "44 degF"}
    machine = lab.machine(**{**given, **card})
    shot = simulate(lab.plant(**given), day, faults)
    entries = []
    for quantity in (*READ, "entering_fluid", "leaving_fluid", "entering_air", *more):
        kind = QUANTITIES[quantity].kind
        place = "circuit:A" if QUANTITIES[quantity].place == "circuit" else "unit"
        taken = shot.taken(quantity, place, "cooling")
        assert taken is not None and isinstance(taken.true, float)
        unit = UNITS[kind][0]
        value = f"{to_unit(taken.true, kind, unit):.3f} {unit}"
        place = place if ":" in place else ""
        entries.append(
            {"quantity": quantity, "value": value, "place": place, "state": "cooling", "steadiness": "steady"}
        )
    return Case.model_validate(
        {
            "complaint": "is-this-normal",
            "qualified": ["refrigerant"],
            "machine": machine.model_dump(),
            "entries": entries,
        }
    )


def worked(case: Case) -> Work:
    return prepare(case, load_knowledge())


def found(work: Work, finding: str, place: str = "circuit:A") -> Evidence:
    return work.graded.evidence[finding, place]


def word(work: Work, finding: str, place: str = "circuit:A") -> str:
    return found(work, finding, place).words(work.knowledge.findings[finding])[0][0]


def test_a_cold_day_is_no_fault(lab: Any) -> None:
    """At 44 F the fans hold the head up: condensing 37 F over the air is wide for a general band and right for this machine today."""
    case = case_of(lab, COLD)
    split = found(worked(case), "condenser-split")
    assert word(worked(case), "condenser-split") == "normal" and split.against_expected
    assert "expected today" in split.texts[0]
    assert advise(case, load_knowledge()).used_expected
    general = case_of(lab, COLD, capacity="")
    assert word(worked(general), "condenser-split") == "high"
    assert not found(worked(general), "condenser-split").against_expected
    assert not advise(general, load_knowledge()).used_expected


def test_a_mild_day_hides_no_dirty_coil(lab: Any) -> None:
    """At 72 F a coil half closed stays under every general limit for head; against today's figure it is high."""
    mild, dirty = replace(RATING, air_k=295.4), Fault("coil-dirty", 0.8, "circuit:A")
    assert word(worked(case_of(lab, mild, dirty)), "head") == "high"
    assert word(worked(case_of(lab, mild, dirty, capacity="")), "head") == "normal"
    assert word(worked(case_of(lab, mild)), "head") == "normal"


def test_a_hot_day_stays_a_hot_day(lab: Any) -> None:
    """Beside today's figure the general limit stays in force: 113 F air explains its head, and the head is high all the same."""
    work = worked(case_of(lab, replace(RATING, air_k=318.0)))
    assert word(work, "head") == "high" and word(work, "condenser-split") == "normal"


@pytest.mark.parametrize("key", NEEDED)
def test_a_card_with_a_gap_falls_back(lab: Any, key: str) -> None:
    """Without any one of the keys that size the machine, nothing is compared with it."""
    card: dict[str, Any] = {key: None if key == "fluid" else ""}
    case = case_of(lab, RATING, **card)
    assert lacking(case.machine) == (key,)
    work = worked(case)
    assert not any(q in AGAINST for q, _ in work.derivation.values)


def test_part_load_falls_back(lab: Any) -> None:
    """A return near the set point, or a display that says half load: the figure of full load would mislead."""
    low = case_of(lab, replace(RATING, entering_k=282.0, stages=4))
    assert not any(q in AGAINST for q, _ in worked(low).derivation.values)
    full = case_of(lab, RATING)
    half = [*(e.model_dump() for e in full.entries), {"quantity": "machine_load", "value": "50 %", "state": "cooling"}]
    told = Case.model_validate({**full.model_dump(), "entries": half})
    assert any(q in AGAINST for q, _ in worked(full).derivation.values)
    assert not any(q in AGAINST for q, _ in worked(told).derivation.values)


def test_a_lying_air_thermometer_moves_the_expectation_with_it(lab: Any) -> None:
    """If the air is 8 F less than read, the figure by stored slopes is that of a machine solved again at the true air."""
    work = worked(case_of(lab, RATING))
    value = work.derivation.values["head_over_expected", "circuit:A"]
    high = next(m for m in work.graded.modes.values() if m.kind == "air-thermometer" and m.id.endswith("|high"))
    changed = moved(value, high)
    assert changed is not None
    bias = high.bias["entering_air"]
    again = expected_readings(work.case.machine, replace(RATING, air_k=value_of(work, "entering_air") - bias))
    condensing = work.derivation.values["condensing_temperature", "circuit:A"].value
    assert changed[0] == pytest.approx(condensing - again["condensing_temperature"].value, abs=0.4)
    assert changed[1] > value.sd


def value_of(work: Work, quantity: str) -> float:
    reading = work.derivation.run(quantity, "unit")
    assert reading is not None
    return reading.values[0]


def test_a_day_is_solved_once(lab: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second advice of the same day asks nothing of the simulated machine."""
    import diagnose.plant.expected as plant_expected

    case = case_of(lab, replace(RATING, air_k=301.0))
    first = worked(case).derivation.values["head_over_expected", "circuit:A"]
    monkeypatch.setattr(plant_expected, "solved", lambda *_: pytest.fail("solved again"))
    assert worked(case).derivation.values["head_over_expected", "circuit:A"] == first


def test_two_gradings_of_one_thing() -> None:
    """By hand: one says 0.9 normal and 0.1 high, the other 0.4 and 0.6: high at 0.6; a low that only one sees stays."""
    assert farther((0.0, 0.9, 0.1), (0.0, 0.4, 0.6), 1) == pytest.approx((0.0, 0.4, 0.6))
    assert farther((0.3, 0.7, 0.0), (0.0, 0.4, 0.6), 1) == pytest.approx((0.3, 0.1, 0.6))
    assert farther((0.1, 0.2, 0.7), (0.1, 0.2, 0.7), 1) == pytest.approx((0.1, 0.2, 0.7))


def test_every_compared_quantity_is_known() -> None:
    """Each has its row among the derived quantities and a band that uses it."""
    banded = {b.quantity for b in load_knowledge().bands.values()}
    assert set(AGAINST) <= set(DERIVED) and set(AGAINST) <= banded
