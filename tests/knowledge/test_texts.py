"""Telephone texts in another language: complete, with every answer, and marked until somebody who can has read them."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from knowledge.load import Knowledge, RawCards
from knowledge.texts import english, languages, sounds_wrong, telephone, text_problems
from shared.errors import ChillerError

Change = Callable[..., None]


def test_every_check_for_the_telephone_can_be_read_out_in_every_language(base: Knowledge) -> None:
    assert languages(base) == ("en", "es")
    spoken = [c for c in base.checks.values() if c.telephone]
    assert len(spoken) >= 150
    for check in spoken:
        for language in languages(base):
            text = telephone(base, check.id, language)
            assert text.telephone and set(text.answers) == set(check.answers) and all(text.answers.values())


def test_english_says_the_plain_words_of_the_card(base: Knowledge) -> None:
    card = base.checks["fans-look"]
    assert telephone(base, "fans-look").telephone == card.telephone
    assert telephone(base, "fans-look").answers == english(card)
    assert english(card)["slow"] == card.answers["slow"].say


def test_spanish_is_marked_for_review_and_addresses_people_politely(base: Knowledge) -> None:
    """Questions open with their mark; nobody is called `tú`."""
    catalogue = base.texts["es"]
    assert catalogue.review == "needed by a native speaker of the trade"
    for name, row in catalogue.checks.items():
        assert row.telephone.count("¿") == row.telephone.count("?"), name
        words = set(row.telephone.lower().replace("¿", " ").replace(",", " ").split())
        assert not words & {"tú", "tu", "tus", "mira", "busca", "toques", "puedes", "dime", "léeme"}, name


def test_a_warning_in_english_is_a_warning_in_spanish(base: Knowledge) -> None:
    """Where the English text forbids something, so does the Spanish one."""
    forbids = (
        "do not",
        "touch no",
        "touch nothing",
        "press nothing",
        "hands off",
        "open nothing",
        "change nothing",
        "look only",
    )
    warned = {"no ", "sin tocar", "solo mire", "solo con los ojos"}
    checked = 0
    for check in base.checks.values():
        if any(f in check.telephone.lower() for f in forbids):
            spanish = telephone(base, check.id, "es").telephone.lower()
            assert any(w in spanish for w in warned), check.id
            checked += 1
    assert checked > 40


def test_what_is_not_for_the_telephone_is_refused(base: Knowledge) -> None:
    silent = next(c.id for c in base.checks.values() if not c.telephone)
    for arguments, text in (
        ((silent,), "not for the telephone"),
        (("nonsense",), "no such check"),
        (("fans-look", "xx"), "en, es"),
    ):
        with pytest.raises(ChillerError, match=text):
            telephone(base, *arguments)


def test_what_a_catalogue_lacks_or_has_too_much_is_reported(raw: RawCards, change: Change) -> None:
    rows = {k: r.model_dump() for k, r in raw.cards["texts"]["es"].checks.items()}  # type: ignore[attr-defined]
    assert text_problems(raw) == []
    del rows["fans-look"]
    rows["wind-ask"]["answers"] = {"calm": "No hay viento.", "storm": "Hay tormenta."}
    rows["nonsense"] = {"telephone": "¿Qué?"}
    rows["load-ask"]["telephone"] = (
        "Comunique inmediatamente la capacidad frigorífica requerida actualmente en la instalación."
    )
    change("texts", "es", checks=rows)
    problems = {(p.key, p.text.split(";")[0]) for p in text_problems(raw)}
    assert {p.file for p in text_problems(raw)} == {"texts/es.yaml"}
    assert ("es.checks", "no text for check 'fans-look'") in problems
    assert ("es.checks.wind-ask.answers", "no text for answer onto-outlet") in problems
    assert ("es.checks.wind-ask.answers", "the check has no answer storm") in problems
    assert ("es.checks.nonsense", "no check with a telephone text has this id") in problems
    assert any(key == "es.checks.load-ask.telephone" and "Szigriszt-Pazos" in text for key, text in problems)
    assert len(problems) == 5


def test_placeholders_are_the_same_in_both_languages(raw: RawCards, change: Change) -> None:
    change("checks", "wind-ask", telephone="Is it windy at {place}?")
    assert [p.key for p in text_problems(raw)] == ["es.checks.wind-ask.telephone"]
    rows = {k: r.model_dump() for k, r in raw.cards["texts"]["es"].checks.items()}  # type: ignore[attr-defined]
    rows["wind-ask"]["telephone"] = "¿Hay viento en {place}?"
    change("texts", "es", checks=rows)
    assert text_problems(raw) == []


def test_every_check_of_the_telephone_says_what_a_wrong_answer_sounds_like(base: Knowledge) -> None:
    asked = [c.id for c in base.checks.values() if c.telephone]
    assert asked and all(len(sounds_wrong(base, check)) > 20 for check in asked)
    assert sounds_wrong(base, "supply-volts-read") == ""


def test_a_check_without_one_and_one_without_a_check_are_told(raw: RawCards, change: Change) -> None:
    rows = dict(raw.cards["texts"]["en"].sounds_wrong)  # type: ignore[attr-defined]
    rows["coil-looks"] = rows.pop("coil-look")
    change("texts", "en", sounds_wrong=rows)
    told = [f"{p.key}: {p.text}" for p in text_problems(raw)]
    assert any("'coil-look'" in line for line in told) and any(
        line.startswith("en.sounds_wrong.coil-looks") for line in told
    )
