"""Set-up cards: the shipped ones hold, and each way to write a bad one is reported with file, key and remedy."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from knowledge.__main__ import main
from knowledge.check import find_problems
from knowledge.describe import as_text, describe, found
from knowledge.load import Knowledge, RawCards, load_knowledge
from knowledge.setups import setup_problems
from shared.quantities import DERIVED

Change = Callable[..., None]


def test_each_is_a_look_as_well_and_changed_by_a_technician_alone(base: Knowledge) -> None:
    """What names a look may name a set-up; nobody is talked through one."""
    assert len(base.setups) >= 8
    for card in base.setups.values():
        assert base.checks[card.id] is card
        assert card.who == "technician" and not card.telephone and card.undo and card.stays


@pytest.mark.parametrize(
    ("keys", "key", "says"),
    [
        ({"who": "customer", "telephone": "Turn the knob."}, "who", "technician only"),
        ({"outcomes": {"gone": "head-falls", "unchanged": "head-falls"}}, "outcomes", "named 2 times"),
        ({"outcomes": {"gone": "head-falls", "unchanged": "nothing"}}, "outcomes", "no answer 'nothing'"),
        (
            {"outcomes": {"gone": "head-falls", "moved": "no-change"}, "ages": [], "shifts": []},
            "ages",
            "makes something",
        ),
        ({"ages": ["fan-bypass-trial"]}, "ages", "what the change shows"),
        ({"ages": ["danger-signs"]}, "ages", "never left behind"),
        ({"shifts": ["head"]}, "shifts", "no quantity 'head'"),
        ({"technician": "Put a jumper on the pressure switch."}, "technician", "takes a protection away"),
        ({"technician": "Bypass the flow switch for a minute."}, "technician", "takes a protection away"),
        ({"undo": "Take the bridged contact out."}, "undo", "takes a protection away"),
    ],
)
def test_what_a_set_up_may_not_be(raw: RawCards, change: Change, keys: dict[str, object], key: str, says: str) -> None:
    """Each is one line at its key."""
    for kind in ("setups", "checks"):
        change(kind, "fan-bypass-try", **keys)
    problems = [p for p in setup_problems(raw) if p.key == f"fan-bypass-try.{key}" and says in p.text]
    assert len(problems) == 1, [str(p) for p in setup_problems(raw)]
    assert problems[0].file == "setups/high-side/fan-bypass-try.yaml" and problems[0].line >= 1


def test_what_must_not_be_done_may_be_named(raw: RawCards, change: Change) -> None:
    """A card may say that nothing is jumpered."""
    change("setups", "fan-bypass-try", technician="Never with a jumper on any switch. Change over at rest.")
    assert not setup_problems(raw)


def test_shown_as_sentences_once(base: Knowledge) -> None:
    """With what is changed, put back, left in force and otherwise meanwhile."""
    assert found(base, "fan-bypass-try") == [("setups", "fan-bypass-try")]
    text = as_text(describe(base, "setups", "fan-bypass-try"))
    for part in ("What is changed", "How it is put back", "What stays in force", "the trouble is gone", "otherwise"):
        assert part in text


def test_a_new_one_has_marks_and_nothing_else_wrong(base: Knowledge, tmp_path: Path) -> None:
    """`new setup` writes a card whose only problems are the texts still to be written."""
    import shutil

    from knowledge.load import CARDS, read_cards

    cards = Path(shutil.copytree(CARDS, tmp_path / "cards"))
    assert main(["--cards", str(cards), "new", "setup", "other-drive-run", "--system", "pump"]) == 0
    problems = find_problems(read_cards(cards), {d.name: d.kind for d in DERIVED.values()})
    assert problems and all("still to be written" in p.text for p in problems), [str(p) for p in problems]
    assert {p.file for p in problems} == {"setups/pump/other-drive-run.yaml"}


def test_from_the_cache_as_from_the_cards(base: Knowledge) -> None:
    """The compiled base holds set-ups and looks as the cards do."""
    assert load_knowledge().setups == base.setups and load_knowledge().checks == base.checks
