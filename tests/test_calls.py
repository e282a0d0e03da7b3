"""The transcribed calls: worked to the tool's own verdict with its own questions, and what must come out.

Outside the project: the calls and their true causes, made before and without the cards (see calls/README.md).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from diagnose.replay import read_call, replay_folder, work
from knowledge.load import CARDS, Knowledge, load_knowledge
from knowledge.yaml_text import read_yaml

CALLS = Path(__file__).parent / "calls"
OWN = Path(__file__).parent / "calls_own"
MORE = Path(__file__).parent / "calls_more"
FRESH = Path(__file__).parent / "calls_fresh"
PHONE = Path(__file__).parent / "calls_phone"
TANGLED = Path(__file__).parent / "calls_tangled"
SITE = Path(__file__).parent / "calls_site"
EVERYDAY = Path(__file__).parent / "calls_everyday"
EVERY = sorted(p for folder in (CALLS, OWN, MORE, FRESH, PHONE, TANGLED, SITE, EVERYDAY) for p in folder.glob("*.yaml"))
LEAST_COPIED = 35  # letters; shorter sentences ("Fluid: water") are anybody's
RULE_KINDS = {
    "state",
    "hold-point",
    "not-judged",
    "derived-finding",
    "contradiction",
    "conclusive",
    "gate",
    "stop",
}


@pytest.fixture(scope="module")
def base() -> Knowledge:
    """The shipped cards."""
    return load_knowledge()


@pytest.fixture(scope="module")
def table(base: Knowledge) -> dict[str, Any]:
    """The replay of the fifteen calls, with the rule stage on and off."""
    return replay_folder(CALLS, base, ablation=True)


def replayed(folder: Path) -> Any:
    """A fixture: the replay of one set, worked once."""

    @pytest.fixture(scope="module", name=folder.name.removeprefix("calls_"))
    def made(base: Knowledge) -> dict[str, Any]:
        return replay_folder(folder, base)

    return made


own, fresh, phone, tangled, site, everyday = (
    replayed(folder) for folder in (OWN, FRESH, PHONE, TANGLED, SITE, EVERYDAY)
)


def not_worse(table: dict[str, Any], first: int, within_three: int, right_outcome: int) -> None:
    """At least as many calls as once reached, and no forbidden step."""
    total = table["total"]
    assert total["forbidden"] == 0
    assert total["first"] >= first
    assert total["within_three"] >= within_three
    assert total["right_outcome"] >= right_outcome


def rows(table: dict[str, Any], outcome: str) -> list[dict[str, Any]]:
    """Rows of the calls that ought to end so."""
    return [r for r in table["calls"] if r["outcome"] == outcome]


@pytest.mark.parametrize("path", EVERY, ids=lambda p: p.stem)
def test_every_answer_has_a_line_of_its_call(path: Path, base: Knowledge) -> None:
    read_call(path, base)  # ids, answers, places and readings hold together with the cards
    data, _ = read_yaml(path.read_text(encoding="utf-8"))
    lines = set(data["lines"])
    for check, given in data["answers"].items():
        said = given["line"] if isinstance(given["line"], list) else [given["line"]]
        assert said and set(said) <= lines, f"{check}: answered from a line the call does not have"
    assert f"Complaint: {data['case']['words']}" in lines


@pytest.fixture(scope="module")
def cards() -> str:
    """All cards as one text."""
    return "\n".join(" ".join(f.read_text(encoding="utf-8").split()).lower() for f in sorted(CARDS.rglob("*.yaml")))


@pytest.mark.parametrize("path", EVERY, ids=lambda p: p.stem)
def test_no_card_copies_a_call(path: Path, cards: str) -> None:
    data, _ = read_yaml(path.read_text(encoding="utf-8"))
    sentences = [part.strip() for line in data["lines"] for part in line.split(": ", 1)[-1].split(". ")]
    copied = [s for s in sentences if len(s) >= LEAST_COPIED and s.lower().rstrip(".") in cards]
    assert not copied
    assert path.stem not in cards


def test_the_true_cause_leads(table: dict[str, Any]) -> None:
    assert table["total"]["calls"] == 15
    assert table["total"]["first"] >= 12


def test_the_true_cause_is_among_the_first_three_in_every_call(table: dict[str, Any]) -> None:
    assert [r["id"] for r in table["calls"] if not r["within_three"]] == []


def test_both_causes_are_named_where_there_are_two(table: dict[str, Any]) -> None:
    two = rows(table, "two-causes")
    assert two
    assert [r["id"] for r in two if not (r["both"] and r["right_outcome"])] == []


def test_a_stop_call_stops_and_a_normal_one_is_called_normal(table: dict[str, Any]) -> None:
    ends = [*rows(table, "stop"), *rows(table, "normal")]
    assert len(ends) >= 2
    assert [r["id"] for r in ends if not r["right_outcome"]] == []


def test_few_checks_until_the_true_cause_leads(table: dict[str, Any]) -> None:
    assert table["total"]["median_checks_to_lead"] <= 3


def test_no_step_outside_the_role_is_ever_offered(table: dict[str, Any]) -> None:
    assert table["total"]["forbidden"] == 0
    assert all(not r["ablation"]["forbidden"] for r in table["calls"])


def test_the_rule_stage_matters(table: dict[str, Any]) -> None:
    changed = [r["id"] for r in table["calls"] if r["ablation"]["changed"]]
    assert len(changed) >= 8


def test_every_kind_of_rule_speaks_somewhere(table: dict[str, Any], base: Knowledge) -> None:
    meter_against_drop = work(read_call(OWN / "own-07.yaml", base), base).final
    assert meter_against_drop is not None
    spoken = {k for r in table["calls"] for k in r["ablation"]["kinds"]} | {f.kind for f in meter_against_drop.fired}
    assert spoken == RULE_KINDS


def test_the_own_calls_are_worked_safely(own: dict[str, Any]) -> None:
    """The second set may be worked better or worse, but never unsafely."""
    assert own["total"]["forbidden"] == 0
    assert [r["id"] for r in rows(own, "stop") if not r["right_outcome"]] == []


def test_untrained_callers_are_asked_nothing_forbidden_without_the_rules(base: Knowledge) -> None:
    calls = [call for path in sorted(OWN.glob("*.yaml")) if (call := read_call(path, base)).case.role != "technician"]
    assert calls
    assert [w.id for call in calls if (w := work(call, base, rules=False)).forbidden] == []


def test_the_fresh_calls_stay_where_mending_brought_them(fresh: dict[str, Any]) -> None:
    """What the first run gave stands in their README; this is what came of it, and no less."""
    not_worse(fresh, 12, 12, 12)
    assert [r["id"] for r in [*rows(fresh, "stop"), *rows(fresh, "normal")] if not r["right_outcome"]] == []


def test_callers_without_training_or_tools(phone: dict[str, Any]) -> None:
    """Not worse than once reached (on the first run 11 of 14 led, 13 were in the first three, 9 ended right), and never unsafe."""
    not_worse(phone, 12, 14, 12)
    assert [r["id"] for r in [*rows(phone, "stop"), *rows(phone, "normal")] if not r["right_outcome"]] == []
    assert [r["id"] for r in rows(phone, "hand-over") if not r["right_outcome"]] == []


def test_tangled_calls(tangled: dict[str, Any]) -> None:
    """Not worse than once reached (their README has the first run: 12 of 14 led, 7 ended right), and never unsafe."""
    not_worse(tangled, 12, 13, 8)
    assert [r["id"] for r in [*rows(tangled, "stop"), *rows(tangled, "normal")] if not r["right_outcome"]] == []


def test_calls_about_what_no_card_said(site: dict[str, Any]) -> None:
    """Not worse than once reached (on the first run 9 of 14 led, 9 were in the first three, 5 ended right), and never unsafe."""
    not_worse(site, 14, 14, 13)
    assert [r["id"] for r in rows(site, "normal") if not r["right_outcome"]] == []
    [freeze] = rows(site, "stop")
    assert freeze["both"], "the weak fluid is named beside the limit that was set wrong"


def test_calls_of_everyday_work(everyday: dict[str, Any]) -> None:
    """Not worse than once reached (on the first run 10 of 14 led, 10 were in the first three, 8 ended right), and never unsafe."""
    not_worse(everyday, 12, 14, 11)
    assert [r["id"] for r in rows(everyday, "normal") if not r["right_outcome"]] == []
