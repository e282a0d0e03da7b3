"""Two hundred random calls: the telephone desk never shows what only somebody trained may do.

What may be shown is written down here a second time, from the cards, so that a slip in `diagnose.telephone` is seen.
"""

from __future__ import annotations

import html
import random
from collections.abc import Callable
from typing import Any

import pytest

from diagnose.case import Case
from diagnose.choices import answer_places
from diagnose.telephone import heard_case, sayable
from ui import office

WALKS, AT_ONCE, MOST_QUESTIONS = 200, 50, 3
ON_SCREEN = 4
SAFE_HAZARDS = {"none", "slip"}  # of checks for everybody
MACHINES: tuple[dict[str, Any], ...] = (
    {"name": "Unit 7", "refrigerant": "R-410A", "circuits": 2},
    {"name": "Unit 8", "refrigerant": "R-32", "circuits": 1, "supply": "generator", "pumps": ["onboard", "site"]},
    {"name": "Unit 9"},
)
WORDS = (
    "",
    "it trips every hour",
    "I have the panel key and a meter, shall I open it",
    "it hisses and there is ice on a pipe",
)


def for_everybody(check_id: str) -> bool:
    card = office.knowledge().checks[check_id]
    return (
        card.who == "customer"
        and not card.needs_qualified
        and not card.access
        and set(card.hazards) <= SAFE_HAZARDS
        and card.telephone != ""
    )


def header(rng: random.Random) -> dict[str, Any]:
    """A call as anybody might open it; half of them say that a qualified technician is there."""
    trained = rng.random() < 0.5
    return {
        "complaint": rng.choice(sorted(office.knowledge().complaints)),
        "words": rng.choice(WORDS),
        "role": "technician" if trained else rng.choice(("customer", "agent")),
        "qualified": ["electrical", "refrigerant", "height"] if trained else [],
        "machine": rng.choice(MACHINES),
    }


def answered(case: Case, step: Any, rng: random.Random) -> Case:
    """The case with some answer to a step."""
    place = step.place
    if ":" not in place or place.endswith(("*", "?")):
        place = rng.choice(answer_places(case.machine, place.split(":")[0]))[0]
    choice = rng.choice([*(a.id for a in step.answers), "cannot-tell"])
    entry = {"id": f"e{len(case.entries)}", "check": step.id, "answer": choice, "place": place if ":" in place else "",
             "sure": rng.choice(("sure", "think-so", "guess")), "who": "customer-says"}  # fmt: skip
    return Case.model_validate(
        {**case.model_dump(mode="json"), "entries": [*case.model_dump(mode="json")["entries"], entry]}
    )


@pytest.mark.parametrize("start", range(0, WALKS, AT_ONCE))
def test_no_walk_meets_a_check_for_somebody_trained(start: int) -> None:
    met = 0
    for seed in range(start, start + AT_ONCE):
        rng = random.Random(seed)
        case = heard_case(Case.model_validate(header(rng)))
        for _ in range(1 + seed % MOST_QUESTIONS):
            steps = sayable(office.advise(case), office.knowledge())
            looks = [step for step in steps if step.kind in ("observe", "reconfigure")]
            for step in looks:
                assert for_everybody(step.id), (seed, step.id)
                met += 1
            for step in steps:
                if step.kind == "repair":
                    causes = [c for c in office.knowledge().causes.values() if c.remedy.id == step.id]
                    assert causes and all(c.remedy.who == "customer" for c in causes), (seed, step.id)
            if not looks:
                break
            case = answered(case, rng.choice(looks[:3]), rng)
    assert met > AT_ONCE, "the walks asked something"


def test_no_screen_and_no_address_shows_one(desk: Callable[..., Any]) -> None:
    """The screens themselves, and addresses that name a check for somebody trained."""
    office.open_records()
    knowledge = office.knowledge()
    forbidden = [c for c in knowledge.checks.values() if not for_everybody(c.id)]
    texts = {html.escape(c.technician, quote=True) for c in knowledge.checks.values()}
    for seed in range(ON_SCREEN):
        rng = random.Random(1000 + seed)
        call = office.records().open_call({**header(rng), "role": "customer", "qualified": []}, by="Robin Example")
        app = desk(desk="telephone", call=call)
        for _ in range(4):
            bad = rng.choice(forbidden)
            app.app.query_params["step"] = f"{bad.id}@{rng.choice(('unit', bad.place, 'circuit:A'))}"
            app.app.run()
            drawn = app.text + " ".join(app.labels)
            assert not [c.id for c in forbidden if f"-{c.id}-" in " ".join(str(b.key) for b in app.app.button)]
            assert not [text[:60] for text in texts if text in drawn], "no technician's text is on the screen"
            if not app.answers:
                break
            app.press(rng.choice(app.answers))
