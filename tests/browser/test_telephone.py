"""The telephone desk in a real browser: a call from its first question to handing over, in both sizes."""

from __future__ import annotations

from typing import Any

import pytest

HEADER = {"complaint": "breaker-open", "words": "the breaker went", "role": "customer",
          "machine": {"name": "Hall unit", "refrigerant": "R-410A", "circuits": 1}}  # fmt: skip


@pytest.fixture
def call(request: pytest.FixtureRequest, server: Any) -> str:
    return str(server.store.open_call(HEADER, by="Robin Example", key=request.node.name[:150]))


def rows(device: Any) -> Any:
    return device.page.locator("[class*=st-key-rows-answers] button")


def seconds_left(device: Any) -> int:
    """What the countdown shows."""
    minutes, seconds = device.page.locator(".st-key-rail .left b").inner_text().split(":")
    return int(minutes) * 60 + int(seconds)


def test_a_call_in_spanish_with_a_timer_to_the_stop_and_on_to_the_field_desk(device: Any, call: str) -> None:
    address = f"?desk=telephone&call={call}"
    device.open(address)
    device.tap("Español")
    device.see("In English:")
    assert device.page.get_attribute("[data-screen] h1", "lang") == "es"
    device.page.locator("summary", has_text="Wait with them").click()
    device.settle()
    device.tap("3 min, from now")
    device.see("of 3 min left")
    before = seconds_left(device)
    device.page.wait_for_timeout(1100)
    device.page.reload()
    device.page.wait_for_selector("[data-screen] h1")
    device.see("of 3 min left")
    assert 120 < seconds_left(device) < before, "it went on while the page was away"
    assert "lang=es" in device.page.url
    question = device.heading()
    device.page.locator("[class*='-ans-danger-signs-ask-'][class*='-burnt-smell'] button").click()
    device.see("Stop. Read this out now")
    assert rows(device).count() == 0 and device.page.locator(".say.halt").count() == 3
    device.tap("Take back")
    device.see("Taken back")
    assert device.heading() == question
    device.page.locator("[class*='-ans-danger-signs-ask-'][class*='-burnt-smell'] button").click()
    device.see("Stop. Read this out now")
    device.tap("They are safe: hand this call over")
    device.see("What is known")
    device.page.get_by_role("textbox", name="Technician's name").fill("Kim Sample")
    device.page.locator("label", has_text="Qualified for electrical work").click()
    device.settle()
    device.tap("They are at the machine: go on at the field desk")
    device.see("What it may be")
    case = device.server.store.case(call)
    assert (case.role, case.qualified) == ("technician", ("electrical",))
    assert "desk=" not in device.page.url


def test_answers_by_number_keys_only_while_they_are_switched_on(desktop: Any, call: str) -> None:
    desktop.open(f"?desk=telephone&call={call}")
    desktop.page.keyboard.press("1")
    desktop.settle()
    assert desktop.server.store.call(call).revision == 0, "off until somebody switches them on"
    desktop.page.locator(".st-key-number-keys label").click()
    desktop.settle()
    desktop.page.locator("[data-screen] h1").click()
    desktop.page.keyboard.press("1")
    desktop.see("Answer 1 saved")
    desktop.page.keyboard.press("0")
    desktop.see("Answer 2 saved")
    assert desktop.server.store.case(call).entries[1].answer == "cannot-tell"


def test_two_calls_at_once(phone: Any, call: str) -> None:
    other = phone.server.store.open_call({**HEADER, "machine": {"name": "Bakery unit"}}, by="Robin Example")
    phone.open("?desk=telephone")
    phone.page.locator(f"[class*='st-key-open-{call}'] button").click()  # by its key: other calls bear the same name
    phone.drawn(call)
    first = phone.heading()
    rows(phone).first.click()
    phone.see("Answer 1 saved")
    assert phone.page.get_by_text("Bakery unit").count() >= 1
    phone.page.locator(f".st-key-chip-{other} button").click()
    phone.drawn(other)
    assert phone.heading() == first and phone.page.locator(".receipt").count() == 0
    phone.page.locator(f".st-key-chip-{call} button").click()
    phone.drawn(call)
    phone.see("Answer 1 saved")
