"""When asking ends: nothing pays and nothing is worth asking any more. Limits are the table's."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.advise import advise
from diagnose.belief import Belief
from diagnose.case import Case
from diagnose.looks import candidates, gates_of
from diagnose.network import Network
from diagnose.plan import Candidate, Scored, bit_minutes, keep_worlds
from diagnose.suspects import likelihoods_by_cause
from diagnose.verdict import Lead, decide, lead_of, worth_asking
from diagnose.work import Work, prepare, reason
from knowledge.load import Knowledge, load_knowledge

QUALIFIED = ["electrical", "refrigerant", "height"]


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def call(*entries: dict[str, str], complaint: str = "noise-vibration") -> Case:
    """A technician's call on a machine of one circuit with two compressors."""
    machine = {"refrigerant": "R-410A", "circuits": {"A": {"compressors": ["A1", "A2"], "fans": ["1"]}}}
    return Case.model_validate(
        {"complaint": complaint, "role": "technician", "qualified": QUALIFIED, "machine": machine, "entries": entries}
    )


@pytest.fixture(scope="module")
def open_call(base: Knowledge) -> tuple[Work, Network, Belief, Lead]:
    work = prepare(call(complaint="warm-supply"), base)
    network, inference, belief = reason(work)
    return (
        work,
        network,
        belief,
        lead_of(work, network, inference, belief, likelihoods_by_cause(network, inference), belief),
    )


def a_look(base: Knowledge, bits: float, cost: float, *, settles: bool = False) -> Scored:
    """A look that pays nothing by itself."""
    one = Candidate(base.checks["ground-under-look"], "unit", cost, settles=settles)
    return Scored(one, 1000.0, bits)


def test_a_look_is_worth_its_minutes_by_what_a_bit_is_worth(base: Knowledge, open_call: tuple[Work, ...]) -> None:
    work = open_call[0]
    patience = base.words.verdict["patience"]
    assert worth_asking(work, a_look(base, 0.1, 3.0), bit=31.0 / patience)
    assert not worth_asking(work, a_look(base, 0.1, 3.0), bit=29.0 / patience)
    assert worth_asking(work, a_look(base, 0.0, 3.0, settles=True), bit=0.0)


def test_what_a_bit_is_worth_is_what_certainty_saves(base: Knowledge, open_call: tuple[Work, Network, Belief]) -> None:
    """The saving of certainty is at most the whole expected cost, and nothing where all is known."""
    worlds = keep_worlds(open_call[2], "technician", QUALIFIED)
    one = bit_minutes(worlds.p, worlds.acting, 300.0)
    assert 0.0 < one < 300.0
    assert bit_minutes(worlds.p[:1] / worlds.p[0], worlds_of_one(worlds.acting), 300.0) == 0.0


def worlds_of_one(acting: object) -> object:
    """Acting with its first world only."""
    return replace(acting, wrong=acting.wrong[:1], handed=acting.handed[:1])  # type: ignore[attr-defined, type-var]


def end(base: Knowledge, open_call: tuple[Work, Network, Belief, Lead], bit: float, **lead: object) -> str:
    """Kind of the verdict where one look is left that pays nothing by itself; "" while asking goes on."""
    work, network, belief, found = open_call
    top = next(n for n, i in enumerate(network.instances) if i.cause == "fan-motor-failed")
    shown = replace(found, top=top, unexplained=(), p_pair=0.0, p_same=0.0, p_liars=0.0, **lead)  # type: ignore[arg-type]
    verdict = decide(work, network, belief, shown, [a_look(base, 0.02, 6.0)], 200.0, bit, gates_of(work))
    return verdict.kind if verdict is not None else ""


def test_at_the_end_what_is_likelier_than_not_is_held(
    base: Knowledge, open_call: tuple[Work, Network, Belief, Lead]
) -> None:
    alone = {"p_instrument": 0.0, "p_normal": 0.1}
    assert end(base, open_call, 100.0, p_top=0.65, p_cause=0.65, **alone) == ""
    assert end(base, open_call, 1.0, p_top=0.65, p_cause=0.65, **alone) == "one-cause"
    assert end(base, open_call, 1.0, p_top=0.45, p_cause=0.45, **alone) == "cannot-tell"


@pytest.mark.parametrize(("complaint", "kind"), [("is-this-normal", "normal"), ("reset-repeatedly", "cannot-tell")])
def test_a_machine_that_trips_is_not_called_normal(base: Knowledge, complaint: str, kind: str) -> None:
    first = [{"check": c, "answer": "cannot-tell"} for c in base.complaints[complaint].first]
    work = prepare(call(*first, complaint=complaint), base)
    network, inference, belief = reason(work)
    found = lead_of(work, network, inference, belief, likelihoods_by_cause(network, inference), belief)
    made = (work, network, belief, found)
    assert end(base, made, 1.0, p_top=0.1, p_cause=0.1, p_instrument=0.0, p_normal=0.7) == kind


def test_nothing_is_sure_while_a_contradiction_may_be_settled(
    base: Knowledge, open_call: tuple[Work, Network, Belief, Lead]
) -> None:
    """However likely the leader: which of two readings is wrong is looked at first."""
    work, network, belief, found = open_call
    top = next(n for n, i in enumerate(network.instances) if i.cause == "non-condensable-gas")
    alone = {"p_instrument": 0.0, "p_normal": 0.0, "p_pair": 0.0, "p_same": 0.0, "p_liars": 0.0, "unexplained": ()}
    shown = replace(found, top=top, p_top=0.99, p_careful=0.99, p_cause=0.99, **alone)  # type: ignore[arg-type]
    for settles, kind in ((True, ""), (False, "one-cause")):
        look = a_look(base, 0.001, 6.0, settles=settles)
        verdict = decide(work, network, belief, shown, [look], 200.0, 1.0, gates_of(work))
        assert (verdict.kind if verdict is not None else "") == kind


def test_a_cause_at_several_places_is_one_cause(base: Knowledge, open_call: tuple[Work, Network, Belief, Lead]) -> None:
    work, network, belief, found = open_call
    at = [n for n, i in enumerate(network.instances) if i.cause == "compressor-contactor-coil-failed"]
    alone = {"p_instrument": 0.0, "p_normal": 0.0, "p_pair": 0.0, "p_same": 0.0, "p_liars": 0.0, "unexplained": ()}
    shown = replace(found, top=at[0], p_top=0.5, p_cause=0.9, elsewhere=tuple(at[1:]), **alone)  # type: ignore[arg-type]
    verdict = decide(work, network, belief, shown, [], 200.0, 1.0, gates_of(work))
    assert verdict is not None and verdict.kind == "one-cause"
    assert verdict.causes == ("compressor-contactor-coil-failed",)
    assert verdict.places[0].count(" or ") == min(len(at) - 1, 2)


def test_who_could_not_tell_it_here_will_hardly_tell_it_there(base: Knowledge) -> None:
    """The same look at the next compressor, and the next reading of a gauge that is not at hand."""

    def chance(case: Case, check: str) -> float:
        work = prepare(case, base)
        network, _, _ = reason(work)
        found = [c for c in candidates(work, network, gates_of(work), {check}) if c.check.id == check]
        return found[-1].chance

    table = base.words.verdict
    once, elsewhere = table["answer-chance-after-miss"], table["answer-chance-elsewhere"]
    one_missed = table["answer-chance-weight"] / (table["answer-chance-weight"] + 1)
    spoken = [{"quantity": "line_current", "value": "20 A", "place": f"compressor:{c}"} for c in ("A1", "A2")]
    asked = {"check": "compressor-listen", "answer": "cannot-tell", "place": "compressor:A1"}
    plain = chance(call(*spoken), "compressor-listen")
    assert chance(call(*spoken, asked), "compressor-listen") == pytest.approx(plain * one_missed * once * elsewhere)
    gauge = {"check": "suction-display-read", "answer": "cannot-tell", "place": "circuit:A"}
    plain = chance(call(), "head-display-read")
    assert chance(call(gauge), "head-display-read") == pytest.approx(plain * one_missed * elsewhere)
    put_on = chance(call(), "refrigerant-readings")
    assert chance(call(gauge), "refrigerant-readings") > put_on * elsewhere * 1.5, "a display is no gauge"
    given = {"quantity": "liquid_pressure", "value": "350 psi", "place": "circuit:A"}
    marked = {"check": "refrigerant-readings", "answer": "cannot-tell", "place": "circuit:A"}
    assert chance(call(given, marked), "sight-glass-look") > chance(call(given), "sight-glass-look"), "it was read"


def test_who_can_tell_nothing_is_let_go(base: Knowledge) -> None:
    """Every look answered "cannot tell": the call ends, says what would tell, asks it once more and hands over; no part is changed."""
    case = call()
    advice = advise(case, base)
    asked = 0
    while advice.verdict is None:
        look = next(s for s in advice.next if s.kind == "observe")
        entry = {"check": look.id, "answer": "cannot-tell", "place": look.place}
        case = call(*(e.model_dump(exclude_defaults=True) for e in case.entries), entry)
        advice = advise(case, base)
        asked += 1
        assert asked <= 15
    assert advice.verdict.kind == "cannot-tell" and advice.verdict.would_tell
    assert not [s for s in advice.next if s.kind == "repair"]
    again = [s.id for s in advice.next if s.kind == "observe" and s.id in {e.check for e in case.entries}]
    confirm = {c for name in advice.verdict.causes for c in base.causes[name].confirm}
    assert again and set(again) <= confirm
    assert advice.next[-1].kind == "hand-over"


@pytest.mark.parametrize(("complaint", "ends"), [("low-suction", False), ("warm-supply", True)])
def test_a_lying_probe_ends_no_call_about_a_trip_while_a_first_look_is_open(
    base: Knowledge, complaint: str, ends: bool
) -> None:
    """What tripped did not trip on a dial: its circuit is read all the same. A call about comfort may end there."""
    bare = {"check": "probe-seat-look", "answer": "loose-or-bare"}
    warm = ({"quantity": q, "value": f"{t} degF"} for q, t in (("suction_line", 63), ("entering_fluid", 54)))
    work = prepare(call(*warm, bare, complaint=complaint), base)
    network, inference, belief = reason(work)
    found = lead_of(work, network, inference, belief, likelihoods_by_cause(network, inference), belief)
    assert found.instrument.startswith("pipe-clamp")
    shown = replace(found, p_top=0.03, p_careful=0.03, p_cause=0.03, p_pair=0.0, p_same=0.0, p_instrument=0.9)
    first = next(c for c in base.complaints[complaint].first if c in base.checks)
    looks = [Scored(Candidate(base.checks[first], "unit", 6.0), 1000.0, 0.001)]

    def kind(useful: list[Scored]) -> str:
        verdict = decide(work, network, belief, shown, useful, 200.0, 1.0, gates_of(work))
        return verdict.causes[0].split(":")[0] if verdict is not None else ""

    assert kind(looks) == ("instrument" if ends else "")
    assert kind([]) == "instrument"
