"""A whole call of each family at the field desk in a real browser: from the first question to a proved cure."""

from __future__ import annotations

from typing import Any

import pytest

MACHINE = {"name": "Test unit", "refrigerant": "R-410A", "circuits": 1, "voltage": "460 V", "design_flow": "150 gpm",
           "design_drop": "6 psi", "pump_shutoff_rise": "40 psi", "pump_plate_current": "9 A"}  # fmt: skip
HEADER = {"role": "technician", "qualified": ["electrical", "refrigerant", "height"], "machine": MACHINE}
MOST_STEPS = 24
# what somebody at such a machine would find: complaint -> (cause, answers, readings); all else looks healthy
CALLS: dict[str, tuple[str, dict[str, str], dict[str, Any]]] = {
    "no-flow": (
        "suction-valve-shut",
        {"unit-valves-look": "across", "which-unit-valve-look": "suction"},
        {"pump_suction": "2 psig", "pump_discharge": "41 psig", "evaporator_drop": "0 psi", "flow": "0 gpm"},
    ),
    "pump-trip": (
        "overload-set-low",
        {"which-device-tripped": "pump-overload", "time-to-trip-ask": "minutes", "overload-dial-compare": "below"},
        {"line_current": ["8,1 A", "8.0 A", "8.2 A"], "overload_setting": "6.5 A", "motor_plate_current": "9 A",
         "evaporator_drop": "6 psi", "pump_suction": "12 psig", "pump_discharge": "38 psig"},
    ),
    "phase-fault": (
        "phase-lost-upstream",
        {"monitor-lamp-look": "phase-loss", "monitor-memory-read": "phase-loss", "what-runs-ask": "nothing",
         "alarm-list-read": "phase-or-voltage"},
        {"line_voltage": ["462 V", "231 V", "231 V"]},
    ),
    "low-suction": (
        "hose-kinked",
        {"hoses-walk": "kinked", "pressure-walk": "hose-or-coupling"},
        {"evaporator_drop": "1.5 psi", "pump_suction": "12 psig", "pump_discharge": "48 psig"},
    ),
    "high-head": (
        "coil-dirty",
        {"coil-look": "blocked", "coil-light-look": "blocked", "coil-wash-ask": "long-ago", "circuit-onset-ask": "slowly",
         "alarm-list-read": "high-pressure", "high-pressure-trip-look": "yes", "which-device-tripped": "high-pressure"},
        {"discharge_pressure": "480 psig", "liquid_pressure": "470 psig", "entering_air": "90 F", "weather_air": "90 F",
         "suction_pressure": "125 psig", "suction_line": "52 F", "liquid_line": "118 F"},
    ),
    "strainer-suspected": (
        "strainer-clogged",
        {"strainer-history-ask": "not-for-long", "strainer-blowdown": "dirty", "strainer-pull": "dirty"},
        {"strainer_in": "24 psig", "strainer_out": "9 psig", "strainer_drop": "15 psi", "evaporator_drop": "2 psi",
         "pump_suction": "9 psig", "pump_discharge": "46 psig"},
    ),
}  # fmt: skip
# the row of an answer, by the end of its key
ROW = """([step, answer]) => [...document.querySelectorAll('[class*="-ans-"]')].find(
  e => [...e.classList].some(c => c.includes(`-ans-${step}-`) && c.endsWith(`-${answer}`)))?.querySelector('button')"""


@pytest.fixture(scope="module")
def knowledge() -> Any:
    from knowledge.load import load_knowledge

    return load_knowledge()


def healthy(check: Any, knowledge: Any) -> str:
    """The answer of a machine with nothing wrong there."""
    neutral = knowledge.findings[check.finding].neutral
    return next((a for a, card in check.answers.items() if (card.word or a) == neutral), "cannot-tell")


def fill(device: Any, step: str, readings: dict[str, Any]) -> bool:
    """Type the readings a step asks for, as far as somebody has them."""
    typed = False
    for quantity, value in readings.items():
        values = value if isinstance(value, list) else [value]
        fields = device.page.locator(f"[class*='-read-{step}-'][class*='-{quantity}'] input[type=text]")
        for field, text in zip(fields.all(), values, strict=False):
            field.fill(text)
            typed = True
    return typed


def one_step(device: Any, call: str, knowledge: Any, answers: dict[str, str], readings: dict[str, Any]) -> None:
    """Answer the question that is shown, whichever it is."""
    step = device.page.get_attribute("[data-screen]", "data-screen").split()[0]
    before = device.server.store.call(call).revision
    where = device.page.locator("[class*='-place-'] [data-testid=stButtonGroup] button")
    if where.count():
        where.first.click()
        device.settle()
    # the end of the page may stand before its middle does
    wanted_there = (
        f"[class*='-read-{step}-'] input" if knowledge.checks[step].reads else f"[class*='-ans-{step}-'] button"
    )
    device.page.locator(wanted_there).first.wait_for(state="attached", timeout=30_000)
    if knowledge.checks[step].reads:
        typed = fill(device, step, readings)
        device.page.get_by_role("button", name="Keep this" if typed else "I cannot tell", exact=True).first.click()
    else:
        wanted = answers.get(step) or healthy(knowledge.checks[step], knowledge)
        device.page.evaluate_handle(ROW, [step, wanted]).as_element().click()
    device.wait_for_revision(call, before + 1)
    device.drawn(call)


@pytest.mark.parametrize("family", CALLS)
def test_from_the_first_question_to_a_proved_cure(phone: Any, knowledge: Any, family: str) -> None:
    work(phone, knowledge, family)


def test_the_same_on_a_desktop_with_an_answer_taken_back(desktop: Any, knowledge: Any) -> None:
    work(desktop, knowledge, "high-head", take_back=True)


def work(device: Any, knowledge: Any, family: str, *, take_back: bool = False) -> None:
    """Work a call until the tool names its cause, then mend, prove and close it."""
    cause, answers, readings = CALLS[family]
    call = device.server.store.open_call({"complaint": family, **HEADER}, by="Robin Example")
    device.open(f"?call={call}")
    device.drawn(call)
    remedy = knowledge.causes[cause].remedy.id
    for number in range(MOST_STEPS):
        # the tool names the cause, or proposes its remedy because trying it costs less than another look
        if remedy in device.page.get_attribute("[data-screen]", "data-screen").split():
            break
        question = device.heading()
        one_step(device, call, knowledge, answers, readings)
        if take_back and number == 0:
            device.tap("Take back")
            device.see("Taken back")
            device.drawn(call)
            assert device.heading() == question
            one_step(device, call, knowledge, answers, readings)
    assert knowledge.causes[cause].title.lower() in device.heading().lower(), family
    device.tap("I did it: cured")
    device.see("Prove it, then close the call")
    device.tap("Proved: close this call as cured")
    device.see("Closed: cured and proved")
    line = device.server.store.call(call).line
    assert (line.state, line.outcome) == ("closed", "cured")
