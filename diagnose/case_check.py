"""Read a case file and say, all at once, why it does not hold together. Nothing else ever sees a bad case."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from diagnose.case import CASE_FORMAT, EXPLAINED, Case, CircuitTopology, Entry, Machine
from diagnose.machine import MachineData, read_machine
from diagnose.places import PlaceError, Topology, check_place, normalise, topology_of
from diagnose.readings import minutes_of
from diagnose.setups import UNDONE, left_changed
from knowledge.load import Knowledge
from knowledge.yaml_text import MAX_BYTES, YamlProblem, read_yaml
from shared.errors import CaseError, ChillerError, shorten
from shared.quantities import DERIVED, QUANTITIES
from shared.units import parse_reading, show

MOST_SHOWN = 40
MOST_MINUTES = 10 * 366 * 24 * 60.0  # a time further back is a slip of the pen, not a moment of this call


def _near(given: str, allowed: Iterable[str]) -> str:
    names = sorted(allowed)
    close = difflib.get_close_matches(given[:100], names, n=3, cutoff=0.5)
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
    if not re.fullmatch(r"[0-9]{1,9}", version) or int(version) < 1:
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
        rows = _telling(error)
        # a file may hold a hundred thousand wrong keys: only what is shown is put into words
        problems = dict.fromkeys(_shape_line(where, one) for one in rows[:MOST_SHOWN])
        raise CaseError("the case does not hold together", _cut([*problems, *[""] * len(rows[MOST_SHOWN:])])) from None


def _cut(problems: list[str]) -> list[str]:
    """At most MOST_SHOWN lines; what is left out is counted."""
    left = len(problems) - MOST_SHOWN
    return problems if left <= 0 else [*problems[:MOST_SHOWN], f"and {left} more; correct these first"]


Branch = tuple[int | str, ...]


def _path(loc: Branch) -> Branch:
    """Keys as written in the file; entries count from 1; the names pydantic gives the branches of a choice are left out."""
    keys = [p for p in loc if isinstance(p, int) or not _BRANCH.fullmatch(p)]
    return tuple(p + 1 if isinstance(p, int) and n == 1 and keys[0] == "entries" else p for n, p in enumerate(keys))


_BRANCH = re.compile(r"(function|constrained|tuple|dict|list)[-\[].*|str|int")


def _telling(error: ValidationError) -> list[tuple[Branch, Any]]:
    """(path, error), one for each thing wrong: of the branches of a choice the one that got furthest speaks."""
    rows = [(_path(one["loc"]), one) for one in error.errors()]
    deeper = {path for path, one in rows if one["type"] not in ("string_type", "int_type", "tuple_type", "dict_type")}
    longer = {path[:n] for path, _ in rows for n in range(len(path))}
    out: dict[Branch, Any] = {}
    for path, one in rows:
        if one["type"] == "too_long":
            out[path] = one  # whatever else it is not
        if path in longer or path in out or (path in deeper and one["type"] in ("tuple_type", "dict_type")):
            continue
        out[path] = one
    return list(out.items())


_SHAPES = {
    "tuple_type": ("not a list", "a list, [one, two]"),
    "list_type": ("not a list", "a list, [one, two]"),
    "dict_type": ("not a mapping", "keys with values, {key: value}"),
    "model_type": ("not a mapping", "keys with values, {key: value}"),
    "string_type": ("not one text", "one text"),
    "int_type": ("not a whole number", "a whole number"),
    "int_parsing": ("not a whole number", "a whole number"),
}
_CHOICES = {
    "value": "a number with its unit, or a list of three for L1, L2, L3",
    "circuits": "a whole number, or circuits by id, {A: {compressors: [A1, A2], fans: [1, 2]}}",
    "drop_curve": "pairs, [[96 gpm, 6.5 psi], [120 gpm, 10 psi]]",
}


def _shape_line(where: str, row: tuple[Branch, Any]) -> str:
    path, one = row
    kind, name, given = str(one["type"]), str(path[-1]) if path else "", one.get("input")
    at = ".".join([where, *(shorten(key, 40) for key in path)])
    limits = one.get("ctx", {})
    if kind == "extra_forbidden":
        near = _near(name, _keys_at(path))
        return _line(at, "unknown key", name, f"{near}", "correct or remove the key")
    if kind == "missing":
        what = {"complaint": "what the trouble is, an id (see 'complaints')"}.get(
            name, "a pair" if "drop_curve" in path else "a value"
        )
        return _line(at, "missing", "nothing", what, f"add '{name}'" if isinstance(path[-1], str) else "complete it")
    if kind == "literal_error":
        return _line(at, "not one of the words", given, str(limits["expected"]), "choose one")
    if kind == "too_long":
        unit = "values a pair" if "drop_curve" in path[:-1] else name if name in _CHOICES else "entries"
        return _line(
            at, "too many", limits.get("actual_length") or "more", f"up to {limits['max_length']} {unit}", "shorten it"
        )
    if kind == "string_too_long":
        return _line(at, "text too long", given, f"up to {limits['max_length']} characters", "shorten it")
    owner = next((str(p) for p in reversed(path) if str(p) in _CHOICES), "")
    if kind in _SHAPES:
        what, allowed = _SHAPES[kind]
        return _line(
            at, what, given if given != "" else "nothing", _CHOICES.get(owner, allowed), "correct the case file"
        )
    message = str(one["msg"]).removeprefix("Value error, ")
    shown = f"; given: '{shorten(given)}'" if isinstance(given, (str, int, float)) else ""
    return f"{at}: {message}{shown}; correct the case file"


def _keys_at(path: Branch) -> Iterable[str]:
    """Keys that are allowed beside the last key of a path."""
    if path[0] == "entries" and len(path) > 1:
        return Entry.model_fields
    if path[0] == "machine" and len(path) > 1:
        return CircuitTopology.model_fields if path[1] == "circuits" else Machine.model_fields
    return Case.model_fields


def read_case_text(text: str, *, where: str = "case") -> Case:
    """A Case from YAML (or JSON) text; raises CaseError."""
    try:
        data, _ = read_yaml(text)
    except YamlProblem as error:
        raise CaseError("unreadable", [f"{where}: {error}"]) from None
    return parse_case(data, where=where)


def read_case_file(path: Path) -> Case:
    """A Case from a file; raises CaseError for what cannot be read."""
    where = shorten(path.name or path, 40)
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise CaseError(
                "too large",
                [_line(where, "file too large", f"{size} bytes", f"up to {MAX_BYTES} bytes", "give one call a file")],
            )
        with path.open("rb") as file:
            content = file.read(MAX_BYTES + 1)  # a device or pipe has no size of its own
        if len(content) > MAX_BYTES:
            raise CaseError(
                "too large",
                [_line(where, "file too large", "no end", f"up to {MAX_BYTES} bytes", "give one call a file")],
            )
        text = content.decode("utf-8-sig")
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
    problems += _card_problems(machine)
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
        if entry.outcome == UNDONE and entry.action in knowledge.setups:
            before = case.model_copy(update={"entries": case.entries[: number - 1]})
            after = case.model_copy(update={"entries": case.entries[:number]})
            if len(left_changed(before, knowledge)) == len(left_changed(after, knowledge)):
                do = "tell the change first, or remove this entry"
                problems.append(_line(f"{where}.outcome", "not changed at this point", entry.action, "what stands", do))
    return _cut(problems)


# card values that cannot be what no reading of this quantity could be
_CARD_LIKE = {
    "set_point": "set_point",
    "design_entering": "entering_fluid",
    "max_entering": "entering_fluid",
    "low_pressure_cutout": "suction_pressure",
    "high_pressure_cutout": "discharge_pressure",
    "fan_plate_current": "fan_current",
    "strainer_clean_flow": "flow",
    "loop_volume": "loop_volume",
}


def _card_problems(machine: MachineData) -> list[str]:
    """Values of the machine card that no machine can have or show, and limits that contradict each other."""
    rows = [(f"machine.{key}", name, machine.values[key]) for key, name in _CARD_LIKE.items() if key in machine.values]
    rows += [(f"machine.card.{name}", name, v) for name, values in machine.card.items() for v in values]
    problems = []
    for where, name, value in rows:
        if name in QUANTITIES:
            kind, low, high = QUANTITIES[name].kind, QUANTITIES[name].low, QUANTITIES[name].high
            fits = low <= value <= high
            allowed = f"{show(low, kind, machine.metric)} to {show(high, kind, machine.metric)}"
        else:
            kind, fits, allowed = DERIVED[name].kind, value > 0, "above 0"
        if not fits:
            shown = show(value, kind, machine.metric)
            problems.append(_line(where, "no machine has that", shown, allowed, "correct the machine card"))
    design, most = machine.get("design_entering"), machine.get("max_entering")
    if design is not None and most is not None and most < design:
        problems.append(
            "machine.max_entering: below design_entering; allowed: at or above it; correct the machine card"
        )
    return problems


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
        kind = what.place
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
        setup = knowledge.setups.get(entry.action)
        kind = setup.place if setup else "any"
        known = {EXPLAINED, *(c.remedy.id for c in knowledge.causes.values()), *knowledge.setups}
        outcomes = (*setup.outcomes, UNDONE) if setup else ("cured", "not-cured", "better")
        if entry.outcome and entry.outcome not in outcomes:
            problems.append(
                _line(
                    f"{where}.outcome",
                    f"not an outcome of '{entry.action}'",
                    entry.outcome,
                    ", ".join(outcomes),
                    "choose one",
                )
            )
        if entry.action not in known and not _names_instrument(entry.action, case, knowledge):
            problems.append(
                _line(
                    f"{where}.action",
                    "unknown action",
                    entry.action,
                    _near(entry.action, known),
                    "choose the id of a remedy or set-up, or write it as a note",
                )
            )
    if entry.place:
        problems += _place_problems(entry.place, kind, where, topology)
    if entry.at:
        problems += _time_problems(entry.at, case.now, where)
    return problems


def _names_instrument(action: str, case: Case, knowledge: Knowledge) -> bool:
    """Whether "instrument:NAME" is one that was read in this case: a name given there, or a kind of instrument."""
    head, _, name = action.partition(":")
    own = {e.instrument for e in case.entries if e.instrument}
    return head == "instrument" and (name in own or name.partition(":")[0] in knowledge.instruments)


def _time_problems(at: str, now: str, where: str) -> list[str]:
    try:
        minutes = minutes_of(at, now)
    except ChillerError as error:
        return [f"{where}.at: {error.line()}"]
    if at.strip().startswith("+"):
        return [_line(f"{where}.at", "time after 'now'", at, "minutes before now, e.g. 5", "correct 'at' or 'now'")]
    if minutes < -MOST_MINUTES:
        return [
            _line(f"{where}.at", "longer ago than a call lasts", at, "up to ten years before 'now'", "correct 'at'")
        ]
    return []


def _place_problems(place: str, kind: str, where: str, topology: Topology) -> list[str]:
    try:
        check_place(place, kind, topology)
        if kind != "any":
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
