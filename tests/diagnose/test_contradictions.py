"""Readings that cannot all be true: belief moves to the instrument or the person, and the look that settles it comes first.

The healthy machine of these calls evaporates at 40 F for fluid leaving at 44 F and condenses 20 F over its air (common practice,
no source). Each contradiction changes one reading of it.
"""

from __future__ import annotations

from typing import Any

import pytest

from diagnose.advice import Advice
from diagnose.advise import advise
from diagnose.ask import _entry
from diagnose.bounds import BOUNDS
from diagnose.case import Case
from diagnose.draw import look_step
from diagnose.properties.saturation import t_bubble_k, t_dew_k
from diagnose.why import why
from diagnose.work import prepare, reason
from knowledge.load import Knowledge, load_knowledge
from shared.quantities import DERIVED

MACHINE: dict[str, Any] = {
    "refrigerant": "R-410A",
    "fluid": "water",
    "circuits": {"A": {"compressors": ["A1"], "fans": ["1", "2"]}},
    "design_flow": "96 gpm",
    "design_drop": "6.5 psi",
    "pump_plate_current": "7.6 A",
    "set_point": "44 F",
    "design_entering": "54 F",
    "pump_shutoff_rise": "48 psi",
    "pump_design_rise": "36 psi",
}
HEALTHY = {
    "suction_pressure": "118 psig",
    "suction_line": "50 F",
    "liquid_pressure": "340 psig",
    "liquid_line": "92 F",
    "entering_fluid": "54 F",
    "leaving_fluid": "44 F",
    "entering_air": "85 F",
    "evaporator_drop": "6.5 psi",
}
AT_CIRCUIT = ("suction_pressure", "suction_line", "liquid_pressure", "liquid_line")


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def reading(quantity: str, value: str, place: str = "", **more: str) -> dict[str, str]:
    where = place or ("circuit:A" if quantity in AT_CIRCUIT else "")
    return {"quantity": quantity, "value": value, **({"place": where} if where else {}), **more}


def case_of(entries: list[dict[str, str]], complaint: str = "is-this-normal") -> Case:
    case = {
        "complaint": complaint,
        "role": "technician",
        "qualified": ["electrical", "refrigerant"],
        "machine": MACHINE,
    }
    return Case.model_validate({**case, "entries": entries})


def told(base: Knowledge, entries: list[dict[str, str]], complaint: str = "is-this-normal") -> Advice:
    return advise(case_of(entries, complaint), base)


def running(**changed: str) -> list[dict[str, str]]:
    return [reading(q, v) for q, v in (HEALTHY | changed).items()]


def instruments(advice: Advice, *quantities: str) -> float:
    """How likely one of the instruments that read these is taken to lie."""
    return sum(
        s.probability for s in advice.suspects if s.kind == "instrument" and any(q in s.cause for q in quantities)
    )


def faults(advice: Advice) -> float:
    return max((s.probability for s in advice.suspects if s.kind == "fault"), default=0.0)


def looks(advice: Advice) -> list[str]:
    return [s.id for s in advice.next if s.kind == "observe"]


def test_the_healthy_machine_contradicts_nothing(base: Knowledge) -> None:
    advice = told(base, [*running(), reading("line_current", "6.0 A", "pump:onboard"), reading("flow", "96 gpm")])
    assert advice.contradictions == ()
    assert instruments(advice, *HEALTHY, "flow", "line_current") < 0.2


def test_liquid_warmer_than_condensing(base: Knowledge) -> None:
    """Liquid line 115 F, condensing 105 F: clamp or head gauge, and the looks at both come first."""
    advice = told(base, running(liquid_line="115 F"))
    assert any("warmer than the refrigerant condenses" in c for c in advice.contradictions)
    assert instruments(advice, "liquid_line", "liquid_pressure") > 0.8 and faults(advice) < 0.1
    weights = [r.weight for r in advice.suspects[0].for_]
    assert {r.finding for r in advice.suspects[0].for_} == {"contradiction", "subcooling"}
    assert weights == sorted(weights, reverse=True)
    assert looks(advice)[0] in ("probe-seat-look", "second-refrigerant-gauge", "gauge-scale-check")


def test_condensing_below_the_air(base: Knowledge) -> None:
    """Air 112 F, condensing 105 F: the air was not read where it enters."""
    advice = told(base, running(entering_air="112 F"))
    assert any("below the temperature of the air" in c for c in advice.contradictions)
    assert instruments(advice, "entering_air") > 0.8 and faults(advice) < 0.1
    assert looks(advice)[0] in ("air-figure-ask", "second-refrigerant-gauge", "probe-seat-look")
    assert advice.verdict is None, "nobody is blamed before the look that settles it"


def test_fluid_leaving_warmer_than_it_came(base: Knowledge) -> None:
    advice = told(base, running(entering_fluid="44 F", leaving_fluid="49 F"))
    assert any("leave warmer than it entered" in c for c in advice.contradictions)
    assert instruments(advice, "entering_fluid", "leaving_fluid") > 0.8 and faults(advice) < 0.1
    assert looks(advice)[0] in ("sensor-compare", "probe-seat-look")


def test_flow_by_curve_against_flow_by_meter(base: Knowledge) -> None:
    """The drop says 96 gpm, the meter 60, split and suction are right: the meter, by fault or by its setting."""
    advice = told(base, [*running(), reading("flow", "60 gpm")])
    assert any("tell different flows" in c for c in advice.contradictions)
    meter = sum(s.probability for s in advice.suspects if s.cause == "meter-wrong-for-fluid" or "flow-meter" in s.cause)
    assert meter > 0.8 and faults(advice) < 0.1
    assert looks(advice)[0] in ("meter-setup-look", "gauges-at-rest-compare")


def test_pump_amps_against_flow(base: Knowledge) -> None:
    """A quarter of the plate amps at full flow, drop and split: the clamp leads, and another sight of the flow comes first."""
    advice = told(base, [*running(), reading("line_current", "2.0 A", "pump:onboard")])
    assert any("far less than its plate" in c for c in advice.contradictions)
    assert advice.suspects[0].cause.startswith("instrument:ammeter") and faults(advice) < 0.1
    assert looks(advice)[0] in base.rules["low-amps-but-flow"].then.settle
    without = told(base, running())
    assert instruments(advice, "ammeter") > 10 * max(instruments(without, "ammeter"), 0.01)


def test_card_against_pressure_at_rest(base: Knowledge) -> None:
    """143 psig at 80 F belongs to another refrigerant than the card's: who read the scale or filled the card leads."""
    rest = [
        reading("suction_pressure", "143 psig", state="standing"),
        reading("liquid_pressure", "143 psig", state="standing"),
        reading("entering_air", "80 F", state="standing"),
    ]
    advice = told(base, rest)
    assert any("refrigerant of the card" in c for c in advice.contradictions)
    assert advice.suspects[0].cause == "wrong-scale-or-unit"
    assert looks(advice)[0] in base.rules["rest-pressure-off-card"].then.settle
    right = [{**e, "value": "236 psig"} if "pressure" in e["quantity"] else e for e in rest]
    assert told(base, right).contradictions == ()


def test_a_comparison_speaks_for_or_against_the_instrument(base: Knowledge) -> None:
    """Two gauges that agree on the port speak against a lying gauge, gauges that differ for it."""
    weights = {}
    for answer in ("agree", "differ"):
        compared = {"check": "second-refrigerant-gauge", "answer": answer, "place": "circuit:A"}
        case = case_of([*running(liquid_line="115 F"), compared])
        gauge = why(case, base, "instrument:head-gauge:liquid_pressure@circuit:A|low")
        rows = {r.finding: r.weight for r in (*gauge.for_, *gauge.against)}
        weights[answer] = rows["refrigerant-gauge-compared"]
    assert weights["agree"] < -0.5 and weights["differ"] > 0.5


def test_a_mistaken_answer_is_said_to_be_in_doubt(base: Knowledge) -> None:
    """ "The pump does not turn", against drop, meter and amps."""
    entries = [
        {"check": "pump-look", "answer": "stopped", "who": "customer-says", "sure": "think-so"},
        reading("evaporator_drop", "6.5 psi"),
        reading("flow", "96 gpm"),
        reading("line_current", "6.0 A", "pump:onboard"),
    ]
    advice = told(base, entries, "no-flow")
    assert any("may be a mistake" in d and base.findings["pump-turning"].texts["stopped"] in d for d in advice.doubts)
    assert not any("may be a mistake" in d for d in told(base, entries[:1], "no-flow").doubts)


def test_a_proof_that_stands_alone_is_said_to_do_so(base: Knowledge) -> None:
    """A shaft stuck by hand proves a jam; with nothing else for it, it is to be read back, with the trip and hum it is not."""
    stuck = {"check": "pump-hand-turn", "answer": "stuck"}
    alone = told(base, [stuck, reading("evaporator_drop", "6.5 psi")], "pump-trip")
    assert alone.suspects[0].cause == "pump-jammed" and alone.suspects[0].probability >= 0.99
    assert any("rests on what was seen alone" in d for d in alone.doubts)
    hums = {"check": "pump-look", "answer": "hums"}
    amps = {"finding": "pump-current", "word": "high", "place": "pump:onboard"}
    backed = told(base, [stuck, hums, amps], "pump-trip")
    assert backed.suspects[0].cause == "pump-jammed"
    assert not any("rests on what was seen alone" in d for d in backed.doubts)


def test_what_somebody_only_thinks_proves_nothing(base: Knowledge) -> None:
    """The same answer, sure and fairly sure: the rule that proves speaks on the first alone."""
    proved = []
    for sure in ("sure", "think-so"):
        advice = told(base, [{"check": "pump-hand-turn", "answer": "stuck", "sure": sure}], "pump-trip")
        proved.append(any(f.kind == "conclusive" for f in advice.fired))
        assert advice.suspects[0].cause == "pump-jammed"
    assert proved == [True, False]


@pytest.mark.parametrize("bound", BOUNDS, ids=lambda b: b.quantity)
def test_every_bound_names_looks_that_exist(bound: Any, base: Knowledge) -> None:
    assert bound.quantity in DERIVED and bound.settle
    assert set(bound.settle) <= set(base.checks)


def test_the_display_and_a_gauge_are_two_instruments(base: Knowledge) -> None:
    """What is read off the display bears its name, circuit by circuit; far from the gauge it is told, some psi from it is not."""
    work = prepare(case_of([]), base)
    step = look_step(work, base.checks["suction-display-read"], "circuit:A", 1.0, "", {}, reason(work)[0])
    assert (
        step.instrument == "display"
        and step.instrument_at("circuit:B") == "display B"
        and step.instrument_at("unit") == "display"
    )
    typed = _entry("liquid_pressure = 470 psig @ circuit:A", step)
    assert typed is not None and typed.instrument == "display A"
    assert (other := _entry("leaving_fluid = 44 F", step)) is not None and other.instrument == ""

    def both(shown: str) -> Advice:
        entry = typed.model_copy(update={"value": shown}).model_dump(exclude_defaults=True) if typed else {}
        return told(base, [entry, *running()])

    far = both("470 psig")
    assert [c for c in far.contradictions if "two instruments disagree" in c.lower()]
    assert instruments(far, "display A", "head-gauge:liquid_pressure") > 0.5
    assert both("352 psig").contradictions == (), "the head wanders while the fans come and go"


LEFT = [
    reading("suction_pressure", "78.4 psig", "circuit:B"), reading("suction_line", "45 F", "circuit:B"),
    reading("liquid_pressure", "332 psig", "circuit:B"), reading("liquid_line", "101 F", "circuit:B"),
    reading("suction_pressure", "95.0 psig", "circuit:A"), reading("suction_line", "37 F", "circuit:A"),
    reading("liquid_pressure", "376 psig", "circuit:A"), reading("liquid_line", "99 F", "circuit:A"),
    reading("entering_fluid", "50.5 F"), reading("leaving_fluid", "42 F"), reading("entering_air", "88 F"),
    {"check": "sight-glass-look", "answer": "bubbles", "place": "circuit:B"},
    {"check": "low-pressure-timing-ask", "answer": "after-minutes", "place": "circuit:B"},
]  # fmt: skip


def test_a_verdict_says_what_it_does_not_explain(base: Knowledge) -> None:
    """One circuit leaks; the wide approach of the sound one is not its doing (there the glycol is too strong)."""
    machine = {"refrigerant": "R-410A", "fluid": "propylene-glycol", "glycol_percent": "25 %", "capacity": "70 ton", "circuits": 2,
               "design_flow": "168 gpm", "set_point": "42 F", "supply": "utility"}  # fmt: skip
    silent: list[dict[str, str]] = []
    for _ in range(12):
        entries = [*LEFT, *silent]
        advice = advise(
            Case.model_validate(
                {
                    "complaint": "low-suction",
                    "qualified": ["electrical", "refrigerant"],
                    "machine": machine,
                    "entries": entries,
                }
            ),
            base,
        )
        if advice.verdict is not None:
            break
        silent.append({"check": advice.next[0].id, "answer": "cannot-tell"})
    assert advice.verdict is not None and advice.verdict.causes == ("refrigerant-leak",)
    said = [d for d in advice.doubts if "does not explain this: wide evaporator approach" in d]
    assert said and "at circuit A" in said[0]


def test_the_inlet_of_a_blend_lies_between_bubble_and_dew_where_nobody_read_the_liquid(base: Knowledge) -> None:
    """R-407C at 4.2 bar: bubble -2.6 C, dew 3.6 C (the committed saturation tables, held against CoolProp elsewhere)."""
    case = Case.model_validate(
        {"complaint": "low-suction", "machine": {"refrigerant": "R-407C", "fluid": "water", "circuits": 1},
         "entries": [{"quantity": "suction_pressure", "value": "4.2 bar"}]}
    )  # fmt: skip
    values = prepare(case, base).derivation.values
    (inlet,) = [v for (name, _), v in values.items() if name == "evaporator_inlet"]
    suction = 4.2e5 + 101_325.0
    assert t_bubble_k("R-407C", suction) + 0.5 < inlet.value < t_dew_k("R-407C", suction) - 2.0
