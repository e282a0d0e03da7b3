"""The rise of a pump against what its card says: the duty rise, the shut-off rise, both, or neither but gauges of an earlier visit.

Shut-off head is 1.1 to 1.3 times the duty head of such pumps (from memory), so what is worked out from the other alone is not sharp.
"""

from __future__ import annotations

from typing import Any

import pytest

from diagnose.case import Case
from diagnose.work import prepare
from knowledge.load import load_knowledge


def index(entries: list[dict[str, Any]], **card: str) -> tuple[float, float]:
    """(value, standard uncertainty) of the rise index for 26 psi of rise today."""
    today = [{"quantity": q, "value": v} for q, v in (("pump_suction", "10 psig"), ("pump_discharge", "36 psig"))]
    case = Case.model_validate(
        {
            "complaint": "no-flow",
            "role": "technician",
            "machine": {"refrigerant": "R-410A", **card},
            "entries": [*today, *entries],
        }
    )
    value = prepare(case, load_knowledge()).derivation.values["pump_rise_index", "unit"]
    return value.value, value.sd


def test_duty_rise_of_the_card_is_one() -> None:
    value, sd = index([], pump_design_rise="26 psi")
    assert value == pytest.approx(1.0)
    assert index([], pump_design_rise="26 psi", pump_shutoff_rise="33 psi") == pytest.approx((value, sd), rel=0.3)


def test_from_the_shut_off_rise_alone_it_is_less_sharp() -> None:
    sharp, soft = (
        index([], pump_shutoff_rise="40 psi", pump_design_rise="32 psi"),
        index([], pump_shutoff_rise="40 psi"),
    )
    assert soft[0] == pytest.approx(sharp[0]) == pytest.approx(26 / 32)
    assert soft[1] > 1.3 * sharp[1]


def test_gauges_of_an_earlier_visit_say_what_its_rise_is() -> None:
    """They beat what the shut-off rise lets one guess."""
    before = [
        {"quantity": q, "value": v, "source": "card"}
        for q, v in (("pump_suction", "12 psig"), ("pump_discharge", "38 psig"))
    ]
    assert index(before)[0] == pytest.approx(1.0)
    assert index(before, pump_shutoff_rise="44 psi")[0] == pytest.approx(1.0)


def test_figures_that_cannot_be_are_no_figures() -> None:
    """Gauges told the wrong way round say nothing; a shut-off rise no higher than the duty rise gives no index over it, and no crash."""
    swapped = [
        {"quantity": q, "value": v, "source": "card"}
        for q, v in (("pump_suction", "38 psig"), ("pump_discharge", "12 psig"))
    ]
    assert index(swapped, pump_shutoff_rise="40 psi") == index([], pump_shutoff_rise="40 psi")
    with pytest.raises(KeyError):
        index(swapped)
    with pytest.raises(KeyError):
        index([], pump_design_rise="20 psi", pump_shutoff_rise="20 psi")
