"""Random valid cases built from whatever cards are loaded: what holds for every advice, whoever asks and whatever was said.

Everything a case may say is drawn from the base itself (complaints, answers, words, remedies, quantities) and from places the
drawn machine has, so that a new card takes part without a change here. Random answers seldom agree; `signs_of` makes the other
kind of case, in which a cause shows all its strongest signs, so that verdicts and their remedies are tested too.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from functools import lru_cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.advice import Advice, Step
from diagnose.advise import advise
from diagnose.case import Case, Machine
from diagnose.case_check import checked, parse_case
from diagnose.choices import place_choices
from knowledge.facts import STOP_WORDS
from knowledge.load import Knowledge, load_knowledge
from knowledge.models import Specimen
from shared.quantities import QUANTITIES
from shared.units import SHOWN, to_unit

# hazards of walking and looking, told as cautions to whoever walks there; all others are hazards of the machine
WALKING = {"none", "slip", "traffic"}
SAMPLE = settings(
    max_examples=40, deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow]
)
EVERY_SO_MANY = 9  # of the causes, for the directed cases: a fixed sample of about two dozen


@lru_cache(maxsize=1)
def base() -> Knowledge:
    """The shipped cards."""
    return load_knowledge()


REFRIGERANTS = ("R-410A", "R-134a", "R-407C", "R-32", "R-454B", "R-513A", "R-22")
TOPOLOGIES: tuple[dict[str, Any], ...] = (
    {},
    {"circuits": "1"},
    {"circuits": "2", "compressors": "4", "fans": "6"},
    {"circuits": "2", "compressors": "3"},
    {"circuits": "4"},
    {"circuits": {"A": {"compressors": ["A1", "A2"], "fans": ["1", "2"]}, "B": {"compressors": ["B1"], "fans": ["3"]}}},
    {"circuits": {"1": {"compressors": ["1a", "1b"]}, "2": {"compressors": ["2a", "2b"]}}},
)
CARD_VALUES: dict[str, tuple[str, ...]] = {
    "capacity": ("40 tons", "210 kW"),
    "voltage": ("460 V", "400 V", "208 V"),
    "frequency": ("60 Hz", "50 Hz"),
    "altitude": ("0 m", "5200 ft", "-100 m"),
    "tank_at": ("unit-suction", "load", "discharge", "unknown"),
    "expansion": ("thermostatic", "electronic", "orifice"),
    "coil": ("tube-fin", "microchannel"),
    "supply": ("generator", "utility"),
    "pump_in_use": ("onboard", "site"),
    "pump_drive": ("yes", "no"),
    "receiver": ("yes", "no"),
    "design_flow": ("96 gpm", "9 L/s"),
    "design_drop": ("6.5 psi", "45 kPa"),
    "strainer_clean_drop": ("1.1 psi",),
    "pump_shutoff_rise": ("48 psi",),
    "pump_design_rise": ("36 psi",),
    "pump_plate_current": ("7.6 A",),
    "compressor_plate_current": ("24 A",),
    "set_point": ("44 F", "7 °C"),
    "design_entering": ("54 F", "12,5 °C"),
    "low_pressure_cutout": ("80 psig",),
    "high_pressure_cutout": ("600 psig",),
}


@st.composite
def machines(draw: st.DrawFn) -> dict[str, Any]:
    """A machine card with any part of it told."""
    card: dict[str, Any] = dict(draw(st.sampled_from(TOPOLOGIES)))
    for key in draw(st.lists(st.sampled_from(sorted(CARD_VALUES)), unique=True, max_size=12)):
        card[key] = draw(st.sampled_from(CARD_VALUES[key]))
    if draw(st.booleans()):
        card["refrigerant"] = draw(st.sampled_from(REFRIGERANTS))
    if draw(st.booleans()):
        card["fluid"] = draw(st.sampled_from(("water", "propylene-glycol", "ethylene-glycol")))
        if card["fluid"] != "water":
            card["glycol_percent"] = draw(st.sampled_from(("20 %", "35 %")))
    return card


def written(quantity: str, share: float) -> str:
    """A value of a quantity as typed; share: where between its limits, 0 to 1."""
    what = QUANTITIES[quantity]
    unit = SHOWN[what.kind][0]
    number = to_unit(what.low + share * (what.high - what.low), what.kind, unit)
    return f"{number:.5f} {unit}" if unit != "1" else f"{number:.5f}"


@st.composite
def entries(draw: st.DrawFn, machine: Machine) -> dict[str, Any]:
    """One entry of any sort at a place this machine has."""
    knowledge = base()
    sort = draw(st.sampled_from(("check", "check", "check", "quantity", "quantity", "finding", "action", "note")))
    entry: dict[str, Any] = {"sure": draw(st.sampled_from(("sure", "think-so", "guess")))}
    kind = "unit"
    if sort == "check":
        check = knowledge.checks[draw(st.sampled_from(sorted(knowledge.checks)))]
        entry |= {"check": check.id, "answer": draw(st.sampled_from([*check.answers, "cannot-tell"]))}
        kind = check.place
    elif sort == "quantity":
        name = draw(st.sampled_from(sorted(QUANTITIES)))
        shares = st.floats(0.01, 0.99)
        phases = QUANTITIES[name].phases and draw(st.booleans())
        entry |= {
            "quantity": name,
            "value": [written(name, draw(shares)) for _ in range(3)] if phases else written(name, draw(shares)),
            "source": draw(st.sampled_from(("today", "today", "today", "card", "last-visit", "shift-log"))),
            "condition": draw(st.sampled_from(("", "", "welders off"))),
            "instrument": draw(st.sampled_from(("", "", f"second for {QUANTITIES[name].kind}"))),
        }
        if draw(st.booleans()):
            entry["state"] = draw(st.sampled_from(("isolated", "standing", "powered", "pump-only", "cooling")))
            entry["steadiness"] = draw(st.sampled_from(("steady", "pull-down", "cycling", "starting")))
        kind = QUANTITIES[name].place
    elif sort == "finding":
        finding = knowledge.findings[draw(st.sampled_from(sorted(knowledge.findings)))]
        entry |= {"finding": finding.id, "word": draw(st.sampled_from(finding.ordered or finding.words))}
        kind = finding.place
    elif sort == "action":
        remedies = sorted({c.remedy.id for c in knowledge.causes.values()})
        setup = draw(st.one_of(st.none(), st.sampled_from(sorted(knowledge.setups))))
        entry |= {"action": setup or draw(st.sampled_from(remedies))}
        card = knowledge.setups.get(setup or "")
        entry["outcome"] = draw(st.sampled_from((*card.outcomes, "") if card else ("not-cured", "better", "cured")))
        kind = card.place if card else kind
    else:
        entry["note"] = draw(st.sampled_from(("smells burnt", "hissing near circuit A", "all quiet", "<b>hot</b>")))
    if draw(st.booleans()):
        entry["at"] = str(draw(st.integers(0, 400)))
    if sort != "note" and draw(st.booleans()):
        entry["place"] = draw(st.sampled_from(place_choices(machine, kind)))
    return entry


@st.composite
def cases(draw: st.DrawFn, role: str = "", most: int = 8) -> dict[str, Any]:
    """A case as read from a file: plain data. role: fixed, or drawn when empty."""
    knowledge = base()
    card = draw(machines())
    machine = Machine.model_validate(
        {k: int(v) if isinstance(v, str) and k in ("circuits", "compressors", "fans") else v for k, v in card.items()}
    )
    rows = draw(st.lists(entries(machine), max_size=most, unique_by=lambda e: str(sorted(e.items()))))
    return {
        "format": "1",
        "complaint": draw(st.sampled_from(sorted(knowledge.complaints))),
        "role": role or draw(st.sampled_from(("customer", "agent", "technician"))),
        "qualified": draw(st.lists(st.sampled_from(("electrical", "refrigerant", "height")), unique=True)),
        "context": draw(st.lists(st.sampled_from(sorted(knowledge.contexts)), unique=True, max_size=3)),
        "words": draw(st.sampled_from(("", "", "it smells burnt", "no smoke, nothing", "water all over the panel"))),
        "machine": card,
        "entries": rows,
    }


def signs_of(cause_id: str, role: str, qualified: tuple[str, ...] = (), most: int = 8) -> Case:
    """A call in which a cause shows its strongest signs, what a confirming look shows first, under its commonest complaint, on a
    machine with the kind of expansion valve that those signs need."""
    knowledge = base()
    strength = knowledge.words.strength
    cause = knowledge.causes[cause_id]
    signs: dict[str, tuple[float, str]] = {}
    valves = {valve for edge in cause.brings for valve in edge.when.get("expansion", ())}
    for edge in cause.brings:
        word = max(edge.gives, key=lambda w: strength[edge.gives[w]])
        told = strength[edge.gives[word]]
        if edge.finding:
            signs[edge.finding] = max(signs.get(edge.finding, (0.0, "")), (told, word))
        for finding in knowledge.findings.values():
            if finding.effect == edge.effect and word in finding.given:
                given = finding.given[word]
                shown = max(given, key=lambda w: strength[given[w]])
                signs.setdefault(finding.id, (told * strength[given[shown]], shown))
    looks = [knowledge.checks[c] for c in cause.confirm if c in knowledge.checks]
    sure = {name for look in looks for name in (look.finding, *look.tells)}
    strongest = sorted(signs.items(), key=lambda item: (-item[1][0], item[0]))
    confirms = [one for one in strongest if one[0] in sure][:1]
    strongest = [*confirms, *(one for one in strongest if one not in confirms)][:most]
    return checked(
        parse_case(
            {
                "complaint": max(cause.complaints, key=lambda c: strength[cause.complaints[c]]),
                "role": role,
                "qualified": qualified,
                "machine": {"expansion": valves.pop()} if len(valves) == 1 else {},
                "entries": [{"finding": name, "word": word} for name, (_, word) in strongest],
            }
        ),
        knowledge,
    )


# what always holds ---------------------------------------------------------------------------------------------------


def may(who: str, needs_qualified: Collection[str], role: str, qualified: Collection[str]) -> bool:
    """The gate as the contract words it, written again: role and qualification of the person AT THE MACHINE alone decide."""
    return (who != "technician" or role == "technician") and all(q in qualified for q in needs_qualified)


def within_gate(step: Step, case: Case) -> bool:
    """Whether this step may be offered to the person at the machine, by the card and not by what the step says of itself."""
    knowledge = base()
    if step.kind == "hand-over":
        return True
    if step.kind in ("observe", "reconfigure"):
        card = knowledge.checks[step.id]
        return (
            may(card.who, card.needs_qualified, case.role, case.qualified)
            and set(step.needs_qualified) == set(card.needs_qualified)
            and set(step.hazards) == set(card.hazards)
        )
    remedies = [c.remedy for c in knowledge.causes.values() if c.remedy.id == step.id]
    return all(may(r.who, r.needs_qualified, case.role, case.qualified) for r in remedies)


def check_advice(advice: Advice, case: Case) -> None:
    """What holds for every advice but the gate of remedies, which has tests of its own."""
    assert not [d for d in advice.doubts if "reasoning failed" in d], advice.doubts
    text = json.dumps(advice.model_dump(mode="json", by_alias=True), allow_nan=False)
    assert Advice.model_validate(json.loads(text)) == advice
    chances = [s.probability for s in advice.suspects]
    assert chances == sorted(chances, reverse=True) and all(0.0 <= p <= 1.0 for p in chances)
    assert all(0.0 <= c.probability <= 1.0 for s in advice.next for c in s.answers)
    assert all(s.minutes >= 0 and s.expected_cost_minutes >= 0 for s in advice.next)
    assert advice.next, "nothing to do next"
    known = set(base().causes) | {"nothing-wrong"}
    assert {s.cause for s in advice.suspects if s.kind != "instrument"} <= known
    assert all(within_gate(s, case) for s in advice.next if s.kind in ("observe", "reconfigure"))
    if case.role != "technician":
        looks = [s for s in advice.next if s.kind in ("observe", "reconfigure")]
        assert not [s.id for s in looks if set(s.hazards) - WALKING or s.needs_qualified or s.kind == "reconfigure"]
    assert not forbidden(advice, [f.rule for f in advice.fired])
    if advice.stop is not None:
        check_stop(advice)


def check_stop(advice: Advice) -> None:
    """A stop says what to do; one that ends leaves nothing to do but to hand over."""
    stop = advice.stop
    assert stop is not None and stop.reason and stop.make_safe and stop.hand_over_to
    if stop.ends:
        assert [s.kind for s in advice.next] == ["hand-over"]
        assert advice.verdict is not None and advice.verdict.kind == "hand-over"


def forbidden(advice: Advice, rules: Collection[str]) -> list[str]:
    """Steps of an advice that these rules forbid, by hazard or by the state they need."""
    cards = [base().rules[r].then for r in rules]
    hazards = {h for then in cards for h in then.forbid_hazards}
    states = {s for then in cards for s in then.forbid_states}
    return [s.id for s in advice.next if set(s.hazards) & hazards or s.state in states]


@SAMPLE
@given(cases())
def test_every_advice(data: dict[str, Any]) -> None:
    """Any valid case: an advice of finite numbers within the role's gate, the same twice."""
    case = checked(parse_case(data), base())
    advice = advise(case, base())
    check_advice(advice, case)
    assert advise(case, base()) == advice


@SAMPLE
@given(cases(role="customer"))
def test_every_advice_to_a_customer(data: dict[str, Any]) -> None:
    """A customer is never asked for what has a hazard of the machine or needs a qualification, whatever was answered."""
    case = checked(parse_case(data), base())
    check_advice(advise(case, base()), case)


@SAMPLE
@given(cases(role="technician", most=4))
def test_without_rules_the_gate_holds(data: dict[str, Any]) -> None:
    """With the rule stage off the cards alone keep the gate."""
    case = checked(parse_case(data), base())
    advice = advise(case, base(), rules=False)
    assert all(within_gate(s, case) for s in advice.next if s.kind in ("observe", "reconfigure"))
    assert not advice.fired and advice.stop is None


PEOPLE_STOPS = sorted(r.id for r in base().rules.values() if r.kind == "stop" and r.then.protects == "people")


def raised_by(specimen: Specimen, role: str, complaint: str = "", qualified: str = "no") -> Case | None:
    """A case that holds what a specimen says; None where a fact of it is not of a case's making.

    complaint, qualified: taken where the specimen leaves them open.
    """
    facts = dict(specimen.facts)
    told = [(name.partition("@"), text.split()[0]) for name, text in specimen.findings.items()]
    data = {
        "complaint": facts.pop("complaint", complaint or next(iter(base().complaints))).split()[0],
        "words": ", ".join(STOP_WORDS[w][0] for w in facts.pop("said", "").split()),
        "qualified": [
            q for q in ("electrical", "refrigerant", "height") if facts.pop(f"qualified-{q}", qualified) == "yes"
        ],
        "role": facts.pop("role", role),
        "context": [c for c in base().contexts if facts.pop(f"context-{c}", "no") == "yes"],
        "entries": [
            {"finding": name.strip(), "word": word, "place": f"circuit:{at.strip()}" if at.strip() else ""}
            for (name, _, at), word in told
        ],
    }
    return None if facts else checked(parse_case(data), base())


@pytest.mark.parametrize("rule_id", PEOPLE_STOPS)
@pytest.mark.parametrize("role", ["customer", "technician"])
def test_people_stops_end_or_hold(rule_id: str, role: str) -> None:
    """Every stop that protects people, raised by its own specimens: it stops, says how to make safe, and ends or holds."""
    cases = [c for s in base().rules[rule_id].fires_on if (c := raised_by(s, role)) is not None]
    assert cases
    for case in cases:
        advice = advise(case, base())
        assert rule_id in [f.rule for f in advice.fired]
        assert advice.stop is not None and advice.stop.protects == "people"
        assert advice.stop.ends or not base().rules[rule_id].then.ends
        assert base().rules[rule_id].then.make_safe in advice.stop.make_safe
        check_advice(advice, case)


FORBIDDING = sorted(r.id for r in base().rules.values() if r.then.forbid_hazards or r.then.forbid_states)


def test_what_a_rule_forbids_is_not_offered() -> None:
    """Gates, hold points and stops, raised for a fully qualified technician, each under every second complaint: no step they forbid
    is offered. With the rule stage off most of these rules would be missed, so it is they that keep the steps back."""
    missed = set()
    for number, rule_id in enumerate(FORBIDDING):
        for complaint in sorted(base().complaints)[number % 2 :: 2]:
            for specimen in base().rules[rule_id].fires_on:
                case = raised_by(specimen, "technician", complaint, "yes")
                advice = advise(case, base()) if case else None
                if case is None or advice is None or rule_id not in [f.rule for f in advice.fired]:
                    continue
                assert not forbidden(advice, [rule_id]), (rule_id, complaint)
                if rule_id not in missed and forbidden(advise(case, base(), rules=False), [rule_id]):
                    missed.add(rule_id)
    assert len(missed) >= len(FORBIDDING) / 2


# directed cases ------------------------------------------------------------------------------------------------------

SOME_CAUSES = sorted(base().causes)[::EVERY_SO_MANY]


@pytest.mark.parametrize("cause_id", SOME_CAUSES)
def test_strong_signs_lead_to_their_cause(cause_id: str) -> None:
    """A cause that shows its strongest signs is among the first three, whoever is at the machine; the advice holds."""
    for role, qualified in (("customer", ()), ("technician", ("electrical", "refrigerant", "height"))):
        case = signs_of(cause_id, role, qualified)
        advice = advise(case, base())
        check_advice(advice, case)
        assert (advice.stop is not None and advice.stop.ends) or cause_id in [s.cause for s in advice.suspects[:3]]


def test_remedies_stay_within_the_gate() -> None:
    """No verdict offers a remedy as a step to a person who may not do it, and every such step tells its hazards."""
    beyond = []
    for cause_id in SOME_CAUSES:
        for role in ("customer", "technician"):
            case = signs_of(cause_id, role)
            beyond += [(cause_id, role, s.id) for s in advise(case, base()).next if not within_gate(s, case)]
    assert not beyond


def test_one_instrument_that_reads_two_kinds() -> None:
    """A meter named for volts and for temperatures is one name for two kinds of reading, not an error."""
    rows = [
        {"quantity": "strainer_drop", "value": "3 psi", "instrument": "site meter"},
        {"quantity": "entering_fluid", "value": "54 F", "instrument": "site meter"},
        {"quantity": "line_voltage", "value": "460 V", "instrument": "site meter"},
        {"quantity": "pump_suction", "value": "12 psig", "instrument": "site meter"},
    ]
    for order in (rows, rows[::-1]):
        case = checked(parse_case({"complaint": "strainer-suspected", "entries": order}), base())
        check_advice(advise(case, base()), case)
