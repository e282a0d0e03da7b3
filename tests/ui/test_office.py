"""Advice of one process for many people: each case once, one after the other."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

import pytest

from diagnose.case import Case
from ui import office


def test_ten_at_once_are_worked_out_one_after_the_other_and_each_case_once(
    new_process: Callable[[], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    at_work: list[str] = []
    most: list[int] = []
    done: list[str] = []

    def advise(case: Case) -> Any:
        at_work.append(case.words)
        time.sleep(0.01)
        most.append(len(at_work))
        at_work.remove(case.words)
        done.append(case.words)
        return case.words

    monkeypatch.setattr(office, "advise", advise)
    found: list[Any] = []
    cases = [Case(complaint="no-flow", words=str(number % 5)) for number in range(10)]
    threads = [
        threading.Thread(target=lambda case=case: found.append(office.advice_for(case, case.words))) for case in cases
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert max(most) == 1 and sorted(done) == ["0", "1", "2", "3", "4"]
    assert sorted(found) == sorted(2 * done)


def test_a_case_that_cannot_be_worked_out_holds_up_nobody(
    new_process: Callable[[], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(case: Case) -> Any:
        raise ValueError("no")

    case = Case(complaint="no-flow")
    monkeypatch.setattr(office, "advise", fails)
    with pytest.raises(ValueError, match="no"):
        office.advice_for(case, "x")
    monkeypatch.setattr(office, "advise", lambda case: "advice")
    assert office.advice_for(case, "x") == "advice"
