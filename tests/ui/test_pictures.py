"""Pictures to be touched: the same points as the still ones, and nothing that a name could break."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from diagnose.chart import Axis, Series
from diagnose.pictures import Picture, pictures_of
from diagnose.replay import read_call
from knowledge.load import load_knowledge
from ui.pictures import vega

CALLS = Path(__file__).parents[1] / "calls"


def rows(spec: dict[str, Any]) -> list[dict[str, Any]]:
    return [row for layer in spec["layer"] for row in layer["data"]["values"] if "order" in row]


def test_every_point_is_there_and_the_words_go_along() -> None:
    base = load_knowledge()
    for name in ("call-01", "call-04", "call-13"):
        for picture in pictures_of(read_call(CALLS / f"{name}.yaml", base).case, base):
            spec = json.loads(json.dumps(vega(picture)))
            want = [[x, y] for s in picture.series for x, y in s.points if y is not None]
            assert [[row["x"], row["y"]] for row in rows(spec)] == want
            assert spec["description"] == picture.words
            assert "http" not in json.dumps(spec)


def test_bars_have_the_names_of_their_phases() -> None:
    picture = Picture("b", "t", "w", Axis("", 0.4, 2.6, ticks=(1, 2), names=("L1", "L2")), Axis("[V]", 0, 500),
                      (Series("", ((1, 460.0), (2, 455.0)), "bars"),))  # fmt: skip
    axis = vega(picture)["layer"][0]["encoding"]["x"]["axis"]
    assert axis["values"] == [1, 2]
    assert axis["labelExpr"] == "datum.value == 1 ? 'L1' : datum.value == 2 ? 'L2' : ''"


def test_a_missing_value_breaks_the_line() -> None:
    picture = Picture(
        "b", "t", "w", Axis("h", 0, 4), Axis("psi", 0, 9), (Series("s", ((0, 1.0), (1, None), (2, 3.0))),)
    )
    assert [len(layer["data"]["values"]) for layer in vega(picture)["layer"]] == [1, 1]
