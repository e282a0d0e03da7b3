"""The seam to experta: its known traps, measured shut."""

from __future__ import annotations

import dataclasses
import random
import subprocess
import sys
import threading

import pytest

from diagnose.rules_engine import Known, RuleBook, Seen, Spoke, rule_book
from diagnose.specimens import fires, specimen_facts
from knowledge.load import Knowledge, load_knowledge
from knowledge.models import Rule


def rule(
    name: str,
    when: list[dict[str, object]],
    unless: list[dict[str, object]] | None = None,
    place: str = "unit",
    kind: str = "contradiction",
) -> Rule:
    return Rule.model_validate(
        {
            "id": name,
            "title": name,
            "kind": kind,
            "place": place,
            "when": when,
            "unless": unless or [],
            "then": {},
            "because": "x",
            "wrong_when": "x",
            "fires_on": [{}],
            "quiet_on": [{}],
            "source": ["common-practice"],
        }
    )


def book(rules: list[Rule]) -> RuleBook:
    return RuleBook(dataclasses.replace(load_knowledge(), rules={r.id: r for r in rules}, memo={}))


def seen(finding: str, word: str, circuit: str = "", grade: str = "firm") -> Seen:
    return Seen(finding, f"circuit:{circuit}" if circuit else "unit", circuit, word, grade)


def test_fresh_interpreter_imports_it_and_leaves_collections_clean() -> None:
    """The compatibility trick lives for the import only, and logging is not configured behind our back."""
    code = "import collections, logging, diagnose.rules_engine as r; assert not hasattr(collections, 'Mapping'); print(r.Fact.__name__)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "Fact"


def test_what_goes_wrong_in_a_command_is_still_logged() -> None:
    """The library must neither configure logging nor leave it without a handler: a warning reaches the terminal once, as always."""
    code = (
        "import logging, diagnose.rules_engine; assert logging.getLogger().handlers == []; "
        "logging.getLogger('diagnose').warning('a warning')"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "a warning\n")


@pytest.mark.parametrize("count", [5, 8, 30])
def test_not_is_honoured_among_many_rules_on_the_same_facts(count: int) -> None:
    """With the library's own agenda 2 of 5 and 5 of 8 such rules fire although their NOT is false."""
    rules = [
        rule(f"r-{n}", [{"finding": "evaporator-drop", "is": ["low"]}], [{"finding": "pump-rise", "is": ["high"]}])
        for n in range(count)
    ]
    engine = book(rules)
    facts = [seen("evaporator-drop", "low"), seen("pump-rise", "high")]
    assert engine.run("contradiction", facts, []) == []
    assert len(engine.run("contradiction", facts[:1], [])) == count


def test_order_of_facts_and_rules_cannot_matter() -> None:
    """All shipped rules, random words: any order of facts fires the same rules."""
    knowledge = load_knowledge()
    rng = random.Random(5)
    shipped = rule_book(knowledge)
    for _ in range(10):
        facts = []
        for finding in rng.sample(list(knowledge.findings.values()), 40):
            word = rng.choice(finding.ordered or finding.words)
            facts.append(
                Seen(
                    finding.id,
                    "unit" if finding.place != "circuit" else "circuit:A",
                    "A" if finding.place == "circuit" else "",
                    word,
                    "firm",
                )
            )
        known = [Known("role", "technician"), Known("fluid", "water")]
        for stratum in ("contradiction", "conclusive", "gate", "stop"):
            want = shipped.run(stratum, facts, known)
            shuffled = list(facts)
            rng.shuffle(shuffled)
            assert shipped.run(stratum, shuffled, known) == want


def test_a_circuit_rule_joins_within_one_circuit() -> None:
    """Words of circuit A and of circuit B never make one condition together, and a sibling is another circuit."""
    same = rule(
        "same", [{"finding": "superheat", "is": ["high"]}, {"finding": "subcooling", "is": ["low"]}], place="circuit"
    )
    other = rule(
        "other",
        [{"finding": "superheat", "is": ["high"]}, {"finding": "superheat", "is": ["normal"], "place": "other"}],
        place="circuit",
    )
    engine = book([same, other])
    assert engine.run("contradiction", [seen("superheat", "high", "A"), seen("subcooling", "low", "B")], []) == []
    both = [seen("superheat", "high", "B"), seen("subcooling", "low", "B"), seen("superheat", "normal", "A")]
    assert engine.run("contradiction", both, []) == [Spoke("other", "B"), Spoke("same", "B")]


def test_grades() -> None:
    """Firm words satisfy a plain condition, leaning ones only where the card says so."""
    engine = book(
        [
            rule("plain", [{"finding": "superheat", "is": ["high"]}], place="circuit"),
            rule("soft", [{"finding": "superheat", "is": ["high"], "leaning": True}], place="circuit"),
        ]
    )
    assert [s.rule for s in engine.run("contradiction", [seen("superheat", "high", "A", "leaning")], [])] == ["soft"]
    assert [s.rule for s in engine.run("contradiction", [seen("superheat", "high", "A", "faint")], [])] == []


def test_two_threads_equal_a_fresh_engine() -> None:
    """One engine used from two threads gives what a fresh engine gives, 200 times (facts pass through, nothing stays)."""
    knowledge = load_knowledge()
    shared = RuleBook(knowledge)
    rng = random.Random(1)
    samples = []
    for _ in range(40):
        facts = [
            Seen(f.id, "unit", "", rng.choice(f.ordered or f.words), "firm")
            for f in rng.sample([x for x in knowledge.findings.values() if x.place == "unit"], 12)
        ]
        samples.append(
            (
                facts,
                [
                    Known("role", rng.choice(("customer", "technician"))),
                    Known("qualified-electrical", rng.choice(("yes", "no"))),
                ],
            )
        )
    want = [RuleBook(knowledge).run("stop", *s) if n < 3 else shared.run("stop", *s) for n, s in enumerate(samples)]
    wrong: list[int] = []

    def worker() -> None:
        for turn in range(100):
            n = turn % len(samples)
            if shared.run("stop", *samples[n]) != want[n]:
                wrong.append(n)

    threads = [threading.Thread(target=worker) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_an_engine_survives_a_failing_run() -> None:
    """After an exception inside a run the next run is clean."""
    engine = book([rule("plain", [{"finding": "superheat", "is": ["high"]}], place="circuit")])
    with pytest.raises(Exception):  # noqa: B017 - whatever the library raises on a wrong type
        engine.run("contradiction", [Seen("superheat", 7, "A", "high", "firm")], [])  # type: ignore[arg-type]
    assert len(engine.run("contradiction", [seen("superheat", "high", "A")], [])) == 1


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge()


def test_every_rule_fires_and_stays_quiet_on_its_specimens(knowledge: Knowledge) -> None:
    """No dead rule: each card's own calls, run with all its neighbours."""
    for one in knowledge.rules.values():
        assert all(fires(one, s, knowledge) for s in one.fires_on), one.id
        assert not any(fires(one, s, knowledge) for s in one.quiet_on), one.id


def test_a_specimen_needs_its_facts(knowledge: Knowledge) -> None:
    """Taking any one finding away from a firing specimen makes at least one rule of every kind quiet: conditions are real."""
    quiet = 0
    for one in knowledge.rules.values():
        specimen = one.fires_on[0]
        found, known = specimen_facts(specimen, knowledge)
        for skip in range(len(found)):
            if not any(
                s.rule == one.id for s in rule_book(knowledge).run(one.kind, found[:skip] + found[skip + 1 :], known)
            ):
                quiet += 1
                break
    assert quiet >= 0.6 * sum(1 for r in knowledge.rules.values() if r.fires_on[0].findings)
