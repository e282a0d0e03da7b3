"""What never changes a belief, what settles it, and that nothing jumps where a reading crosses a limit."""

from __future__ import annotations

import dataclasses
import random
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.advise import advise
from diagnose.belief import Inference
from diagnose.case import Case, Machine
from diagnose.case_check import checked, read_case_file
from diagnose.grade import HONEST, band_rows, word_probabilities
from diagnose.network import Network
from diagnose.prove.networks import UNIT, random_evidence, tiny_knowledge
from diagnose.work import prepare, reason
from knowledge.load import Knowledge, load_knowledge

EXACT = 1e-9  # the same sum in another order
EXAMPLE = Path(__file__).parents[1] / "examples" / "low-suction-drier.yaml"
SAMPLE = settings(
    max_examples=8, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)
MACHINE: dict[str, Any] = {
    "refrigerant": "R-410A",
    "fluid": "water",
    "voltage": "460 V",
    "frequency": "60 Hz",
    "circuits": {"A": {"compressors": ["A1"], "fans": ["1"]}, "B": {"compressors": ["B1"], "fans": ["2"]}},
    "design_flow": "96 gpm",
    "design_drop": "6.5 psi",
    "set_point": "44 F",
    "design_entering": "54 F",
    "pump_shutoff_rise": "48 psi",
    "pump_design_rise": "36 psi",
}
READINGS = [
    {"quantity": "suction_pressure", "value": "96 psig", "place": "circuit:A"},
    {"quantity": "suction_line", "value": "49 F", "place": "circuit:A"},
    {"quantity": "liquid_pressure", "value": "340 psig", "place": "circuit:A"},
    {"quantity": "liquid_line", "value": "95 F", "place": "circuit:A"},
    {"quantity": "evaporator_drop", "value": "4.4 psi"},
    {"quantity": "leaving_fluid", "value": "45 F"},
]


@lru_cache(maxsize=1)
def base() -> Knowledge:
    return load_knowledge()


def case_of(entries: list[dict[str, Any]], complaint: str = "low-suction", **more: Any) -> Case:
    fixed = {
        "complaint": complaint,
        "role": "technician",
        "qualified": ["electrical", "refrigerant"],
        "machine": MACHINE,
    }
    return Case.model_validate(fixed | more | {"entries": entries})


def believed(case: Case, knowledge: Knowledge) -> dict[tuple[str, str], float]:
    """Every cause at its place, nothing wrong, every lying instrument, and how likely."""
    network, _, belief = reason(prepare(case, knowledge))
    out = {(i.cause, i.place.id): float(p) for i, p in zip(network.instances, belief.causes(), strict=True)}
    return out | {("nothing", ""): belief.nothing()} | {("mode", m): p for m, p in belief.modes().items()}


def furthest(one: dict[Any, float], other: dict[Any, float]) -> float:
    assert set(one) == set(other)
    return max(abs(one[k] - other[k]) for k in one)


def answers() -> st.SearchStrategy[list[dict[str, Any]]]:
    """A few answers of checks at the unit, each check once."""
    pairs = [
        {"check": c.id, "answer": a}
        for c in base().checks.values()
        for a in c.answers
        if c.place in ("unit", "supply") and not c.safety and c.system in ("fluid", "pump", "low-side", "supply")
    ]
    return st.lists(st.sampled_from(pairs), min_size=2, max_size=6, unique_by=lambda e: str(e["check"]))


@SAMPLE
@given(said=answers(), seed=st.integers(0, 999))
def test_the_order_of_entries_changes_nothing(said: list[dict[str, Any]], seed: int) -> None:
    """Readings and answers in any order, rules, derived findings and lying instruments included."""
    entries = [*said, *READINGS]
    mixed = random.Random(seed).sample(entries, len(entries))
    assert furthest(believed(case_of(entries), base()), believed(case_of(mixed), base())) < EXACT


@SAMPLE
@given(said=answers())
def test_what_says_nothing_changes_nothing(said: list[dict[str, Any]]) -> None:
    """Notes, looks that told nothing and figures of the last visit weigh nothing."""
    silent = next(c.id for c in base().checks.values() if c.place == "unit" and c.id not in {e["check"] for e in said})
    idle = [
        {"note": "it rained on Tuesday"},
        {"check": silent, "answer": "cannot-tell"},
        {"quantity": "evaporator_drop", "value": "9 psi", "source": "last-visit"},
    ]
    entries = [*READINGS[:4], *said]
    assert furthest(believed(case_of(entries), base()), believed(case_of([*entries, *idle]), base())) < EXACT


@SAMPLE
@given(seed=st.integers(0, 10_000))
def test_an_unrelated_or_even_finding_changes_nothing(seed: int) -> None:
    """On random networks: a finding equally likely in all its words, and one that hangs on nothing any cause touches."""
    knowledge = tiny_knowledge(seed)
    network = Network(knowledge, UNIT, (), {})
    told = random_evidence(network, seed, count=3)
    card = next(f for f in knowledge.findings.values() if f.id not in told)
    lonely = card.model_copy(update={"id": "lonely", "effect": None, "given": {}})
    knowledge = dataclasses.replace(knowledge, findings={**knowledge.findings, "lonely": lonely}, memo={})
    network = Network(knowledge, UNIT, (), {})
    size = len(card.ordered or card.words)

    def posterior(more: dict[str, list[float]]) -> Any:
        keys = {(k, "unit"): np.array(v) for k, v in {**told, **more}.items()}
        return Inference(network, keys, {}, {}, {HONEST: 1.0}).posterior().hypotheses()

    uneven = [0.9] + [0.1] * (size - 1)
    for more in ({card.id: [0.4] * size}, {"lonely": uneven}):
        assert np.abs(posterior({}) - posterior(more)).max() < EXACT


def renamed(knowledge: Knowledge) -> Knowledge:
    """The same base with all causes under other ids, in the opposite order."""
    new = {name: f"z-{len(knowledge.causes) - n:04d}" for n, name in enumerate(knowledge.causes)}
    causes = {
        new[name]: card.model_copy(update={"id": new[name], "inseparable": tuple(new[i] for i in card.inseparable)})
        for name, card in reversed(knowledge.causes.items())
    }
    rules = {
        name: rule.model_copy(update={"then": rule.then.model_copy(update={"cause": new[rule.then.cause]})})
        if rule.then.cause
        else rule
        for name, rule in knowledge.rules.items()
    }
    return dataclasses.replace(knowledge, causes=causes, rules=rules, digest="renamed", memo={"names": new})


def test_names_of_cards_change_nothing() -> None:
    """Other cause ids, sorted the other way round: the same belief, proofs included."""
    case = case_of(
        [*READINGS, {"check": "strainer-pull", "answer": "dirty"}, {"finding": "strainer-drop", "word": "high"}]
    )
    other = renamed(base())
    names = {new: old for old, new in other.memo["names"].items()}
    got = {(names.get(cause, cause), place): p for (cause, place), p in believed(case, other).items()}
    assert furthest(believed(case, base()), got) < EXACT


def test_names_of_places_change_nothing() -> None:
    """Circuits A and B called 2 and 1: what is believed of a circuit goes with it."""
    other = MACHINE | {
        "circuits": {"2": {"compressors": ["2x"], "fans": ["f1"]}, "1": {"compressors": ["1x"], "fans": ["f2"]}}
    }
    moved = [{**e, **({"place": "circuit:2"} if "place" in e else {})} for e in READINGS]
    first, second = believed(case_of(READINGS), base()), believed(case_of(moved, machine=other), base())

    def places(one: dict[tuple[str, str], float], circuit: str) -> dict[tuple[str, str], float]:
        kept = {(c, p.replace(f"circuit:{circuit}", "circuit:X")): q for (c, p), q in one.items() if c != "mode"}
        return {k: q for k, q in kept.items() if k[1] in ("unit", "supply", "circuit:X", "")}

    assert furthest(places(first, "A"), places(second, "2")) < EXACT
    modes = [sorted(q for (c, _), q in one.items() if c == "mode") for one in (first, second)]
    assert np.abs(np.array(modes[0]) - np.array(modes[1])).max() < EXACT


CONCLUSIVE = sorted(r.id for r in base().rules.values() if r.kind == "conclusive")


@pytest.mark.parametrize("name", CONCLUSIVE)
def test_what_is_proved_is_believed_or_the_contradiction_said(name: str) -> None:
    """At least 0.99, or at most 0.01 where it is ruled out; else something contradicts it, and the advice says so."""
    rule = base().rules[name]
    card = base().causes[rule.then.cause or ""]
    strength = base().words.strength
    complaint = max(card.complaints, key=lambda c: strength[card.complaints[c]])
    entries = []
    for key, word in rule.fires_on[0].findings.items():
        finding, _, circuit = key.partition("@")
        kind = base().findings[finding].place
        where = f"circuit:{circuit or 'A'}" if kind == "circuit" else ""
        entries.append({"finding": finding, "word": word.split()[0], **({"place": where} if where else {})})
    told = {name.replace("-", "_"): word for name, word in rule.fires_on[0].facts.items()}
    machine = MACHINE | {name: word for name, word in told.items() if name in Machine.model_fields}
    case = case_of(entries, complaint, machine=machine)
    spoken = {key.partition("@")[2] or "A" for key in rule.fires_on[0].findings if "@" in key} or {"A"}
    spoken |= (
        set() if any("place" in e for e in entries) else {"*"}
    )  # nothing was told of one circuit: of each it is so
    elsewhere = {one.id for one in prepare(case, base()).places.values() if one.circuit not in ("", *spoken)}
    p = max(q for (cause, place), q in believed(case, base()).items() if cause == card.id and place not in elsewhere)
    if (p >= 0.99) if rule.then.holds else (p <= 0.01):
        return
    advice = advise(case, base())
    assert advice.contradictions or any("mistake" in d or "rests on" in d for d in advice.doubts), f"{card.id}: {p:.3f}"


# nothing jumps at a limit ------------------------------------------------------------------------------------------------

BANDS = [row for rows in band_rows(base()).values() for row in rows]


@pytest.mark.parametrize("row", BANDS, ids=lambda r: r.card.id)
def test_words_change_smoothly_over_every_limit(row: Any) -> None:
    """A value moved by a twentieth of the softness changes no word by more than a fortieth (a normal density's steepest)."""
    step = row.soft / 20.0
    for limit in row.limits:
        values = limit + step * np.arange(-60, 61)
        words = np.array([word_probabilities(v, row.soft, row.limits) for v in values])
        assert np.abs(np.diff(words, axis=0)).max() <= 0.4 * step / row.soft + 1e-9
        assert words.sum(axis=1) == pytest.approx(1.0)


SWEEPS = {
    "suction_line": ("circuit:A", [f"{44 + 0.5 * n} F" for n in range(0, 30, 2)]),  # superheat 10 to 24 F over 18
    "liquid_line": ("circuit:A", [f"{80 + 0.75 * n} F" for n in range(0, 32, 2)]),  # subcooling 25 to 1 F
    "evaporator_drop": ("", [f"{2.6 + 0.2 * n:.1f} psi" for n in range(16)]),  # flow 0.6 to 0.95 of design
}


@pytest.mark.parametrize("quantity", sorted(SWEEPS))
def test_belief_and_verdict_follow_a_reading_without_a_jump(quantity: str) -> None:
    """A reading moved in small steps over its limits. Belief moves in small steps too; the leader changes only where two are
    about as likely; a verdict comes and goes only where the belief it needs does."""
    place, values = SWEEPS[quantity]
    kept = [e for e in READINGS if e["quantity"] != quantity]
    before: dict[Any, float] | None = None
    for value in values:
        entry = {"quantity": quantity, "value": value, **({"place": place} if place else {})}
        now = believed(case_of([*kept, entry]), base())
        if before is not None:
            assert furthest(before, now) <= 0.25, f"{quantity} {value}"
            first, last = max(before, key=lambda k: before[k]), max(now, key=lambda k: now[k])
            if first != last:
                assert abs(before[first] - before[last]) <= 0.25 and abs(now[first] - now[last]) <= 0.25
        before = now


def test_verdicts_keep_to_their_thresholds_as_a_reading_moves() -> None:
    """The drop across the drier from 0 to 8 F: a verdict stands only on its probability, and once it stands it stays."""
    table = base().words.verdict
    case = checked(read_case_file(EXAMPLE), base())
    kept = [e for e in case.entries if e.quantity != "drier_out"]
    before = next(e for e in case.entries if e.quantity == "drier_in")
    stood = False
    for drop in np.arange(0.0, 8.1, 0.8):
        after = before.model_copy(update={"quantity": "drier_out", "value": f"{83 - drop:.1f} F"})
        advice = advise(case.model_copy(update={"entries": (*kept, after)}), base())
        lead, verdict = advice.suspects[0], advice.verdict
        held = verdict is not None and verdict.kind == "one-cause"
        if verdict is not None and held:
            assert verdict.causes == (lead.cause,)
            assert lead.probability >= table["one-cause-quick"]
        assert held or not stood, f"the verdict is gone again at {drop:.1f} F"
        stood = held
    assert stood
