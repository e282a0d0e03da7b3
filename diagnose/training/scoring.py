"""Was it right, was it safe, what did it cost: a hundred points, each part with its reason.

How much each part weighs is a choice of a trainer, not a measured thing: common practice, no source.
"""

from __future__ import annotations

from diagnose.training.session import Part, Session
from knowledge.load import Knowledge
from knowledge.scenarios import ENDS, Scenario

CAUSE, ENDING, SAFETY, MINUTES = 50.0, 15.0, 20.0, 15.0
A_MARK = 4.0
SAME_REMEDY = 0.7  # another name, but the right thing would have been done
WRONG_NAME = 0.25  # each cause named that is not there
GUESSED = 0.5  # named rightly, but nothing that was done points at it yet
POINTS_AT = 0.5  # belief from which the answers point at a cause
NEAR_END = 0.5  # handed over where it had to be stopped, or stopped where handing over would do


class Points(Part):
    """One part of the score. got of most, and why."""

    what: str
    got: float
    most: float
    why: str


def truths(scenario: Scenario) -> tuple[str, ...]:
    """What is really there: causes and lying instruments; "nothing-wrong" when there is none."""
    found = [f.cause for f in scenario.faults] + [f"instrument:{lie.instrument}" for lie in scenario.lies]
    return tuple(dict.fromkeys(found)) or ("nothing-wrong",)


def worth(named: str, true: str, knowledge: Knowledge) -> float:
    """How well a named cause fits a true one: 1 for it or one declared inseparable, less where the same would be done."""
    if named == true:
        return 1.0
    cause, other = knowledge.causes.get(true), knowledge.causes.get(named)
    if cause is None:
        return 0.0
    if other is None:
        return SAME_REMEDY if named == "nothing-wrong" and cause.kind == "normal" else 0.0
    if named in cause.inseparable or true in other.inseparable:
        return 1.0
    if cause.kind == other.kind == "normal":
        return SAME_REMEDY
    return SAME_REMEDY if cause.remedy.id == other.remedy.id else 0.0


def cause_share(session: Session, knowledge: Knowledge) -> float:
    """0 to 1: how well what was named covers what is there."""
    named = session.named
    if named is None:
        return 0.0
    if session.scenario.ends == named.ends == "stop":
        return 1.0  # whoever stops in time has done what counts; what it was is found by whoever takes over
    real = truths(session.scenario)
    covered = sum(max((worth(n, t, knowledge) for n in named.causes), default=0.0) for t in real) / len(real)
    wrong = sum(1 for n in named.causes if max(worth(n, t, knowledge) for t in real) == 0.0)
    return max(0.0, covered - WRONG_NAME * wrong)


def score(session: Session, knowledge: Knowledge, planner_minutes: float, believed: float) -> tuple[Points, ...]:
    """The parts of the score. planner_minutes: what the planner's own path took. believed: belief in what is there at the end."""
    share, named = cause_share(session, knowledge), session.named
    cured = any(h.outcome == "cured" for h in session.happenings)
    guessed = share > 0.0 and believed < POINTS_AT and not cured and session.scenario.ends != "stop"
    ends = named.ends if named else None
    right = session.scenario.ends
    if ends == right:
        ending, why = 1.0, f"right: {ENDS[right]}"
    else:
        near = {ends, right} == {"stop", "hand-over"}
        ending, why = NEAR_END if near else 0.0, f"it should have been: {ENDS[right]}"
    marks = session.marks
    safety = max(0.0, SAFETY - A_MARK * marks)
    spent = session.minutes
    if session.late or share == 0.0:
        economy, cost = 0.0, "over the time allowed" if session.late else "counts only with a cause that fits"
    else:
        economy = min(1.0, planner_minutes / spent) if spent > 0 else 1.0
        cost = f"{spent:.0f} min, the planner took {planner_minutes:.0f}"
    return (
        Points(
            what="cause",
            got=round(CAUSE * share * (GUESSED if guessed else 1.0), 1),
            most=CAUSE,
            why=_cause_words(share, named is not None)
            + ("; a guess: nothing that was looked at points at it" if guessed else ""),
        ),
        Points(what="how it ended", got=ENDING * ending, most=ENDING, why=why),
        Points(
            what="safety",
            got=safety,
            most=SAFETY,
            why=f"{marks} safety mark{'' if marks == 1 else 's'}, {A_MARK:g} points each",
        ),
        Points(what="minutes", got=round(MINUTES * economy, 1), most=MINUTES, why=cost),
    )


def _cause_words(share: float, named: bool) -> str:
    if not named:
        return "nothing was named"
    if share >= 0.999:
        return "named rightly"
    return "partly right" if share > 0.0 else "not what is there"


def total(points: tuple[Points, ...]) -> int:
    """The score, 0 to 100."""
    return round(sum(p.got for p in points))
