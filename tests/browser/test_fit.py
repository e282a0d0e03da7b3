"""Fit for a gloved thumb, sunlight and a screen reader, measured in the browser."""

from __future__ import annotations

from typing import Any

import pytest

from diagnose.placement.keeping import answer, kept, open_placement, open_trouble
from diagnose.placement.record import Done, Placement
from knowledge.load import load_knowledge

HEADER = {"complaint": "high-head", "qualified": ["electrical", "refrigerant"],
          "machine": {"name": "Test unit", "refrigerant": "R-410A", "circuits": 1}}  # fmt: skip
SCREENS = {
    "list": "", "machine": "?new=1", "complaint": "?new=1&machine=demo-wren",
    "person": "?new=1&machine=other&complaint=no-flow", "question": "?call=demo-hot-deck",
    "numbers": "?call=demo-weak-flow", "closed": "?call=demo-cold-store", "nobody": "?call=nobody",
    "calculator": "?call=demo-weak-flow&calc=superheat", "board": "?desk=telephone",
    "telephone": "?desk=telephone&call=fit-heard", "telephone in Spanish": "?desk=telephone&call=fit-heard&lang=es",
    "handing over": "?desk=telephone&call=fit-heard&over=1",
    "telephone, stop": "?desk=telephone&call=fit-stop",
    "rounds": "?desk=placement&placement=demo-ice-hall", "step": "?desk=placement&placement=fit-placement&step=delivery-standing-pressure",
    "machines": "?desk=machines", "one machine": "?desk=machines&machine=demo-wren",
    "rulebook": "?desk=rulebook&q=strainer", "card": "?desk=rulebook&card=causes/strainer-clogged",
}  # fmt: skip
HEARD = {"complaint": "no-flow", "words": "it hums", "role": "customer",
         "machine": {"name": "Hall unit", "refrigerant": "R-410A", "circuits": 1}}  # fmt: skip
# screens that a desktop lays out otherwise, or that differ there by more than width; the others are measured on the phone
ON_A_DESKTOP = (
    "list",
    "person",
    "question",
    "numbers",
    "closed",
    "board",
    "telephone",
    "handing over",
    "step",
    "rulebook",
    "card",
)
LOOKS = {"Bright sun": True, "Dark": False}  # name of the choice -> whether 7:1 is asked for there
# sizes of everything that can be tapped: [what, width, height]
TARGETS = """() => { const deep = root => [...root.querySelectorAll('*')].flatMap(
    e => [e, ...(e.shadowRoot ? deep(e.shadowRoot) : [])]); return deep(document)
  .filter(e => e.matches(
  'button, a[href], input:not([type=checkbox]):not([type=radio]), textarea, summary, [role=combobox], label:has(input)'))
  .filter(e => e.checkVisibility({visibilityProperty: true, opacityProperty: true}))
  .map(e => [(e.innerText || e.getAttribute('aria-label') || e.tagName).slice(0, 40), ...(r => [r.width, r.height])(
    (e.closest('[data-baseweb=select]') || e).getBoundingClientRect())])
  .filter(([_, w, h]) => w > 1 && h > 1) }"""


def axe(device: Any, contrast_7: bool = False) -> list[str]:
    """Serious and critical findings, one line each. The page is made as high as it is long: what is scrolled out of
    sight is not measured."""
    from axe_playwright_python.sync_playwright import Axe

    high = device.page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    device.page.set_viewport_size({"width": device.page.viewport_size["width"], "height": max(high, 844) + 50})
    device.settle()
    device.still()
    rules = {"color-contrast-enhanced": {"enabled": True}} if contrast_7 else {}
    options = {
        "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
        "resultTypes": ["violations"],
        "rules": rules,
    }
    found = Axe().run(device.page, options=options).response["violations"]
    return [f"{v['id']}: {v['nodes'][0]['html'][:150]}" for v in found if v["impact"] in ("serious", "critical")]


@pytest.fixture(scope="module", autouse=True)
def calls(server: Any) -> None:
    """Calls with somebody of the site: one at its first question, one stopped. A placement in trouble, with a delay."""
    server.store.open_call(HEARD, by="Robin Example", call_id="fit-heard")
    server.store.open_call({**HEARD, "complaint": "breaker-open"}, by="Robin Example", call_id="fit-stop")
    smell = {"check": "danger-signs-ask", "answer": "burnt-smell", "who": "customer-says"}
    server.store.append("fit-stop", smell, key="smell", after_revision=0, by="Robin Example")
    placement = Placement.model_validate(
        {"name": "Fit lot", "machine": HEADER["machine"], "qualified": HEADER["qualified"]}
    )
    open_placement(server.store, placement, by="Robin Example", key="fit", placement_id="fit-placement")
    wrong, base = Done(step="place-air", outcome="not-right", note="a wall"), load_knowledge()
    answer(server.store, kept(server.store, "fit-placement"), wrong, base, key="wrong", by="Robin Example")
    open_trouble(server.store, "fit-placement", "place-air", base, by="Robin Example")
    body = {"step": "start-cooling", "minutes": 600}
    server.store.placements.add("fit-placement", "wait", body, key="wait", after_revision=2, by="Robin Example")


def too_small_or_too_wide(device: Any) -> list[Any]:
    """Targets below 44 px at 320 px width, and by how much page or main part are wider than the screen."""
    device.page.set_viewport_size({"width": 320, "height": 640})
    device.settle()
    small = [t for t in device.page.evaluate(TARGETS) if t[2] < 44]
    page = device.page.evaluate("document.documentElement.scrollWidth - 320")
    main = device.page.evaluate("(m => m.scrollWidth - m.clientWidth)(document.querySelector('[data-testid=stMain]'))")
    return [*small, *([page, main] if (page, main) != (0, 0) else [])]


@pytest.mark.parametrize("screen", SCREENS)
def test_fit_for_the_phone(phone: Any, screen: str) -> None:
    """No serious finding with the contrast for sunlight; at 320 px nothing overflows and a finger finds everything, with
    all drawers shut and all of them open."""
    phone.open(SCREENS[screen])
    assert too_small_or_too_wide(phone) == []
    phone.open_all()
    assert too_small_or_too_wide(phone) == []
    phone.page.set_viewport_size({"width": 390, "height": 844})
    assert axe(phone, contrast_7=True) == []


@pytest.mark.parametrize("screen", ON_A_DESKTOP)
def test_no_serious_finding_of_axe_on_a_desktop(desktop: Any, screen: str) -> None:
    desktop.open(SCREENS[screen])
    desktop.open_all()
    assert axe(desktop) == []


@pytest.mark.parametrize("look", LOOKS)
def test_no_serious_finding_in_the_other_colours(phone: Any, look: str) -> None:
    phone.open(SCREENS["question"])
    phone.page.get_by_role("button", name=look).click()
    for screen in ("question", "telephone"):
        if screen != "question":
            phone.open(SCREENS[screen])
        phone.page.wait_for_selector(f":root[data-look={'sun' if LOOKS[look] else 'dark'}]", state="attached")
        phone.page.wait_for_selector("[data-screen] h1")
        phone.settle()
        assert axe(phone, contrast_7=LOOKS[look]) == [], screen
    phone.page.evaluate("localStorage.clear()")


def test_the_measures_measure(phone: Any) -> None:
    """What a broken page would show: grey text, a request to elsewhere."""
    phone.open("?call=demo-hot-deck")
    phone.page.add_style_tag(content=".why { color: #666 !important }")
    assert any("color-contrast-enhanced" in line for line in axe(phone, contrast_7=True))
    with phone.page.expect_request("http://127.0.0.1:1/x"):
        phone.page.evaluate("fetch('http://127.0.0.1:1/x').catch(() => 0)")
    assert phone.outside == ["http://127.0.0.1:1/x"]
    phone.outside.clear()


def test_answer_rows_are_high_and_as_wide_as_the_phone(phone: Any) -> None:
    phone.open("?call=demo-hot-deck")
    rows = phone.page.locator("[class*=st-key-rows-] button").all()
    boxes = [row.bounding_box() for row in rows if row.is_visible()]
    assert len(boxes) >= 4
    for box in boxes:
        assert box["height"] >= 64 and box["width"] >= 390 - 2 * 16


def test_the_first_answer_is_on_the_first_screen(phone: Any) -> None:
    phone.open("?call=demo-hot-deck")
    if phone.rows().count() == 0:
        phone.tap("Skip for now")
    assert phone.rows().first.bounding_box()["y"] < 844 - 64


def test_the_rail_never_leaves(device: Any) -> None:
    device.open("?call=demo-hot-deck")
    rail = device.page.locator(".st-key-rail")
    for down in (0, 400, 1200):
        device.page.evaluate(f"document.querySelector('[data-testid=stMain]').scrollTo(0, {down})")
        device.page.evaluate("new Promise(drawn => requestAnimationFrame(() => requestAnimationFrame(drawn)))")
        box = rail.bounding_box()
        assert 0 <= box["y"] < 20 and box["height"] < 844 * 0.3
    assert device.page.get_by_role("button", name="Take back").is_visible()


def test_the_focus_goes_to_the_new_question_and_it_is_said(phone: Any) -> None:
    call = phone.server.store.open_call(HEADER, by="Robin Example")
    phone.open(f"?call={call}")
    phone.answer(call)
    assert phone.page.evaluate("document.activeElement.tagName") == "H1"
    said = phone.page.evaluate("""() => { const all = root => [...root.querySelectorAll('*')].flatMap(
        e => [e, ...(e.shadowRoot ? all(e.shadowRoot) : [])]);
        return all(document).filter(e => e.getAttribute('aria-live')).map(e => e.textContent).join('|') }""")
    assert "Answer 1 saved" in said


def test_a_whole_answer_by_keyboard(device: Any) -> None:
    call = device.server.store.open_call(HEADER, by="Robin Example")
    device.open(f"?call={call}")
    on = "document.activeElement.tagName === 'BUTTON' ? document.activeElement.innerText : ''"
    for _ in range(40):
        device.page.keyboard.press("Tab")
        if device.page.evaluate(on).strip() == "I cannot tell":
            break
    device.page.keyboard.press("Enter")
    device.see("Answer 1 saved")
    assert device.server.store.case(call).entries[0].answer == "cannot-tell"
