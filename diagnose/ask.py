"""Lead through a call in the terminal: one question at a time, readings at any time, undo, kept in a file if one is named."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path

from diagnose.advice import Advice, Step
from diagnose.advise import advise
from diagnose.case import Case, Entry
from diagnose.case_check import case_problems, parse_case, read_case_file
from diagnose.doing import done_of, done_together, entries_of, one_place
from diagnose.phrases import suspect_title
from diagnose.setups import UNDONE
from diagnose.text import advice_text, left_lines, why_text
from diagnose.why import why
from diagnose.wording import likelihood
from knowledge.load import Knowledge
from shared.errors import CaseError, ChillerError

HELP = (
    "answer: a number or its id; ? = cannot tell; a reading at any time: quantity=value[@place], e.g. suction_pressure=118psig@circuit:B; "
    "done cured|better|not-cured [REMEDY] = a remedy was done; more = whole advice; why CAUSE = why not that one (id or plain "
    "words); undo; skip; note TEXT; quit"
)
OUTCOMES = ("cured", "better", "not-cured")


def ask(knowledge: Knowledge, path: Path | None, output: Path | None, read: Callable[[str], str] | None = None) -> int:
    """Run the dialogue; returns 0. ``read`` asks for one line (default: standard input); end of input ends the call."""
    reader = read or _read_line
    case = read_case_file(path) if path else _open(knowledge, reader)
    if case is None:
        return 0
    problems = case_problems(case, knowledge)
    if problems:
        raise CaseError("case", problems)
    skipped: set[tuple[str, bool]] = set()
    while True:
        _keep(case, output)
        advice = advise(case, knowledge)
        looks = [s for s in advice.next if s.kind in ("observe", "reconfigure") and (s.id, s.asks) not in skipped]
        proposed = _proposed(advice, knowledge)
        told = [e for e in case.entries if e.outcome != UNDONE]
        over = bool(told) and told[-1].outcome == "cured" and not any(s.puts_back for s in advice.next)
        if (advice.stop is not None and advice.stop.ends) or over or not (looks or proposed):
            print(_cured(case, knowledge) if over else advice_text(advice))
            return 0
        if advice.stop is not None:
            print(f"STOP: {advice.stop.reason}\n  Make safe: {advice.stop.make_safe}")
        if advice.verdict is not None:
            print(
                f"VERDICT ({advice.verdict.kind}): {advice.verdict.title}\n  Remedy: {advice.verdict.remedy}\n  Proof of cure: {advice.verdict.proof}"
            )
        for suspect in advice.suspects[:3]:
            print(f"  {suspect_title(suspect)}: {likelihood(suspect.probability)}")
        step = looks[0] if looks else None
        if step is not None:
            _show(step)
        else:
            print("\nNothing more to look at.")
        if proposed:
            what = ", ".join(action for action, _ in proposed)
            print(f"  once it is done: done {' | done '.join(OUTCOMES)}   [{what}]")
        line = reader("> ").strip()
        if line in ("", "quit", "q", "exit"):
            if line == "":
                print(HELP)
                if read is None and sys.stdin.isatty():
                    continue
            print("".join(f"LEFT CHANGED: {one}\n" for one in left_lines(advice)), end="")
            return 0
        if line == "undo":
            case = case.model_copy(update={"entries": case.entries[:-1]})
        elif line == "skip" and step is not None:
            skipped.add((step.id, step.asks))
        elif line == "more":
            print(advice_text(advise(case, knowledge, explain=True)))
        elif line.startswith("why "):
            _why(case, knowledge, line[4:])
        elif line in ("help", "h"):
            print(HELP)
        else:
            entry = _entry(line, step)
            new = _done(line, proposed) if line.split()[0] == "done" else [entry] if entry is not None else []
            if not new:
                print(f"not understood: '{line[:60]}'; {HELP}")
                continue
            changed = case.model_copy(update={"entries": (*case.entries, *new)})
            problems = case_problems(changed, knowledge)
            if problems:
                print("\n".join(problems))
                continue
            case = changed


def _show(step: Step) -> None:
    """A look as it is asked for."""
    print(f"\n{step.title} [{step.minutes:g} min]")
    for caution in step.cautions:
        print(f"  CAREFUL: {caution}")
    print(f"  {step.ask}\n  why: {step.why}")
    for number, choice in enumerate(step.answers, 1):
        print(f"  {number}) {choice.text} [{choice.id}]")
    if step.reads:
        print(f"  read: {', '.join(step.reads)} (quantity=value)")


def _proposed(advice: Advice, knowledge: Knowledge) -> tuple[tuple[str, str], ...]:
    """(remedy, place) of what is proposed to be done now; nothing where nothing is."""
    if advice.verdict is not None and advice.verdict.remedy_id:
        return done_of(advice.verdict, knowledge)
    return tuple((step.id, one_place(step.place)) for step in advice.next if step.kind == "repair")[:1]


def _done(line: str, proposed: tuple[tuple[str, str], ...]) -> list[Entry]:
    """A remedy that was done: "done OUTCOME", of what is proposed, or "done OUTCOME REMEDY"; nothing where it cannot be read."""
    outcome, _, named = line.removeprefix("done").strip().partition(" ")
    done = ((named.strip(), ""),) if named.strip() else proposed
    return entries_of(done, outcome) if done and outcome in OUTCOMES else []


def _cured(case: Case, knowledge: Knowledge) -> str:
    """What is left to do after the last remedy cured it."""
    last = next(n for n in reversed(range(len(case.entries))) if case.entries[n].outcome != UNDONE)
    done = done_together(case.entries, last, knowledge)
    proofs = dict.fromkeys(c.proof for action in done for c in knowledge.causes.values() if c.remedy.id == action)
    return "\n".join(["Cured. Prove it, then close the call:", *(f"  {proof}" for proof in proofs)])


def _why(case: Case, knowledge: Knowledge, cause: str) -> None:
    try:
        print(why_text(why(case, knowledge, cause)))
    except ChillerError as error:
        print(error.line())


def _read_line(prompt: str) -> str:
    try:
        return input(prompt)
    except EOFError:
        return "quit"


def _open(knowledge: Knowledge, reader: Callable[[str], str]) -> Case | None:
    complaints = list(knowledge.complaints.values())
    print("What is the trouble?")
    for number, one in enumerate(complaints, 1):
        print(f"  {number}) {one.title} [{one.id}]")
    line = reader("> ").strip()
    if line in ("", "quit", "q"):
        return None
    chosen = complaints[int(line) - 1].id if line.isdigit() and 1 <= int(line) <= len(complaints) else line
    role = reader("Who is at the machine: customer or technician? > ").strip() or "technician"
    qualified = reader("Qualified for (electrical, refrigerant, height; empty = none)? > ").replace(",", " ").split()
    refrigerant = reader("Refrigerant on the nameplate (empty = not known)? > ").strip()
    words = reader("In the caller's own words (empty = none)? > ").strip()
    return parse_case(
        {
            "format": "1",
            "complaint": chosen,
            "role": role,
            "qualified": qualified,
            "words": words,
            "machine": {"refrigerant": refrigerant},
        }
    )


def _entry(line: str, step: Step | None) -> Entry | None:
    """What a line says: a note, an answer to the step (of a change of set-up, what came of it), or a reading; None if none of these."""
    if line.lower().startswith("note "):
        return Entry(note=line[5:].strip())
    if step is not None:
        answers, place = [c.id for c in step.answers], step.place if ":" in step.place else ""
        if line in ("?", "cannot-tell", "cannot tell") and not step.puts_back:
            return Entry(check=step.id, answer="cannot-tell", place=place, again=step.again)
        chosen = answers[int(line) - 1] if line.isdigit() and 1 <= int(line) <= len(answers) else line
        if chosen in answers and step.kind == "reconfigure":
            return Entry.model_validate({"action": step.id, "outcome": chosen, "place": place})
        if chosen in answers:
            return Entry(check=step.id, answer=chosen, place=place, again=step.again)
    name, found, value = line.partition("=")
    if found and value.strip():
        value, _, where = value.partition("@")
        quantity, where = name.strip().replace(" ", "_"), where.strip()
        asked = step is not None and quantity in step.reads
        instrument = step.instrument_at(where or step.place) if step is not None and asked else ""
        return Entry(quantity=quantity, value=value.strip(), place=where, instrument=instrument)
    return None


def _keep(case: Case, output: Path | None) -> None:
    if output is not None:
        output.write_text(
            json.dumps(case.model_dump(mode="json", exclude_defaults=True), ensure_ascii=False, indent=1),
            encoding="utf-8",
        )
