"""The training desk in a real browser at both sizes: a whole exercise, a server killed in the middle, and its fit."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest

from diagnose.training import keeping
from diagnose.training.keeping import Assignment
from diagnose.training.session import look, name_cause
from knowledge.load import load_knowledge
from tests.browser.test_fit import axe, too_small_or_too_wide

CODES: dict[str, str] = {}
SCREENS = ("choose", "work", "guided", "check", "stopped", "name", "debrief", "classes", "class", "write")


@pytest.fixture(scope="module", autouse=True)
def class_of_three(server: Any) -> dict[str, str]:
    """A class with one at work, one stopped, one finished; addresses of all screens."""
    store, base = server.store, load_knowledge()
    code = keeping.open_class(store, "Monday group", Assignment(scenario="slow-leak-on-b", seed=2), by="Trainer")
    at_work, stopped, done = (keeping.join(store, base, code, n, key=n) for n in ("Ann", "Bo", "Cy"))
    keeping.act(store, at_work, lambda s: look(s, base, "evaporator-drop-read"), key="1", after_revision=0)
    keeping.act(store, stopped, lambda s: look(s, base, "motor-insulation-test"), key="1", after_revision=0)
    keeping.act(store, done, lambda s: look(s, base, "refrigerant-readings", "circuit:B"), key="1", after_revision=0)
    keeping.act(store, done, lambda s: name_cause(s, base, ("drier-restricted",), "repair"), key="2", after_revision=1)
    guided = keeping.open_class(store, "Guided", Assignment(scenario="slow-leak-on-b", mode="guided"), by="Trainer")
    first = keeping.join(store, base, guided, "Di", key="Di")
    CODES.update(
        choose="?desk=exercise",
        work=f"?desk=exercise&train={at_work}",
        guided=f"?desk=exercise&train={first}",
        check=f"?desk=exercise&train={at_work}&check=refrigerant-readings",
        stopped=f"?desk=exercise&train={stopped}",
        name=f"?desk=exercise&train={at_work}&name=1",
        debrief=f"?desk=exercise&train={done}",
        classes="?desk=training",
        write="?desk=training&write=1",
    )
    CODES["class"] = f"?desk=training&class={code}"
    CODES["code"] = code
    return CODES


def test_a_whole_exercise(device: Any) -> None:
    """Join by the code, two looks, reload, name it, read the debrief; nothing is given away before."""
    base = load_knowledge()
    title = base.causes["refrigerant-leak"].title
    device.open("?desk=exercise")
    device.page.get_by_role("textbox", name="Your name").fill(f"Robin {device.size}")
    device.page.get_by_role("textbox", name="Code from your trainer").fill(CODES["code"].lower())
    device.page.keyboard.press("Tab")
    device.settle()
    device.tap("Join")
    device.see("What do you look at next?")
    train = device.page.url.split("train=")[1].split("&")[0]
    for number, check in enumerate(("oil-stain-look", "low-pressure-trip-look"), 1):
        name = base.checks[check].title
        device.page.get_by_role("textbox", name="Find a check").fill(name)
        device.page.keyboard.press("Tab")
        device.settle()
        device.tap(name)
        device.see("Do it: circuit B")
        device.tap("Do it: circuit B")
        device.see(f"Step {number} saved")
        assert title not in device.page.content()
    device.page.reload()
    device.see("Step 2 saved")
    device.tap("Name the cause and end")
    device.see("What is it?")
    box = device.page.get_by_role("combobox")
    box.click()
    box.press_sequentially(title[:24], delay=15)
    device.page.locator("[role=option]", has_text=title).first.click()
    device.settle()
    device.page.keyboard.press("Escape")
    device.page.locator("[data-screen] h1").click()
    device.settle()
    device.tap("Do what cures it")
    device.see("Belief over the minutes")
    assert device.heading().endswith("of 100") and device.page.locator("svg[role=img]").count() == 1
    kept = keeping.kept(device.server.store, train)
    assert kept.session.named is not None and kept.session.named.causes == ("refrigerant-leak",) and kept.revision == 3


def test_a_server_killed_in_the_middle_loses_nothing(phone: Any, server: Any) -> None:
    """After the restart the same address shows the same step, and the work goes on."""
    phone.open(CODES["work"])
    phone.see("Step 1 saved")
    server.kill()
    server.start()
    phone.open(CODES["work"])
    phone.see("Step 1 saved")
    phone.page.locator("summary", has_text="Pump").first.click()
    phone.settle()
    phone.tap(load_knowledge().checks["pump-look"].title)
    phone.tap("Do it")
    phone.see("Step 2 saved")


def test_the_trainer_sees_the_class_and_takes_its_csv(desktop: Any, tmp_path: Path) -> None:
    """Who is where, each debrief by one tap, one row a trainee."""
    desktop.open(CODES["class"])
    desktop.see("Ann")
    with desktop.page.expect_download() as download:
        desktop.page.get_by_role("button", name="Overview as CSV").click()
    download.value.save_as(tmp_path / "class.csv")
    rows = list(csv.DictReader((tmp_path / "class.csv").open(encoding="utf-8")))
    assert {"Ann", "Bo", "Cy"} <= {r["trainee"] for r in rows}
    desktop.page.get_by_role("button", name="Cy").click()
    desktop.see("What was there")


@pytest.mark.parametrize("screen", SCREENS)
def test_fit_for_the_phone(phone: Any, screen: str) -> None:
    """No serious finding with the contrast for sunlight; at 320 px nothing overflows, 44 px for anything, answers 64 px."""
    phone.open(CODES[screen])
    assert axe(phone, contrast_7=True) == []
    assert too_small_or_too_wide(phone) == []
    assert all(r.bounding_box()["height"] >= 64 for r in phone.rows().all() if r.is_visible())


@pytest.mark.parametrize("screen", ["guided", "debrief", "class"])
def test_no_serious_finding_of_axe_on_a_desktop(desktop: Any, screen: str) -> None:
    """Where the page is laid out otherwise."""
    desktop.open(CODES[screen])
    assert axe(desktop) == []
