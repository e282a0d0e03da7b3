"""What closed calls say about how likely each cause is: proposals beside the cards' words, and the edit when one is accepted.

A closed call names its complaint, its contexts, the cause that was confirmed (or "not-found") and what proved it. The words of
the cards are the prior of a Dirichlet distribution over causes: a cause's share of it is its word's number times the places
of its kind on that machine. `PER_CAUSE` is its strength: for an average cause the word counts as much as that many closed
calls. The mean after counting (A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 3.4, from memory) is then the
word's number times

    (a + n) / (a + e),   a = strength x share, n = calls that confirmed the cause, e = calls that should have, by the cards

and the proposal is the nearest word, in steps of doubling. It is counted apart for every context, since a card may give a word
of its own there; a call with two contexts counts in both. To speak at all, a rise needs two calls more than expected; a fall
needs three fewer: with three expected, none at all happens by chance in one case of twenty (the "rule of three", J. A. Hanley
and A. Lippman-Hand, JAMA 249(13), 1983). `PER_CAUSE` and the two calls: common practice, no source.

Calls without a confirmed cause are shown and not counted; neither are calls closed before a word was last changed, or on that
day: they are in it already. Nothing changes until a keeper accepts one proposal with a reason:
that edits one word of one card and adds one row to `changes.yaml`.
"""

from __future__ import annotations

import json
import math
import os
import shutil
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from knowledge.load import Knowledge
from knowledge.models import Cause, PlaceKind, PriorWord
from knowledge.yaml_text import Lines, read_yaml
from shared.errors import ChillerError, KnowledgeError, shorten

PER_CAUSE = 3.0
MORE, FEWER = 2.0, 3.0
NOT_FOUND = "not-found"
FORMAT = 1
BASE = "prior"


class ClosedCall(BaseModel):
    """One closed call.

    at: the day it was closed, ISO date. cause: a cause id or "not-found". places: how many of each kind of place the machine
    has; a kind that is missing counts as one.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: Annotated[str, StringConstraints(min_length=1, max_length=200)]
    at: Annotated[str, StringConstraints(pattern=r"^\d{4}-\d\d-\d\d$")]
    complaint: str
    context: tuple[str, ...] = ()
    cause: str
    proof: str = ""
    places: dict[PlaceKind, Annotated[int, Field(ge=1, le=96)]] = {}


@dataclass(frozen=True)
class Proposal:
    """A word that closed calls would change. key: "prior" or "prior_in.<context>"; was "none": the card has no word there.

    confirmed, expected: calls out of ``calls`` that confirmed it, and that should have by the cards. evidence: id of each
    confirming call with its complaint and what proved it.
    """

    cause: str
    key: str
    was: str
    now: str
    confirmed: int
    expected: float
    calls: int
    evidence: tuple[str, ...]


# reading ----------------------------------------------------------------------------------------------------------------


def read_calls(path: Path, knowledge: Knowledge) -> list[ClosedCall]:
    """Closed calls of a JSON file: {"format": 1, "calls": [...]}. Raises KnowledgeError with every problem."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise KnowledgeError("closed calls", [f"{path.name}: cannot be read: {shorten(error)}"]) from None
    if not isinstance(data, dict) or data.get("format") != FORMAT or not isinstance(data.get("calls"), list):
        wanted = f'{{"format": {FORMAT}, "calls": [...]}}'
        raise KnowledgeError("closed calls", [f"{path.name}: no list of closed calls; allowed: {wanted}"])
    calls: list[ClosedCall] = []
    problems: list[str] = []
    for number, row in enumerate(data["calls"], 1):
        try:
            calls.append(ClosedCall.model_validate(row))
        except ValidationError as error:
            problems += [f"call {number}: {'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors()]
    problems += call_problems(calls, knowledge)
    if problems:
        raise KnowledgeError("closed calls", [f"{path.name}: {p}" for p in problems])
    return calls


def call_problems(calls: Iterable[ClosedCall], knowledge: Knowledge) -> list[str]:
    """Ids the cards do not have, and calls given twice."""
    out = []
    seen: set[str] = set()
    for call in calls:
        if call.id in seen:
            out.append(f"call {shorten(call.id)}: given twice; keep one")
        seen.add(call.id)
        if call.complaint not in knowledge.complaints:
            out.append(
                f"call {shorten(call.id)}: no complaint '{shorten(call.complaint)}'; see `python -m diagnose complaints`"
            )
        if call.cause != NOT_FOUND and call.cause not in knowledge.causes:
            out.append(
                f"call {shorten(call.id)}: no cause '{shorten(call.cause)}'; see `python -m diagnose causes`, or {NOT_FOUND}"
            )
        out += [
            f"call {shorten(call.id)}: no context '{shorten(c)}'; allowed: {', '.join(knowledge.contexts)}"
            for c in call.context
            if c not in knowledge.contexts
        ]
    return out


# counting ---------------------------------------------------------------------------------------------------------------


def word_in(cause: Cause, contexts: Sequence[str], numbers: Mapping[PriorWord, float]) -> tuple[str, PriorWord]:
    """(key, word) that holds for a call: of several contexts the one that raises most, else the one that lowers most."""
    given = [(numbers[cause.prior_in[c]], f"prior_in.{c}", cause.prior_in[c]) for c in contexts if c in cause.prior_in]
    if not given:
        return BASE, cause.prior
    most, least = max(given), min(given)
    chosen = most if most[0] >= numbers[cause.prior] else least
    return chosen[1], chosen[2]


def shares(knowledge: Knowledge, call: ClosedCall) -> dict[str, float]:
    """Share of each cause in such a call, by the cards; adds up to one."""
    numbers = knowledge.words.prior
    weight = {
        c.id: numbers[word_in(c, call.context, numbers)[1]] * call.places.get(c.place, 1)
        for c in knowledge.causes.values()
    }
    total = sum(weight.values())
    return {name: w / total for name, w in weight.items()}


def proposals(knowledge: Knowledge, calls: Sequence[ClosedCall]) -> list[Proposal]:
    """Words that would change, the most confirmed first."""
    known = [c for c in calls if c.cause != NOT_FOUND]
    expected_in = [shares(knowledge, c) for c in known]
    out = []
    accepted: dict[tuple[str, str], str] = {}
    for change in knowledge.changes.values():
        accepted[change.cause, change.key] = max(change.at, accepted.get((change.cause, change.key), ""))
    for cause in knowledge.causes.values():
        for key, group in _groups(cause, known):
            # a word that was accepted has these calls in it already
            chosen = [i for i in group if known[i].at > accepted.get((cause.id, key), "")]
            proposal = _propose(knowledge, cause, key, [(known[i], expected_in[i][cause.id]) for i in chosen])
            if proposal is not None:
                out.append(proposal)
    return sorted(out, key=lambda p: (-p.confirmed, p.expected, p.cause, p.key))


def _groups(cause: Cause, calls: Sequence[ClosedCall]) -> Iterator[tuple[str, list[int]]]:
    """For each key of the card, numbers of the calls that speak for or against its word."""
    yield BASE, [i for i, c in enumerate(calls) if not set(c.context) & set(cause.prior_in)]
    for context in sorted({name for c in calls for name in c.context}):
        yield f"prior_in.{context}", [i for i, c in enumerate(calls) if context in c.context]


def _propose(knowledge: Knowledge, cause: Cause, key: str, calls: list[tuple[ClosedCall, float]]) -> Proposal | None:
    if not calls:
        return None
    numbers = knowledge.words.prior
    context = key.removeprefix("prior_in.") if key != BASE else ""
    was = cause.prior if not context else cause.prior_in.get(context)
    now_word = was or cause.prior
    confirming = [call for call, _ in calls if call.cause == cause.id]
    n, e = len(confirming), sum(share for _, share in calls)
    if not (n >= e + MORE or n <= e - FEWER):
        return None
    a = PER_CAUSE * len(knowledge.causes) * e / len(calls)
    number = numbers[now_word] * (a + n) / (a + e)
    nearest = min(numbers, key=lambda w: abs(math.log(numbers[w] / number)))
    if nearest == now_word:
        return None
    evidence = tuple(f"{c.id} ({c.complaint}): {c.proof or 'no proof recorded'}" for c in confirming)
    return Proposal(cause.id, key, was or "none", nearest, n, round(e, 2), len(calls), evidence)


# showing ----------------------------------------------------------------------------------------------------------------


def as_data(calls: Sequence[ClosedCall], found: Sequence[Proposal]) -> dict[str, Any]:
    """Proposals and what they rest on, as data."""
    by_cause = Counter(c.cause for c in calls)
    return {
        "calls": len(calls),
        "not_found": by_cause.pop(NOT_FOUND, 0),
        "confirmed": dict(by_cause.most_common()),
        "per_cause": PER_CAUSE,
        "proposals": [asdict(p) for p in found],
    }


def as_text(knowledge: Knowledge, calls: Sequence[ClosedCall], found: Sequence[Proposal]) -> str:
    """Current and proposed words side by side, with the evidence."""
    not_found = sum(c.cause == NOT_FOUND for c in calls)
    lines = [f"{len(calls)} closed calls, {not_found} without a confirmed cause (not counted)"]
    if found:
        lines.append(f"{'cause':38s} {'where':28s} {'now':12s} {'proposed':12s} confirmed  expected  of")
    for p in found:
        lines.append(
            f"{p.cause:38s} {p.key:28s} {p.was:12s} {p.now:12s} {p.confirmed:9d} {p.expected:9.2f} {p.calls:3d}"
        )
        lines.append(f"    {knowledge.causes[p.cause].title}")
        lines += [f"    {one}" for one in p.evidence[:5]]
        if len(p.evidence) > 5:
            lines.append(f"    and {len(p.evidence) - 5} more")
    lines.append(
        "nothing is changed; accept one with --accept CAUSE --key KEY --reason TEXT"
        if found
        else "no word would change"
    )
    return "\n".join(lines)


# accepting --------------------------------------------------------------------------------------------------------------


def accept(
    knowledge: Knowledge,
    folder: Path,
    found: Sequence[Proposal],
    cause: str,
    reason: str,
    at: date,
    *,
    key: str = "",
) -> Proposal:
    """Edit the word on the card and write the change down; returns the proposal that was accepted. Raises ChillerError."""
    fitting = [p for p in found if p.cause == cause and key in ("", p.key)]
    if not reason.strip():
        raise ChillerError("no reason given", do="say why with --reason; the next keeper reads it")
    if not fitting:
        allowed = ", ".join(dict.fromkeys(p.cause for p in found)) or "none, no word would change"
        raise ChillerError(
            "no proposal for this cause", given=f"{cause} {key}".strip(), allowed=allowed, do="choose one"
        )
    if len(fitting) > 1:
        allowed = ", ".join(p.key for p in fitting)
        raise ChillerError("several proposals for this cause", given=cause, allowed=allowed, do="choose one with --key")
    chosen = fitting[0]
    card = folder / knowledge.where[f"causes/{cause}"]
    log = folder / "changes.yaml"
    edited = with_word(card.read_text(encoding="utf-8"), chosen.key, chosen.now)
    numbers = [int(c.removeprefix("change-")) for c in knowledge.changes if c.removeprefix("change-").isdigit()]
    row = {
        "id": f"change-{max(numbers, default=0) + 1}",
        "at": at.isoformat(),
        "cause": cause,
        "key": chosen.key,
        "was": chosen.was,
        "now": chosen.now,
        "confirmed": str(chosen.confirmed),
        "calls": str(chosen.calls),
        "reason": " ".join(reason.split()),
    }
    kept = log.read_text(encoding="utf-8") if log.exists() else ""
    try:
        # the log first: a change that is written down and not made shows in the next comparison, the reverse never would
        _replace(log, with_row(kept, row))
        _replace(card, edited)
    except OSError as error:
        raise ChillerError(
            "the cards cannot be written", given=error.strerror, do="use --cards with a folder of your own"
        ) from None
    return chosen


def with_word(text: str, key: str, word: str) -> str:
    """The text of a cause card with one likelihood word set; every other character stays. Raises ChillerError."""
    data, lines = read_yaml(text)
    if key == BASE:
        wanted = {**data, BASE: word}
    else:
        wanted = {**data, "prior_in": {**(data.get("prior_in") or {}), key.removeprefix("prior_in."): word}}
    try:
        edited = _edited(text, data, lines, key, word)
        after, _ = read_yaml(edited)
    except (ValueError, KeyError):  # the word is not where it is looked for, or the edit is no YAML
        after = None
    if after != wanted:
        raise ChillerError(
            "this card is laid out in a way the edit does not know", given=key, do="change the word by hand"
        )
    return edited


def _edited(text: str, data: dict[str, Any], lines: Lines, key: str, word: str) -> str:
    rows = text.split("\n")
    context = key.removeprefix("prior_in.")
    table = data.get("prior_in")
    if key == BASE:
        at = lines[(BASE,)] - 1
        rows[at] = _swap(rows[at], "prior:", data[BASE], word)
    elif table and context in table:
        at = lines["prior_in", context] - 1
        rows[at] = _swap(rows[at], f"{context}:", table[context], word)
    elif table:
        last = max(table, key=lambda c: (lines["prior_in", c], list(table).index(c)))
        at = lines["prior_in", last] - 1
        one_a_line = rows[lines[("prior_in",)] - 1].split("#")[0].rstrip().endswith(":")
        if one_a_line:
            indent = rows[at][: len(rows[at]) - len(rows[at].lstrip())]
            rows.insert(at + 1, f"{indent}{context}: {word}")
        else:
            rows[at] = _swap(rows[at], f"{last}:", table[last], f"{table[last]}, {context}: {word}")
    elif table is not None:
        at = lines[("prior_in",)] - 1
        rows[at] = rows[at].replace("{}", f"{{{context}: {word}}}")
    else:
        rows.insert(lines[(BASE,)], f"prior_in: {{{context}: {word}}}")
    return "\n".join(rows)


def _swap(row: str, key: str, old: str, new: str) -> str:
    start = row.index(key) + len(key)
    at = row.index(old, start)
    return row[:at] + new + row[at + len(old) :]


def with_row(text: str, row: Mapping[str, str]) -> str:
    """The text of the log with one more row."""
    kept = "\n".join(line for line in text.split("\n") if line.strip() != "[]").rstrip("\n")
    values = ", ".join(f"{k}: {json.dumps(v, ensure_ascii=False) if k == 'reason' else v}" for k, v in row.items())
    return (f"{kept}\n" if kept else "") + f"- {{{values}}}\n"


def _replace(path: Path, text: str) -> None:
    """Write in one move, so that nobody ever reads half a card."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".part")
    with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
        file.write(text)
    if path.exists():
        shutil.copymode(path, temporary)
    os.replace(temporary, path)
