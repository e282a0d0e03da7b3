"""The set-up of the machine in a call: what was changed, what of the told still holds, what is left to put back.

A call falls into episodes. A remedy ends one: what was told before it is no word of now. A change of set-up ends one too, and so
does putting it back, but then only what the card says is otherwise is left behind; all the rest is told again in the next. What
came of the change stands at the end of the episode before it, beside the readings it is compared with.

What protects people and machine forgets nothing by a change: stops, hold points and gates hear all that was told since the last
remedy, the latest word on each thing, whatever stood changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from diagnose.case import Case, Entry
from knowledge.load import Knowledge
from knowledge.models import Check, Setup

UNDONE = "undone"
RUNNING = ("cooling", "steady", "pump-on", "pump-only")  # states of a look that needs what it looks at to run


@dataclass(frozen=True)
class Changed:
    """A set-up that stands. place: as told; outcome: what came of it, "" while nobody could tell."""

    setup: Setup
    place: str
    outcome: str

    @property
    def relieves(self) -> bool:
        """Whether the site is cooled by it."""
        return self.outcome == "gone" and self.setup.cools != "no"


@dataclass(frozen=True)
class Episode:
    """case: the entries that hold in it; changed: set-ups that stand in it; begun: the action that began it, None for the first.

    watched: all that was told since the last remedy, for stops, hold points and gates; None where that is the same.
    """

    case: Case
    changed: tuple[Changed, ...] = ()
    begun: Entry | None = None
    watched: Case | None = None


def episodes(case: Case, knowledge: Knowledge) -> list[Episode]:
    """The call cut at each remedy, change of set-up and putting back; the last part is what holds now."""
    out: list[Episode] = []
    kept: list[Entry] = []
    told: list[Entry] = []  # since the last remedy
    changed: list[Changed] = []
    begun: Entry | None = None

    def part() -> Episode:
        heard = standing or begun is not None and begun.action in knowledge.setups
        return Episode(_with(case, kept), tuple(standing), begun, _with(case, told) if heard else None)

    standing: list[Changed] = []
    for number, entry in enumerate(case.entries):
        note = [Entry(note=entry.note)] if entry.note and entry.action else []
        setup = knowledge.setups.get(entry.action) if entry.action else None
        if not entry.action:
            kept.append(_meanwhile(entry, changed, knowledge))
            told.append(entry)
            continue
        if setup is None:
            out.append(part())
            kept, told, begun = [*note], [*note], entry
            continue
        now = _find(changed, entry)
        if (now is None) == (entry.outcome == UNDONE):
            continue  # put back without a change; or what came of it, told later and taken from there
        if now is not None:
            out.append(part())
            changed.remove(now)
        else:
            came = _outcome(case.entries[number:], entry)
            answer = _as_look(setup, entry, came)
            kept.append(answer)
            told.append(answer)
            out.append(part())
            changed.append(Changed(setup, entry.place, came))
            note = []
        kept, begun, standing = [*_holding(kept, setup, knowledge), *note], entry, [*changed]
        told += note
    out.append(part())
    return out


def _with(case: Case, entries: Sequence[Entry]) -> Case:
    return case.model_copy(update={"entries": tuple(entries)})


def left_changed(case: Case, knowledge: Knowledge) -> tuple[Changed, ...]:
    """Set-ups that were changed and not put back."""
    return episodes(case, knowledge)[-1].changed


def changing_minutes(case: Case, knowledge: Knowledge) -> float:
    """Minutes spent on changing the set-up and putting it back."""
    spent, standing = 0.0, set()
    for entry in case.entries:
        setup = knowledge.setups.get(entry.action) if entry.action else None
        if setup is not None and entry.outcome == UNDONE:
            spent += setup.undo_minutes
            standing.discard(setup.id)
        elif setup is not None and setup.id not in standing:
            spent += setup.minutes + setup.wait_minutes
            standing.add(setup.id)
    return spent


def word_meant(check: Check, choice: str) -> str:
    """The word of the finding that a choice of a step means: an answer of the look, or an outcome of the change."""
    answer = answer_of(check, choice) if isinstance(check, Setup) else choice
    return check.answers[answer].word or answer


def not_judged_of(entry: Entry, changed: Iterable[Changed], knowledge: Knowledge) -> tuple[Changed, str] | None:
    """(the set-up that stands, finding) where an answer was told while the set-up makes it otherwise."""
    names = _names(entry, knowledge)
    for one in changed:
        for name in names:
            if name in one.setup.ages and entry.condition == one.setup.title:
                return one, name
    return None


def otherwise(check: Check, changed: Iterable[Changed]) -> bool:
    """Whether a set-up that stands makes what this look would show otherwise than it usually is, or its place stand still."""
    told, runs = {check.finding, *check.tells}, check.state in RUNNING
    return any(
        told & set(one.setup.ages)
        or set(check.reads) & set(one.setup.shifts)
        or runs
        and check.place in one.setup.rests
        for one in changed
    )


def answer_of(setup: Setup, outcome: str) -> str:
    """The answer of the look that an outcome means; "cannot-tell" where nobody could tell."""
    return setup.outcomes.get(outcome, "cannot-tell")  # type: ignore[call-overload, no-any-return]


def _find(changed: Sequence[Changed], entry: Entry) -> Changed | None:
    same = (c for c in changed if c.setup.id == entry.action and (not c.place or entry.place in ("", c.place)))
    return next(same, None)


def _outcome(later: Sequence[Entry], entry: Entry) -> str:
    """What came of a change: the last word on it before it was put back."""
    came = ""
    for one in later:
        if one.action == entry.action and one.place in ("", entry.place):
            if one.outcome == UNDONE:
                break
            came = one.outcome or came
    return came


def _as_look(setup: Setup, entry: Entry, outcome: str) -> Entry:
    kept = {"place", "at", "sure", "who", "by", "state", "steadiness", "note"}
    return Entry.model_validate(
        {"check": setup.id, "answer": answer_of(setup, outcome), **entry.model_dump(include=kept)}
    )


def _names(entry: Entry, knowledge: Knowledge) -> set[str]:
    """Findings an entry tells of."""
    check = knowledge.checks.get(entry.check) if entry.check else None
    told = {check.finding or "", *check.tells} if check else {entry.finding}
    return told - {""}


def _touched(entry: Entry, setup: Setup, knowledge: Knowledge) -> bool:
    """Whether the set-up makes otherwise what an entry tells."""
    if entry.check == setup.id or entry.source != "today":
        return False
    check = knowledge.checks.get(entry.check) if entry.check else None
    read = {*(check.reads if check else ()), entry.quantity}
    return bool(read & set(setup.shifts) or _names(entry, knowledge) & set(setup.ages))


def _meanwhile(entry: Entry, changed: Sequence[Changed], knowledge: Knowledge) -> Entry:
    """What is told while a set-up stands that makes it otherwise carries that as its condition."""
    over = next((c for c in changed if _touched(entry, c.setup, knowledge)), None)
    if over is None or entry.condition:
        return entry
    return entry.model_copy(update={"condition": over.setup.title})


def _holding(entries: Sequence[Entry], setup: Setup, knowledge: Knowledge) -> list[Entry]:
    """What of this still holds once the set-up was changed or put back. Notes always do."""
    out = []
    for entry in entries:
        if not _touched(entry, setup, knowledge) or (entry.quantity and entry.condition):
            out.append(entry)
        elif entry.note:
            out.append(Entry(note=entry.note))
    return out
