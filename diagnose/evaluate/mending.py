"""What follows a verdict: its remedy is done, the machine is tried again, and the person tells what came of it, truly.

A remedy mends a true cause where the verdict names it, one declared inseparable from it, or one for which the same is done, at its
place. What is left is the same machine on the same day without that cause. "Not cured" is said where the complaint of the call is
still there. Where it is gone and something else is to be noticed, the call is cured and the next one about the same machine begins,
with a complaint about what is left. Where nobody notices anything the call is cured and nobody calls again: a second fault that
shows nothing by itself today stays hidden, as it would in the field. A remedy that somebody else must do is done by whoever it is
handed to; the person of the call tells what came of it.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.advice import Verdict
from diagnose.case import Entry
from diagnose.doing import done_of, entries_of
from diagnose.evaluate.cases import Call, about_what_is_left, complained, noticed, tried_again
from diagnose.prove.causes import group_of, same_remedy
from knowledge.load import Knowledge


@dataclass(frozen=True)
class Tried:
    """A remedy done. entries: how it is told; call: the machine as it is now; outcome: cured, not-cured, or another (cured, and the next
    call is about what is left); helped: whether it put a true cause right, or explained rightly what is normal.
    """

    entries: tuple[Entry, ...]
    call: Call
    outcome: str
    helped: bool


def tried(knowledge: Knowledge, call: Call, verdict: Verdict) -> Tried:
    """Do what a verdict says at the machine of a call, and try it again."""
    mended = {n for n in range(len(call.causes)) if _mends(knowledge, call, n, verdict)}
    explained = not call.causes and verdict.kind == "normal"
    now = tried_again(call, mended)
    outcome = "cured"
    if not (mended or explained) or complained(now, knowledge):
        outcome = "not-cured"
    elif noticed(now, knowledge):
        outcome, now = "another", about_what_is_left(now, knowledge)
    told = entries_of(done_of(verdict, knowledge), "cured" if outcome == "another" else outcome)
    return Tried(tuple(told), now, outcome, bool(mended) or explained)


def _mends(knowledge: Knowledge, call: Call, number: int, verdict: Verdict) -> bool:
    cause, place = call.causes[number], call.places[number]
    same = group_of(knowledge, cause) | same_remedy(knowledge, cause)
    return any(
        named in same and _covers(where, place) for named, where in zip(verdict.causes, verdict.places, strict=True)
    )


def _covers(named: str, place: str) -> bool:
    """Whether a remedy at the place a verdict names reaches a place: it is that one, or one of that kind is meant."""
    kind = place.partition(":")[0]
    return any(one == place or not one.startswith(f"{kind}:") for one in named.split(" or "))
