"""A class at a glance: one row a session, also as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from diagnose.training.debrief import belief_at, planner_path, title_of
from diagnose.training.scoring import cause_share, score, total
from diagnose.training.session import Part, Session
from knowledge.load import Knowledge

COLUMNS = (
    "trainee",
    "scenario",
    "mode",
    "state",
    "looks",
    "minutes",
    "allowed",
    "planner_minutes",
    "safety_marks",
    "named",
    "ended",
    "right",
    "score",
)


class Line(Part):
    """One session in the overview. state: not started, at work, out of time, finished. right: 0 to 1; score 0 to 100 once finished."""

    id: str = ""
    trainee: str
    scenario: str
    mode: str
    state: str
    looks: int
    minutes: float
    allowed: float
    planner_minutes: float
    safety_marks: int
    named: str
    ended: str
    right: float
    score: int


def line_of(session: Session, knowledge: Knowledge, session_id: str = "") -> Line:
    """The row of a session; the planner's minutes count once it is finished."""
    named = session.named
    state = (
        "finished" if named else "out of time" if session.late else "at work" if session.happenings else "not started"
    )
    planned, points = 0.0, 0
    if named:
        planned = planner_path(session.scenario, knowledge, session.seed).minutes
        believed = belief_at(session.case, session.scenario, knowledge, session.minutes).true
        points = total(score(session, knowledge, planned, believed))
    return Line(
        id=session_id,
        trainee=session.trainee,
        scenario=session.scenario.title,
        mode=session.mode,
        state=state,
        looks=sum(h.kind == "look" for h in session.happenings),
        minutes=round(session.minutes, 1),
        allowed=session.scenario.minutes,
        planner_minutes=round(planned, 1),
        safety_marks=session.marks,
        named=", ".join(title_of(c, knowledge) for c in named.causes) if named else "",
        ended=named.ends or "" if named else "",
        right=round(cause_share(session, knowledge), 2),
        score=points,
    )


def as_csv(lines: Iterable[Line]) -> str:
    """CSV by RFC 4180 with a head line. A text that a spreadsheet would take for a formula gets an apostrophe before it."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for one in lines:
        writer.writerow([_plain(getattr(one, c)) for c in COLUMNS])
    return out.getvalue()


def _plain(value: object) -> object:
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value
