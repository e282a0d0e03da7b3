"""`prove drift`: an early word before the trip, and hardly one without reason.

Runs of ten days on the simulated machine (`diagnose.prove.drift_runs`), with a strainer that clogs, a coil that fouls and a charge that
leaks, and as many of a machine that stays as it is. Every run is a placement as a desk keeps it; what is judged is what `trend_of`
says of it. A word counts for a fault when it is a watch's that asks about this fault, at its circuit. Targets: at least 95 % of the
faulty runs are told ``AHEAD_H`` hours before the trip, at most 5 % of the healthy ones ever get a word. Beside them: what the baseline
lets pass and refuses, and how often the trip fell within the band of days that was told with the first word.
"""

from __future__ import annotations

import json
import math
import statistics
from collections import Counter
from pathlib import Path
from typing import Any

from diagnose.placement.rounds import moment_of
from diagnose.placement.trend import Trends, WatchTrend, trend_of
from diagnose.prove.drift_runs import CAUSES, DAYS, MISSING, REPEATS, ROUND_HOURS, SPREAD, Run, draw_run
from diagnose.prove.result import Options
from knowledge.load import Knowledge, load_knowledge

FULL = 300  # runs with a fault, and as many without
AHEAD_H = 8.0
TOLD_SHARE, FALSE_SHARE = 0.95, 0.05

Row = dict[str, Any]


def first_words(trends: Trends) -> dict[tuple[str, str], float]:
    """Hours after the baseline of the first word of every watch that ever had one."""
    made = {}
    for one in trends.watches:
        at = next((p.days * 24.0 for p in one.points if p.step.word), None)
        if at is not None:
            made[one.card.id, one.place] = at
    return made


def _fits(one: WatchTrend, run: Run) -> bool:
    return one.card.fault == run.cause and (":" not in run.place or one.place == run.place)


def row_of(knowledge: Knowledge, run: Run) -> Row:
    """What is counted of one run."""
    trends = trend_of(run.placement, knowledge, ahead=False)
    words = first_words(trends)
    fitting = [words[w.card.id, w.place] for w in trends.watches if _fits(w, run) and (w.card.id, w.place) in words]
    row: Row = {
        "number": run.number,
        "cause": run.cause,
        "trip_h": run.trip_h,
        "trip": run.trip,
        "rounds": len(run.placement.entries) - 1,
        "redrawn": list(run.redrawn),
        "baseline": trends.baseline.state if trends.baseline is not None else "none",
        "first_h": min(fitting) if fitting else None,
        "any_h": min(words.values()) if words else None,
        "words": sorted(f"{name}@{place}" for name, place in words),
    }
    if run.cause and fitting:
        row["days"] = _days_told(knowledge, run, min(fitting))
    return row


def _days_told(knowledge: Knowledge, run: Run, at_h: float) -> list[float | None] | None:
    """The band of days told with the first fitting word, and how many it really was: early, likely, late, true."""
    count = 1 + sum(1 for hour in _hours(run) if hour <= at_h + 1e-6)
    part = run.placement.model_copy(update={"entries": run.placement.entries[:count]})
    told = [
        w for w in trend_of(part, knowledge).words if _fits(w, run) and w.days is not None and "trips" in w.days.until
    ]
    if not told or told[0].days is None or run.trip_h is None:
        return None
    days = told[0].days
    return [round(days.early, 2), _rounded(days.likely), _rounded(days.late), round((run.trip_h - at_h) / 24.0, 2)]


def _rounded(days: float | None) -> float | None:
    return None if days is None or math.isinf(days) else round(days, 2)


def _hours(run: Run) -> list[float]:
    moments = [m for e in run.placement.entries if (m := moment_of(e.at)) is not None]
    return [(m - moments[0]).total_seconds() / 3600.0 for m in moments[1:]]


def plan_of(draws: int) -> list[tuple[int, str]]:
    """(number, cause) of every run: healthy and faulty by turns, the causes in turn, so that a part of it is a fair part."""
    return [pair for n in range(draws) for pair in ((n, CAUSES[n % len(CAUSES)]), (n, ""))]


def summary(rows: list[Row]) -> dict[str, Any]:
    """The numbers of the proof from its rows."""
    faulty, healthy = [r for r in rows if r["cause"]], [r for r in rows if not r["cause"]]
    told = [r for r in faulty if _told(r)]
    false = [r for r in healthy if r["any_h"] is not None]
    ahead = sorted(r["trip_h"] - r["first_h"] for r in faulty if r["first_h"] is not None)
    days = [r["days"] for r in faulty if r.get("days")]
    within = [d for d in days if d[0] <= d[3] + 0.17 and (d[2] is None or d[3] - 0.17 <= d[2])]
    by_cause = {
        c: {
            "runs": len(own := [r for r in faulty if r["cause"] == c]),
            "told": sum(map(_told, own)),
            "trips": dict(Counter(r["trip"] for r in own).most_common()),
        }
        for c in CAUSES
    }
    shares = (len(told) / max(len(faulty), 1), len(false) / max(len(healthy), 1))
    return {
        "runs": {"faulty": len(faulty), "healthy": len(healthy)},
        "told_share": round(shares[0], 4),
        "told_interval_95": _interval(len(told), len(faulty)),
        "false_share": round(shares[1], 4),
        "false_interval_95": _interval(len(false), len(healthy)),
        "causes": by_cause,
        "hours_ahead": {"median": round(statistics.median(ahead), 1), "tenth": round(ahead[len(ahead) // 10], 1)}
        if ahead
        else {},
        "false_words": dict(Counter(w.split("@")[0] for r in false for w in r["words"]).most_common()),
        "days_told": len(days),
        "days_within_band": len(within),
        "redrawn": dict(Counter(w for r in rows for w in r["redrawn"]).most_common()),
        "not_told": [
            {k: r[k] for k in ("number", "cause", "trip", "trip_h", "first_h", "any_h")} for r in faulty if not _told(r)
        ],
        "passes": shares[0] >= TOLD_SHARE and shares[1] <= FALSE_SHARE,
    }


def _told(row: Row) -> bool:
    return row["first_h"] is not None and row["trip_h"] - row["first_h"] >= AHEAD_H


def _interval(hits: int, count: int) -> list[float]:
    """95 % interval of a share (Wilson 1927)."""
    if not count:
        return [0.0, 1.0]
    z, p = 1.96, hits / count
    middle, half = p + z * z / (2 * count), z * math.sqrt(p * (1 - p) / count + z * z / (4 * count * count))
    return [round((middle - half) / (1 + z * z / count), 4), round((middle + half) / (1 + z * z / count), 4)]


def prove_drift(options: Options) -> tuple[str, dict[str, Any]]:
    """All runs; ``draws`` sets how many with a fault, and as many without. With a result file the rows are kept on the way, and a
    run that was stopped goes on where it was.
    """
    knowledge = load_knowledge()
    draws = options.draws or FULL
    partial = Path(options.out).with_suffix(".partial.jsonl") if options.out else None
    rows = _kept(partial, knowledge.digest, options.seed)
    have = {(r["number"], r["cause"]) for r in rows}
    for number, cause in plan_of(draws):
        if (number, cause) in have:
            continue
        row = row_of(knowledge, draw_run(knowledge, options.seed, number, cause))
        rows.append(row)
        if partial is not None:
            with partial.open("a", encoding="utf-8") as file:
                file.write(json.dumps({"digest": knowledge.digest, "seed": options.seed, **row}) + "\n")
    wanted = set(plan_of(draws))
    return knowledge.digest, {
        "draws": draws,
        "days": DAYS,
        "round_hours": ROUND_HOURS,
        "missing": MISSING,
        "spread_of_machines": SPREAD,
        "repeatability_of_accuracy": REPEATS,
        "hours_wanted": AHEAD_H,
        **summary([r for r in rows if (r["number"], r["cause"]) in wanted]),
    }


def _kept(partial: Path | None, digest: str, seed: int) -> list[Row]:
    """Rows of a run that was stopped, of the same cards and seed; a line that was cut off is thrown away, and the file put right."""
    if partial is None or not partial.exists():
        return []
    rows: list[Row] = []
    for line in partial.read_text(encoding="utf-8").splitlines():
        try:
            row = json.loads(line)
        except ValueError:
            continue
        if row["digest"] == digest and row["seed"] == seed:
            rows.append(row)
    partial.write_text("".join(json.dumps(r) + "\n" for r in rows), encoding="utf-8")
    return rows


def drift_text(result: dict[str, Any]) -> str:
    """The report for people."""
    runs, ahead = result["runs"], result["hours_ahead"]
    low, high = result["told_interval_95"]
    lines = [
        f"{runs['faulty']} runs with a fault: told at least {result['hours_wanted']:g} h before the trip in "
        f"{100 * result['told_share']:.1f} % (95 % interval {100 * low:.1f} to {100 * high:.1f})",
        f"{runs['healthy']} healthy runs of {result['days']} days: a word in {100 * result['false_share']:.1f} % "
        f"(to {100 * result['false_interval_95'][1]:.1f}): {result['false_words'] or 'none'}",
    ]
    for cause, one in result["causes"].items():
        trips = ", ".join(f"{k} {v}" for k, v in one["trips"].items())
        lines.append(f"  {cause}: {one['told']} of {one['runs']}; trips: {trips}")
    if ahead:
        lines.append(f"hours ahead: median {ahead['median']}, one in ten under {ahead['tenth']}")
    lines.append(
        f"days until the trip told with the first word: {result['days_within_band']} of {result['days_told']} within the band"
    )
    lines.append(f"drawn again: {result['redrawn'] or 'none'}")
    lines += [f"  not told: {one}" for one in result["not_told"][:12]]
    lines.append("passes" if result["passes"] else "DOES NOT PASS")
    return "\n".join(lines)
