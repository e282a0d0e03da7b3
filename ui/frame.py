"""What stands at the foot of every screen: the colours of this device, and whether number keys answer."""

from __future__ import annotations

import streamlit as st

from ui.components import Component

# A press of the mouse first sends what stands in a field; the screen drawn with it may move the row from under the pointer
# before the button is let go, and the browser then tells of no click on a row. A press that began on a row and was not drawn away
# counts for that row. Fingers are not affected: there the browser tells of press and click in one.
PRESSED = """
    const pressed = () => {
      if (window.__chillerPressed) return;
      window.__chillerPressed = true;
      let down = null;
      document.addEventListener("pointerdown", (event) => {
        const row = event.target.closest?.("button"), holder = row?.closest('[class*="st-key-"]');
        const name = holder && [...holder.classList].find((one) => one.startsWith("st-key-"));
        down = name && event.button === 0 && event.pointerType === "mouse" ? { row, name, x: event.x, y: event.y } : null;
      }, true);
      document.addEventListener("click", (event) => { if (event.target.closest?.("button")) down = null; }, true);
      document.addEventListener("pointerup", (event) => {
        const from = down;
        if (!from || Math.hypot(event.x - from.x, event.y - from.y) > 10) { down = null; return; }
        setTimeout(() => {
          if (down !== from) return;  // the browser has told of the click
          down = null;
          const row = from.row.isConnected ? from.row : document.querySelector(`.${CSS.escape(from.name)} button`);
          if (row && !row.disabled) row.click();
        }, 60);
      }, true);
    };
"""
# A link that stalls looks healthy: the page stays as it is, and a tap may be lost without a word. So a row that was tapped and to which
# nothing came back for some seconds says so, until something comes.
LATE = """
    const late = () => {
      const app = document.querySelector("[data-testid=stApp]");
      if (window.__chillerLate || !app) return;
      window.__chillerLate = true;
      let timer = 0, line = null;
      const tell = () => {
        line = document.createElement("div");
        line.className = "late"; line.setAttribute("role", "alert");
        line.append("This tap has not come through yet. Wait, or load the page again: what was saved is safe.");
        const again = document.createElement("button");
        again.type = "button"; again.textContent = "Load the page again"; again.onclick = () => location.reload();
        line.append(again);
        document.body.append(line);
      };
      document.addEventListener("click", (event) => {
        if (timer || !event.target.closest?.("[data-testid=stButton] button")) return;
        timer = setTimeout(tell, window.__chillerPatience ?? 5000);
      }, true);
      new MutationObserver(() => {
        clearTimeout(timer); line?.remove(); timer = 0; line = null;
      }).observe(app, { attributes: true, attributeFilter: ["data-test-script-state"] });
    };
"""
# The colours live on the device, in its browser: a reload or another call keeps them, and nothing is sent.
# Streamlit's own widgets take theirs from its light or dark theme, which it reads when the page is loaded.
_LOOK = Component(
    "chiller_look",
    html="""<div class="looks" role="group" aria-label="Colours of this screen">
      <button type="button" data-look="day">Day</button><button type="button" data-look="sun">Bright sun</button>
      <button type="button" data-look="dark">Dark</button></div>""",
    css="""
    .looks { display: flex; gap: .5rem; flex-wrap: wrap }
    .looks button { min-height: 48px; padding: 0 1rem; font: inherit; font-size: 1rem; border-radius: .3rem; cursor: pointer;
      color: var(--ink); background: var(--paper); border: 2px solid var(--ink) }
    .looks button[aria-pressed="true"] { background: var(--deep); color: var(--on-deep); border-color: var(--deep) }
    .looks button:focus-visible { outline: 4px solid var(--focus); outline-offset: 2px }
    """,
    js=PRESSED
    + LATE
    + """
    export default function ({ parentElement }) {
      pressed();
      late();
      const root = document.documentElement, theme = `stActiveTheme-${location.pathname}-v2`;
      const kept = (name) => { try { return localStorage.getItem(name) } catch { return null } };
      const keep = (name, value) => { try { localStorage.setItem(name, value) } catch { /* private window */ } };
      // until somebody chooses, as the device itself is set
      const look = kept("chiller-look") || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "day");
      root.dataset.look = look;
      for (const button of parentElement.querySelectorAll("button")) {
        button.setAttribute("aria-pressed", String(button.dataset.look === look));
        button.onclick = () => {
          keep("chiller-look", button.dataset.look);
          keep(theme, JSON.stringify(button.dataset.look === "dark" ? "Dark" : "Light"));
          location.reload();
        };
      }
    }
    """,
)
KEYS = "number-keys"
KEYS_THERE_ARE = 10


def keys_on() -> bool:
    """Whether number keys answer on this device; off until somebody switches them on (WCAG 2.1.4)."""
    return bool(st.session_state.get(KEYS))


def shortcut(position: int) -> str | None:
    """The number key of an answer, None where keys are off or run out."""
    return str(position) if keys_on() and position < KEYS_THERE_ARE else None


def foot() -> None:
    """Draw the foot."""
    with st.container(key="foot"):
        _LOOK("look")
        st.checkbox("Number keys answer (1 to 9, 0 for cannot tell)", key=KEYS, persist_state="session")
