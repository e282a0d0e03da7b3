"""How hard a text is: syllables against a pronouncing dictionary and the Spanish spelling rules, formulas against worked values."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowledge.readability import (
    ease_es,
    flesch_kincaid,
    grade_en,
    sentences_in,
    syllables_en,
    syllables_es,
    words_of,
)

TABLE = (Path(__file__).parent / "syllables_en.csv").read_text(encoding="utf-8").splitlines()
ENGLISH = [line.split(",") for line in TABLE if line and not line.startswith("#")]


def test_english_syllables_agree_with_the_pronouncing_dictionary() -> None:
    wrong = [
        (word, syllables_en(word), said) for word, said in ENGLISH if str(syllables_en(word)) not in said.split("/")
    ]
    assert len(ENGLISH) == 150
    assert wrong == []


@pytest.mark.parametrize(
    ("word", "count"),
    # by the spelling rules of the Real Academia (Ortografia 2010, 3.4): two open vowels part, a closed one joins unless it is
    # stressed, two closed ones join
    [
        ("agua", 2), ("aire", 2), ("aéreo", 4), ("ahora", 3), ("apoyo", 3), ("caudal", 2), ("día", 2), ("eléctrico", 4),
        ("guía", 2), ("hay", 1), ("leído", 3), ("línea", 3), ("muy", 1), ("oír", 2), ("pingüino", 3), ("presión", 2),
        ("que", 1), ("refrigerante", 5), ("ruido", 2), ("tuberías", 4), ("vacío", 3), ("y", 1), ("yeso", 2),
    ],
)  # fmt: skip
def test_spanish_syllables_follow_the_spelling(word: str, count: int) -> None:
    assert syllables_es(word) == count


def test_the_english_grade_is_the_published_formula() -> None:
    """The platypus sentence of the English Wikipedia's article on the test has 13 words, 24 syllables and reading ease 37.5
    (from memory); its grade by 0.39 x 13 + 11.8 x 24 / 13 - 15.59 is 11.26."""
    reading_ease = 206.835 - 1.015 * 13 - 84.6 * 24 / 13
    assert reading_ease == pytest.approx(37.5, abs=0.05)
    assert flesch_kincaid(13, 1, 24) == pytest.approx(11.26, abs=0.01)
    text = "Read me both dials. Touch no pipe."
    assert (len(words_of(text)), sentences_in(text), sum(map(syllables_en, words_of(text)))) == (7, 2, 8)
    assert grade_en(text) == flesch_kincaid(7, 2, 8)


def test_the_spanish_ease_is_the_published_formula() -> None:
    """Seven words, thirteen syllables, two sentences: 206.835 - 62.3 x 13 / 7 - 7 / 2."""
    text = "Mire la bomba. ¿Está el motor parado?"
    assert sum(map(syllables_es, words_of(text, "es"))) == 13
    assert ease_es(text) == pytest.approx(206.835 - 62.3 * 13 / 7 - 3.5)


def test_listed_trade_words_count_as_two_syllables() -> None:
    text = "Is the evaporator cold?"
    assert grade_en(text) > grade_en(text, {"evaporator"})
    assert grade_en("Are the evaporators cold?", {"evaporator"}) == pytest.approx(0.39 * 4 + 11.8 * 5 / 4 - 15.59)
    assert grade_en("Is the pump cold?", {"pump"}) == grade_en("Is the pump cold?"), "a short word does not grow longer"


def test_long_words_and_long_sentences_are_harder() -> None:
    assert grade_en("Look at the dial. Read it to me.") < grade_en("Look at the dial and read it to me.")
    assert grade_en("Read the dial.") < grade_en("Communicate the instrument indication.")
    assert ease_es("Mire el reloj.") > ease_es("Comunique la indicación del instrumento.")
    assert (grade_en(""), ease_es("")) == (0.0, 100.0)
