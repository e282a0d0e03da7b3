"""Machines and their calls: list, search, one machine, files out and in."""

from __future__ import annotations

import json
import re
from typing import Any

from diagnose.store.transfer import call_as_data
from ui import office, worksheets


def test_the_fleet_lists_every_machine_and_leads_to_it(desk: Any) -> None:
    screen = desk(desk="machines")
    assert screen.heading == "Machines"
    for machine in office.records().machines():
        assert any(machine.card.name in label for label in screen.labels)
    screen.tap("Wren")
    assert screen.address("machine") == "demo-wren"
    assert "Wren" in screen.heading
    assert any("Strainer or low flow" in label for label in screen.labels)


def test_calls_are_found_by_words_and_opened(desk: Any) -> None:
    screen = desk(desk="machines")
    screen.do(screen.field("machines-find").set_value("wren rough"))
    assert "1 call with these words" in screen.text
    screen.tap("Strainer or low flow suspected;")
    assert screen.address("call") == "demo-weak-flow"
    other = desk(desk="machines")
    other.do(other.field("machines-find").set_value("no such word"))
    assert "No calls with these words" in other.text


def test_trouble_that_came_back_stands_at_the_top(desk: Any) -> None:
    store = office.store()
    desk(desk="machines")  # fills the store with the demonstration
    machine = store.machine("demo-wren")
    for number in range(2):
        store.open_call({"complaint": "strainer-suspected", "role": "technician", "machine": machine.card.model_dump(mode="json")},
                        by="Ann", key=f"again-{number}", machine_id="demo-wren")  # fmt: skip
    screen = desk(desk="machines", machine="demo-wren")
    assert "Trouble that came back:" in screen.text
    assert "called 3 times within 30 days" in screen.text


def test_nameplate_figures_and_files(desk: Any) -> None:
    screen = desk(desk="machines", machine="demo-wren")
    screen.open("machine-card-demo-wren")
    assert "Design flow" in screen.text
    assert "nothing read" in screen.text
    screen.open("machine-trends-demo-wren")
    assert "Nothing to compare yet" in screen.text
    screen.open("machine-files-demo-wren")
    assert len(screen.app.get("download_button")) == 2


def test_a_nameplate_is_changed_and_calls_keep_theirs(desk: Any) -> None:
    screen = desk(desk="machines", machine="demo-wren")
    before = office.store().machine("demo-wren")
    screen.open("machine-change-demo-wren")
    screen.tap("Keep this nameplate")
    assert "Nothing was changed." in screen.text
    screen.field("-design_flow").set_value("9999 V")
    screen.tap("Keep this nameplate")
    assert "Nothing was stored." in screen.text and "9999 V" in screen.text
    assert office.store().machine("demo-wren") == before
    screen.field("-design_flow").set_value("<b>151</b> gpm")
    screen.tap("Keep this nameplate")
    assert "Nothing was stored." in screen.text and "<b>151</b>" not in screen.text
    screen.field("-design_flow").set_value("151 gpm")
    screen.field("by").set_value("Robin Example")
    screen.tap("Keep this nameplate")
    after = office.store().machine("demo-wren")
    assert (after.version, after.changed_by, after.card.design_flow) == (2, "Robin Example", "151 gpm")
    assert after.card.model_copy(update={"design_flow": before.card.design_flow}) == before.card
    assert office.store().call("demo-weak-flow").case.machine.design_flow == before.card.design_flow
    assert "The nameplate was changed" in screen.text
    screen.open("machine-card-demo-wren")
    assert "changed by Robin Example" in screen.text and "151" in screen.text


def test_a_machine_that_is_not_there_is_said(desk: Any) -> None:
    screen = desk(desk="machines", machine="<b>none</b>")
    assert screen.heading == "No such machine"
    assert "<b>none</b>" not in screen.text
    screen.tap("All machines")
    assert screen.heading == "Machines"


def test_a_call_file_goes_out_and_comes_in_again_as_the_same_call(desk: Any) -> None:
    desk(desk="machines")
    store = office.store()
    data = json.loads(json.dumps(call_as_data(store.call("demo-weak-flow"))))
    assert store.import_call(json.dumps(data).encode(), by="Ann") == ("demo-weak-flow", 0)


HOSTILE = {
    "no json": b"<script>alert(1)</script>",
    "not text": bytes(range(256)) * 40,
    "deep": b"[" * 200_000,
    "a number without end": b'{"format": "chiller-call", "version": ' + b"9" * 100_000 + b"}",
    "another format": b'{"format": "<img src=x onerror=alert(1)>", "version": 1}',
    "too large": b'{"format": "chiller-call"' + b" " * 4_000_001 + b"}",
    "nothing": b"",
}


def test_hostile_files_are_refused_in_one_line_and_change_nothing(desk: Any) -> None:
    """Given on the screen, beyond the limit that the browser keeps, with a path for a name; nothing of them becomes markup."""
    screen = desk(desk="machines")
    before = [(line.id, line.revision) for line in office.store().calls()]
    for what, content in HOSTILE.items():
        screen.open("machines-import")
        screen.app.file_uploader[0].set_value(("../../etc/passwd.json", content, "application/json"))
        screen.app.run()
        screen.tap("Take this call in")
        said = re.findall(r"<p class='receipt' role='alert'>(.*?)</p>", screen.text)
        assert len(said) == 1 and len(said[0]) < 500 and "<img" not in said[0] and "<script" not in said[0], what
        assert "taken in" not in said[0] and "Traceback" not in screen.text, what
        assert [(line.id, line.revision) for line in office.store().calls()] == before, what


def test_calls_are_counted_by_machine_and_its_placements_lead_there(desk: Any) -> None:
    """A nameplate that was changed, or another machine of the same name, moves no call."""
    desk(desk="machines")
    store = office.store()
    card = store.machine("demo-wren").card
    store.change_machine(
        "demo-wren", card.model_copy(update={"name": "D-11 Wren, rebuilt"}), key="k", after_version=1, by="Ann"
    )
    store.open_call({"complaint": "no-flow", "machine": {"name": card.name}}, by="Ann", key="namesake")
    screen = desk(desk="machines")
    row = next(label for label in screen.labels if "D-11 Wren, rebuilt" in label)
    assert "1 call; 1 open" in row
    screen.tap("D-11 Wren, rebuilt")
    assert "No placement yet." in screen.text
    line = store.placements.placements("open")[0]
    stays = desk(desk="machines", machine=line.machine_id)
    assert "Placements" in stays.text and any("steps" in label and line.name in label for label in stays.labels)
    stays.tap(line.name)
    assert (stays.address("desk"), stays.address("placement")) == ("placement", line.id)


def test_a_blank_worksheet_is_there_for_a_machine_and_for_a_call(desk: Any, monkeypatch: Any) -> None:
    screen = desk(desk="machines", machine="demo-heron")
    screen.open("machine-worksheet-demo-heron")
    assert not screen.app.get("download_button")
    screen.do(screen.box("For which trouble?").select("high-head"))
    assert len(screen.app.get("download_button")) == 1
    given: list[tuple[str, tuple[str, ...]]] = []
    monkeypatch.setattr("ui.field.log.worksheet_row", lambda complaint, machine, key, *who: given.append(who))
    for address in ({}, {"desk": "telephone"}):
        desk(call="demo-hot-deck", **address).open("drawer-report")
    assert [role for role, _ in given] == ["technician", "customer"], "by ear nothing is shown for somebody trained"
    assert given[1][1] == ()


def test_the_worksheet_is_for_whoever_is_there(desk: Any) -> None:
    desk()
    card = office.store().machine("demo-heron").card
    trained = worksheets.page("high-head", card, "technician", ("refrigerant",)).decode()
    told = worksheets.page("high-head", card, "customer", ("refrigerant",)).decode()
    assert worksheets.circuits_of(card) == 2 and "circuit B" in trained
    assert "circuit B" not in told and len(told) < len(trained)
