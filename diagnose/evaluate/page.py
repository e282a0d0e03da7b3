"""The numbers of an evaluation as one page: tables and plots drawn as SVG, nothing loaded from anywhere."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

STYLE = """
:root { color-scheme: light dark; --line: #8886; --ink: currentColor; --mark: #2b6cb0; --soft: #2b6cb033 }
@media (prefers-color-scheme: dark) { :root { --mark: #7fb2e5; --soft: #7fb2e533 } }
body { font: 16px/1.5 system-ui, sans-serif; max-width: 68rem; margin: 2rem auto; padding: 0 1rem }
table { border-collapse: collapse; margin: .5rem 0 1.5rem; font-size: .9rem }
th, td { padding: .25rem .6rem; border-bottom: 1px solid var(--line); text-align: right; vertical-align: top }
th:first-child, td:first-child { text-align: left }
thead th { vertical-align: bottom }
.wide { overflow-x: auto }
figure { margin: 1rem 0 2rem } figcaption { font-size: .9rem }
svg { max-width: 100%; height: auto; font: 12px system-ui, sans-serif; fill: var(--ink) }
.mark { fill: var(--mark) } .soft { fill: var(--soft) } .rule { stroke: var(--line); fill: none }
.curve { stroke: var(--mark); fill: none; stroke-width: 2 }
.missed { font-weight: 600 }
"""


def _value(value: Any) -> str:
    if value is None:
        return "no calls"
    if isinstance(value, float):
        return f"{value:.3f}" if abs(value) < 1 else f"{value:.1f}"
    if isinstance(value, (list, tuple)):
        return " to ".join(_value(v) for v in value)
    return str(value)


def _table(head: Sequence[str], rows: Iterable[Sequence[Any]], caption: str = "") -> str:
    top = "".join(f"<th scope='col'>{escape(h)}</th>" for h in head)
    body = []
    for row in rows:
        first, *rest = row
        cells = "".join(f"<td>{escape(_value(v))}</td>" for v in rest)
        body.append(f"<tr><th scope='row'>{escape(str(first))}</th>{cells}</tr>")
    told = f"<caption>{escape(caption)}</caption>" if caption else ""
    return f"<div class='wide'><table>{told}<thead><tr>{top}</tr></thead><tbody>{''.join(body)}</tbody></table></div>"


def _figure(svg: str, caption: str) -> str:
    return f"<figure>{svg}<figcaption>{escape(caption)}</figcaption></figure>"


def bars(values: Sequence[tuple[str, float, str]], most: float, title: str) -> str:
    """Horizontal bars: (name, value, what stands at the end)."""
    line, left, width = 20, 230, 360
    height = line * len(values) + 10
    parts = [f"<svg viewBox='0 0 {left + width + 130} {height}' role='img' aria-label='{escape(title)}'>"]
    for n, (name, value, end) in enumerate(values):
        y = 5 + n * line
        size = width * min(value / most, 1.0) if most else 0.0
        parts.append(f"<text x='{left - 8}' y='{y + 13}' text-anchor='end'>{escape(name)}</text>")
        parts.append(f"<rect class='soft' x='{left}' y='{y + 2}' width='{width}' height='{line - 6}'/>")
        parts.append(f"<rect class='mark' x='{left}' y='{y + 2}' width='{size:.1f}' height='{line - 6}'/>")
        parts.append(f"<text x='{left + width + 8}' y='{y + 13}'>{escape(end)}</text>")
    return "".join([*parts, "</svg>"])


def scatter(bins: Sequence[Mapping[str, float]], title: str) -> str:
    """Share right over probability told, the diagonal for comparison; a mark's size says how many calls."""
    size, edge = 320, 40
    most = max((b["calls"] for b in bins), default=1)

    def at(x: float, y: float) -> tuple[float, float]:
        return edge + x * size, 10 + (1.0 - y) * size

    (x0, y0), (x1, y1) = at(0, 0), at(1, 1)
    parts = [f"<svg viewBox='0 0 {size + 2 * edge} {size + 60}' role='img' aria-label='{escape(title)}' width='400'>"]
    parts.append(f"<rect class='rule' x='{edge}' y='10' width='{size}' height='{size}'/>")
    parts.append(f"<line class='rule' x1='{x0}' y1='{y0}' x2='{x1}' y2='{y1}'/>")
    for tick in (0.0, 0.5, 1.0):
        x, y = at(tick, 0)
        parts.append(f"<text x='{x}' y='{y + 16}' text-anchor='middle'>{tick:g}</text>")
        parts.append(f"<text x='{edge - 6}' y='{at(0, tick)[1] + 4}' text-anchor='end'>{tick:g}</text>")
    points = [at(b["told"], b["right"]) for b in bins]
    parts.append(f"<polyline class='curve' points='{' '.join(f'{x:.1f},{y:.1f}' for x, y in points)}'/>")
    for (x, y), b in zip(points, bins, strict=True):
        radius = 3 + 9 * (b["calls"] / most) ** 0.5
        parts.append(f"<circle class='mark' cx='{x:.1f}' cy='{y:.1f}' r='{radius:.1f}'/>")
    parts.append(f"<text x='{edge + size / 2}' y='{size + 44}' text-anchor='middle'>probability told</text></svg>")
    return "".join(parts)


GROUP_ROWS = (
    ("calls", "calls"),
    ("one cause, right", "right"),
    ("  95 % interval", "right_95"),
    ("one cause, in the first three", "within_three"),
    ("two causes, both in the first three", "both_within_three"),
    ("  of so many calls", "both_of"),
    ("  calls whose second cause was not noticeable once the first was mended", "second_hidden"),
    ("  calls whose second cause made a call of its own", "next_call"),
    ("  calls in which each cause would be noticed alone", "both_noticeable"),
    ("nothing wrong, said so", "nothing_right"),
    ("resolved in the end", "resolved"),
    ("  with one cause", "resolved_single"),
    ("  checks to it, median", "resolved_checks"),
    ("  minutes to it with the remedies, median", "resolved_minutes"),
    ("remedies that helped nothing", "wrong_remedies"),
    ("normal causes missed", "normal_missed"),
    ("  of these told as normal all the same", "normal_missed_as_nothing"),
    ("place right, where the cause is", "place_right"),
    ("right by a declared inseparable group", "inseparable_share"),
    ("verdicts without the cause", "wrong_verdicts"),
    ("checks to the first verdict, median", "median_checks"),
    ("minutes to the first verdict, median", "median_minutes"),
    ("things told with the complaint, mean", "mean_told"),
    ("calibration error", "calibration"),
    ("stops due", "due_stops"),
    ("stops made where due", "right_stops"),
    ("missed stops", "missed_stops"),
    ("wrong stops", "wrong_stops"),
    ("forbidden steps", "forbidden"),
    ("calls on which the reasoning failed", "reasoning_failed"),
)


def page(
    result: Mapping[str, Any], before: Sequence[Mapping[str, Any]] = (), turned: Mapping[str, Any] | None = None
) -> str:
    """The whole page. before: rows of `summary.compared`; turned: of `summary.turned`."""
    groups: Mapping[str, Any] = result["groups"]
    main = groups["plant, technician"]
    parts = [
        "<!doctype html><html lang='en'><head><meta charset='utf-8'><meta name='viewport' content='width=device-width'>",
        f"<title>Evaluation on simulated calls</title><style>{STYLE}</style></head><body>",
        "<h1>Evaluation on simulated calls</h1>",
        f"<p>{result['calls']} calls, seed {escape(str(result.get('seed', '')))}, cards {escape(str(result.get('knowledge', '')))}, "
        f"{escape(str(result.get('machine_card', 'random machines')))}. Every call is invented: a simulated machine, moved by up to a tenth "
        "against its card, answers the planner with noise, gaps and mistakes. Nothing is tuned on these calls.</p>",
        "<h2>Targets</h2><p>Plant-made causes, qualified technician.</p>",
        _table(
            ("number", "wanted", "got", ""),
            [
                (n.replace("_", " "), t["wanted"], t["got"], {True: "met", False: "missed", None: ""}[t["met"]])
                for n, t in result["targets"].items()
            ],
        ),
        "<h2>All groups</h2>",
        _table(("", *groups), [(label, *(one[key] for one in groups.values())) for label, key in GROUP_ROWS]),
    ]
    if before:
        parts.append("<h2>Before and after</h2>")
        rows = [(f"{r['group']}: {r['number'].replace('_', ' ')}", r["before"], r["after"]) for r in before]
        parts.append(_table(("number that moved", "before", "after"), rows))
        for what, which in (turned or {}).items():
            told = ", ".join(str(n) for n in which[:60]) or "none"
            parts.append(f"<p>Calls that {escape(what)}: {len(which)} ({escape(told)}).</p>")
    parts.append("<h2>How sure, how right</h2>")
    told = "Plant-made, technician: share of calls in which the leading suspect is right, over the probability it had."
    parts.append(_figure(scatter(main["calibration_bins"], "calibration"), told))
    counts = [(f"{n} checks", float(c), f"{c} calls") for n, c in main["checks_count"].items()]
    most = max((c for _, c, _ in counts), default=1.0)
    parts.append(
        _figure(
            bars(counts, most, "checks to the first verdict"), "Plant-made, technician: checks to the first verdict."
        )
    )
    parts.append("<h2>By complaint</h2>")
    named = [(n, one) for n, one in result["complaints"].items() if one["right"] is not None]
    shares = [(n, one["right"], f"{one['right']:.0%} of {one['calls']}") for n, one in named]
    parts.append(
        _figure(
            bars(shares, 1.0, "right by complaint"), "Technician's calls with one cause: share right, by complaint."
        )
    )
    columns = ("calls", "right", "within_three", "median_checks", "median_minutes", "missed_stops", "wrong_stops")
    head = ("", *(c.replace("_", " ") for c in columns))
    parts.append(_table(head, [(n, *(one[c] for c in columns)) for n, one in result["complaints"].items()]))
    parts.append("<h2>By cause</h2>")
    parts.append(_table(head, [(n, *(one[c] for c in columns)) for n, one in result["causes"].items()]))
    parts.append("<h2>What led instead</h2>")
    rows_c = [(c, ", ".join(f"{n} ({k})" for n, k in other.items())) for c, other in result["confusions"].items()]
    parts.append(_table(("cause", "led instead"), rows_c))
    return "".join([*parts, "</body></html>\n"])
