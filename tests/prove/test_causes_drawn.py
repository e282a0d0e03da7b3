"""Drawn people, words without order as the cards say them, and the summary of drawn calls."""

from __future__ import annotations

import pytest

from diagnose.prove.causes import Row, summary
from diagnose.prove.drawing import CANNOT_TELL, WRONG, Draw, draw_case
from knowledge.load import Knowledge, load_knowledge


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def chances(draw: Draw, finding: str, place: str = "unit", above: int = 0) -> dict[str, float]:
    node = draw.network.node((finding, place))
    return dict(zip(node.words, (float(p) for p in draw.row((finding, place), above)), strict=True))


def test_people_err_as_the_base_says_or_more(base: Knowledge) -> None:
    usual, rough = (draw_case(base, "strainer-clogged", 0, 1, rough=rough) for rough in (False, True))
    table = base.words.answer_right["sure"]["saw"]
    assert usual.errs(table) == pytest.approx(1.0 - table)
    assert usual.cannot_tell == pytest.approx(1.0 - base.words.verdict["answer-chance"])
    assert rough.errs(table) == WRONG
    assert CANNOT_TELL[0] <= rough.cannot_tell <= CANNOT_TELL[1]


def test_a_cause_alone_shows_words_without_order_as_often_as_its_card_says(base: Knowledge) -> None:
    strength = base.words.strength
    for cause, finding in (("sensor-out-of-well", "sensor-place"), ("upstream-disconnect-open", "upstream-switch")):
        draw = draw_case(base, cause, 0, 1)
        place = base.findings[finding].place
        gives = next(e.gives for e in base.causes[cause].brings if e.finding == finding)
        shown = chances(draw, finding, next(p.id for p in draw.network.places.values() if p.kind == place))
        left = 1.0 - sum(strength[s] for s in gives.values())
        for word, s in gives.items():  # what appears without a cause has only what the cause leaves
            assert strength[s] <= shown[word] <= strength[s] + left
        assert sum(shown.values()) == pytest.approx(1.0)


def test_what_a_cause_shows_itself_comes_before_what_follows_from_an_effect(base: Knowledge) -> None:
    draw = draw_case(base, "pump-jammed", 0, 1)
    pump = next(p.id for p in draw.network.places.values() if p.kind == "pump")
    gives = next(e.gives for e in base.causes["pump-jammed"].brings if e.finding == "pump-turning")
    stopped = base.effects["pump-running"].ordered.index("stopped")
    shown = chances(draw, "pump-turning", pump, stopped)
    for word, s in gives.items():
        if word != "stopped":
            assert shown[word] >= base.words.strength[s]
    assert shown["right-way"] < 0.05


def test_nobody_calls_about_a_noise_without_one(base: Knowledge) -> None:
    """Of a cause that seldom sounds every caller with this complaint heard something, and callers with another one need not."""
    heard = base.complaints["noise-vibration"].noticed
    noisy = other = 0
    for number in range(40):
        draw = draw_case(base, "suction-air-leak", number, 3)
        unhealthy = [k for k, w in draw.words.items() if k[0] in heard and w != base.findings[k[0]].neutral]
        if draw.case.complaint == "noise-vibration":
            assert unhealthy
            noisy += 1
        else:
            other += not unhealthy
    assert noisy > 0 and other > 0


def row(cause: str, lead: str, *, rough: bool = False) -> Row:
    good = cause == lead
    return {"cause": cause, "lead": lead, "leads": good, "serves": good, "could": True, "wrong": False, "unended": False,
            "stop": "", "checks": 3, "verdict": "one-cause", "rough": rough}  # fmt: skip


def test_rough_draws_pass_nobody_and_the_matrix_names_what_led(base: Knowledge) -> None:
    rows = [row("strainer-clogged", "strainer-clogged")] * 17 + [row("strainer-clogged", "hose-kinked")] * 3
    rows += [row("hose-kinked", "strainer-clogged")] + [row("hose-kinked", "hose-kinked", rough=True)] * 20
    made = summary(base, rows)
    assert made["total"]["pass"] == 1
    assert made["confusions"] == {"hose-kinked": {"strainer-clogged": 1}, "strainer-clogged": {"hose-kinked": 3}}
    assert (made["draws"], made["rough"]["draws"], made["rough"]["leads_share"]) == (21, 20, 1.0)


def test_every_cause_has_a_machine_on_which_it_can_be_drawn(base: Knowledge) -> None:
    for name in base.causes:
        draw = draw_case(base, name, 0, 5)
        assert draw.network.instances[draw.instance - 1].cause == name


def test_a_call_tells_circumstances_that_go_with_its_cause(base: Knowledge) -> None:
    """Frost comes with cold weather far more often than cold weather comes; a valve is the one its cause asks for; a site pump is told."""
    draws = [draw_case(base, "line-frozen", number, 7).case for number in range(40)]
    assert sum("cold-snap" in case.context for case in draws) > 30
    usual = [draw_case(base, "contactor-pole-lost", number, 7).case for number in range(40)]
    assert sum("cold-snap" in case.context for case in usual) < 20
    assert {draw_case(base, "electronic-valve-stuck-open", n, 7).case.machine.expansion for n in range(12)} == {
        "electronic"
    }
    assert all(("site-pump" in c.context) == (c.machine.pump_in_use == "site") for c in (*draws, *usual))
