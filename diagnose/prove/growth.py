"""`prove growth`: time and memory of the reasoning as the base grows from its shipped size to thirty times that, and the curve."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from diagnose.bench import growth
from diagnose.chart import Axis, Series, chart
from diagnose.prove.result import Options
from knowledge.load import load_knowledge

SIZES = (1, 2, 3, 5, 10, 20, 30)
LIMIT_TEN = 1000.0  # ms at ten times the base
LIMIT_MEMORY = 400.0  # MB at the shipped size and at ten times


def prove_growth(options: Options) -> tuple[str, dict[str, Any]]:
    """All sizes; ``draws`` sets how often each is timed. The curve is drawn beside the result file."""
    knowledge = load_knowledge()
    rows = growth(knowledge, SIZES, options.draws or 5)
    if options.out:
        Path(options.out).with_suffix(".svg").write_text(curve(rows) + "\n", encoding="utf-8")
    at = {row["times"]: row for row in rows}
    return knowledge.digest, {
        "sizes": rows,
        "limits": {"ten_times_p95_ms": LIMIT_TEN, "memory_mb": LIMIT_MEMORY},
        "passes": at[10]["belief_and_next_after_each_answer"]["p95_ms"] <= LIMIT_TEN
        and max(at[1]["peak_memory_mb"], at[10]["peak_memory_mb"]) <= LIMIT_MEMORY,
    }


def curve(rows: list[dict[str, Any]]) -> str:
    """Milliseconds over the number of causes, both logarithmic."""
    first, last = rows[0]["causes"], rows[-1]["causes"]
    lines = (
        ("belief, median", "posterior", "median_ms"),
        ("next checks, median", "next_checks", "median_ms"),
        ("both after each answer, 95th percentile", "belief_and_next_after_each_answer", "p95_ms"),
    )
    times = [row[key][which] for row in rows for _, key, which in lines]
    low = 10.0 ** math.floor(math.log10(min(times)))
    words = f"Time for belief and next checks from {first} to {last} causes: " + "; ".join(
        f"{name} {rows[0][key][which]:.0f} to {rows[-1][key][which]:.0f} ms" for name, key, which in lines
    )
    return chart(
        words,
        Axis("causes in the base", first, last, log=True, ticks=tuple(row["causes"] for row in rows)),
        Axis("milliseconds", low, max(times) * 1.3, log=True, ticks=_round_times(low, max(times) * 1.3)),
        [Series(name, tuple((r["causes"], r[key][which]) for r in rows), "marked") for name, key, which in lines],
        limits=[("1 s", 1000.0)] if max(times) > 1000.0 else [],
    )


def _round_times(low: float, high: float) -> tuple[float, ...]:
    return tuple(t for t in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000) if low <= t <= high)


def growth_text(result: dict[str, Any]) -> str:
    """The table for people."""
    lines = [f"{'causes':>7s}{'belief':>9s}{'next':>8s}{'each answer, p95':>18s}{'advice':>9s}{'memory':>9s}"]
    for row in result["sizes"]:
        lines.append(
            f"{row['causes']:7d}{row['posterior']['median_ms']:6.0f} ms{row['next_checks']['median_ms']:5.0f} ms"
            f"{row['belief_and_next_after_each_answer']['p95_ms']:15.0f} ms{row['whole_advice']['median_ms']:6.0f} ms"
            f"{row['peak_memory_mb']:6.0f} MB"
        )
    lines.append("passes" if result["passes"] else "DOES NOT PASS")
    return "\n".join(lines)
