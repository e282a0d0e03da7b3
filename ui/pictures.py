"""Pictures of a call to be touched: a finger or pointer on a mark shows its values. Below each the same in words."""

from __future__ import annotations

from typing import Any

import streamlit as st

from diagnose.chart import GRID, INK, PAPER, STYLES, Axis, Series, beside
from diagnose.pictures import Picture, pictures_of
from diagnose.pictures.course import course
from ui import office
from ui.field.acts import Desk
from ui.parts import html, t

HIGH = 320


def draw(desk: Desk) -> None:
    """All pictures the call allows: how belief went, the chain of the leading suspect, then what was read."""
    went = course([office.advise_prefix(desk.call, n) for n in range(len(desk.call.case.entries) + 1)])
    found = [went] if went is not None else []
    found += pictures_of(desk.call.case, desk.knowledge)
    lead = desk.advice.suspects[0] if desk.advice.suspects else None
    for picture in found:
        show(picture, desk.key(f"picture-{picture.name}"))
    if lead is not None and len(lead.chain) > 1:
        html(
            f"<h3>How it would come about</h3><ol class='chain'>{''.join(f'<li>{t(one)}</li>' for one in lead.chain)}</ol>"
        )
    if not found:
        html("<p>Nothing to draw yet: pictures need readings.</p>")


def show(picture: Picture, key: str) -> None:
    """One picture with its title and words."""
    html(f"<h3>{t(picture.title)}</h3>")
    st.vega_lite_chart(vega(picture), theme=None, width="stretch", key=key)
    html(f"<p class='picture-words'>{t(picture.words)}</p>")


def _axis(axis: Axis) -> dict[str, Any]:
    scale: dict[str, Any] = {"domain": [axis.low, axis.high], "nice": False, "zero": False}
    if axis.log:
        scale["type"] = "log"
    marked = axis.marked()
    out: dict[str, Any] = {"values": list(marked), "gridColor": GRID, "title": axis.label or None}
    if axis.names:
        table = dict(zip((f"{m:g}" for m in marked), axis.names, strict=True))
        out["labelExpr"] = " : ".join(f"datum.value == {m} ? '{name}'" for m, name in table.items()) + " : ''"
    return {"type": "quantitative", "scale": scale, "axis": out}


def _rows(series: Series) -> list[list[dict[str, Any]]]:
    """Points as rows, cut where a value is missing."""
    runs: list[list[dict[str, Any]]] = [[]]
    for x, y in series.points:
        if y is None:
            runs.append([])
        else:
            runs[-1].append({"x": x, "y": y, "name": series.name, "order": len(runs[-1])})
    return [run for run in runs if run]


def _layers(picture: Picture) -> list[dict[str, Any]]:
    layers: list[dict[str, Any]] = []
    x, y = _axis(picture.x), _axis(picture.y)
    tips = [
        {"field": "name", "title": "what"},
        {"field": "x", "title": picture.x.label or "number", "format": ".4g"},
        {"field": "y", "title": picture.y.label, "format": ".4g"},
    ]
    styles = [STYLES[(n if s.style is None else s.style) % len(STYLES)] for n, s in enumerate(picture.series)]
    named = {s.name: colour for s, (colour, _) in zip(picture.series, styles, strict=True) if s.name}
    scale = {"domain": list(named), "range": list(named.values())}
    told = {
        "orient": "bottom",
        "direction": "vertical",
        "title": None,
        "labelLimit": 0,
        "labelFontSize": 13,
        "symbolStrokeWidth": 3,
    }
    for one, (colour, dash) in zip(picture.series, styles, strict=True):
        dashes = [int(d) for d in dash.split()] or [1, 0]
        marks: dict[str, dict[str, Any]] = {
            "line": {"type": "line", "strokeDash": dashes, "strokeWidth": 3},
            "stairs": {"type": "line", "strokeDash": dashes, "strokeWidth": 3, "interpolate": "step-after"},
            "marked": {"type": "line", "strokeDash": dashes, "strokeWidth": 3, "point": {"size": 90, "filled": True}},
            "points": {"type": "point", "filled": True, "size": 160},
            "bars": {"type": "bar", "size": 60},
        }
        encoding: dict[str, Any] = {"x": {"field": "x", **x}, "y": {"field": "y", **y}, "tooltip": tips}
        if one.name:
            encoding["color"] = {"field": "name", "type": "nominal", "scale": scale, "legend": told}
        if one.shape != "bars":
            encoding["order"] = {"field": "order"}
        for run in _rows(one):
            mark = {**marks[one.shape], "clip": True, **({} if one.name else {"color": colour})}
            layers.append({"data": {"values": run}, "mark": mark, "encoding": encoding})
    for name, level in picture.limits:
        values = {"values": [{"y": level, "name": name, "x": picture.x.high}]}
        layers.append({"data": values, "mark": {"type": "rule", "color": INK}, "encoding": {"y": {"field": "y", **y}}})
        text = {"type": "text", "align": "right", "dy": -8, "color": INK, "fontSize": 13}
        layers.append({"data": values, "mark": text,
                       "encoding": {"x": {"field": "x", **x}, "y": {"field": "y", **y}, "text": {"field": "name"}}})  # fmt: skip
    for px, py, said in picture.notes:
        left = beside(picture.x, px) == "start"
        text = {"type": "text", "align": "left" if left else "right", "dx": 8 if left else -8, "dy": -9, "color": INK,
                "fontSize": 13}  # fmt: skip
        layers.append({"data": {"values": [{"x": px, "y": py, "name": said}]}, "mark": text,
                       "encoding": {"x": {"field": "x", **x}, "y": {"field": "y", **y}, "text": {"field": "name"}}})  # fmt: skip
    return layers


def vega(picture: Picture) -> dict[str, Any]:
    """The picture as a chart that answers to a pointer; drawn by what the app already ships, nothing is fetched."""
    return {
        "description": picture.words,
        "height": HIGH + (80 if picture.square else 0),
        "background": PAPER,
        "layer": _layers(picture),
        "config": {
            "axis": {
                "labelFontSize": 13,
                "titleFontSize": 13,
                "labelColor": INK,
                "titleColor": INK,
                "titleFontWeight": "normal",
            },
            "view": {"stroke": None},
        },
    }
