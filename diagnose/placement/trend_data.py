"""Baseline and trends as plain data for programs: SI numbers, words where people read them."""

from __future__ import annotations

from typing import Any

from diagnose.placement.baseline import Baseline
from diagnose.placement.rounds import Figure
from diagnose.placement.trend import Trends, WatchTrend
from diagnose.placement.trend_text import days_text, drift_text


def baseline_data(baseline: Baseline | None) -> dict[str, Any] | None:
    """A baseline; residual: logarithm of a ratio, or kelvin."""
    if baseline is None:
        return None
    return {
        "state": baseline.state,
        "reasons": list(baseline.reasons),
        "at": baseline.round.at.isoformat(timespec="minutes"),
        "shown_steady": baseline.shown_steady,
        "figures": [_figure(f) for f in baseline.round.figures.values()],
    }


def _figure(one: Figure) -> dict[str, Any]:
    return {
        "figure": one.figure,
        "place": one.place,
        "measured": round(one.measured, 6),
        "expected": None if one.expected is None else round(one.expected, 6),
        "residual": round(one.residual, 4),
    }


def trends_data(trends: Trends) -> dict[str, Any]:
    """All trends. level: word, rising, quiet, waiting; days: early, likely, late (null = not within sight)."""
    return {
        "baseline": baseline_data(trends.baseline),
        "rounds": len(trends.rounds),
        "skipped": trends.skipped,
        "lacks": list(trends.lacks),
        "watches": [_watch(w) for w in trends.watches],
    }


def _watch(one: WatchTrend) -> dict[str, Any]:
    days = one.days
    return {
        "id": one.card.id,
        "title": one.card.title,
        "place": one.place,
        "level": one.level,
        "goes_with": one.goes_with,
        "drift": round(one.drift, 4),
        "drift_text": drift_text(one.card.figure, one.drift),
        "first_word": None if one.first_word is None else one.points[one.first_word].at.isoformat(timespec="minutes"),
        "days": None
        if days is None
        else {
            "early": round(days.early, 2),
            "likely": None if days.likely is None else round(days.likely, 2),
            "late": None if days.late is None else round(days.late, 2),
            "until": days.until,
        },
        "days_text": days_text(days) if one.level == "word" else "",
        "action": one.card.action if one.level == "word" else "",
        "check": one.card.check,
        "points": [
            {
                "at": p.at.isoformat(timespec="minutes"),
                "drift": round(p.drift, 4),
                "sum_of_limit": round(p.step.total / p.step.limit, 3),
            }
            for p in one.points
        ],
    }
