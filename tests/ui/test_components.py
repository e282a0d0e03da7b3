"""Pieces with a script in the browser: drawn whatever the id of the call looks like, without loading what no page needs."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest
from streamlit import dataframe_util

from ui import office
from ui.components import safe_key

Draw = Callable[..., Any]
CALL = "demo-weak-flow"
# an id of a call is random text: letters, digits, hyphens and underscores, also side by side and at the ends
IDS = ("Hc9XPdTilwU5iZ_cq__0jQ", "___-a--b___", "-__-")
HEADER = {"complaint": "low-suction", "role": "technician", "qualified": ["electrical", "refrigerant", "height"],
          "machine": {"name": "Unit 7", "refrigerant": "R-410A", "circuits": 1}}  # fmt: skip


def with_numbers(call: str) -> str:
    """A question of the call that asks for numbers, as its address names it."""
    return next(f"{step.id}@{step.place}" for step in office.advice_of(office.records().call(call)).next if step.reads)


def pieces(app: Any, part: str) -> list[str]:
    return [c.proto.id for c in app.app.get("bidi_component") if part in c.proto.id]


@pytest.mark.parametrize("call", IDS)
def test_a_question_with_numbers_and_a_timer_is_drawn_for_every_id(desk: Draw, call: str) -> None:
    office.open_records()
    office.records().open_call(HEADER, by="Ann", call_id=call)
    app = desk(call=call, step=with_numbers(call))
    assert pieces(app, "-steps") and "I cannot tell" in app.labels
    app.open("drawer-timer")
    app.tap("3 min, from now")
    assert pieces(app, "wait-") and any("drawer-report" in box.proto.id for box in app.app.expander), "drawn to its end"


@pytest.mark.parametrize("call", IDS)
def test_the_telephone_desk_is_drawn_for_every_id(desk: Draw, call: str) -> None:
    office.open_records()
    office.records().open_call({**HEADER, "role": "customer", "qualified": []}, by="Ann", call_id=call)
    app = desk(desk="telephone", call=call)
    assert pieces(app, "limit-") and app.answers


def test_keys_stay_different() -> None:
    keys = ["a_b", "a__b", "a___b", "a-b", "a_-b", "_a_b", "a_b_", "ab"]
    assert len({safe_key(key) for key in keys}) == len(keys)
    assert all("__" not in f"{safe_key(key)}_" for key in keys)


def test_a_question_with_numbers_loads_no_table_library(desk: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    office.open_records()
    looked: list[Any] = []
    monkeypatch.setattr(dataframe_util, "determine_data_format", looked.append)
    app = desk(call=CALL, step=with_numbers(CALL))
    assert pieces(app, "-steps") and looked == []


def test_what_fails_reaches_the_log_of_the_app() -> None:
    """A library of the rules makes itself the listener to everything, unless somebody listens before it is loaded."""
    program = (
        "import logging; from ui.__main__ import main; main(['--store', 'mysql://x']); import diagnose.rules_engine; "
        "logging.getLogger('ui.app').error('a screen could not be drawn')"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=False)
    assert "ERROR:ui.app:a screen could not be drawn" in done.stderr
