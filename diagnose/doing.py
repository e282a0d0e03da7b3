"""What is told when somebody did what a verdict says: which remedies, and where.

Where the verdict names one place, the record says so: after "not cured" the same fault at another place is as likely as before.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.advice import Verdict
from diagnose.case import Entry
from knowledge.load import Knowledge

ALL_ITS_CAUSES = ("two-causes", "inseparable")  # kinds whose remedy is meant for every cause they name


def one_place(place: str) -> str:
    """A place as an entry names it; "" where it is the whole machine or left open which one.

    >>> one_place("circuit:A"), one_place("circuit:A or circuit:B"), one_place("unit")
    ('circuit:A', '', '')
    """
    return place if ":" in place and " " not in place else ""


def done_of(verdict: Verdict, knowledge: Knowledge) -> tuple[tuple[str, str], ...]:
    """(remedy, place or "") of everything a verdict says to do, each once, in its order."""
    done = {(verdict.remedy_id, one_place(verdict.places[0] if verdict.places else "")): None}
    if verdict.kind in ALL_ITS_CAUSES:
        for cause, place in zip(verdict.causes, verdict.places, strict=False):
            if cause in knowledge.causes:
                done[knowledge.causes[cause].remedy.id, one_place(place)] = None
    return tuple(done)


def done_together(entries: Sequence[Entry], last: int, knowledge: Knowledge) -> tuple[str, ...]:
    """The remedy told in entry number ``last`` and those told done right before it, what came of which was told with it."""
    done = [entries[last].action]
    for entry in reversed(entries[:last]):
        if not entry.action or entry.outcome or entry.action in knowledge.setups:
            break
        done.insert(0, entry.action)
    return tuple(dict.fromkeys(done))


def entries_of(done: tuple[tuple[str, str], ...], outcome: str) -> list[Entry]:
    """Entries that tell of remedies done one after the other, and what came of it after the last one."""
    outcomes = [*([""] * (len(done) - 1)), outcome]
    return [
        Entry.model_validate({"action": action, "place": place, "outcome": came})
        for (action, place), came in zip(done, outcomes, strict=True)
    ]
