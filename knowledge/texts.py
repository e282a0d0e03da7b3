"""Texts for the telephone in every language there is a catalogue for, and what is wrong with them.

English stands on the check cards; any other language is one file `cards/texts/<language>.yaml`. A language is complete or the
checker says what is missing, so a call can be led in it from the first question to the last.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from knowledge.load import Knowledge, Problem, RawCards
from knowledge.models import Catalogue, Check
from knowledge.readability import LEAST_EASE, MOST_GRADE, ease_es, grade_en
from shared.errors import ChillerError

ENGLISH = "en"
_PLACEHOLDER = re.compile(r"\{[^{}]*\}")


@dataclass(frozen=True)
class TelephoneText:
    """A check as it is read out: the question, one clause for each answer id, and who has or must read the texts."""

    check: str
    language: str
    telephone: str
    answers: Mapping[str, str]
    review: str


def languages(knowledge: Knowledge) -> tuple[str, ...]:
    """Languages with telephone texts, English first."""
    return (ENGLISH, *sorted(set(knowledge.texts) - {ENGLISH}))


def english(check: Check) -> dict[str, str]:
    """Answer id -> what is said for it on the telephone: the card's plain words, else its text."""
    return {key: answer.say or answer.text for key, answer in check.answers.items()}


def telephone(knowledge: Knowledge, check_id: str, language: str = ENGLISH) -> TelephoneText:
    """The telephone text of a check. Raises ChillerError: no such check or language, or the check is not for the telephone."""
    check = knowledge.checks.get(check_id)
    if check is None:
        raise ChillerError("no such check", given=check_id, allowed="an id of `checks`", do="correct the id")
    if language not in languages(knowledge):
        allowed = ", ".join(languages(knowledge))
        raise ChillerError(
            "no texts in this language", given=language, allowed=allowed, do="add cards/texts/<language>.yaml"
        )
    if not check.telephone:
        raise ChillerError("this check is not for the telephone", given=check_id, do="only somebody trained may do it")
    catalogue = knowledge.texts.get(language)
    review = catalogue.review if catalogue else ""
    if language == ENGLISH:
        return TelephoneText(check_id, language, check.telephone, english(check), review)
    assert catalogue is not None
    row = catalogue.checks.get(check_id)
    if row is None:
        raise ChillerError(f"no {catalogue.title} text for this check", given=check_id, do="add it to the catalogue")
    return TelephoneText(check_id, language, row.telephone, dict(row.answers), review)


def sounds_wrong(knowledge: Knowledge, check_id: str) -> str:
    """How an answer to a check sounds that means something else, for the one who asks; "" where nothing is written."""
    book = knowledge.texts.get(ENGLISH)
    return book.sounds_wrong.get(check_id, "") if book else ""


def text_problems(raw: RawCards) -> list[Problem]:
    """Texts too hard to follow by ear, and what a catalogue lacks or has too much."""
    checks: dict[str, Check] = {k: c for k, c in raw.cards["checks"].items() if isinstance(c, Check)}
    books = {k: c for k, c in raw.cards["texts"].items() if isinstance(c, Catalogue)}
    trade = frozenset(books[ENGLISH].trade_words) if ENGLISH in books else frozenset()
    out = []
    for check in checks.values():
        grade = grade_en(check.telephone, trade)
        if grade > MOST_GRADE:
            text = (
                f"Flesch-Kincaid grade {grade:.1f}, at most {MOST_GRADE}: shorter sentences, shorter words; a word of the "
                "trade nobody can do without goes into trade_words of texts/en.yaml"
            )
            out.append(raw.problem("checks", check.id, "telephone", text))
    for book in books.values():
        if book.id == ENGLISH:
            if book.checks:
                out.append(
                    raw.problem("texts", ENGLISH, "checks", "English texts stand on the check cards; drop these")
                )
            asked = {k for k, c in checks.items() if c.telephone}
            for name in sorted(asked - set(book.sounds_wrong)):
                out.append(
                    raw.problem("texts", ENGLISH, "sounds_wrong", f"nothing for check '{name}'; say what to beware of")
                )
            for name in sorted(set(book.sounds_wrong) - asked):
                out.append(
                    raw.problem("texts", ENGLISH, f"sounds_wrong.{name}", "no check with a telephone text has this id")
                )
            continue
        for key, text in _catalogue(book, checks):
            out.append(raw.problem("texts", book.id, key, text))
    return out


def _catalogue(book: Catalogue, checks: Mapping[str, Check]) -> Iterator[tuple[str, str]]:
    """(key, problem) of one language."""
    wanted = {k: c for k, c in checks.items() if c.telephone}
    for name in sorted(set(wanted) - set(book.checks)):
        yield "checks", f"no text for check '{name}'; add its telephone text and answers"
    for name, row in book.checks.items():
        key = f"checks.{name}"
        check = wanted.get(name)
        if check is None:
            yield key, "no check with a telephone text has this id; drop or correct it"
            continue
        given, own = set(row.answers), set(check.answers)
        if missing := sorted(own - given):
            yield f"{key}.answers", f"no text for answer {', '.join(missing)}"
        if extra := sorted(given - own):
            yield f"{key}.answers", f"the check has no answer {', '.join(extra)}; drop or correct it"
        said = english(check)
        pairs = [("telephone", check.telephone, row.telephone)]
        pairs += [(f"answers.{a}", said[a], row.answers[a]) for a in sorted(own & given)]
        for part, text, other in pairs:
            if sorted(_PLACEHOLDER.findall(text)) != sorted(_PLACEHOLDER.findall(other)):
                yield f"{key}.{part}", "placeholders in {} differ from the English text; copy them unchanged"
        if book.id == "es":
            ease = ease_es(row.telephone, frozenset(book.trade_words))
            if ease < LEAST_EASE:
                yield (
                    f"{key}.telephone",
                    f"Szigriszt-Pazos ease {ease:.0f}, at least {LEAST_EASE:.0f}: shorter sentences, shorter words",
                )
