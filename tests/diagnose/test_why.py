"""Why not this one: the odds fall apart exactly, looks say what they would do, and nothing beyond the person is said to be his."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from diagnose.__main__ import main
from diagnose.advise import advise
from diagnose.ask import ask
from diagnose.case import Case
from diagnose.case_check import checked, read_case_file
from diagnose.text import why_text
from diagnose.why import LEAST_DIFFERENCE, why
from diagnose.work import prepare, reason
from knowledge.load import Knowledge, load_knowledge
from shared.errors import ChillerError

EXAMPLES = Path(__file__).parents[1] / "examples"


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="module")
def case(base: Knowledge) -> Case:
    return checked(read_case_file(EXAMPLES / "low-suction.yaml"), base)


@pytest.mark.parametrize("cause", ["strainer-clogged", "nothing-wrong"])
def test_the_odds_are_those_of_the_joint_belief(cause: str, case: Case, base: Knowledge) -> None:
    """The parts add up to the odds of one alone against the other alone, instruments honest, read off the posterior."""
    told = why(case, base, cause)
    network, _, belief = reason(prepare(case, base))

    def alone(name: str, place: str) -> float:
        number = 0
        for n, one in enumerate(network.instances, 1):
            if one.cause == name and place in (one.place.id, one.place.kind if one.place.folded else ""):
                number = n
        row = np.flatnonzero((belief.over.first == number) & (belief.over.second == 0))[0]
        return float(belief.joint[0, row])

    want = math.log10(
        alone(told.suspect.cause, told.suspect.place) / alone(told.against_whom.cause, told.against_whom.place)
    )
    assert told.odds == pytest.approx(want, abs=2e-3)
    weights = [abs(r.weight) for r in told.difference]
    assert weights == sorted(weights, reverse=True) and min(weights, default=1.0) >= LEAST_DIFFERENCE


def test_a_lying_instrument_has_its_odds_too(case: Case, base: Knowledge) -> None:
    """The instrument lies and nothing else is wrong, against the leader with honest instruments."""
    suspect = next(s for s in advise(case, base).suspects if s.kind == "instrument")
    told = why(case, base, suspect.cause)
    _, _, belief = reason(prepare(case, base))
    liar = belief.names.index(suspect.cause.removeprefix("instrument:"))
    leader = int(np.argmax(belief.causes())) + 1
    row = np.flatnonzero((belief.over.first == leader) & (belief.over.second == 0))[0]
    assert told.odds == pytest.approx(math.log10(belief.joint[liar, 0] / belief.joint[0, row]), abs=2e-3)


def test_the_leader_is_set_against_the_next(case: Case, base: Knowledge) -> None:
    first, second = advise(case, base).suspects[:2]
    told = why(case, base, first.cause, first.place)
    assert told.rank == 1
    assert (told.against_whom.cause, told.against_whom.place) == (second.cause, second.place)
    assert (told.suspect.probability, told.for_) == (first.probability, first.for_)


def test_plain_words_name_a_cause_or_an_instrument(case: Case, base: Knowledge) -> None:
    assert why(case, base, "clogged strainer").suspect.cause == "strainer-clogged"
    assert why(case, base, "suction gauge reads low").suspect.cause.startswith("instrument:")
    with pytest.raises(ChillerError, match="no such cause"):
        why(case, base, "xyzzy")
    with pytest.raises(ChillerError, match="not possible there"):
        why(case, base, "refrigerant-leak", "pump:onboard")


def test_a_look_raises_as_far_as_it_says(case: Case, base: Knowledge) -> None:
    """The best look for a leak: its answer entered gives the chance that was told."""
    told = why(case, base, "refrigerant-leak")
    best = told.raises[0]
    check = base.checks[best.check]
    answer = next(i for i, a in check.answers.items() if a.text.rstrip(".") in best.answer)
    entry = {"check": best.check, "answer": answer, "place": best.place, "sure": check.usually}
    after = Case.model_validate({**case.model_dump(), "entries": [*case.model_dump()["entries"], entry]})
    mine = next(
        s for s in advise(after, base).suspects if s.cause == "refrigerant-leak" and s.place == told.suspect.place
    )
    assert mine.probability == pytest.approx(best.probability, abs=1e-6)
    assert best.probability > told.suspect.probability


def test_context_and_complaint_are_told(case: Case, base: Knowledge) -> None:
    told = why(case, base, "refrigerant-leak")
    assert base.contexts["running-site"].title in told.common
    assert why(case, base, "phases-reversed").reported.startswith("not listed")


def test_nothing_is_offered_once_the_call_stops(base: Knowledge) -> None:
    stopped = checked(read_case_file(EXAMPLES / "burnt-smell.yaml"), base)
    told = why(stopped, base, "pump-jammed")
    assert told.stopped and not told.raises
    assert "has to stop" in why_text(told)


def test_what_a_customer_may_not_do_is_said_to_be_for_others(base: Knowledge) -> None:
    """Every look beyond the person is marked, with who may."""
    case = Case.model_validate({"complaint": "low-suction", "role": "customer"})
    for cause in ("strainer-clogged",):
        told = why(case, base, cause)
        for one in told.raises:
            assert one.may == (base.checks[one.check].who != "technician")
            if not one.may:
                assert f"not by the person there; for {one.who}" in " ".join(why_text(told).split())


def test_the_command_prints_words_percent_or_json(capsys: pytest.CaptureFixture[str]) -> None:
    path = str(EXAMPLES / "signs-only.yaml")
    assert main(["why", path, "refrigerant-leak"]) == 0
    words = capsys.readouterr().out
    assert "in 10" in words and "%" not in words.replace("°F", "")
    assert max(len(line) for line in words.splitlines()) <= 100
    assert main(["why", path, "low", "charge", "--percent"]) == 0
    assert "%" in capsys.readouterr().out
    assert main(["why", path, "refrigerant-leak", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["suspect"]["cause"] == "refrigerant-leak"
    assert main(["why", path, "xyzzy"]) == 2
    assert "no such cause" in capsys.readouterr().err


def test_why_can_be_asked_within_a_call(base: Knowledge, capsys: pytest.CaptureFixture[str]) -> None:
    """Plain words that fit two causes mean the likelier one; words that fit none get one line, and the call goes on."""
    lines = iter(["why low charge", "why xyzzy", "quit"])
    assert ask(base, EXAMPLES / "signs-only.yaml", None, lambda _: next(lines)) == 0
    out = capsys.readouterr().out
    assert base.causes["refrigerant-leak"].title in out.split("how common")[0]
    assert "no such cause" in out and "/10" not in out
