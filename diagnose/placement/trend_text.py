"""Trends and baseline in words and pictures, the same for terminal, report and desk."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Collection

from diagnose.chart import Axis, Series
from diagnose.phrases import at_place
from diagnose.pictures.picture import Picture, room
from diagnose.placement.ahead import Days
from diagnose.placement.baseline import Baseline
from diagnose.placement.rounds import Figure
from diagnose.placement.trend import Trends, WatchTrend
from knowledge.load import Knowledge
from knowledge.watches import FIGURES
from shared.quantities import Kind
from shared.units import SHOWN, show, to_unit

WIDTH = 100
WIDE = 4.0  # a picture of ratios over a wider range than this has a logarithmic axis
TD = Kind.TEMPERATURE_DIFFERENCE
STATES = {"kept": "kept", "marked": "kept, with a doubt", "refused": "refused"}


def drift_text(figure: str, drift: float, metric: bool = False) -> str:
    """A drift as people read it: "+12 %", "2.1 times", "-3.4 °F"."""
    if FIGURES[figure][1] == "difference":
        text = show(abs(drift), TD, metric)
        return f"{'-' if drift < -0.03 else '+'}{text}"
    factor = math.exp(drift)
    return f"{factor:.1f} times" if factor >= 2.0 else f"{round(100.0 * (factor - 1.0)) or 0:+d} %"


def days_text(days: Days | None) -> str:
    """How long there is to act, with its band."""
    if days is None:
        return "At this pace and in the weather of the last days no trip is in sight."
    if days.likely is not None and days.likely <= 0.0:
        return f"Due now ({days.until})."
    band = f"{_number(days.early)} to {_number(days.late) if days.late is not None else 'many'}"
    if days.likely is None:
        return f"At the earliest {_number(days.early)} days until {days.until}."
    return f"About {_number(days.likely)} days until {days.until} ({band})."


def _number(days: float) -> str:
    return f"{days:.1f}" if days < 3.0 else f"{days:.0f}"


def watch_text(one: WatchTrend, metric: bool = False) -> str:
    """One watch in one or two sentences."""
    name = f"{FIGURES[one.card.figure][0]} {drift_text(one.card.figure, one.drift, metric)} against the baseline"
    title = at_place(one.card.title, one.place)
    if one.level == "waiting":
        return f"{title}: no round has it yet"
    if one.level != "word":
        return f"{title}: {'not certain yet; ' if one.level == 'rising' else ''}{name}"
    return f"{title}: {one.card.word} {name[0].upper()}{name[1:]}. {days_text(one.days)} {one.card.action}"


def look_text(one: WatchTrend, knowledge: Knowledge, qualified: Collection[str]) -> str:
    """The check that tells more, and whose it is; "" where the card names none."""
    check = knowledge.checks.get(one.card.check)
    if check is None:
        return ""
    lacking = [q for q in check.needs_qualified if q not in qualified]
    return f"Look: {check.title}" + (f"; for somebody qualified: {', '.join(lacking)}" if lacking else "")


def trends_text(trends: Trends, knowledge: Knowledge, qualified: Collection[str] = (), metric: bool = False) -> str:
    """The whole: baseline, early words with what to do, and all that is quiet in one table."""
    lines = [baseline_line(trends.baseline)] + [_wrap(one) for one in trends.lacks]
    if trends.baseline is None or not trends.baseline.usable:
        return "\n".join(lines)
    lines.append(
        f"{len(trends.rounds)} rounds" + (f", {trends.skipped} without a moment left out" if trends.skipped else "")
    )
    for one in trends.words:
        since = one.points[one.first_word].at if one.first_word is not None else None
        lines += ["", _wrap(watch_text(one, metric), "")]
        lines.append(_wrap(f"Why: {one.card.why}"))
        if one.goes_with:
            lines.append(_wrap(f"Goes with: {knowledge.watches[one.goes_with].title}."))
        if look := look_text(one, knowledge, qualified):
            lines.append(_wrap(look))
        if since is not None:
            lines.append(_wrap(f"Said since the round of {since.isoformat(sep=' ', timespec='minutes')}."))
    if not trends.words:
        lines.append("No early word.")
    rest = [w for w in trends.watches if w.level != "word"]
    if rest:
        lines += ["", "Followed:"] + [_wrap(watch_text(w, metric)) for w in rest]
    return "\n".join(lines)


def baseline_line(baseline: Baseline | None) -> str:
    """What became of the baseline, with the reasons."""
    if baseline is None:
        return "No baseline."
    at = baseline.round.at.isoformat(sep=" ", timespec="minutes")
    return f"Baseline of {at}: {STATES[baseline.state]}" + (
        f" ({'; '.join(baseline.reasons)})" if baseline.reasons else ""
    )


def baseline_text(baseline: Baseline, metric: bool = False) -> str:
    """The signature: every figure with what was expected of this machine then."""
    lines = [_wrap(baseline_line(baseline), "")]
    lines += [f"  {figure_text(f, metric)}" for f in baseline.round.figures.values()]
    lines += [_wrap(one) for one in baseline.round.why]
    return "\n".join(lines)


def figure_text(figure: Figure, metric: bool = False) -> str:
    """One figure beside what was expected."""
    name = at_place(FIGURES[figure.figure][0], figure.place)
    if figure.figure in ("strainer_resistance", "flow_by_drop"):
        return f"{name}: " + (f"{math.exp(figure.residual):.2f} of what the card gives" if figure.expected else "kept")
    kind = Kind.CURRENT if figure.figure.endswith("current") else TD
    expected = f" (expected {show(figure.expected, kind, metric)})" if figure.expected is not None else ""
    return f"{name}: {show(figure.measured, kind, metric)}{expected}"


def drift_lines(trends: Trends, metric: bool = False) -> list[str]:
    """The comparison with the baseline for a trouble call: words first, then every drift above its allowance."""
    out = []
    for one in trends.watches:
        worth = abs(one.drift) > (one.card.size("allowance") or 0.0)
        if one.points and (one.level == "word" or worth):
            text = (
                f"{at_place(FIGURES[one.card.figure][0], one.place)} {drift_text(one.card.figure, one.drift, metric)}"
            )
            if text not in out:
                out.append(text)
    return out


def trend_picture(one: WatchTrend, metric: bool = False) -> Picture | None:
    """Drift over days since the baseline with the reference and what is due; None without a round."""
    if not one.points:
        return None
    ratio = FIGURES[one.card.figure][1] == "ratio"
    unit = SHOWN[TD][metric]

    def scaled(drift: float) -> float:
        return math.exp(drift) if ratio else to_unit(drift, TD, unit)

    sign = 1.0 if one.card.way == "up" else -1.0
    rows = [(0.0, scaled(0.0)), *((p.days, scaled(p.drift)) for p in one.points)]
    limits = [("worth a word", scaled(sign * (one.card.size("reference") or 0.0)))]
    if one.due_at is not None:
        limits.append(("due", scaled(one.due_at)))
    drawn = [y for _, y in (*rows, *limits)]
    wide = ratio and max(drawn) > WIDE * min(drawn)  # a limit far off would press the rounds onto a line
    low, high = (min(drawn) / 1.2, max(drawn) * 1.2) if wide else room(drawn, 0.12)
    ticks = tuple(t for t in (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0) if low <= t <= high) if wide else ()
    last = max(rows[-1][0], 1.0)
    said = ", ".join(
        f"{p.at.date().isoformat()} {drift_text(one.card.figure, p.drift, metric)}" for p in one.points[-6:]
    )
    title = at_place(FIGURES[one.card.figure][0], one.place)
    notes: tuple[tuple[float, float, str], ...] = ()
    if one.first_word is not None:
        at = one.points[one.first_word]
        notes = ((at.days, scaled(at.drift), "first word"),)
    return Picture(
        f"drift-{one.card.id}-{one.place.replace(':', '-')}",
        one.card.title,
        f"{title[0].upper()}{title[1:]} against the baseline: {said}",
        Axis("days since the baseline", 0.0, last * 1.06),
        Axis(
            "ratio to the baseline" if ratio else f"from the baseline [{unit.replace('delta_', '')}]",
            low,
            high,
            log=wide,
            ticks=ticks,
        ),
        (Series("", tuple(rows), "marked"),),
        tuple(limits),
        notes,
    )


def _wrap(text: str, indent: str = "  ") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent)
