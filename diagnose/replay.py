"""Work transcribed calls with the tool's own questions and count how it did.

A call file holds `case` (what the caller gave), `answers` (check id -> answer, or readings, or an action's outcome, each with
the `line` it was read from) and `truth`. The tool asks; a check without a line is answered "cannot-tell" and still counts. The
call ends at the tool's own verdict, at an ending stop, or after twelve checks.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from diagnose.advice import Advice, Step
from diagnose.advise import advise
from diagnose.case import Case, Entry
from diagnose.case_check import case_problems, parse_case
from diagnose.plan import may_do
from knowledge.load import Knowledge
from knowledge.yaml_text import YamlProblem, read_yaml
from shared.errors import CaseError

MOST_CHECKS = 12


@dataclass(frozen=True)
class Truth:
    """causes: groups of acceptable cause ids (with place after @ where it matters), one group a true cause. outcome: how it should end."""

    causes: tuple[tuple[str, ...], ...]
    outcome: str


@dataclass(frozen=True)
class Call:
    """One transcribed call."""

    id: str
    case: Case
    answers: dict[str, dict[str, Any]]
    truth: Truth


@dataclass
class Worked:
    """How the tool worked one call."""

    id: str
    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    leads: list[int] = field(default_factory=list)
    stop: str = ""
    stop_ends: bool = False
    verdict: str = ""
    verdict_causes: tuple[str, ...] = ()
    first: bool = False
    within_three: bool = False
    both: bool = True
    right_outcome: bool = False
    forbidden: list[str] = field(default_factory=list)
    checks_to_lead: int | None = None
    weighed_most: list[str] = field(default_factory=list)
    final: Advice | None = None


def read_call(path: Path, knowledge: Knowledge) -> Call:
    """One call file; raises CaseError with every problem."""
    try:
        data, _ = read_yaml(path.read_text(encoding="utf-8"))
    except YamlProblem as error:
        raise CaseError("unreadable", [f"{path.name}: {error}"]) from None
    truth = data.get("truth") if isinstance(data, dict) and "case" in data else None
    if not (isinstance(truth, dict) and "outcome" in truth):
        raise CaseError(
            "not a call", [f"{path.name}: a call file has case and truth with its outcome; a case alone is for 'run'"]
        )
    case = parse_case(data["case"], where=path.stem)
    problems = [f"{path.stem}: {p}" for p in case_problems(case, knowledge)]
    answers: dict[str, dict[str, Any]] = data.get("answers", {})
    for check_id, given in answers.items():
        check = knowledge.checks.get(check_id.split("@")[0])
        if check is None:
            problems.append(f"{path.stem}: answers: unknown check '{check_id}'")
        elif "answer" in given and given["answer"] not in check.answers and given["answer"] != "cannot-tell":
            problems.append(
                f"{path.stem}: answers.{check_id}: '{given['answer']}' is not one of {', '.join(check.answers)}"
            )
        elif "answer" not in given and "readings" not in given:
            problems.append(f"{path.stem}: answers.{check_id}: needs answer or readings")
        if "line" not in given:
            problems.append(f"{path.stem}: answers.{check_id}: needs the line it was read from")
    causes = tuple(tuple(group) for group in data["truth"].get("causes", []))
    for group in causes:
        for one in group:
            name = one.split("@")[0]
            if name not in knowledge.causes and not name.startswith("instrument") and name != "nothing-wrong":
                problems.append(f"{path.stem}: truth: unknown cause '{one}'")
    if problems:
        raise CaseError("call", problems)
    return Call(path.stem, case, answers, Truth(causes, data["truth"]["outcome"]))


def entries_for(step: Step, call: Call) -> tuple[list[Entry], str]:
    """Entries that answer a step, and the answer in words; "cannot-tell" when the call has no line for it."""
    place = step.place if ":" in step.place else ""
    given = call.answers.get(f"{step.id}@{place}") or call.answers.get(step.id)
    if given is None:
        return [Entry(check=step.id, answer="cannot-tell", place=place, again=step.again)], "cannot-tell"
    if "answer" in given:
        entry = {
            "check": step.id,
            "answer": given["answer"],
            "place": given.get("place", place),
            "sure": given.get("sure", "sure"),
            "who": given.get("who", "saw"),
            "again": step.again,
        }
        return [Entry.model_validate(entry)], str(given["answer"])
    readings = [Entry.model_validate({"place": one.get("place", place), **one}) for one in given["readings"]]
    done = [Entry(check=step.id, answer="cannot-tell", place=place, note="answered by readings")]
    return [*readings, *done], ", ".join(f"{r.quantity} {r.value}" for r in readings)


def _fits(cause: str, place: str, group: tuple[str, ...]) -> bool:
    for one in group:
        name, _, where = one.partition("@")
        if (cause == name or (name.endswith("*") and cause.startswith(name[:-1]))) and (
            not where or place in (where, where.split(":")[0])
        ):
            return True
    return False


def _rank(advice: Advice, group: tuple[str, ...]) -> int:
    return next((n for n, s in enumerate(advice.suspects) if _fits(s.cause, s.place, group)), 99)


def forbidden_steps(advice: Advice, case: Case) -> list[str]:
    """Steps the person at the machine may not do; must always be empty."""
    return [
        s.id
        for s in advice.next
        if s.kind in ("observe", "reconfigure") and not may_do(s.who, s.needs_qualified, case.role, case.qualified)
    ]


def work(call: Call, knowledge: Knowledge, *, rules: bool = True) -> Worked:
    """Let the tool work the call to its verdict."""
    out = Worked(call.id)
    case = call.case
    advice = advise(case, knowledge, rules=rules)
    while True:
        out.forbidden += forbidden_steps(advice, case)
        if call.truth.causes:
            out.leads.append(min(_rank(advice, g) for g in call.truth.causes))
        if advice.stop is not None:
            out.stop = advice.stop.rule
            out.stop_ends = out.stop_ends or advice.stop.ends
        looks = [s for s in advice.next if s.asks]
        if advice.verdict is not None or not looks or len(out.asked) >= MOST_CHECKS:
            break
        step = looks[0]
        entries, told = entries_for(step, call)
        out.asked.append(step.id)
        out.told.append(told)
        case = case.model_copy(update={"entries": (*case.entries, *entries)})
        advice = advise(case, knowledge, rules=rules)
    _judge(out, call, advice)
    return out


def _judge(out: Worked, call: Call, advice: Advice) -> None:
    out.final = advice
    out.verdict = advice.verdict.kind if advice.verdict else "none"
    out.verdict_causes = advice.verdict.causes if advice.verdict else ()
    ranks = [_rank(advice, g) for g in call.truth.causes]
    if ranks:
        out.first = min(ranks) == 0
        out.within_three = min(ranks) < 3
        out.both = all(r < max(2, len(ranks)) for r in ranks)
    lead = None
    for number in range(len(out.leads) - 1, -1, -1):
        if out.leads[number] != 0:
            break
        lead = number
    out.checks_to_lead = lead
    if call.truth.outcome == "stop":
        out.right_outcome = bool(out.stop) and (out.stop_ends or out.verdict == "hand-over")
    elif call.truth.outcome == "normal":
        out.right_outcome = out.verdict == "normal"
    elif call.truth.outcome == "hand-over":  # nobody there may look further, or mend what was found
        handed = any(s.kind == "hand-over" for s in advice.next[:1])
        out.right_outcome = out.within_three and (out.verdict == "hand-over" or handed and out.first)
    elif call.truth.outcome == "two-causes":
        named = list(zip(out.verdict_causes, advice.verdict.places if advice.verdict else (), strict=False))
        out.both = all(any(_fits(c, p, g) for c, p in named) for g in call.truth.causes)
        out.right_outcome = out.both and out.verdict == "two-causes"
    else:
        out.right_outcome = out.verdict in ("one-cause", "inseparable") and out.first
    leader = advice.suspects[0] if advice.suspects else None
    out.weighed_most = [r.finding for r in (leader.for_ if leader else ())[:3]]


def replay_folder(folder: Path, knowledge: Knowledge, *, ablation: bool = False) -> dict[str, Any]:
    """All calls of a folder: rows and totals."""
    paths = sorted(folder.glob("*.yaml"))
    if not paths:
        raise CaseError("no calls", [f"no call files in {folder}"])
    calls = [read_call(p, knowledge) for p in paths]
    worked = [work(c, knowledge) for c in calls]
    weighs: dict[str, int] = {}
    for one in worked:
        for card in one.weighed_most:
            weighs[card] = weighs.get(card, 0) + 1
    rows: list[dict[str, Any]] = []
    for call, one in zip(calls, worked, strict=True):
        row: dict[str, Any] = {
            "id": one.id,
            "verdict": one.verdict,
            "causes": list(one.verdict_causes),
            "first": one.first,
            "within_three": one.within_three,
            "both": one.both,
            "outcome": call.truth.outcome,
            "right_outcome": one.right_outcome,
            "stop": one.stop,
            "checks": len(one.asked),
            "checks_to_lead": one.checks_to_lead,
            "asked": [f"{a}: {t}" for a, t in zip(one.asked, one.told, strict=True)],
            "forbidden": one.forbidden,
            "weighed_most": {c: weighs[c] - 1 for c in one.weighed_most},
            "top": [f"{s.cause}@{s.place} {s.probability:.2f}" for s in (one.final.suspects[:3] if one.final else ())],
        }
        if ablation:
            row["ablation"] = _ablation(call, knowledge, one)
        rows.append(row)
    leads = sorted(
        r["checks_to_lead"] if r["checks_to_lead"] is not None else MOST_CHECKS + 1
        for r in rows
        if r["outcome"] != "stop"
    )
    return {
        "calls": rows,
        "total": {
            "calls": len(rows),
            "first": sum(bool(r["first"]) for r in rows),
            "within_three": sum(bool(r["within_three"]) for r in rows),
            "right_outcome": sum(bool(r["right_outcome"]) for r in rows),
            "median_checks_to_lead": leads[len(leads) // 2] if leads else None,
            "forbidden": sum(len(r["forbidden"]) for r in rows),
        },
    }


def _spoken(advice: Advice) -> tuple[object, ...]:
    return (
        advice.stop is not None,
        advice.stop.rule if advice.stop else "",
        tuple(sorted(f.rule for f in advice.fired if f.hold_point)),
        tuple(sorted((n.finding, n.place) for n in advice.not_judged)),
    )


def _ablation(call: Call, knowledge: Knowledge, normal: Worked) -> dict[str, Any]:
    """The same call with the rule stage off, at the same entries: does stop, hold point or not-judged change?"""
    case = call.case
    changed, kinds = False, set()
    forbidden: list[str] = []
    for number in range(len(normal.asked) + 1):
        full, bare = advise(case, knowledge), advise(case, knowledge, rules=False)
        changed = changed or _spoken(full) != _spoken(bare)
        kinds |= {f.kind for f in full.fired}
        forbidden += forbidden_steps(bare, case)
        if number < len(normal.asked):
            looks = {s.id: s for s in full.next if s.asks}
            step = looks.get(normal.asked[number])
            if step is None:
                break
            entries, _ = entries_for(step, call)
            case = case.model_copy(update={"entries": (*case.entries, *entries)})
    return {"changed": changed, "kinds": sorted(kinds), "forbidden": forbidden}


def replay_text(result: dict[str, Any]) -> str:
    """The table for people."""
    lines = [
        f"{'call':10s} {'outcome':11s} {'verdict':12s} {'1st':4s}{'top3':5s}{'right':6s}{'checks':7s}{'lead':5s} leading suspects"
    ]
    for r in result["calls"]:
        lead = "-" if r["checks_to_lead"] is None else str(r["checks_to_lead"])
        lines.append(
            f"{r['id']:10s} {r['outcome']:11s} {r['verdict']:12s} {'yes' if r['first'] else 'NO':4s}{'yes' if r['within_three'] else 'NO':5s}"
            f"{'yes' if r['right_outcome'] else 'NO':6s}{r['checks']:<7d}{lead:5s} {'; '.join(r['top'])}"
        )
        lines.append(
            f"{'':10s} weighed most (calls it weighs in besides): {', '.join(f'{c} ({n})' for c, n in r['weighed_most'].items())}"
        )
        if r["forbidden"]:
            lines.append(f"{'':10s} FORBIDDEN: {', '.join(r['forbidden'])}")
        if "ablation" in r:
            lines.append(
                f"{'':10s} rules off: {'changes' if r['ablation']['changed'] else 'no change'}; kinds: {', '.join(r['ablation']['kinds'])}"
                f"{'; FORBIDDEN ' + ', '.join(r['ablation']['forbidden']) if r['ablation']['forbidden'] else ''}"
            )
    total = result["total"]
    lines.append(
        f"first in {total['first']} of {total['calls']}, in the first three in {total['within_three']}, right outcome in {total['right_outcome']}, "
        f"median checks until it leads {total['median_checks_to_lead']}, forbidden steps {total['forbidden']}"
    )
    return "\n".join(lines)
