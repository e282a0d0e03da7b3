"""A visitor of the app without a browser: the page's own socket, spoken by a program. For proofs and tests.

It draws nothing. It keeps what the app sends (markup, rows) and taps rows by sending what a browser would send. What it
cannot show is everything that happens in a browser: layout, focus, components.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from typing import Any

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect

MOST_BYTES = 50_000_000


class Visitor:
    """One open page. Use ``await Visitor.at(...)``, then tap(), then leave()."""

    def __init__(self, socket: ClientConnection, query: str) -> None:
        self._socket, self.query = socket, query
        self.rows: dict[str, str] = {}
        self.bodies: list[str] = []
        self._ids: dict[str, str] = {}
        self._kept: dict[str, ForwardMsg] = {}
        self._page = ""

    @classmethod
    async def at(cls, address: str, query: str = "", headers: dict[str, str] | None = None) -> Visitor:
        """Open a page: address "http://host:port", query "call=ID". Raises what `websockets` raises when refused."""
        socket = await connect(
            f"{address.replace('http', 'ws', 1)}/_stcore/stream",
            additional_headers=headers,
            subprotocols=["streamlit"],  # type: ignore[list-item]
            max_size=MOST_BYTES,
            open_timeout=60,
            ping_interval=None,
        )
        made = cls(socket, query)
        await made._rerun(None)
        return made

    @property
    def text(self) -> str:
        """All markup of the screen."""
        return "\n".join(self.bodies)

    def keys(self, part: str) -> list[str]:
        """Keys of the rows that hold this piece."""
        return [key for key in self.rows if part in key]

    async def tap(self, key: str, timeout: float = 60.0) -> None:
        """Tap the row of this key and wait until the new screen is there."""
        await self._rerun(self._ids[key], timeout)

    async def leave(self) -> None:
        """Close the page."""
        await self._socket.close()

    async def _rerun(self, trigger: str | None, timeout: float = 60.0) -> None:
        message = BackMsg()
        message.rerun_script.query_string = self.query
        message.rerun_script.page_script_hash = self._page
        if trigger:
            state = message.rerun_script.widget_states.widgets.add()
            state.id, state.trigger_value = trigger, True
        await self._socket.send(message.SerializeToString())
        async with asyncio.timeout(timeout):
            await self._until_drawn()

    async def _until_drawn(self) -> None:
        """Read until a run of the script ends for good; a run that asks for another is followed by that one."""
        while True:
            data = await self._socket.recv()
            message = ForwardMsg()
            message.ParseFromString(data if isinstance(data, bytes) else data.encode())
            if message.ref_hash:
                message = self._kept.get(message.ref_hash, message)
            elif message.hash:
                self._kept[message.hash] = message
            if self._take(message):
                return

    def _take(self, message: ForwardMsg) -> bool:
        kind = message.WhichOneof("type")
        if kind == "new_session":
            self._page = message.new_session.page_script_hash
            self.rows, self.bodies, self._ids = {}, [], {}
        elif kind == "page_info_changed":
            self.query = message.page_info_changed.query_string
        elif kind == "delta" and message.delta.WhichOneof("type") == "new_element":
            self._element(message.delta.new_element)
        return kind == "script_finished" and message.script_finished in _ENDS

    def _element(self, element: Any) -> None:
        kind = element.WhichOneof("type")
        if kind == "html":
            self.bodies.append(element.html.body)
        elif kind == "button":
            key = element.button.id.split("-", 2)[-1]
            self.rows[key], self._ids[key] = element.button.label, element.button.id
        elif kind == "markdown":
            self.bodies.append(element.markdown.body)


_ENDS: Iterable[int] = (ForwardMsg.FINISHED_SUCCESSFULLY, ForwardMsg.FINISHED_WITH_COMPILE_ERROR)
