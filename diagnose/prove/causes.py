"""`prove causes`: every cause worked to its verdict with answers drawn from its card.

A cause passes when it, or one of its declared inseparable group, leads in at least 17 of 20 draws. A quarter as many draws are
worked with people who err more than the base expects; they are told apart and pass nobody.
"""

from __future__ import annotations

import functools
import json
import math
import multiprocessing
import random
import statistics
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from diagnose.advice import Advice
from diagnose.advise import advise
from diagnose.case import Case
from diagnose.prove.drawing import Draw, answer, draw_case, everything
from diagnose.prove.result import Options
from diagnose.work import prepare, reason
from knowledge.load import Knowledge, load_knowledge
from shared.errors import ChillerError

DRAWS = 20
PASS = 17 / 20
MOST_LOOKS = 40  # a call is worked to its verdict; this only ends one that never would
HELD = ("one-cause", "two-causes", "normal", "inseparable")
Row = dict[str, Any]
Task = tuple[str, int, int, str, bool]
ROUGH = 4  # one draw with rough people for so many others


def group_of(knowledge: Knowledge, cause: str) -> frozenset[str]:
    """A cause with those declared inseparable from it, on either card."""
    own = set(knowledge.causes[cause].inseparable)
    own |= {c.id for c in knowledge.causes.values() if cause in c.inseparable}
    return frozenset({cause, *own})


def same_remedy(knowledge: Knowledge, cause: str) -> frozenset[str]:
    """Causes for which the same is done; whatever is normal is explained."""
    card = knowledge.causes[cause]
    own = {c.id for c in knowledge.causes.values() if c.remedy.id == card.remedy.id}
    if card.kind == "normal":
        own |= {"nothing-wrong", *(c.id for c in knowledge.causes.values() if c.kind == "normal")}
    return frozenset(own)


def work_draw(
    knowledge: Knowledge, cause: str, number: int, seed: int, *, rough: bool = False, ceiling: bool = False
) -> Row:
    """Work one draw to the tool's verdict, an ending stop, or until nothing is left to look at.

    ceiling: where another cause leads, also work out which would if every look had been answered.
    """
    draw = draw_case(knowledge, cause, number, seed, rough=rough)
    case = draw.case
    asked: list[str] = []
    advice = advise(case, knowledge)
    while True:
        looks = [s for s in advice.next if s.asks]
        if advice.verdict is not None or not looks or len(asked) >= MOST_LOOKS:
            break
        entries, told = answer(looks[0], draw, case.entries)
        asked.append(f"{looks[0].id}: {told}")
        case = case.model_copy(update={"entries": (*case.entries, *entries)})
        advice = advise(case, knowledge)
    row = {**_row(knowledge, cause, number, case.complaint, asked, advice), "rough": rough}
    if ceiling and not row["leads"]:
        row["best"] = _told_everything(draw, case)
    row["could"] = row["leads"] or row.get("best", "") in group_of(knowledge, cause)
    return row


def _told_everything(draw: Draw, case: Case) -> str:
    """The leading cause once every look of the base was answered: what no order of asking can better."""
    entries = (*case.entries, *everything(draw, case.entries))
    work = prepare(case.model_copy(update={"entries": entries}), draw.work.knowledge)
    network, _, belief = reason(work)
    marginals = belief.causes()
    top = int(np.argmax(marginals))
    return "nothing-wrong" if belief.nothing() > marginals[top] else network.instances[top].cause


def _row(knowledge: Knowledge, cause: str, number: int, complaint: str, asked: list[str], advice: Advice) -> Row:
    group = group_of(knowledge, cause)
    lead = advice.suspects[0]
    verdict = advice.verdict
    held = verdict is not None and verdict.kind in HELD
    return {
        "cause": cause,
        "draw": number,
        "complaint": complaint,
        "lead": lead.cause,
        "probability": round(lead.probability, 3),
        "leads": lead.cause in group,
        "serves": lead.cause in group | same_remedy(knowledge, cause),
        "own": round(next((s.probability for s in advice.suspects if s.cause == cause), 0.0), 3),
        "verdict": verdict.kind if verdict else "none",
        "wrong": bool(held and verdict and not group & set(verdict.causes)),
        "stop": advice.stop.rule if advice.stop is not None and advice.stop.ends else "",
        "checks": len(asked),
        "unended": len(asked) >= MOST_LOOKS,
        "asked": asked,
        "top": [f"{s.cause} {s.probability:.2f}" for s in advice.suspects[:4]],
    }


# the long run ------------------------------------------------------------------------------------------------------------


@functools.cache
def _cards(digest: str) -> Knowledge:
    """The cards, loaded once a process; those that were loaded first are worked to the end."""
    knowledge = load_knowledge()
    if knowledge.digest != digest:
        raise ChillerError("the cards changed while the proof started", do="run it again")
    return knowledge


def _one(task: Task) -> Row:
    cause, number, seed, digest, rough = task
    knowledge = _cards(digest)
    return work_draw(knowledge, cause, number, seed, rough=rough, ceiling=not rough)


def _kept(partial: Path | None, head: Row) -> list[Row]:
    """Rows of an earlier run that was stopped, if it had the same cards and seed."""
    if partial is None or not partial.exists():
        return []
    lines = [json.loads(line) for line in partial.read_text(encoding="utf-8").splitlines() if line.endswith("}")]
    return lines[1:] if lines and lines[0] == head else []


def rows_of(knowledge: Knowledge, options: Options) -> list[Row]:
    """All draws, kept one by one beside the result file so that a stopped run goes on where it was."""
    names = [c for c in knowledge.causes if not options.only or c in options.only]
    unknown = set(options.only) - set(knowledge.causes)
    if unknown:
        raise ChillerError("unknown cause", given=sorted(unknown)[0], allowed="an id of `causes`", do="correct --only")
    partial = Path(options.out).with_suffix(".partial.jsonl") if options.out else None
    head: Row = {"knowledge": knowledge.digest, "seed": options.seed}
    rows = _kept(partial, head)
    done = {(r["cause"], r["draw"], r["rough"]) for r in rows}
    count = options.draws or DRAWS
    # draw by draw over all causes in a mixed order, so that a run stopped early is a fair sample of them
    random.Random(options.seed).shuffle(names)
    tasks = [
        (c, n, options.seed, knowledge.digest, rough)
        for n in range(count)
        for rough in (False, True)
        for c in names
        if (c, n, rough) not in done and not (rough and n >= math.ceil(count / ROUGH))
    ]
    if partial is not None:
        partial.write_text("".join(json.dumps(r) + "\n" for r in (head, *rows)), encoding="utf-8")
    begun = time.monotonic()
    for row in _worked(tasks, options.processes):
        rows.append(row)
        if partial is not None:
            with partial.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
        if options.minutes and time.monotonic() - begun > 60.0 * options.minutes:
            break
    wanted = set(names)
    return [r for r in rows if r["cause"] in wanted and r["draw"] < count]


def _worked(tasks: list[Task], processes: int) -> Iterator[Row]:
    if processes < 2:
        yield from map(_one, tasks)
        return
    with multiprocessing.get_context("spawn").Pool(min(processes, 2)) as pool:
        yield from pool.imap_unordered(_one, tasks)


def sample(knowledge: Knowledge, count: int) -> list[tuple[str, int]]:
    """A fixed sample of (cause, draw): causes evenly over the list in id order."""
    names = sorted(knowledge.causes)
    return [(names[i * len(names) // count], 0) for i in range(count)]


# the report --------------------------------------------------------------------------------------------------------------


def summary(knowledge: Knowledge, rows: Iterable[Row]) -> dict[str, Any]:
    """Numbers over all draws: each cause, each system, the confusion matrix, the total."""
    rows = list(rows)
    rough = [r for r in rows if r["rough"]]
    by_cause: dict[str, list[Row]] = {}
    for row in rows:
        if not row["rough"]:
            by_cause.setdefault(row["cause"], []).append(row)
    causes = {name: _of_cause(knowledge, name, own) for name, own in sorted(by_cause.items())}
    systems: dict[str, list[str]] = {}
    for name in causes:
        systems.setdefault(knowledge.causes[name].system, []).append(name)
    every = [r for own in by_cause.values() for r in own]
    return {
        "draws": len(every),
        "total": _share(causes.values(), every),
        "could_share": round(sum(bool(r["could"]) for r in every) / max(len(every), 1), 4),
        "unended": sum(bool(r["unended"]) for r in every),
        "rough": {
            "draws": len(rough),
            **{k: _share([], rough)[k] for k in ("leads_share", "serves_share", "wrong_share")},
        },
        "systems": {
            s: _share([causes[n] for n in names], [r for n in names for r in by_cause[n]])
            for s, names in sorted(systems.items())
        },
        "causes": causes,
        "confusions": {
            name: dict(Counter(r["lead"] for r in own if not r["leads"]).most_common())
            for name, own in sorted(by_cause.items())
            if not all(r["leads"] for r in own)
        },
    }


def _of_cause(knowledge: Knowledge, name: str, own: list[Row]) -> dict[str, Any]:
    leads = sum(bool(r["leads"]) for r in own)
    return {
        "draws": len(own),
        "leads": leads,
        "serves": sum(bool(r["serves"]) for r in own),
        "passes": len(own) >= DRAWS and leads >= PASS * len(own),  # fewer draws prove nothing of one cause
        "wrong": sum(bool(r["wrong"]) for r in own),
        "stopped": sum(bool(r["stop"]) for r in own),
        "median_checks": statistics.median(r["checks"] for r in own),
        "verdicts": dict(Counter(r["verdict"] for r in own).most_common()),
        "group": sorted(group_of(knowledge, name) - {name}),
    }


def _share(causes: Iterable[dict[str, Any]], rows: list[Row]) -> dict[str, Any]:
    causes = list(causes)
    return {
        "causes": len(causes),
        "pass": sum(bool(c["passes"]) for c in causes),
        "pass_share": round(sum(bool(c["passes"]) for c in causes) / max(len(causes), 1), 4),
        "leads_share": round(sum(bool(r["leads"]) for r in rows) / max(len(rows), 1), 4),
        "serves_share": round(sum(bool(r["serves"]) for r in rows) / max(len(rows), 1), 4),
        "wrong_share": round(sum(bool(r["wrong"]) for r in rows) / max(len(rows), 1), 4),
        "median_checks": statistics.median(r["checks"] for r in rows) if rows else 0,
    }


def prove_causes(options: Options) -> tuple[str, dict[str, Any]]:
    """All draws; (knowledge digest, numbers)."""
    knowledge = load_knowledge()
    return knowledge.digest, summary(knowledge, rows_of(knowledge, options))


def causes_text(result: dict[str, Any]) -> str:
    """The report for people: totals, systems, then causes that do not pass with what led instead."""
    lines = [f"{result['draws']} draws; cards {result['knowledge']}"]
    head = f"{'':22s}{'causes':>7s}{'pass':>6s}{'leads':>8s}{'remedy fits':>13s}{'wrong':>8s}{'checks':>8s}"
    lines.append(head)
    for name, one in [("all", result["total"]), *result["systems"].items()]:
        lines.append(
            f"{name:22s}{one['causes']:7d}{one['pass']:6d}{one['leads_share']:8.1%}{one['serves_share']:13.1%}"
            f"{one['wrong_share']:8.1%}{one['median_checks']:8.1f}"
        )
    rough = result["rough"]
    lines.append(
        f"had every look been answered the cause would lead in {result['could_share']:.1%}; calls that did not end in "
        f"{MOST_LOOKS} looks: {result['unended']}; with people who err more than the base expects it leads in "
        f"{rough['leads_share']:.1%} of {rough['draws']}"
    )
    lines.append("")
    lines.append(f"a cause passes with {DRAWS} draws or more; causes that led too seldom, with what led instead:")
    failing = [(n, c) for n, c in result["causes"].items() if c["leads"] < PASS * c["draws"]]
    for name, one in sorted(failing, key=lambda x: (x[1]["leads"] / x[1]["draws"], x[0])):
        instead = ", ".join(f"{c} {n}" for c, n in list(result["confusions"].get(name, {}).items())[:5])
        stopped = f"; stopped {one['stopped']}" if one["stopped"] else ""
        lines.append(
            f"  {name:40s}{one['leads']:3d} of {one['draws']}, checks {one['median_checks']:g}{stopped}: {instead}"
        )
    return "\n".join(lines)
