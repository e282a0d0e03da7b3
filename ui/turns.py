"""A tap is done before anything else of its page is looked at.

Streamlit breaks off a run for the next request of the same page, and what was tapped is gone with it when the run has not come as
far as `taps.do_tapped`. So what follows a tap on the same page waits a moment; whoever taps has no time to notice.
"""

from __future__ import annotations

import asyncio
import time

from google.protobuf.message import DecodeError
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from streamlit.proto.BackMsg_pb2 import BackMsg

HOLD_S = 0.05


class Turns:
    """Passes on what a page says, in turn."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or socket."""
        if scope["type"] != "websocket":
            await self._app(scope, receive, send)
            return
        page = _Page(receive)
        try:
            await self._app(scope, page.next, send)
        finally:
            page.leave()


class _Page:
    """What one page says. A page that is left meanwhile is heard at once."""

    def __init__(self, receive: Receive) -> None:
        self._receive, self._free_at = receive, 0.0
        self._ahead: asyncio.Task[Message] | None = None

    async def next(self) -> Message:
        """The next message, once the tap before it had its moment."""
        message, self._ahead = await (self._ahead or self._task()), None
        wait = self._free_at - time.monotonic()
        if wait > 0 and message["type"] == "websocket.receive":
            self._ahead = self._task()
            done, _ = await asyncio.wait({self._ahead}, timeout=wait)
            if done and self._ahead.result()["type"] == "websocket.receive":
                await asyncio.sleep(max(0.0, self._free_at - time.monotonic()))
        if holds_a_tap(message.get("bytes") or b""):
            self._free_at = time.monotonic() + HOLD_S
        return message

    def _task(self) -> asyncio.Task[Message]:
        async def one() -> Message:
            return await self._receive()

        return asyncio.create_task(one())

    def leave(self) -> None:
        """Nobody asks any more."""
        if self._ahead is not None:
            self._ahead.cancel()


def holds_a_tap(data: bytes) -> bool:
    """Whether a message of a page asks for a run because a row was tapped."""
    if data[:1] != b"\x5a":  # field 11, a run of the script
        return False
    message = BackMsg()
    try:
        message.ParseFromString(data)
    except DecodeError:
        return False
    return any(one.trigger_value for one in message.rerun_script.widget_states.widgets)
