"""The rulebook in a browser: the map is clicked, the page fits, nothing leaves the machine."""

from __future__ import annotations

from typing import Any

CARD = "?desk=rulebook&card=causes/strainer-clogged"


def test_the_map_leads_from_card_to_card(device: Any) -> None:
    """A click on a card of the map opens it without loading the page again; the list in words stands below."""
    device.open(CARD)
    marked = "window.notLoadedAgain = true"
    device.page.evaluate(marked)
    card = device.page.locator("[data-card='complaints/low-suction']")
    card.scroll_into_view_if_needed()
    card.click()
    device.see("Low suction or low-pressure cut-out")
    assert device.heading() == "Low suction or low-pressure cut-out"
    assert device.page.evaluate("window.notLoadedAgain") is True
    assert "card=complaints%2Flow-suction" in device.page.url or "card=complaints/low-suction" in device.page.url
    device.page.get_by_text("The same in words").first.click()
    device.see("reported so")
    device.page.reload()
    device.page.wait_for_selector("[data-screen] h1")
    assert device.heading() == "Low suction or low-pressure cut-out"


def test_it_fits_and_can_be_reached_by_keyboard(device: Any) -> None:
    """No overflow of the page, the map scrolls by itself, its cards take the focus and open on Enter."""
    device.open(CARD)
    main = device.page.evaluate("(m => m.scrollWidth - m.clientWidth)(document.querySelector('[data-testid=stMain]'))")
    assert main == 0
    card = device.page.locator("[data-card='effects/fluid-flow']")
    card.focus()
    device.page.keyboard.press("Enter")
    device.see("Hidden state of the unit")
    assert device.heading() == "fluid flow through the evaporator"
