"""Charts: what stands where, what is said in words, nothing of a name runs."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from diagnose.chart import Axis, Series, chart


def test_axis_shares_and_ticks() -> None:
    assert Axis("psi", 0, 10).share(2.5) == pytest.approx(0.25)
    assert Axis("psi", 0, 10).share(99) == 1.0
    assert Axis("ms", 1, 1000, log=True).share(10) == pytest.approx(1 / 3)
    assert Axis("ms", 1, 1000, log=True).marked() == (1.0, 10.0, 100.0, 1000.0)
    assert Axis("F", 31, 84).marked() == (40.0, 60.0, 80.0)


def test_points_stand_where_their_values_are() -> None:
    svg = chart(
        "drop over flow", Axis("gpm", 0, 100), Axis("psi", 0, 10), [Series("clean", ((0, 0), (50, 5), (100, 10)))]
    )
    root = ET.fromstring(svg)
    line = next(e for e in root if e.tag.endswith("polyline"))
    (x0, y0), (x1, y1), (x2, y2) = (tuple(map(float, p.split(","))) for p in line.get("points", "").split())
    assert x1 == pytest.approx((x0 + x2) / 2) and y1 == pytest.approx((y0 + y2) / 2)
    assert y2 < y0 and x2 > x0


def test_a_missing_value_breaks_the_line() -> None:
    svg = chart("", Axis("h", 0, 4), Axis("psi", 0, 10), [Series("", ((0, 1), (1, 2), (2, None), (3, 4), (4, 5)))])
    assert len(re.findall("<polyline", svg)) == 2


def test_names_are_text_and_the_title_says_it() -> None:
    name = "<script>alert(1)</script>"
    svg = chart(name, Axis(name, 0, 1), Axis("y", 0, 1), [Series(name, ((0, 0), (1, 1)))], notes=[(0.5, 0.5, name)])
    root = ET.fromstring(svg)
    assert not [e for e in root.iter() if e.tag.endswith("script")]
    assert next(e for e in root if e.tag.endswith("title")).text == name
