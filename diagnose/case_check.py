"""Read a case file and say, all at once, why it does not hold together. Nothing else ever sees a bad case."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from diagnose.case import CASE_FORMAT, Case, Entry, Machine
from diagnose.machine import MachineData, read_machine
from diagnose.places import PlaceError, Topology, normalise, topology_of
from diagnose.readings import minutes_of
from knowledge.load import Knowledge
from knowledge.yaml_text import MAX_BYTES, YamlProblem, read_yaml
from shared.errors import CaseError, ChillerError, shorten
from shared.quantities import QUANTITIES
from shared.units import parse_reading

MOST_SHOWN = 40


def _near(given: str, allowed: Iterable[str]) -> str:
    names = sorted(allowed)
    close = difflib.get_close_matches(given, names, n=3, cutoff=0.5)
    return (
        ", ".join(close)
        if close
        else (", ".join(names) if len(names) <= 12 else f"{len(names)} ids, listed by the command line with --json")
    )


def _line(where: str, what: str, given: object, allowed: str, do: str) -> str:
    return f"{where}: {what}; given: '{shorten(given)}'; allowed: {allowed}; {do}"


def parse_case(data: Any, *, where: str = "case") -> Case:
    """A Case from read data (dict of text); raises CaseError with one line a problem."""
    if not isinstance(data, dict):
        raise CaseError(
            "not a case",
            [
                _line(
                    where,
                    "not a case file",
                    type(data).__name__ if data else "nothing in it",
                    "a mapping with at least 'complaint'",
                    "start from the example in the README",
                )
            ],
        )
    version = str(data.get("format", CASE_FORMAT)).strip()
    if not version.isdigit() or int(version) < 1:
        raise CaseError(
            "format", [_line(f"{where}.format", "not a format number", version, str(CASE_FORMAT), "write format: 1")]
        )
    if int(version) > CASE_FORMAT:
        raise CaseError(
            "format",
            [
                _line(
                    f"{where}.format",
                    "newer than this program reads",
                    version,
                    f"up to {CASE_FORMAT}",
                    "update the program",
                )
            ],
        )
    try:
        return Case.model_validate(data)
    except ValidationError as error:
        problems = []
        for one in error.errors()[:MOST_SHOWN]:
            path = ".".join(
                str(p)
                for p in one["loc"]
                if not str(p).startswith(("function", "tuple", "str", "int", "dict", "constrained"))
            )
            message = one["msg"].removeprefix("Value error, ")
            if one["type"] == "extra_forbidden":
                parents: dict[str, type[BaseModel]] = {"entries": Entry, "machine": Machine}
                parent = parents.get(str(one["loc"][0]) if len(one["loc"]) > 1 else "", Case)
                message = f"unknown key; near: {_near(str(one['loc'][-1]), parent.model_fields)}"
            given = one.get("input")
            shown = f"; given: '{shorten(given)}'" if isinstance(given, (str, int, float)) else ""
            problems.append(f"{where}.{path}: {message}{shown}; correct the case file")
        raise CaseError("the case does not hold together", list(dict.fromkeys(problems))) from None


def read_case_text(text: str, *, where: str = "case") -> Case:
    """A Case from YAML (or JSON) text; raises CaseError."""
    try:
        data, _ = read_yaml(text)
    except YamlProblem as error:
        raise CaseError("unreadable", [f"{where}: {error}"]) from None
    return parse_case(data, where=where)


def read_case_file(path: Path) -> Case:
    """A Case from a file; raises CaseError for what cannot be read."""
    where = shorten(path.name, 40)
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise CaseError(
                "too large",
                [_line(where, "file too large", f"{size} bytes", f"up to {MAX_BYTES} bytes", "give one call a file")],
            )
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise CaseError(
            "not text",
            [
                _line(
                    where,
                    "not a text file",
                    "bytes that are not UTF-8",
                    "YAML or JSON text in UTF-8",
                    "save it as UTF-8",
                )
            ],
        ) from None
    except OSError as error:
        raise CaseError(
            "unreadable", [_line(where, "cannot be read", error.strerror or "error", "a case file", "check the path")]
        ) from None
    return read_case_text(text, where=where)


def case_problems(case: Case, knowledge: Knowledge) -> list[str]:
    """Everything in the case that the cards, the machine or physics do not allow; empty when it holds together."""
    problems: list[str] = []
    if case.complaint not in knowledge.complaints:
        problems.append(
            _line(
                "complaint",
                "unknown complaint",
                case.complaint,
                _near(case.complaint, knowledge.complaints),
                "choose one (see 'complaints')",
            )
        )
    for one in case.context:
        if one not in knowledge.contexts:
            problems.append(
                _line(
                    "context",
                    "unknown context",
                    one,
                    _near(one, knowledge.contexts),
                    "choose from the list or leave it out",
                )
            )
    machine = read_machine(case.machine)
    problems += machine.problems
    try:
        topology = topology_of(case.machine)
    except PlaceError as error:
        return [*problems, f"machine: {error.line()}"]
    if case.now:
        try:
            minutes_of(case.now, case.now)
        except ChillerError as error:
            problems.append(f"now: {error.line()}")
    seen_ids: set[str] = set()
    seen: dict[str, int] = {}
    for number, entry in enumerate(case.entries, 1):
        where = f"entries.{number}"
        if entry.id:
            if entry.id in seen_ids:
                problems.append(
                    _line(f"{where}.id", "entry id given twice", entry.id, "each id once", "give it another id")
                )
            seen_ids.add(entry.id)
        stamp = entry.model_dump_json()
        if stamp in seen and not entry.note:
            problems.append(
                _line(
                    where,
                    f"the same entry as number {seen[stamp]}",
                    entry.check or entry.quantity or entry.action or entry.finding,
                    "each entry once",
                    "remove one, or give the second its own time ('at')",
                )
            )
        seen.setdefault(stamp, number)
        problems += _entry_problems(entry, where, case, knowledge, machine, topology)
    return problems[:MOST_SHOWN]


def _entry_problems(
    entry: Entry, where: str, case: Case, knowledge: Knowledge, machine: MachineData, topology: Topology
) -> list[str]:
    problems: list[str] = []
    kind = "unit"
    if entry.check:
        check = knowledge.checks.get(entry.check)
        if check is None:
            return [
                _line(
                    f"{where}.check",
                    "unknown check",
                    entry.check,
                    _near(entry.check, knowledge.checks),
                    "choose a check (see 'checks')",
                )
            ]
        kind = check.place
        if entry.answer != "cannot-tell" and entry.answer not in check.answers:
            allowed = ", ".join([*check.answers, "cannot-tell"])
            if check.reads:
                allowed = f"cannot-tell here; readings are given as quantity entries: {', '.join(check.reads)}"
            problems.append(
                _line(f"{where}.answer", f"not an answer to '{entry.check}'", entry.answer, allowed, "choose one")
            )
    elif entry.quantity:
        what = QUANTITIES.get(entry.quantity)
        if what is None:
            return [
                _line(
                    f"{where}.quantity",
                    "unknown quantity",
                    entry.quantity,
                    _near(entry.quantity, QUANTITIES),
                    "choose from the fixed list",
                )
            ]
        kind = "circuit" if what.place == "any" else what.place
        try:
            parse_reading(entry.quantity, entry.value, atmosphere_pa=machine.atmosphere_pa)
        except ChillerError as error:
            problems.append(f"{where}.value: {error.line()}")
    elif entry.finding:
        finding = knowledge.findings.get(entry.finding)
        if finding is None:
            return [
                _line(
                    f"{where}.finding",
                    "unknown finding",
                    entry.finding,
                    _near(entry.finding, knowledge.findings),
                    "choose a finding (see 'findings')",
                )
            ]
        kind = finding.place
        words = finding.ordered or finding.words
        if entry.word not in words:
            problems.append(
                _line(f"{where}.word", f"not a word of '{entry.finding}'", entry.word, ", ".join(words), "choose one")
            )
    elif entry.action:
        known = {c.remedy.id for c in knowledge.causes.values()}
        if entry.action not in known and not entry.action.startswith("instrument:"):
            problems.append(
                _line(
                    f"{where}.action",
                    "unknown action",
                    entry.action,
                    _near(entry.action, known),
                    "choose a remedy id, or write it as a note",
                )
            )
    if entry.place and not entry.action:
        problems += _place_problems(entry.place, kind, where, topology)
    if entry.at:
        try:
            minutes_of(entry.at, case.now)
        except ChillerError as error:
            problems.append(f"{where}.at: {error.line()}")
    return problems


def _place_problems(place: str, kind: str, where: str, topology: Topology) -> list[str]:
    try:
        normalise(place, kind, topology)
    except PlaceError as error:
        return [f"{where}.place: {error.line()}"]
    return []


def checked(case: Case, knowledge: Knowledge) -> Case:
    """The case itself when it holds together; raises CaseError."""
    problems = case_problems(case, knowledge)
    if problems:
        raise CaseError("the case does not hold together", problems)
    return case
