"""Changes of set-up as steps: to learn, to keep the site cooled until it is mended, and to put back what was changed.

A change that only tells something stands among the looks. Here it is put where it belongs as an action of its own: first, where
the search would make it before it looks, mends or hands over; beside the remedy or the hand-over, where the site would be cooled
by it meanwhile; and last or first, once it was made, putting it back.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.advice import Choice, LeftChanged, Step, Verdict
from diagnose.draw import look_step
from diagnose.looks import Gates, allowed
from diagnose.network import Network
from diagnose.places import spell
from diagnose.plan import Plan, Scored
from diagnose.setups import UNDONE, Changed
from diagnose.verdict import PAYS
from diagnose.work import Work

RELIEVED_BESIDE = ("one-cause", "two-causes", "inseparable", "cannot-tell", "hand-over")


def with_changes(
    work: Work,
    network: Network,
    plan: Plan,
    verdict: Verdict | None,
    gates: Gates,
    steps: Sequence[Step],
) -> list[Step]:
    """The steps with those that change the set-up or put it back. Not for a call that has to end."""
    out = list(steps)
    if verdict is None and plan.first is not None and work.graded.evidence:
        first = _change(work, network, plan.first, "Nothing else costs less now: the site is cooled if it helps. ")
        out = [first, *(s for s in out if (s.id, s.place) != (first.id, first.place))]
    elif verdict is not None and verdict.kind in RELIEVED_BESIDE:
        best = min(plan.changes, key=lambda c: c.relieved, default=None)
        if best is not None and best.relieved < plan.base * PAYS:
            until = _change(work, network, best, "Keeps the site cooled until it is mended. ")
            out = [s for s in out if (s.id, s.place) != (until.id, until.place)]
            at = next((n for n, s in enumerate(out) if s.kind == "observe"), len(out))
            out.insert(at, until)
    for one in work.changed:
        back = _put_back(work, one, gates, plan.base)
        if back is not None:
            out.insert(len(out) if one.relieves else 0, back)
    return out


def left_of(work: Work) -> tuple[LeftChanged, ...]:
    """What was changed and not put back; how it is put back only for who may do it."""
    return tuple(
        LeftChanged(
            setup=one.setup.id,
            place=one.place or one.setup.place,
            title=_titled(one),
            outcome=one.outcome,
            undo=one.setup.undo if allowed(one.setup, work.case, Gates()) else "",
        )
        for one in work.changed
    )


def reminders(work: Work) -> list[str]:
    """The same as sentences, for everybody."""
    return [
        f"Left changed: {_titled(one)}. Until it is put back the call is not finished"
        + (", and what it makes otherwise is not judged." if one.setup.ages or one.setup.shifts else ".")
        for one in work.changed
    ]


def _titled(one: Changed) -> str:
    return one.setup.title + (f" ({spell(one.place)})" if ":" in one.place else "")


def _change(work: Work, network: Network, one: Scored, why: str) -> Step:
    """The step of a change, or the safety question that comes before it."""
    if one.candidate.before:
        question = work.knowledge.checks[one.candidate.before[0]]
        return look_step(
            work, question, "unit", one.relieved, f"Question before: {one.candidate.check.title}. ", {}, network
        )
    candidate = one.candidate
    return look_step(work, candidate.check, candidate.place, one.relieved, why, one.outcomes, network)


def _put_back(work: Work, one: Changed, gates: Gates, base: float) -> Step | None:
    """Putting a set-up back, None where the person at the machine may not now; the reminder stands all the same."""
    setup = one.setup
    if not allowed(setup, work.case, gates):
        return None
    return Step(
        id=setup.id,
        kind="reconfigure",
        title=f"Put back: {_titled(one)[0].lower()}{_titled(one)[1:]}",
        ask=setup.undo,
        answers=(Choice(id=UNDONE, text="It is put back"),),
        place=one.place or setup.place,
        minutes=setup.undo_minutes,
        expected_cost_minutes=round(base, 3),
        who=setup.who,
        needs_qualified=setup.needs_qualified,
        hazards=setup.hazards,
        cautions=setup.cautions[:2],
        tools=setup.tools,
        state=setup.state,
        why="It keeps the site cooled: put back once it is mended, before the call is closed."
        if one.relieves
        else "What it told is known; while it stands, what it makes otherwise cannot be judged.",
    )
