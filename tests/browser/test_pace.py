"""How long people wait. Limits are loose, so that a busy machine does not fail; the numbers are printed (-rP)."""

from __future__ import annotations

import statistics
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

HEADER = {"complaint": "high-head", "qualified": ["electrical", "refrigerant"],
          "machine": {"name": "Test unit", "refrigerant": "R-410A", "circuits": 1}}  # fmt: skip
COLD_S, AFTER_ANSWER_S = 8.0, 1.0


@pytest.fixture
def call(server: Any) -> Iterator[str]:
    yield str(server.store.open_call(HEADER, by="Robin Example"))


@pytest.mark.alone
def test_first_question_and_next_questions(server: Any, phone: Any, call: str, tmp_path: Path) -> None:
    server.kill()
    start = time.perf_counter()
    server.start()
    phone.page.goto(f"{server.address}/?call={call}")
    phone.page.wait_for_selector("[data-screen] h1", timeout=30_000)
    cold_s = time.perf_counter() - start
    phone.settle()
    waits = []
    for number in range(1, 9):
        row = phone.page.get_by_role("button", name="I cannot tell")
        start = time.perf_counter()
        row.click()
        phone.page.get_by_text(f"Answer {number} saved").first.wait_for(timeout=20_000)
        waits.append(time.perf_counter() - start)
        phone.settle()
    median_s = statistics.median(waits)
    print(f"start of the app to the first question: {cold_s:.2f} s")
    print(f"after each answer: median {median_s:.3f} s, all {[round(w, 3) for w in waits]}")
    assert cold_s < COLD_S and median_s < AFTER_ANSWER_S
