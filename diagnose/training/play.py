"""The bench in a terminal: one choice a line, kept in a file if one is named."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from diagnose.advise import advise
from diagnose.match import match
from diagnose.phrases import likely
from diagnose.training.session import Session, attempt, look, name_cause, offers
from diagnose.training.text import brief_text, standing_text
from knowledge.load import Knowledge
from knowledge.scenarios import ENDS, Ends
from shared.errors import CaseError, ChillerError, shorten

HELP = (
    "WORDS = search for a check; look ID[@PLACE]; fix REMEDY[@PLACE]; causes WORDS = search for a cause; "
    "name CAUSE[,CAUSE] repair|explain|hand-over|stop; log; quit"
)
MOST_BYTES = 5_000_000


def read_session(path: Path) -> Session:
    """A session from its file; raises CaseError with one line a problem."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise CaseError("too large", [f"{path.name}: file too large; allowed: up to {MOST_BYTES} bytes"])
        return Session.model_validate_json(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise CaseError(
            "unreadable", [f"{path.name}: cannot be read ({error.__class__.__name__}); name a session file"]
        ) from None
    except ValidationError as error:
        lines = [f"{path.name}: {'.'.join(str(p) for p in e['loc'])}: {shorten(e['msg'], 160)}" for e in error.errors()]
        raise CaseError("not a session", list(dict.fromkeys(lines))[:20]) from None


def play(
    session: Session, knowledge: Knowledge, output: Path | None, read: Callable[[str], str] | None = None
) -> Session:
    """Lead through the exercise; the session as it was left. ``read`` asks for one line (default: standard input)."""
    reader = read or _read_line
    print(brief_text(session.scenario, knowledge))
    print(HELP)
    while session.named is None:
        _keep(session, output)
        if session.mode == "guided":
            _guide(session, knowledge)
        line = reader(f"{standing_text(session)} > ").strip()
        if line in ("quit", "q", "exit"):
            break
        try:
            session = _did(session, knowledge, line)
        except ChillerError as error:
            print(error.line())
    _keep(session, output)
    return session


def _did(session: Session, knowledge: Knowledge, line: str) -> Session:
    word, _, rest = line.partition(" ")
    rest = rest.strip()
    if word == "look" and rest:
        what, _, place = rest.partition("@")
        return _told(look(session, knowledge, what.strip(), place.strip()))
    if word == "fix" and rest:
        what, _, place = rest.partition("@")
        return _told(attempt(session, knowledge, what.strip(), place.strip()))
    if word == "name" and rest:
        *names, ends = rest.replace(",", " ").split()
        return name_cause(session, knowledge, tuple(names), _ends(ends))
    if word == "log":
        for h in session.happenings:
            print(f"  {h.title} [{h.minutes:.0f} min] {h.told or h.why}")
    elif word == "causes" and rest:
        _found(rest, knowledge, "cause")
    elif line in ("", "help", "?"):
        print(HELP)
    elif line in knowledge.checks:
        return _told(look(session, knowledge, line))
    else:
        _found(line, knowledge, "check")
    return session


def _ends(word: str) -> Ends:
    try:
        return TypeAdapter(Ends).validate_python(word)
    except ValidationError:
        raise ChillerError(
            "how the call ends", given=word, allowed=", ".join(ENDS), do="name CAUSE and one of these"
        ) from None


def _found(words: str, knowledge: Knowledge, kind: str) -> None:
    found = list(dict.fromkeys(m.id for m in match(words, knowledge) if m.kind == kind))
    if kind == "cause":
        table = offers(knowledge)
        for one in found:
            card = knowledge.causes[one]
            print(f"  {one}: {card.title} [fix {card.remedy.id}, {table[card.remedy.id].minutes:.0f} min]")
    for one in found if kind == "check" else []:
        print(f"  {one}: {knowledge.checks[one].title} [{knowledge.checks[one].minutes:g} min]")
    if not found:
        print("  nothing found; try other words, or 'help'")


def _told(session: Session) -> Session:
    one = session.happenings[-1]
    if one.kind == "stopped":
        print(f"  STOPPED ({one.marks} safety mark{'' if one.marks == 1 else 's'}): {one.why}")
    else:
        print(f"  {one.title} [{one.minutes:.0f} min]\n  {one.told}")
    return session


def _guide(session: Session, knowledge: Knowledge) -> None:
    advice = advise(session.case, knowledge)
    if advice.stop is not None:
        print(f"  STOP: {advice.stop.reason} Make safe: {advice.stop.make_safe}")
    for one in advice.suspects[:3]:
        print(f"  {likely(one.probability).text}: {one.title}")
    for step in [s for s in advice.next if s.asks and not s.again][:3]:
        print(f"  could look: {step.id}: {step.title} [{step.minutes:g} min]")


def _read_line(prompt: str) -> str:
    try:
        return input(prompt)
    except EOFError:
        return "quit"


def _keep(session: Session, output: Path | None) -> None:
    if output is None:
        return
    try:
        output.write_text(session.model_dump_json(exclude_defaults=True, indent=1), encoding="utf-8")
    except OSError as error:
        print(f"not kept: {error.strerror}; name a file in a folder that exists", file=sys.stderr)
