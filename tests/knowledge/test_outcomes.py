"""Likelihoods from closed calls: the arithmetic, what is proposed, what is not, and the one edit an accepted proposal makes."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from knowledge.__main__ import main
from knowledge.check import find_problems
from knowledge.load import Knowledge, load_knowledge, read_cards
from knowledge.outcomes import (
    NOT_FOUND,
    PER_CAUSE,
    ClosedCall,
    Proposal,
    accept,
    proposals,
    read_calls,
    shares,
    with_row,
    with_word,
    word_in,
)
from knowledge.yaml_text import read_yaml
from shared.errors import ChillerError, KnowledgeError
from shared.quantities import DERIVED

TODAY = date(2026, 3, 4)


def call(number: int, cause: str, *context: str, **more: Any) -> ClosedCall:
    given = {"at": "2026-02-01", "complaint": "no-flow", "context": context, "proof": "seen", **more}
    return ClosedCall(id=f"c{number}", cause=cause, **given)


def calls(count: int, cause: str, *context: str, start: int = 0) -> list[ClosedCall]:
    return [call(start + n, cause, *context) for n in range(count)]


def one(found: list[Proposal], cause: str, key: str) -> Proposal:
    (proposal,) = [p for p in found if (p.cause, p.key) == (cause, key)]
    return proposal


# counting ---------------------------------------------------------------------------------------------------------------


def test_shares_are_the_words_by_their_numbers(base: Knowledge) -> None:
    """They add up to one; twice the circuits, twice the weight of what sits in a circuit; a context swaps the word."""
    plain = shares(base, call(1, NOT_FOUND))
    assert sum(plain.values()) == pytest.approx(1.0)
    numbers = base.words.prior
    assert plain["strainer-clogged"] / plain["vent-shut"] == pytest.approx(numbers["common"] / numbers["uncommon"])
    twin = shares(base, call(1, NOT_FOUND, places={"circuit": 2}))
    leak, strainer = "refrigerant-leak", "strainer-clogged"
    assert base.causes[leak].place == "circuit"
    assert twin[leak] / twin[strainer] == pytest.approx(2 * plain[leak] / plain[strainer])
    started = shares(base, call(1, NOT_FOUND, "first-start"))
    assert started[strainer] / started["vent-shut"] == pytest.approx(numbers["very-common"] / numbers["occasional"])


def test_of_several_contexts_the_word_is_the_one_the_belief_takes(base: Knowledge) -> None:
    """The same choice as in `diagnose.network`, for every cause and a few pairs of contexts."""
    from diagnose.case import Machine
    from diagnose.network import Network
    from diagnose.places import places_for, topology_of

    numbers = base.words.prior
    for context in (("first-start",), ("first-start", "standby"), ("running-site", "storm", "site-pump")):
        network = Network(base, places_for(topology_of(Machine(circuits=1, compressors=1, fans=1)), []), context, {})
        odds = {i.cause: o for i, o in zip(network.instances, network.odds, strict=True)}
        total = sum(numbers[word_in(c, context, numbers)[1]] for c in base.causes.values())
        for cause in base.causes.values():
            mine = base.words.total_odds * numbers[word_in(cause, context, numbers)[1]] / total
            assert odds[cause.id] == pytest.approx(mine)


def test_the_proposal_is_the_dirichlet_mean_in_words(base: Knowledge) -> None:
    """Against the posterior mean written out: alpha = strength x share, (alpha_i + n_i) / (A + N) over alpha_i / A."""
    closed = [*calls(8, "vent-shut"), *calls(42, "strainer-clogged", start=100)]
    share = shares(base, closed[0])
    strength = PER_CAUSE * len(base.causes)
    proposal = one(proposals(base, closed), "vent-shut", "prior")
    mean = (strength * share["vent-shut"] + 8) / (strength + 50)
    number = base.words.prior["uncommon"] * mean / share["vent-shut"]
    words = base.words.prior
    nearest = min(words, key=lambda w: abs(words[w] / number - 1) if words[w] > number else abs(number / words[w] - 1))
    assert (proposal.was, proposal.now) == ("uncommon", nearest)
    assert (proposal.confirmed, proposal.calls) == (8, 50)
    assert proposal.expected == pytest.approx(50 * share["vent-shut"], abs=0.01)
    assert len(proposal.evidence) == 8 and proposal.evidence[0] == "c0 (no-flow): seen"


def test_one_call_moves_nothing_and_neither_does_what_was_expected(base: Knowledge) -> None:
    assert proposals(base, calls(1, "vent-shut")) == []
    assert proposals(base, []) == []


def test_a_common_cause_that_never_comes_is_proposed_lower(base: Knowledge) -> None:
    closed = calls(400, "vent-shut")
    found = proposals(base, closed)
    expected = 400 * shares(base, closed[0])["strainer-clogged"]
    assert expected > 3
    lower = one(found, "strainer-clogged", "prior")
    assert base.words.prior[lower.now] < base.words.prior["common"]  # type: ignore[index]
    assert lower.evidence == ()
    rare = {p.cause for p in found if base.causes[p.cause].prior == "very-rare"}
    assert not rare, "what was hardly expected says nothing by staying away"


def test_contexts_are_counted_apart(base: Knowledge) -> None:
    """Eight dusty-site calls change the word for dusty sites, which the card did not have, and leave `prior` to the others."""
    closed = [*calls(8, "vent-shut", "dusty-site"), *calls(60, "strainer-clogged", start=50)]
    raised = one(proposals(base, closed), "vent-shut", "prior_in.dusty-site")
    assert (raised.was, raised.calls, raised.confirmed) == ("none", 8, 8)
    own = [*calls(9, "strainer-clogged", "first-start"), *calls(20, "vent-shut", "first-start", start=20)]
    assert not [p for p in proposals(base, own) if (p.cause, p.key) == ("strainer-clogged", "prior")]


def test_calls_without_a_cause_are_not_counted(base: Knowledge) -> None:
    closed = calls(8, "vent-shut")
    assert proposals(base, [*closed, *calls(90, NOT_FOUND, start=500)]) == proposals(base, closed)


# reading ----------------------------------------------------------------------------------------------------------------


def saved(path: Path, rows: Any) -> Path:
    path.write_text(json.dumps({"format": 1, "calls": rows}), encoding="utf-8")
    return path


def test_every_problem_of_a_file_gets_a_line(base: Knowledge, tmp_path: Path) -> None:
    good = {"id": "a", "at": "2026-02-01", "complaint": "no-flow", "cause": "vent-shut"}
    rows = [
        good,
        good,
        {"id": "b", "at": "2026-02-01", "complaint": "rain", "cause": "gremlins", "context": ["monday"]},
        {"id": "c", "complaint": "no-flow", "at": "yesterday"},
        {**good, "id": "d", "places": {"circuit": 0}},
    ]
    with pytest.raises(KnowledgeError) as error:
        read_calls(saved(tmp_path / "calls.json", rows), base)
    text = "\n".join(error.value.problems)
    for said in (
        "call a: given twice",
        "no complaint 'rain'",
        "no cause 'gremlins'",
        "no context 'monday'",
        "call 4: cause",
        "call 4: at",
        "call 5: places.circuit",
    ):
        assert said in text
    assert len(error.value.problems) == 7


@pytest.mark.parametrize("content", ["", "[]", '{"format": 2, "calls": []}', '{"format": 1}', "\x00"])
def test_another_file_gets_one_line(content: str, base: Knowledge, tmp_path: Path) -> None:
    path = tmp_path / "calls.json"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(KnowledgeError, match="calls.json: ") as error:
        read_calls(path, base)
    assert len(error.value.problems) == 1


# accepting --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "card", "wanted"),
    [
        (
            "prior",
            "id: a\nprior: common  # why\nshows: common sense\n",
            "id: a\nprior: rare  # why\nshows: common sense\n",
        ),
        ("prior_in.storm", "prior: common\nshows: x\n", "prior: common\nprior_in: {storm: rare}\nshows: x\n"),
        (
            "prior_in.storm",
            "prior: common\nprior_in: {}  # none yet\n",
            "prior: common\nprior_in: {storm: rare}  # none yet\n",
        ),
        (
            "prior_in.storm",
            "prior: common\nprior_in: {first-start: common, storm: common}\n",
            "prior: common\nprior_in: {first-start: common, storm: rare}\n",
        ),
        (
            "prior_in.storm",
            "prior: common\nprior_in: {first-start: common,\n  standby: common}\nx: y\n",
            "prior: common\nprior_in: {first-start: common,\n  standby: common, storm: rare}\nx: y\n",
        ),
        (
            "prior_in.storm",
            "prior: common\nprior_in:\n  first-start: common\nx: y\n",
            "prior: common\nprior_in:\n  first-start: common\n  storm: rare\nx: y\n",
        ),
    ],
)
def test_the_edit_keeps_the_layout(key: str, card: str, wanted: str) -> None:
    assert with_word(card, key, "rare") == wanted


def test_every_shipped_card_can_be_edited(base: Knowledge) -> None:
    """One line changes, or one is added; nothing else."""
    from knowledge.load import CARDS

    for cause in base.causes.values():
        text = (CARDS / base.where[f"causes/{cause.id}"]).read_text(encoding="utf-8")
        for key in ("prior", "prior_in.dusty-site", "prior_in.first-start"):
            edited = with_word(text, key, "very-rare").splitlines()
            lines = text.splitlines()
            differing = [line for line in edited if line not in lines]
            assert len(differing) <= 1 and len(edited) - len(lines) in (0, 1), cause.id


@pytest.mark.parametrize("card", ["prior:\n  common\n", 'prior: "\\x63ommon"\n'])
def test_an_unknown_layout_is_left_alone(card: str) -> None:
    with pytest.raises(ChillerError, match="change the word by hand"):
        with_word(card, "prior", "rare")


def test_accepting_edits_one_word_and_writes_it_down(base: Knowledge, folder: Path) -> None:
    knowledge = load_knowledge(folder)
    found = proposals(knowledge, calls(8, "vent-shut"))
    card = folder / knowledge.where["causes/vent-shut"]
    before, mode = card.read_text(encoding="utf-8"), card.stat().st_mode
    chosen = accept(knowledge, folder, found, "vent-shut", 'Vents shut for transport, "again"', TODAY, key="prior")
    assert card.read_text(encoding="utf-8") == before.replace("prior: uncommon\n", f"prior: {chosen.now}\n")
    assert card.stat().st_mode == mode
    after = load_knowledge(folder)
    assert after.causes["vent-shut"].prior == chosen.now
    (row,) = after.changes.values()
    assert (row.id, row.at, row.cause, row.key) == ("change-1", "2026-03-04", "vent-shut", "prior")
    assert (row.was, row.now, row.confirmed, row.calls) == ("uncommon", chosen.now, 8, 8)
    assert row.reason == 'Vents shut for transport, "again"'
    assert find_problems(read_cards(folder), {d.name: d.kind for d in DERIVED.values()}) == []
    assert not [p for p in proposals(after, calls(8, "vent-shut")) if p.key == "prior"], (
        "these calls are in the word already"
    )
    later = [c.model_copy(update={"at": "2026-05-01"}) for c in calls(20, "vent-shut")]
    assert one(proposals(after, later), "vent-shut", "prior").was == chosen.now
    others = [p for p in folder.rglob("*") if p.is_file() and p not in (card, folder / "changes.yaml")]
    from knowledge.load import CARDS

    assert all(p.read_bytes() == (CARDS / p.relative_to(folder)).read_bytes() for p in others)


def test_rows_are_numbered_on_and_comments_stay() -> None:
    row = {"id": "change-1", "at": "2026-03-04", "cause": "a", "reason": "colon: and, comma"}
    once = with_row("# head\n[]\n", row)
    twice = with_row(once, {**row, "id": "change-2"})
    data, _ = read_yaml(twice)
    assert twice.startswith("# head\n") and [r["id"] for r in data] == ["change-1", "change-2"]
    assert data[0]["reason"] == "colon: and, comma"


def test_the_checker_knows_the_log(folder: Path) -> None:
    (folder / "changes.yaml").write_text(
        "- {id: change-1, at: 2026-03-04, cause: gremlins, key: prior_in.monday, was: rare, now: rare, confirmed: 9, calls: 2, reason: x}\n"
        "- {id: change-2, at: yesterday, cause: vent-shut, key: shows, was: rare, now: common, confirmed: 1, calls: 2, reason: x}\n",
        encoding="utf-8",
    )
    problems = find_problems(read_cards(folder), {d.name: d.kind for d in DERIVED.values()})
    assert {p.file for p in problems} == {"changes.yaml"}
    assert {p.key for p in problems} == {
        "change-1.cause", "change-1.key", "change-1.now", "change-1.confirmed", "change-2.at", "change-2.key",
    }  # fmt: skip


def test_the_command_shows_then_accepts(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = [
        {"id": f"c{n}", "at": "2026-02-01", "complaint": "no-flow", "cause": "vent-shut", "proof": "vent ran solid"}
        for n in range(8)
    ]
    rows += [{"id": "x", "at": "2026-02-01", "complaint": "no-flow", "cause": NOT_FOUND}]
    file = str(saved(tmp_path / "calls.json", rows))
    start = ["--cards", str(folder), "outcomes", file]
    digest = load_knowledge(folder).digest
    assert main(start) == 0
    shown = capsys.readouterr().out
    assert "9 closed calls, 1 without a confirmed cause" in shown
    assert "vent-shut" in shown and "uncommon" in shown and "vent ran solid" in shown and "and 3 more" in shown
    assert main([*start, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert (data["calls"], data["not_found"], data["confirmed"]) == (9, 1, {"vent-shut": 8})
    for wrong, said in (
        (["--accept", "vent-shut"], "no reason given"),
        (["--accept", "air-bound", "--reason", "x"], "no proposal for this cause"),
        (["--accept", "vent-shut", "--key", "prior_in.storm", "--reason", "x"], "no proposal for this cause"),
        (["--store", str(tmp_path / "none.sqlite")], "closed calls come from one place"),
    ):
        assert main([*start, *wrong]) == 2
        assert said in capsys.readouterr().err
    assert load_knowledge(folder).digest == digest, "nothing changes without a yes"
    assert main([*start, "--accept", "vent-shut", "--reason", "seen eight times"]) == 0
    assert "written down in changes.yaml" in capsys.readouterr().out
    assert load_knowledge(folder).digest != digest
    assert main(["--cards", str(folder), "show", "causes/vent-shut"]) == 0
    assert "seen eight times" in capsys.readouterr().out


# from the record ----------------------------------------------------------------------------------------------------------


def test_closed_calls_of_the_record_name_their_cause(
    base: Knowledge, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Cured by a remedy: the cause it is for. Closed otherwise, or still open, or of the demonstration: no cause, or left out."""
    from diagnose.closed_calls import closed_calls
    from diagnose.store import Store

    address = str(tmp_path / "calls.sqlite")
    store = Store(address)
    header = {"complaint": "no-flow", "context": ["first-start"], "machine": {"circuits": 2, "compressors": 4}}
    remedy = base.causes["strainer-clogged"].remedy.id

    def opened(invented: bool = False) -> str:
        made = store.open_call(header, by="Ann", invented=invented)
        store.append(made, {"check": "strainer-pull", "answer": "loaded"}, key="a", after_revision=0, by="Ann")
        store.append(made, {"action": remedy, "outcome": "cured"}, key="b", after_revision=1, by="Ann")
        return made

    cured, left, invented, _open = opened(), opened(), opened(invented=True), opened()
    for made, outcome in ((cured, "cured"), (left, "handed-over"), (invented, "cured")):
        store.close_call(made, outcome, key="c", after_revision=2, by="Ann")  # type: ignore[arg-type]
    store.close()
    found = {c.id: c for c in closed_calls(address, base)}
    assert set(found) == {cured, left}
    assert (found[cured].cause, found[cured].proof) == ("strainer-clogged", f"cured by {remedy}")
    assert found[cured].places == {"circuit": 2, "compressor": 4, "pump": 1}
    assert found[cured].context == ("first-start",)
    assert found[left].cause == NOT_FOUND
    assert main(["outcomes", "--store", address]) == 0
    assert "2 closed calls, 1 without" in capsys.readouterr().out
