"""Advice as text: wrapped to its width, likelihoods in words or per cent, what would change it; search knows directions."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.advise import advise
from diagnose.case import Case
from diagnose.case_check import checked, read_case_file
from diagnose.match import match
from diagnose.text import WIDTH, advice_text
from diagnose.wording import STRENGTH, likelihood, percent, strength, times
from knowledge.load import Knowledge, load_knowledge

EXAMPLES = sorted((Path(__file__).parents[1] / "examples").glob("*.yaml"))


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


@pytest.mark.parametrize("path", EXAMPLES[::2], ids=lambda p: p.stem)
def test_no_line_is_wider_than_the_page(path: Path, base: Knowledge) -> None:
    text = advice_text(advise(checked(read_case_file(path), base), base, explain=True))
    assert [line for line in text.splitlines() if len(line) > WIDTH] == []


def test_long_titles_are_wrapped(base: Knowledge) -> None:
    """A suspect, a step and a verdict with a title of three lines."""
    advice = advise(checked(read_case_file(EXAMPLES[-1]), base), base)
    long = "Very long title of a thing " * 9
    suspects = tuple(s.model_copy(update={"title": long}) for s in advice.suspects)
    steps = tuple(s.model_copy(update={"title": long}) for s in advice.next)
    text = advice_text(advice.model_copy(update={"suspects": suspects, "next": steps}))
    assert max(map(len, text.splitlines())) <= WIDTH
    assert text.count("Very long title") > 9


def test_numbers_are_words_by_default_and_rough_per_cent_on_request(base: Knowledge) -> None:
    advice = advise(checked(read_case_file(EXAMPLES[1]), base), base, explain=True)
    assert "in 10" in advice_text(advice)
    assert "in 10" not in advice_text(advice, percent=True) and " %" in advice_text(advice, percent=True)
    assert likelihood(0.617) == "likely, about 6 in 10"
    assert likelihood(0.617, True) == "likely, about 60 %"
    shown = {percent(p / 1000) for p in range(1001)}
    assert (
        "less than 1 %" in shown
        and "more than 99 %" in shown
        and "about 0 %" not in shown
        and "about 100 %" not in shown
    )
    assert len(shown) <= 32


def test_weights_in_words_grow_with_the_weight() -> None:
    words = [word for _, word in STRENGTH]
    got = [strength(w / 10) for w in range(30, -1, -1)]
    assert sorted(set(got), key=words.index) == list(dict.fromkeys(got)) == words
    assert [times(0.2), times(-1.4), times(4.0)] == ["about 2 times", "about 30 times", "thousands of times"]


def test_what_would_change_it_is_said(base: Knowledge) -> None:
    path = next(p for p in EXAMPLES if p.stem == "low-suction")
    advice = advise(checked(read_case_file(path), base), base, explain=True)
    text = advice_text(advice)
    assert "What would change this" in text and "were it instead" in text
    bare = advice_text(advice.model_copy(update={"turns": (), "next": ()}))
    assert "What would change this" not in bare


@pytest.mark.parametrize(
    ("said", "finding", "word", "other"),
    [
        ("superheat too high", "superheat", "high", "low"),
        ("low superheat", "superheat", "low", "high"),
        ("subcooling too low", "subcooling", "low", "high"),
        ("high subcooling", "subcooling", "high", "low"),
    ],
)
def test_search_knows_which_way(said: str, finding: str, word: str, other: str, base: Knowledge) -> None:
    """The first cause found moves the quantity the way that was said, and none before it moves it only the other way."""
    first = next(m for m in match(said, base, most=50) if m.kind == "cause")
    words = {w for e in base.causes[first.id].brings if e.finding == finding for w in e.gives}
    assert word in words and (other not in words or word in words)


def test_a_direction_alone_finds_nothing_of_its_own(base: Knowledge) -> None:
    """ "low" beside a quantity is no reason to name every card with "low" in it."""
    found = [m.id for m in match("subcooling too high", base) if m.kind == "cause"]
    assert "flow-switch-misset" not in found and "overload-set-high" not in found
    assert match("the of and", base) == []


def test_an_empty_case_has_a_text(base: Knowledge) -> None:
    assert advice_text(advise(Case(complaint="no-flow", role="customer"), base, explain=True))
