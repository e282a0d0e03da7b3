"""The rulebook without a browser: found by plain words, read as sentences, from card to card, only for whoever keeps it."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from diagnose.rulebook import search
from diagnose.store import Person
from knowledge.links import picture
from knowledge.load import CARDS
from ui import office, rulebook, signin
from ui.rulebook_map import layout, svg

Draw = Callable[..., Any]


def test_the_way_from_home_to_a_card_and_on(desk: Draw) -> None:
    """Home, search, the cause, one of its looks, a cause that this look clears."""
    app = desk()
    app.tap("Rulebook")
    assert app.heading == "Rulebook" and app.address("desk") == "rulebook"
    app.do(app.field("rb-find").set_value("dirty strainer"))
    assert app.address("q") == "dirty strainer", "a reload finds it again"
    app.tap("Strainer clogged")
    assert app.heading == "Strainer clogged" and app.address("card") == "causes/strainer-clogged"
    app.tap("Read the pressure before and after the strainer")
    assert app.address("card") == "checks/strainer-drop-read"
    app.tap("Search the rulebook")
    assert app.heading == "Rulebook" and not app.address("card")


def test_a_cause_says_all_a_keeper_asks(desk: Draw) -> None:
    """How it shows, why, when wrong, likelihood, remedy with who may, proof, cautions, file; and the cards it names as rows."""
    card = office.knowledge().causes["strainer-clogged"]
    app = desk(desk="rulebook", card="causes/strainer-clogged")
    for text in (card.shows, card.why, card.wrong_when, card.proof, *card.cautions):
        assert text[:30] in app.text.replace("&#x27;", "'"), text
    for heading in ("How likely", "Remedy", "Proof of the cure", "Looks that confirm it", "Sources"):
        assert f"<h2>{heading}</h2>" in app.text
    assert "by a technician" in app.text and "cards/causes/fluid/strainer-clogged.yaml" in app.text
    assert any("Common practice of the trade" in label for label in app.labels)


def test_every_kind_of_card_can_be_drawn(desk: Draw) -> None:
    """One of each kind, the one with the longest text."""
    knowledge = office.knowledge()
    for kind in rulebook.WORDS:
        if kind == "bands":
            continue
        cards = getattr(knowledge, kind)
        longest = max(cards.values(), key=lambda card: len(card.model_dump_json()))
        app = desk(desk="rulebook", card=f"{kind}/{longest.id}")
        assert f"Rulebook: {rulebook.WORDS[kind]}" in app.text and "<h2>" in app.text, kind


@pytest.mark.parametrize("wrong", ["causes/gremlins", "gremlins", "<script>", "../../etc", "causes/"])
def test_an_unknown_card_gets_one_line(desk: Draw, wrong: str) -> None:
    app = desk(desk="rulebook", card=wrong)
    assert app.heading == "No such card" and "<script>" not in app.text
    app.tap("Search the rulebook")
    assert app.heading == "Rulebook"


def test_words_that_fit_nothing_say_so(desk: Draw) -> None:
    app = desk(desk="rulebook", q="zzzz")
    assert "Nothing fits these words" in app.text


def test_only_the_keeper_opens_it(desk: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody whose sign-in does not open it is told, and home does not offer it."""
    monkeypatch.setattr(signin, "person", lambda store: Person("ann", "Ann", "technician"))
    app = desk()
    assert not any("Rulebook" in label for label in app.labels)
    app = desk(desk="rulebook", card="causes/strainer-clogged")
    assert app.heading == "Not your desk" and "Remedy" not in app.text


def test_closed_calls_stand_beside_the_word(desk: Draw) -> None:
    """What proved it, how many of how many, and the proposal; calls of the demonstration count for nothing."""
    office.open_records()
    store = office.store()
    for number in range(8):
        call = store.open_call({"complaint": "no-flow"}, by="Ann", at=datetime(2026, 3, 1, tzinfo=UTC))
        store.close_call(call, "cured", key="c", after_revision=0, by="Ann", causes=("vent-shut",),
                         proof=f"the cap was screwed down {number}")  # fmt: skip
    app = desk(desk="rulebook", card="causes/vent-shut")
    app.open("rb-closed-vent-shut")
    assert "8 of 8 closed calls" in app.text and "the cap was screwed down 7" in app.text
    assert "Proposed for prior" in app.text and "Nothing changes until the keeper accepts it" in app.text
    other = desk(desk="rulebook", card="causes/strainer-clogged")
    other.open("rb-closed-strainer-clogged")
    assert "0 of 8 closed calls" in other.text


def test_edited_cards_are_read_again_when_they_hold_together(
    desk: Draw, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A problem is shown and leaves the cards in use alone; clean cards take effect without a new start."""
    used = office.knowledge()
    cards = Path(shutil.copytree(CARDS, tmp_path / "cards"))
    card = cards / used.where["causes/strainer-clogged"]
    card.write_text(card.read_text(encoding="utf-8").replace("title: Strainer clogged", "title: Strainer full of rust"),
                    encoding="utf-8")  # fmt: skip
    monkeypatch.setenv("CHILLER_CARDS", str(cards))
    app = desk(desk="rulebook")
    monkeypatch.setattr("knowledge.__main__.all_problems", lambda folder: [f"{folder.name}/x.yaml:3: no finding 'y'"])
    app.tap("Read the cards again")
    assert "The cards in use stay as they are. cards/x.yaml:3" in app.text and office.knowledge() is used
    monkeypatch.setattr("knowledge.__main__.all_problems", lambda folder: [])
    try:
        app.tap("Read the cards again")
        assert "The cards were read again" in app.text and office.knowledge().digest[:12] in app.text
        assert desk(desk="rulebook", card="causes/strainer-clogged").heading == "Strainer full of rust"
    finally:
        office.knowledge.cache_clear()


# the map ----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["causes/strainer-clogged", "complaints/low-suction", "effects/suction", "findings/superheat",
             "checks/refrigerant-readings"]
)  # fmt: skip
def test_the_map_holds_every_card_once_and_nothing_overlaps(name: str) -> None:
    """Each card of the picture is one link with its own address; in a column no card covers another."""
    kind, card_id = name.split("/")
    drawn = picture(office.knowledge(), kind, card_id)
    assert drawn is not None
    nodes = [node for column in drawn.columns for node in column]
    text = svg(drawn, name, {"desk": "rulebook"})
    linked = re.findall(r"data-card='([^']+)'", text)
    assert sorted(linked) == sorted(node.name for node in nodes) and len(set(linked)) == len(linked)
    assert text.count("<path ") == len(drawn.arrows) == len(drawn.sentences())
    assert f"href='?desk=rulebook&amp;card={name}'" in text and text.count(" here'") == 1
    high = {node.name: 60 for node in nodes}
    tops = layout(drawn, high)
    for column in drawn.columns:
        edges = sorted(tops[node.name] for node in column)
        assert all(b - a >= 60 for a, b in zip(edges, edges[1:], strict=False))
        assert edges[0] >= 0


def test_the_map_escapes_what_cards_say() -> None:
    """A title with markup stays text."""
    drawn = picture(office.knowledge(), "causes", "strainer-clogged")
    assert drawn is not None
    from dataclasses import replace

    evil = replace(drawn.columns[1][0], title="<script>alert(1)</script>")
    text = svg(replace(drawn, columns=(drawn.columns[0], (evil,), *drawn.columns[2:])), evil.name, {"desk": "rulebook"})
    assert "<script" not in text and "&lt;script&gt;" in text


# search -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "kind", "wanted"),
    [
        ("dirty strainer", "causes", "strainer-clogged"),
        ("superheat", "bands", "superheat"),
        ("burnt smell", "checks", "danger-signs-ask"),
        ("low suction pressure", "complaints", "low-suction"),
        ("freeze point stop", "rules", "stop-below-freezing"),
        ("vent-shut", "causes", "vent-shut"),
    ],
)
def test_plain_words_find_the_card(words: str, kind: str, wanted: str) -> None:
    """Among its kind it is in the first five."""
    assert wanted in [hit.id for hit in search(office.knowledge(), words, (kind,), 5)]


def test_the_title_of_every_cause_finds_it() -> None:
    """Its own title is the shortest description anybody could give."""
    knowledge = office.knowledge()
    lost = [
        c.id
        for c in knowledge.causes.values()
        if c.id not in [h.id for h in search(knowledge, c.title, ("causes",), 3)]
    ]
    assert lost == []
