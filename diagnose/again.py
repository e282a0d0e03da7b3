"""Whoever looks once more may say what was said before, right or wrong: for people who are drawn, in proofs and in the evaluation."""

from __future__ import annotations

import random
from collections.abc import Sequence

from diagnose.advice import Step
from diagnose.case import Entry


def told_before(step: Step, entries: Sequence[Entry]) -> list[Entry]:
    """What was answered to this look so far, where the step is the same look once more; empty for a first look."""
    if not step.again:
        return []
    here = [e for e in entries if e.check == step.id and e.answer != "cannot-tell"]
    return [e for e in here if ":" not in step.place or e.place == step.place] or here


def said_again(before: Sequence[Entry], same_slip: float, dice: random.Random) -> Entry | None:
    """The same answer again, with the chance that the table of words gives it; None where they look afresh."""
    if not before or dice.random() >= same_slip:
        return None
    return dice.choice(before).model_copy(update={"again": True})
