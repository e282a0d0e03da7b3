"""What follows a tap on the same page waits until the tap had its moment; nothing else waits, and nothing changes its order."""

from __future__ import annotations

import asyncio
import time
from collections.abc import MutableMapping
from typing import Any

import pytest
from starlette.types import Receive, Scope, Send
from streamlit.proto.BackMsg_pb2 import BackMsg

from ui import turns
from ui.turns import Turns, holds_a_tap


def asks(tapped: bool | None = None) -> bytes:
    """A page asks for a run; tapped: with a row that was tapped, or one that was not."""
    message = BackMsg()
    message.rerun_script.query_string = "call=x"
    if tapped is not None:
        one = message.rerun_script.widget_states.widgets.add()
        one.id, one.trigger_value = "row", tapped
    return message.SerializeToString()


def test_a_tap_is_told_from_what_is_none() -> None:
    assert holds_a_tap(asks(True))
    assert not any(map(holds_a_tap, (asks(), asks(False), b"", b"\x5a\xff", b"no message")))


def heard(said: list[bytes | None]) -> list[tuple[bytes | None, float]]:
    """What the app hears and when, if a page says all of it at once; None: the page is left."""
    got: list[tuple[bytes | None, float]] = []
    waiting = [
        {"type": "websocket.receive", "bytes": one} if one is not None else {"type": "websocket.disconnect"}
        for one in said
    ]

    async def receive() -> MutableMapping[str, Any]:
        if not waiting:
            await asyncio.Event().wait()
        return waiting.pop(0)

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        for _ in said:
            message = await receive()
            got.append((message.get("bytes"), time.monotonic() - begun))

    async def send(message: MutableMapping[str, Any]) -> None: ...

    begun = time.monotonic()
    asyncio.run(Turns(app)({"type": "websocket"}, receive, send))
    return got


def test_what_follows_a_tap_waits_and_the_order_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turns, "HOLD_S", 0.2)
    said = [asks(), asks(True), asks(), asks(False)]
    got = heard([*said])
    assert [one for one, _ in got] == said
    assert got[2][1] - got[1][1] >= 0.19


def test_nothing_else_waits_and_a_page_that_is_left_is_heard_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turns, "HOLD_S", 60.0)
    assert heard([asks(), asks(False), asks(True)])[-1][1] < 30
    got = heard([asks(True), asks(), None])
    assert [one for one, _ in got] == [asks(True), asks(), None] and got[-1][1] < 30
