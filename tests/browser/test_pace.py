"""How long people wait, and what it costs. Limits are loose, so that a busy machine does not fail; the numbers are printed (-rP).

The wait after an answer is measured in the page: from the tap to the frame that shows the receipt and the question after it.
"""

from __future__ import annotations

import statistics
import time
from pathlib import Path
from typing import Any

import pytest

HEADER = {"complaint": "high-head", "qualified": ["electrical", "refrigerant"],
          "machine": {"name": "Test unit", "refrigerant": "R-410A", "circuits": 1}}  # fmt: skip
COLD_S, AFTER_ANSWER_S, ANSWERS = 20.0, 3.0, 8
# taps "I cannot tell"; milliseconds until receipt and new heading stand in the page and were drawn
TAP = """(number) => new Promise((told) => {
  const receipt = `Answer ${number} saved`, heading = document.querySelector("[data-screen]");
  const screen = heading.dataset.screen, start = performance.now();
  const look = () => {
    const now = document.querySelector("[data-screen]");
    if (!document.querySelector(".receipt")?.textContent.startsWith(receipt) || now?.dataset.screen === screen) return;
    watch.disconnect();
    requestAnimationFrame(() => setTimeout(() => told(performance.now() - start)));
  };
  const watch = new MutationObserver(look);
  watch.observe(document.body, { subtree: true, childList: true, characterData: true, attributes: true });
  document.querySelector("[class*='-ans-'][class*='-cannot-tell'] button").click();
})"""


def cpu_s(process: int) -> float:
    """Processor time a process has used so far; 0 where the system does not tell."""
    try:
        used = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(used[11]) + int(used[12])) / 100


@pytest.mark.alone
def test_first_question_and_next_questions(server: Any, phone: Any) -> None:
    call = server.store.open_call(HEADER, by="Robin Example")
    server.kill()
    start = time.perf_counter()
    server.start()
    phone.page.goto(f"{server.address}/?call={call}")
    phone.page.wait_for_selector("[data-screen] h1", timeout=30_000)
    cold_s = time.perf_counter() - start
    phone.settle()
    used, waits = cpu_s(server.process.pid), []
    for number in range(1, ANSWERS + 1):
        waits.append(phone.page.evaluate(TAP, number) / 1000)
        phone.settle()
    median_s = statistics.median(waits)
    print(f"start of the app to the first question: {cold_s:.2f} s")
    print(f"after each answer: median {median_s:.3f} s, all {[round(w, 3) for w in waits]}")
    print(f"processor time of the app an answer: {(cpu_s(server.process.pid) - used) / ANSWERS * 1000:.0f} ms")
    assert cold_s < COLD_S and median_s < AFTER_ANSWER_S
