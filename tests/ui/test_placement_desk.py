"""The placement desk without a browser: what is stored, what is shown to whom, a fault that turns into a call and back."""

from __future__ import annotations

import json
from collections.abc import Callable
from io import BytesIO
from typing import Any

import pytest
from PIL import Image

from diagnose.case import Machine
from diagnose.placement.baseline import baseline_of
from diagnose.placement.keeping import Kept, kept, open_placement
from diagnose.placement.now import current
from diagnose.placement.page import placement_page
from diagnose.placement.plan import outlook
from diagnose.placement.record import Done, Placement
from diagnose.store import Person
from diagnose.store.placement_file import placement_as_data
from shared.errors import ReadingError
from ui import office, signin
from ui.placement import photos, record
from ui.placement.acts import Desk

Draw = Callable[..., Any]
WHERE, AT = "test-placement", "2026-06-01T10:00:00+00:00"
MACHINE = Machine(
    name="T-7 Curlew (invented)", refrigerant="R-410A", circuits=1, voltage="460 V", frequency="60 Hz", fluid="propylene-glycol",
    glycol_percent="30 %", capacity="140 kW", design_flow="96 gpm", design_drop="6.5 psi", set_point="44 F", pump_in_use="onboard",
)  # fmt: skip
STAY = "demo-ice-hall"
EVERYTHING = ("electrical", "refrigerant", "height")


@pytest.fixture
def place(desk: Draw) -> Callable[..., Any]:
    """Opens a placement and draws it: place(qualified=..., after=step before which everything is done)."""

    def draw(qualified: tuple[str, ...] = EVERYTHING, upto: str = "", **address: str) -> Any:
        office.open_records()
        placement = Placement(name="North lot (invented)", machine=MACHINE, qualified=qualified)  # type: ignore[arg-type]
        open_placement(office.records(), placement, by="Ann", key="once", placement_id=WHERE)
        if upto:
            walk(upto)
        return desk(desk="placement", placement=WHERE, **address)

    return draw


def now() -> Kept:
    return kept(office.records(), WHERE)


def walk(upto: str) -> None:
    """Everything before a step is done, taken in at once as from a file."""
    there, base = now(), office.knowledge()
    placement, events = there.placement, []
    while (due := current(outlook(placement, base), placement, base)) is not None and due.card.id != upto:
        events.append({"kind": "done", "key": f"w{len(events)}", "body": {"step": due.card.id}, "by": "Ann", "at": AT})
        placement = placement.model_copy(update={"entries": (*placement.entries, Done(step=due.card.id))})
        assert len(events) < 60
    data = placement_as_data(there.record, ()) | {"events": events}
    assert office.records().placements.take_in(json.dumps(data).encode(), by="Ann") == (WHERE, len(events))


def fill(screen: Any, part: str, text: str) -> None:
    screen.field(part).set_value(text)


def answer(screen: Any, outcome: str) -> None:
    """Tap one of the answers of the step."""
    screen.press(next(b for b in screen.answers if b.key.endswith(f"-{outcome}")))


def note(screen: Any, text: str) -> None:
    next(a for a in screen.app.text_area if "-note-" in a.key).set_value(text)


def test_an_answer_is_kept_receipted_and_the_next_step_comes(place: Draw) -> None:
    screen = place()
    assert screen.heading == "Photograph the nameplate and the whole machine"
    for part in ("Why:", "Good looks like this:", "Stop if:"):
        assert part in screen.text
    answer(screen, "done")
    assert screen.heading == "Look for damage before use"
    assert (
        "Entry 1 saved" in screen.text
        and "Photograph the nameplate and the whole machine: done, and good" in screen.text
    )
    (event,) = now().record.events
    assert (event.kind, event.body["step"], event.by) == ("done", "delivery-photo-plate", "Ann")


def test_a_reload_and_another_device_find_it_and_an_old_screen_stores_nothing(place: Draw, desk: Draw) -> None:
    first = place()
    second = desk(desk="placement", placement=WHERE)
    answer(first, "done")
    answer(second, "done")
    assert now().revision == 1 and "Entry 1 saved" in second.text
    assert desk(desk="placement", placement=WHERE).heading == first.heading
    first.tap("Take back")
    assert first.heading == "Photograph the nameplate and the whole machine" and "Taken back" in first.text
    assert not now().placement.entries and [e.kind for e in now().record.events] == ["done", "undo"]


def test_readings_and_figures_go_through_our_own_parser(place: Draw) -> None:
    screen = place(upto="place-weather")
    fill(screen, "-lowest_air", "cold")
    fill(screen, "-highest_air", "35 C")
    answer(screen, "done")
    assert "Nothing was stored." in screen.text and "still to be told: height of the site" in screen.text
    fill(screen, "-altitude", "120 m")
    answer(screen, "done")
    assert "Nothing was stored." in screen.text and "cold" in screen.text
    fill(screen, "-lowest_air", "-12 C")
    answer(screen, "done")
    assert now().placement.entries[-1].site == {"lowest_air": "-12 C", "highest_air": "35 C", "altitude": "120 m"}


def test_amounts_are_worked_out_while_somebody_types(place: Draw) -> None:
    """Mass balance of the glycol: 500 gal from 30 to 40 %, 500 x (40 - 30) / (100 - 40) = 83.3 gal on top."""
    screen = place(upto="fluid-glycol")
    fill(screen, "-loop_volume", "500 gal")
    fill(screen, "-wanted_glycol", "40 %")
    screen.app.run()
    assert "83.33 gal" in screen.text and "mass balance of the glycol" in screen.text
    assert now().placement.entries[-1].step != "fluid-glycol"


def test_leaving_out_needs_a_reason_and_is_kept_with_it(place: Draw) -> None:
    screen = place(upto="fluid-strainer")
    answer(screen, "left")
    assert "needs a reason" in screen.text and now().placement.entries[-1].step == "fluid-fill"
    note(screen, "done at the yard")
    answer(screen, "left")
    assert (now().placement.entries[-1].outcome, now().placement.entries[-1].note) == ("left", "done at the yard")


def test_nobody_is_shown_how_a_step_is_done_that_is_not_theirs(place: Draw, desk: Draw) -> None:
    place(qualified=(), upto="supply-connect")
    for step in office.knowledge().steps.values():
        if not step.needs_qualified:
            continue
        screen = desk(desk="placement", placement=WHERE, step=step.id, anew="1")
        text = " ".join(screen.text.split())
        for part in (step.do, step.good, step.why):
            assert " ".join(part.split())[:40] not in text, step.id
        assert not [b for b in screen.answers if b.key.endswith(("-done", "-not-right"))], step.id
    screen.open("drawer-who")
    for box in screen.app.checkbox:
        if "-q-" in box.key:
            box.set_value(True)
    screen.tap("This is who is here now")
    assert set(now().placement.qualified) == set(EVERYTHING)
    shown = desk(desk="placement", placement=WHERE, step="supply-connect")
    assert "Connect earth first" in shown.text


def test_not_right_opens_a_call_and_the_placement_goes_on_when_it_is_closed(place: Draw, desk: Draw) -> None:
    screen = place(upto="place-air")
    note(screen, "wall at one metre")
    answer(screen, "not-right")
    assert "Trouble call open: High head" in screen.text
    (trouble,) = now().troubles
    call = office.records().call(trouble.call)
    assert call.case.complaint == "high-head" and "wall at one metre" in " ".join(e.note for e in call.case.entries)
    assert not desk(desk="placement", placement=WHERE, step="place-air").answers
    screen.tap("Work on this call at the field desk")
    assert screen.address("call") == call.id
    screen.tap("Back to the placement: North lot")
    assert screen.address("placement") == WHERE
    assert screen.heading == "Nothing hot blows at it"  # the same stage goes on meanwhile
    office.records().close_call(call.id, "cured", key="c", after_revision=call.revision, by="Ann")
    screen = desk(desk="placement", placement=WHERE)
    assert screen.heading == "Air in and out is free" and "Its trouble call is closed" in screen.text
    answer(screen, "done")
    assert "Trouble call open" not in screen.text and now().troubles == (trouble,)


def test_a_step_that_opens_no_call_needs_words_when_it_is_not_right(place: Draw) -> None:
    screen = place(upto="place-ground")
    answer(screen, "not-right")
    assert "write in the note what is not right" in screen.text
    note(screen, "soft ground")
    answer(screen, "not-right")
    assert now().placement.entries[-1].outcome == "not-right" and not now().troubles


def test_a_delay_is_counted_and_found_after_a_reload(place: Draw, desk: Draw) -> None:
    screen = place(upto="start-cooling")
    screen.tap("Start the countdown: 6 min")
    (wait,) = now().countdowns(office.now())
    assert wait.step == "start-cooling" and 350 < wait.left_s <= 360
    desk(desk="placement", placement=WHERE)
    assert not tuple(now().countdowns(office.now().replace(year=office.now().year + 1)))


def test_a_drained_machine_is_not_started_without_the_fill_steps(place: Draw, desk: Draw) -> None:
    screen = place(upto="stay-round")
    screen.tap("Begin the return of this machine")
    for _ in range(5):
        answer(screen, "done")
    assert screen.heading == "Returned"
    waiting = desk(desk="placement", placement=WHERE, step="start-pump")
    assert "This has to wait." in waiting.text and "loop: filled (now drained)" in waiting.text
    assert not waiting.answers
    waiting = desk(desk="placement", placement=WHERE)
    waiting.tap("End this placement")
    assert waiting.heading == "This placement has ended" and not now().open


def test_the_report_tells_the_whole_placement(place: Draw) -> None:
    screen = place(upto="place-air")
    note(screen, "<script>alert(1)</script> wall")
    answer(screen, "not-right")
    store = office.records()
    (trouble,) = now().troubles
    text = placement_page(now(), office.knowledge(), calls=[(trouble, store.call(trouble.call))])
    for part in ("Placement: North lot", "Air in and out is free", "Trouble calls", "High head", "Not done", "Ann"):
        assert part in text
    assert "<script>alert" not in text and "&lt;script&gt;" in text


def test_a_new_placement_is_opened_once(desk: Draw) -> None:
    office.open_records()
    screen = desk(desk="placement", new="1", machine="demo-wren")
    screen.field("new-p-name").set_value("Harbour (invented)")
    screen.tap("Begin the placement")
    line = next(p for p in office.records().placements.placements() if p.id != STAY)
    assert (line.name, line.machine_id, line.invented) == ("Harbour (invented)", "demo-wren", True)
    assert screen.heading == "Photograph the nameplate and the whole machine"
    assert "Harbour" in " ".join(desk(desk="placement").labels)


def test_the_plate_is_typed_in_when_it_is_read_and_steps_follow_it(place: Draw) -> None:
    screen = place()
    assert outlook(now().placement, office.knowledge()).of("fluid-valves-site") is None
    screen.open("drawer-plate")
    screen.field("plate-design_flow").set_value("much")
    screen.tap("This is the machine here")
    assert "Nothing was stored." in screen.text and now().revision == 0
    screen.field("plate-design_flow").set_value("6,1 L/s")
    group = next(g for g in screen.app.get("button_group") if "plate-pump_in_use" in g.key)
    group.set_value("site")
    screen.tap("This is the machine here")
    machine = now().placement.machine
    assert (machine.design_flow, machine.pump_in_use, machine.refrigerant) == ("6,1 L/s", "site", "R-410A")
    assert outlook(now().placement, office.knowledge()).of("fluid-valves-site") is not None


def test_photos_are_made_small_and_lose_where_they_were_taken() -> None:
    out, exif = BytesIO(), Image.Exif()
    exif[0x0132], exif[0x0112] = "2026:06:01 10:00:00", 6  # when, and turned by a quarter
    Image.new("RGB", (3000, 1000), (9, 90, 200)).save(out, "JPEG", exif=exif)
    name, content = photos.small("dent.jpg", out.getvalue())
    made = Image.open(BytesIO(content))
    assert (name, made.size, made.format, dict(made.getexif())) == ("dent.jpg", (533, 1600), "JPEG", {})
    for bad in (b"", b"<svg/>", out.getvalue()[:200]):
        with pytest.raises(ReadingError, match="photo"):
            photos.small("x", bad)


def test_who_may_open_the_desk() -> None:
    for role, opens in (("technician", True), ("trainer", True), ("keeper", True), ("telephone", False)):
        assert signin.opens(Person("x", "X", role), "placement") is opens  # type: ignore[arg-type]


HEALTHY = {
    "entering_fluid": "54.0 F", "leaving_fluid": "43.4 F", "evaporator_drop": "9.1 psi", "strainer_drop": "2.0 psi",
    "entering_air": "86.0 F", "suction_pressure": "107.4 psig", "liquid_pressure": "377.9 psig", "suction_line": "44.8 F",
    "liquid_line": "96.8 F",
}  # fmt: skip
# the simulated machine of the same card with six tenths of a leak
LEAKING = HEALTHY | {
    "leaving_fluid": "45.1 F", "suction_pressure": "106.5 psig", "liquid_pressure": "349.1 psig", "suction_line": "51.5 F",
    "liquid_line": "106.5 F",
}  # fmt: skip


def read_twice(screen: Any, readings: dict[str, str], entering_before: str) -> None:
    for quantity, text in readings.items():
        fill(screen, f"read-base-steady-{quantity}-", text)
    fill(screen, "before-base-steady-entering_fluid", entering_before)
    fill(screen, "before-base-steady-leaving_fluid", readings["leaving_fluid"])
    answer(screen, "done")


def test_a_baseline_is_read_twice_kept_when_well_and_challenged_when_not(place: Draw) -> None:
    screen = place(upto="base-steady")
    read_twice(screen, HEALTHY, "58 F")
    assert "Nothing was stored." in screen.text and "not steady" in screen.text
    read_twice(screen, HEALTHY, "54.1 F")
    assert screen.heading == "Show the person on site four things"
    made = baseline_of(now().placement, office.knowledge())
    assert made is not None and made.state == "kept" and made.shown_steady
    screen.tap("Take back")
    read_twice(screen, LEAKING, "54.0 F")
    assert now().placement.entries[-1].outcome == "not-right" and "No baseline: " in now().placement.entries[-1].note
    (trouble,) = now().troubles
    case = office.records().case(trouble.call)
    assert case.complaint == "is-this-normal" and any(e.quantity == "liquid_line" for e in case.entries)
    assert "Trouble call open" in screen.text and baseline_of(now().placement, office.knowledge()) is None


def test_the_rounds_of_the_demonstration_give_their_early_word(desk: Draw) -> None:
    screen = desk(desk="placement", placement=STAY)
    assert screen.heading == "Round"
    assert "Early word: Strainer loading up" in screen.text and "days until it trips" in screen.text
    screen.open("drawer-rounds")
    assert "Round sheet" in screen.text and "Baseline of" in screen.text and screen.app.get("vega_lite_chart")
    text = record.page(Desk(office.records(), office.knowledge(), kept(office.records(), STAY)))
    assert "Strainer loading up" in text and "<svg" in text and "Invented for demonstration" in text
