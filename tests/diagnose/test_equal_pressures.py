"""Equal pressures of a circuit that should cool: what they say, and what they do not."""

from __future__ import annotations

from diagnose.case import Case
from diagnose.looks import fits_machine
from diagnose.work import prepare
from knowledge.load import load_knowledge

KNOWLEDGE = load_knowledge()


def call(low: str, high: str, **machine: object) -> Case:
    readings = [
        {
            "quantity": "suction_pressure",
            "value": low,
            "place": "circuit:A",
            "state": "cooling",
            "steadiness": "steady",
        },
        {
            "quantity": "liquid_pressure",
            "value": high,
            "place": "circuit:A",
            "state": "cooling",
            "steadiness": "steady",
        },
    ]
    return Case.model_validate(
        {
            "complaint": "warm-supply",
            "role": "technician",
            "machine": {"refrigerant": "R-410A", **machine},
            "entries": readings,
        }
    )


def test_two_gauges_tell_that_a_circuit_does_not_pump() -> None:
    """No suction and no head is judged then, nor what is computed from them; with the pressures apart it is."""
    work = prepare(call("180 psig", "195 psig"), KNOWLEDGE)
    told = work.graded.evidence["pressures-equal", "circuit:A"].words(KNOWLEDGE.findings["pressures-equal"])
    assert told[0][0] == "nearly-equal" and told[0][1] > 0.9
    assert {("suction", "circuit:A"), ("head", "circuit:A")} <= work.dropped
    apart = prepare(call("118 psig", "360 psig"), KNOWLEDGE)
    assert ("suction", "circuit:A") in apart.graded.evidence and not apart.dropped


def test_only_a_compressor_alone_on_its_circuit_is_cleared_by_its_pressures() -> None:
    """A twin parts the pressures beside one that turns backwards, and nobody may have told of the twin."""

    def cleared(**machine: object) -> bool:
        work = prepare(call("118 psig", "360 psig", **machine), KNOWLEDGE)
        return any(c.rule.then.cause == "scroll-reversed" for c in work.conclusions.of("conclusive"))

    assert cleared(circuits=2, compressors=2)
    assert not cleared(circuits=2, compressors=4)
    assert not cleared()


def test_a_machine_of_one_circuit_is_not_compared_with_another() -> None:
    """Where nobody told how many there are, the question stays: it is how one finds out."""
    check = KNOWLEDGE.checks["circuits-compare"]
    facts = [
        prepare(call("118 psig", "360 psig", **m), KNOWLEDGE).facts for m in ({"circuits": 1}, {"circuits": 2}, {})
    ]
    assert [fits_machine(check, f) for f in facts] == [False, True, True]


def test_a_compressor_that_draws_current_runs_whatever_the_complaint_lets_assume() -> None:
    """Amps told of a machine that "will not start" are those of a start; a dead lead, and what was told of a standing machine, stay so."""

    def amps(value: str, **told: object) -> bool:
        case = Case.model_validate(
            {
                "complaint": "compressor-wont-start",
                "role": "technician",
                "qualified": ["electrical"],
                "machine": {"compressors": 2, "circuits": 1, "compressor_plate_current": "40 A"},
                "entries": [{"quantity": "line_current", "value": [value] * 3, "place": "compressor:A1", **told}],
            }
        )
        return ("compressor-current", "compressor:A1") in prepare(case, KNOWLEDGE).graded.evidence

    assert amps("150 A") and not amps("0 A")
    assert not amps("150 A", state="powered")
