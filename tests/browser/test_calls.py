"""Calls in a real browser, on a phone and on a desktop: answered, reloaded, taken back, cut off, gone on with."""

from __future__ import annotations

import signal
from typing import Any

import pytest

HEADER = {"complaint": "no-flow", "qualified": ["electrical", "refrigerant"],
          "machine": {"name": "Test unit", "refrigerant": "R-410A", "circuits": 2}}  # fmt: skip


@pytest.fixture
def call(request: pytest.FixtureRequest, server: Any) -> str:
    """A call of its own for each test."""
    return str(server.store.open_call(HEADER, by="Robin Example", key=request.node.name[:150]))


def test_from_the_list_into_a_demonstration_call(device: Any) -> None:
    device.open()
    assert device.heading() == "Calls"
    device.tap("D-12 Heron")
    device.see("Why this")
    assert "call=demo-hot-deck" in device.page.url
    assert device.page.locator(".st-key-rail").inner_text().count("in 10") == 2
    assert device.page.locator("[data-testid=stSidebar]:visible").count() == 0


def test_answers_reload_undo(device: Any, call: str) -> None:
    device.open(f"?call={call}")
    for count in (1, 2, 3):
        assert device.answer(call) == count
    question = device.heading()
    device.page.reload()
    device.see("Answer 3 saved")
    assert device.heading() == question, "a reload in mid-call loses nothing"
    device.tap("Take back")
    device.see("Taken back")
    record = device.server.store.call(call)
    assert len(record.case.entries) == 2 and len(record.events) == 4
    assert device.heading() != ""


def choose(device: Any, label: str, text: str) -> None:
    """Choose from a list by typing, as one does on a phone."""
    box = device.page.get_by_role("combobox", name=label)
    box.click()
    box.press_sequentially(text, delay=15)
    option = device.page.locator("[role=option]", has_text=text).first
    option.wait_for()
    assert option.bounding_box()["height"] >= 44
    box.press("Enter")
    device.settle()


def test_a_comma_reading_is_read_echoed_and_kept(device: Any, call: str) -> None:
    device.open(f"?call={call}")
    device.page.locator("summary", has_text="Give a reading").click()
    choose(device, "What did you read?", "pump suction pressure")
    field = device.page.get_by_role("textbox", name="Pump suction pressure")
    field.fill("2,4 bar")
    field.press("Enter")
    device.see("2.4 bar gauge")
    device.tap("Keep this reading")
    device.see("Answer 1 saved")
    entry = device.server.store.case(call).entries[0]
    assert (entry.quantity, entry.value) == ("pump_suction", "2,4 bar")


def test_a_bad_reading_is_one_clear_line_and_nothing_is_stored(device: Any, call: str) -> None:
    device.open(f"?call={call}")
    device.page.locator("summary", has_text="Give a reading").click()
    choose(device, "What did you read?", "pump suction pressure")
    field = device.page.get_by_role("textbox", name="Pump suction pressure")
    field.fill("240 bar")
    # tapped straight from the field, without leaving it first
    device.page.get_by_role("button", name="Keep this reading").click()
    device.see("Nothing was stored")
    line = device.page.locator("[role=alert]").inner_text()
    assert "cannot be that" in line and "240 bar" in line and len(line.splitlines()) == 1
    assert device.server.store.call(call).revision == 0
    field.fill("24 psig")
    device.page.get_by_role("button", name="Keep this reading").click()
    device.see("Answer 1 saved")


def test_a_double_tap_is_one_answer(device: Any, call: str) -> None:
    device.open(f"?call={call}")
    if device.rows().count() == 0:
        device.page.get_by_role("button", name="I cannot tell").dblclick()
    else:
        device.rows().first.dblclick()
    device.see("Answer 1 saved")
    assert device.server.store.call(call).revision == 1


def test_the_server_is_killed_and_started_again_in_mid_call(device: Any, call: str) -> None:
    """The page stays open on the phone meanwhile; its next tap arrives, once, and nothing before it is lost."""
    device.open(f"?call={call}")
    device.answer(call)
    question = device.heading()
    device.server.kill()
    device.page.wait_for_selector("[data-testid=stApp][data-test-connection-state=CONNECTED]", state="detached")
    device.server.start()
    device.settle()
    assert device.heading() == question
    assert device.answer(call) == 2
    device.page.reload()
    device.see("Answer 2 saved")
    entries = device.server.store.case(call).entries
    assert len(entries) == 2


def test_two_devices_on_one_call(device: Any, call: str, browser: Any) -> None:
    """The second still shows the old question; its tap there stores nothing and it sees what was answered."""
    other = type(device)(browser, device.server, device.size)
    device.open(f"?call={call}")
    other.open(f"?call={call}")
    device.answer(call)
    stale = other.page.get_by_role("button", name="I cannot tell")
    stale.click()
    other.see("Answer 1 saved")
    assert device.server.store.call(call).revision == 1
    other.context.close()


def test_the_report_is_saved_and_opens_alone(device: Any, tmp_path: Any) -> None:
    device.open("?call=demo-cold-store")
    assert device.heading() == "Closed: cured and proved"
    assert "Confirmed: Balancing or site valve" in device.page.inner_text("[data-testid=stMain]")
    device.page.locator("summary", has_text="Report and close").click()
    with device.page.expect_download() as download:
        device.page.get_by_role("button", name="Download the report").click()
    file = tmp_path / download.value.suggested_filename
    download.value.save_as(file)
    assert file.suffix == ".html" and "demo" in file.name
    page = device.context.new_page()
    page.goto(file.as_uri())
    assert "Low suction" in page.inner_text("h1") or page.inner_text("h1")
    assert page.locator("text=Invented for demonstration").count() == 1
    page.close()
    # a page opened from a file is not one of the app's requests
    device.outside = [url for url in device.outside if not url.startswith("file:")]


def test_a_tap_that_does_not_come_through_says_so(phone: Any, call: str) -> None:
    """A link that stalls looks healthy; here the app stands still with the socket open. The tap is kept when it comes through."""
    phone.open(f"?call={call}")
    phone.page.evaluate("window.__chillerPatience = 300")
    phone.server.process.send_signal(signal.SIGSTOP)
    try:
        phone.page.get_by_role("button", name="I cannot tell").click()
        line = phone.page.locator(".late")
        line.wait_for(state="visible", timeout=20_000)
        assert "has not come through" in line.inner_text()
        assert line.locator("button").bounding_box()["height"] >= 64
    finally:
        phone.server.process.send_signal(signal.SIGCONT)
    phone.see("Answer 1 saved")
    line.wait_for(state="detached")
    assert phone.server.store.call(call).revision == 1
