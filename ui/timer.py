"""Waiting with somebody: a timer that is an entry of the call, so a reload, another device or a restart finds it running."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from diagnose.phrases import minutes
from diagnose.store import Call
from ui.components import Component, Scalar

_ID = re.compile(r"^wait-(\d+)-(\d+)$")  # revision it was started at, minutes
SHOWN_AFTER_S = 600  # a timer that ended longer ago is no news
_COUNTDOWN = Component(
    "chiller_countdown",
    html="<p class='left'><b aria-hidden='true'></b> <span role='status'></span></p>",
    css="""
    .left { margin: 0; display: flex; gap: .8rem; align-items: baseline; flex-wrap: wrap; color: var(--ink) }
    .left b { font-size: 2rem; font-variant-numeric: tabular-nums }
    .left.small { font-size: .84rem; gap: .5rem; flex-wrap: nowrap; align-items: center } .left.small b { font-size: 1rem }
    .left.over { border: 4px solid var(--deep); padding: .3rem .8rem; border-radius: .3rem }
    """,
    js="""
    export default function ({ data, parentElement }) {
      const line = parentElement.querySelector(".left");
      line.classList.toggle("small", Boolean(data.small));
      const clock = line.querySelector("b"), says = line.querySelector("span");
      const due = Date.now() + data.left_s * 1000;  // by this device's clock from now on; the record holds the true start
      let said = "";
      const say = (text) => { if (said !== text) { said = text; says.textContent = text; } };
      const tick = () => {
        const left = Math.max(0, Math.round((due - Date.now()) / 1000));
        const two = (n) => String(n).padStart(2, "0"), hours = Math.floor(left / 3600);
        clock.textContent = hours ? `${hours}:${two(Math.floor(left / 60) % 60)}:${two(left % 60)}`
          : `${Math.floor(left / 60)}:${two(left % 60)}`;
        line.classList.toggle("over", left === 0);
        say(left === 0 ? data.over : left > 60 ? data.says : data.soon);
      };
      tick();
      const every = setInterval(tick, 500);
      return () => clearInterval(every);
    }
    """,
)


@dataclass(frozen=True, slots=True)
class Wait:
    """A timer of a call. left_s: seconds until it ends, 0 once it has; number: its event."""

    number: int
    minutes: int
    left_s: float


def entry(call: Call, minutes: int) -> dict[str, Any]:
    """The entry that starts a timer; a note, so it weighs nothing."""
    return {"id": f"wait-{call.revision}-{minutes}", "note": f"Timer started: {minutes} min."}


def running(call: Call, now: datetime) -> Wait | None:
    """The timer of this call that was started last, unless it ended long ago or was taken back."""
    for event in reversed(tuple(call.standing())):
        found = _ID.match(str(event.body.get("id", ""))) if event.kind == "entry" else None
        if found:
            left = (event.at + timedelta(minutes=int(found.group(2))) - now).total_seconds()
            return None if left < -SHOWN_AFTER_S else Wait(event.number, int(found.group(2)), max(0.0, left))
    return None


def ends(call: Call, now: datetime) -> list[datetime]:
    """Until when the timers of this call ran or have run so far: waiting is no lack of progress."""
    out = []
    for event in call.standing():
        found = _ID.match(str(event.body.get("id", ""))) if event.kind == "entry" else None
        if found:
            out.append(min(now, event.at + timedelta(minutes=int(found.group(2)))))
    return out


def draw_limit(left_s: float, key: str) -> None:
    """Draw how long the call may still go on without learning anything."""
    data: dict[str, Scalar] = {
        "left_s": left_s,
        "says": "without progress, then hand over",
        "soon": "less than a minute, then hand over",
        "over": "Time to hand over: no progress",
        "small": True,
    }
    _COUNTDOWN(key, data)


def draw(wait: Wait, key: str, what: str = "") -> None:
    """Draw the countdown. what: what is waited for."""
    length, lead = minutes(wait.minutes), f"{what}: " if what else ""
    data: dict[str, Scalar] = {
        "left_s": wait.left_s,
        "says": f"{lead}of {length} left",
        "soon": f"{lead}less than a minute",
        "over": f"{lead}{length} are over",
    }
    _COUNTDOWN(key, data)
