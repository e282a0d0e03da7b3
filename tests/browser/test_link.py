"""A bad link between phone and app: packets that stay away for 35 s, a link that is cut and comes back."""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest

from tests.browser.conftest import Device
from ui.__main__ import HOST

STALL_S = 35.0  # longer than the half minute after which either end of a socket asks whether the other is still there
HEADER = {"complaint": "no-flow", "qualified": ["electrical"], "machine": {"name": "Far unit", "refrigerant": "R-410A"}}


class Link:
    """A way to the app that can hold back what goes either way, as a radio link in a hole does, or be cut."""

    def __init__(self, port: int) -> None:
        self._to, self._loop, self._ready = port, asyncio.new_event_loop(), threading.Event()
        self._open: set[asyncio.StreamWriter] = set()
        self._thread = threading.Thread(target=self._loop.run_until_complete, args=(self._run(),), daemon=True)
        self._thread.start()
        assert self._ready.wait(10)

    async def _run(self) -> None:
        self._flows, self._whole, self._over = asyncio.Event(), True, asyncio.Event()
        self._flows.set()
        server = await asyncio.start_server(self._join, HOST, 0)
        self.port = server.sockets[0].getsockname()[1]
        self._ready.set()
        await self._over.wait()
        server.close()
        self._break()

    async def _join(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await self._flows.wait()
        if not self._whole:
            writer.close()
            return
        far_reader, far_writer = await asyncio.open_connection(HOST, self._to)
        self._open |= {writer, far_writer}
        await asyncio.gather(self._carry(reader, far_writer), self._carry(far_reader, writer))

    async def _carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            while data := await reader.read(65536):
                await self._flows.wait()
                writer.write(data)
                await writer.drain()
        writer.close()
        self._open.discard(writer)

    def _break(self) -> None:
        for writer in list(self._open):
            writer.transport.abort()
        self._open.clear()

    def _now(self, act: Any) -> None:
        done = threading.Event()
        self._loop.call_soon_threadsafe(lambda: (act(), done.set()))
        assert done.wait(10)

    def hold(self) -> None:
        """From now on nothing comes through, and nobody is told."""
        self._now(self._flows.clear)

    def release(self) -> None:
        """What was held back comes through, in order."""
        self._now(self._flows.set)

    def cut(self) -> None:
        """Break what is open; whoever tries again is refused."""
        self._now(lambda: (setattr(self, "_whole", False), self._break()))

    def mend(self) -> None:
        """Whoever tries again gets through."""
        self._now(lambda: setattr(self, "_whole", True))

    def end(self) -> None:
        """Close it for good."""
        self._now(self._over.set)
        self._thread.join(10)


@pytest.fixture
def link(server: Any) -> Iterator[Link]:
    made = Link(server.port)
    yield made
    made.end()


@pytest.fixture
def far(browser: Any, server: Any, link: Link) -> Iterator[Device]:
    """A phone that reaches the app over the link."""
    made = Device(browser, SimpleNamespace(address=f"http://{HOST}:{link.port}", store=server.store), "phone")  # type: ignore[arg-type]
    yield made
    made.context.close()


def told(server: Any, call: str) -> list[str]:
    return [e.body["check"] for e in server.store.call(call).events if e.kind == "entry"]


def test_a_link_that_stalls_for_35_seconds_loses_nothing_and_keeps_nothing_twice(
    far: Device, link: Link, server: Any
) -> None:
    call = server.store.open_call(HEADER, by="Robin Example", key="stalls")
    far.open(f"?call={call}")
    assert far.answer(call) == 1
    link.hold()
    begun = time.monotonic()
    far.page.get_by_role("button", name="I cannot tell").click()
    line = far.page.locator(".late")
    line.wait_for(state="visible", timeout=20_000)
    assert "has not come through" in line.inner_text()
    assert len(told(server, call)) == 1
    far.page.wait_for_timeout(max(0.0, STALL_S - (time.monotonic() - begun)) * 1000)
    assert len(told(server, call)) == 1
    link.release()
    far.see("Answer 2 saved", timeout=60_000)
    assert far.answer(call) == 3
    assert len(told(server, call)) == 3 and server.store.call(call).revision == 3


def test_a_link_that_is_cut_and_comes_back_goes_on_where_the_call_is(far: Device, link: Link, server: Any) -> None:
    call = server.store.open_call(HEADER, by="Robin Example", key="cut")
    far.open(f"?call={call}")
    assert far.answer(call) == 1
    question = far.heading()
    link.cut()
    far.page.wait_for_function(
        "document.querySelector('[data-testid=stApp]')?.dataset.testConnectionState !== 'CONNECTED'"
    )
    link.mend()
    far.page.wait_for_function(
        "document.querySelector('[data-testid=stApp]')?.dataset.testConnectionState === 'CONNECTED'", timeout=60_000
    )
    far.see("Answer 1 saved")
    assert far.heading() == question
    assert far.answer(call) == 2
    assert len(told(server, call)) == 2
