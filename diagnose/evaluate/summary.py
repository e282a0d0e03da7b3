"""From rows to numbers: how often right, how soon, how safe, how sure; and two evaluations side by side.

Targets hold for plant-made causes with a qualified technician; scripted causes and the telephone are counted apart. A call that rightly
ended in a stop is counted as such and not as right or wrong about its cause.
"""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

Row = Mapping[str, Any]
BINS = 10
TARGETS: dict[str, tuple[str, float]] = {
    "right": (">=", 0.90),
    "within_three": (">=", 0.98),
    "both_within_three": (">=", 0.80),
    "inseparable_share": ("<=", 0.10),
    "median_checks": ("<=", 5),
    "calibration": ("<=", 0.08),
    "missed_stops": ("<=", 0),
    "forbidden": ("<=", 0),
    "reasoning_failed": ("<=", 0),
}


def _share(rows: Sequence[Row], key: str) -> float | None:
    return round(sum(bool(r[key]) for r in rows) / len(rows), 4) if rows else None


def _median(values: Iterable[float]) -> float | None:
    made = list(values)
    return round(statistics.median(made), 1) if made else None


def interval(right: int, of: int) -> tuple[float, float] | None:
    """Wilson interval of a share, 95 %: how far the number may be off for want of calls."""
    if not of:
        return None
    z, p = 1.96, right / of
    middle, half = p + z * z / (2 * of), z * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    return round((middle - half) / (1 + z * z / of), 4), round((middle + half) / (1 + z * z / of), 4)


def calibration(rows: Sequence[Row]) -> tuple[float | None, list[dict[str, float]]]:
    """Expected calibration error of the leading suspect at the end, and its bins: mean probability beside share right."""
    bins: list[list[Row]] = [[] for _ in range(BINS)]
    for row in rows:
        bins[min(int(row["probability"] * BINS), BINS - 1)].append(row)
    table = [
        {
            "from": n / BINS,
            "calls": len(own),
            "told": round(sum(r["probability"] for r in own) / len(own), 4),
            "right": round(sum(bool(r["right"]) for r in own) / len(own), 4),
        }
        for n, own in enumerate(bins)
        if own
    ]
    if not rows:
        return None, []
    return round(sum(b["calls"] * abs(b["told"] - b["right"]) for b in table) / len(rows), 4), table


def numbers(rows: Sequence[Row]) -> dict[str, Any]:
    """One group of calls in numbers; None where it has no such call."""
    judged = [r for r in rows if not (r["stop"] and r["due"])]
    single = [r for r in judged if r["kind"] == "single"]
    double = [r for r in judged if r["kind"] == "double"]
    nothing = [r for r in judged if r["kind"] == "none"]
    open_doubles = [r for r in double if not r["second_hidden"] and not (r["later_stop"] and r["later_due"])]
    resolved = [r for r in judged if r["resolved"]]
    missed_normal = [r for r in single if r["normal"] and not r["right"]]
    error, table = calibration(judged)
    return {
        "calls": len(rows),
        "single": len(single),
        "double": len(double),
        "nothing_wrong": len(nothing),
        "right": _share(single, "right"),
        "right_95": interval(sum(bool(r["right"]) for r in single), len(single)),
        "within_three": _share(single, "within_three"),
        "both_within_three": _share(open_doubles, "both"),
        "both_of": len(open_doubles),
        "both_noticeable": sum(all(r["noticeable"]) for r in double),
        "second_hidden": sum(bool(r["second_hidden"]) for r in double),
        "next_call": sum(bool(r["next_call"]) for r in double),
        "resolved": _share(judged, "resolved"),
        "resolved_single": _share(single, "resolved"),
        "resolved_checks": _median(r["checks_in_all"] for r in resolved),
        "resolved_minutes": _median(r["minutes_in_all"] for r in resolved),
        "wrong_remedies": sum(int(r["wrong_remedies"]) for r in judged),
        "normal_missed": len(missed_normal),
        "normal_missed_as_nothing": sum(bool(r["told_nothing"]) for r in missed_normal),
        "nothing_right": _share(nothing, "right"),
        "place_right": _share([r for r in single if r["right"] and not r["in_group"]], "right_place"),
        "inseparable_share": _share(single, "in_group"),
        "wrong_verdicts": sum(bool(r["wrong_verdict"]) for r in judged),
        "reach_a_verdict": _share(judged, "verdict_held"),
        "median_checks": _median(r["checks"] for r in judged),
        "mean_checks": round(statistics.fmean(r["checks"] for r in judged), 2) if judged else None,
        "median_minutes": _median(r["minutes"] for r in judged),
        "mean_told": round(statistics.fmean(r["told"] for r in rows), 2) if rows else None,
        "calibration": error,
        "calibration_bins": table,
        "due_stops": sum(bool(r["due"]) for r in rows),
        "right_stops": sum(bool(r["due"]) and bool(r["stop"]) for r in rows),
        "missed_stops": sum(bool(r["missed_stop"]) for r in rows),
        "wrong_stops": sum(bool(r["wrong_stop"]) for r in rows),
        "forbidden": sum(len(r["forbidden"]) for r in rows),
        "reasoning_failed": sum(bool(r["failed"]) for r in rows),
        "checks_count": dict(sorted(Counter(int(r["checks"]) for r in judged).items())),
        "verdicts": dict(Counter(str(r["verdict"]) for r in judged).most_common()),
    }


def _by(rows: Sequence[Row], keys: Callable[[Row], Iterable[str]]) -> dict[str, dict[str, Any]]:
    groups: dict[str, list[Row]] = {}
    for row in rows:
        for key in keys(row):
            groups.setdefault(key, []).append(row)
    wanted = ("calls", "right", "within_three", "median_checks", "median_minutes", "missed_stops", "wrong_stops")
    made = {name: numbers(own) for name, own in sorted(groups.items())}
    return {name: {k: one[k] for k in wanted} for name, one in made.items()}


def _confusions(rows: Sequence[Row]) -> dict[str, dict[str, int]]:
    """What led instead, for single causes that did not lead; most frequent causes first."""
    table: dict[str, Counter[str]] = {}
    for row in rows:
        if row["kind"] == "single" and not row["right"] and not (row["stop"] and row["due"]):
            table.setdefault(row["causes"][0], Counter())[row["lead"]] += 1
    return {c: dict(n.most_common(4)) for c, n in sorted(table.items(), key=lambda x: (-sum(x[1].values()), x[0]))}


def met(name: str, value: float | None) -> bool | None:
    """Whether a number keeps its target; None when it has none or there is no number."""
    if name not in TARGETS or value is None:
        return None
    sign, limit = TARGETS[name]
    return value >= limit if sign == ">=" else value <= limit


def summary(rows: Sequence[Row]) -> dict[str, Any]:
    """All groups: plant-made and scripted, technician and telephone; per cause and complaint; what is confused with what."""
    held = ("one-cause", "two-causes", "normal", "inseparable")
    rows = [{**r, "verdict_held": r["verdict"] in held} for r in rows]
    groups = {
        f"{made}, {desk}": [r for r in rows if r["made"] == made and r["desk"] == desk]
        for made in ("plant", "scripted")
        for desk in ("technician", "telephone")
    }
    target = groups["plant, technician"]
    main = numbers(target)
    technician = [r for r in rows if r["desk"] == "technician"]
    return {
        "calls": len(rows),
        "groups": {name: numbers(own) for name, own in groups.items()},
        "targets": {
            name: {"wanted": f"{sign} {limit:g}", "got": main[name], "met": met(name, main[name])}
            for name, (sign, limit) in TARGETS.items()
        },
        "all": {
            k: v for k, v in numbers(rows).items() if k in ("missed_stops", "wrong_stops", "forbidden", "due_stops")
        },
        "causes": _by([r for r in technician if r["kind"] == "single"], lambda r: r["causes"]),
        "complaints": _by(technician, lambda r: [r["complaint"]]),
        "confusions": _confusions(technician),
        "used_expected": _share(target, "used_expected"),
        "seconds_a_call": round(statistics.fmean(r["seconds"] for r in rows), 3) if rows else None,
    }


COMPARED = (
    "calls",
    "right",
    "within_three",
    "both_within_three",
    "both_noticeable",
    "second_hidden",
    "next_call",
    "nothing_right",
    "resolved",
    "resolved_single",
    "resolved_checks",
    "resolved_minutes",
    "wrong_remedies",
    "normal_missed",
    "normal_missed_as_nothing",
    "inseparable_share",
    "wrong_verdicts",
    "median_checks",
    "mean_checks",
    "median_minutes",
    "mean_told",
    "calibration",
    "missed_stops",
    "wrong_stops",
    "forbidden",
)


def compared(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Rows (group, number, before, after) of two evaluations; numbers that are the same are left out."""
    table = []
    for group, now in after["groups"].items():
        then = before.get("groups", {}).get(group, {})
        for name in COMPARED:
            if then.get(name) != now.get(name):
                table.append({"group": group, "number": name, "before": then.get(name), "after": now.get(name)})
    return table


def turned(before: Sequence[Row], after: Sequence[Row]) -> dict[str, list[int]]:
    """Numbers of calls that came right, and of those that went wrong, between two evaluations of the same calls."""
    old = {int(r["number"]): bool(r["right"]) for r in before}
    new = {int(r["number"]): bool(r["right"]) for r in after}
    both = sorted(set(old) & set(new))
    return {
        "came right": [n for n in both if new[n] and not old[n]],
        "went wrong": [n for n in both if old[n] and not new[n]],
    }


SHOWN = (
    *COMPARED[:4],
    "nothing_right",
    "median_checks",
    "median_minutes",
    "calibration",
    "missed_stops",
    "wrong_stops",
    "forbidden",
)


def text(result: Mapping[str, Any]) -> str:
    """The numbers for a terminal."""
    lines = [f"{result['calls']} simulated calls, {result['seconds_a_call']} s of processor time each"]
    lines.append(f"{'':24s}" + "".join(f"{c.replace('_', ' ')[:13]:>14s}" for c in SHOWN))
    for name, one in result["groups"].items():
        lines.append(f"{name:24s}" + "".join(f"{_shown(one[c]):>14s}" for c in SHOWN))
    lines.append("targets (plant-made, qualified technician):")
    for name, one in result["targets"].items():
        told = {True: "met", False: "MISSED", None: "no calls"}[one["met"]]
        lines.append(f"  {name.replace('_', ' '):24s} wanted {one['wanted']:8s} got {_shown(one['got']):>8s}  {told}")
    lines.append("after the first verdict (plant-made, qualified technician):")
    lines += [f"  {line}" for line in afterwards(result["groups"]["plant, technician"])]
    worst = list(result["confusions"].items())[:8]
    if worst:
        lines.append("not leading most often: " + "; ".join(f"{c} ({', '.join(o)})" for c, o in worst))
    return "\n".join(lines)


def afterwards(one: Mapping[str, Any]) -> list[str]:
    """What came after the first verdict in a group, as sentences."""
    return [
        f"resolved in the end: {_shown(one['resolved'])} of all, {_shown(one['resolved_single'])} of those with one cause; median "
        f"{_shown(one['resolved_checks'])} checks and {_shown(one['resolved_minutes'])} minutes with the remedies; "
        f"{one['wrong_remedies']} remedies that helped nothing in {one['calls']} calls",
        f"two causes: {one['double']} calls, in {one['both_noticeable']} each would be noticed alone; in {one['second_hidden']} the second "
        f"was not noticeable once the first was mended, in {one['next_call']} it made a call of its own; both in the first three in "
        f"{_shown(one['both_within_three'])} of the {one['both_of']} whose second cause did not hide",
        f"normal causes: {one['normal_missed']} missed, of which {one['normal_missed_as_nothing']} were told that nothing is wrong or that "
        "something else is normal",
    ]


def _shown(value: Any) -> str:
    return "-" if value is None else f"{value:.3f}" if isinstance(value, float) and value < 1 else f"{value:g}"
