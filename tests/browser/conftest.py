"""The app as people have it: its own process, a store of its own, a real browser at two sizes."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from diagnose.store import Store
from ui.__main__ import HOST

SIZES = {"phone": (390, 844), "desktop": (1366, 768)}
# Counts in the page what it asked of the app and which runs of the script ended for good, from the page's own socket: the
# state that Streamlit shows says "not running" until the app's first word comes back. A message of the page that asks for a
# run begins with field 11; in one of the app, field 6 (a plain number) says how a run ended: 0 and 3 for good.
LISTEN = """(() => {
  const seen = window.__seen = { asked: 0, ended: 0, last: performance.now() };
  const how = (bytes) => {
    for (let at = 0; at < bytes.length;) {
      const tag = bytes[at++];
      if (tag === 0x30) return bytes[at];
      if ((tag & 7) !== 2) return -1;
      let length = 0, shift = 0, byte;
      do { byte = bytes[at++]; length += (byte & 127) * 2 ** shift; shift += 7; } while (byte & 128);
      at += length;
    }
    return -1;
  };
  window.WebSocket = class extends WebSocket {
    constructor(...given) {
      super(...given);
      this.addEventListener("message", ({ data }) => {
        const ending = data instanceof ArrayBuffer ? how(new Uint8Array(data)) : -1;
        if (ending === 0 || ending === 3) { seen.ended = seen.last = performance.now(); }
      });
    }
    send(data) {
      const first = new Uint8Array(data.buffer ?? data, data.byteOffset ?? 0)[0];
      if (first === 0x5a) { seen.asked = seen.last = performance.now(); }
      super.send(data);
    }
  };
})()"""
# every run that was asked for has ended, and for some frames nothing new was asked
SETTLED = """() => { const seen = window.__seen, now = performance.now();
  if (window.__since === undefined) window.__since = now;
  const app = document.querySelector("[data-testid=stApp]");
  const quiet = Math.min(now - seen.last, now - window.__since) > 80;
  if (!(quiet && seen.ended > 0 && seen.ended >= seen.asked && app?.dataset.testScriptState === "notRunning"
        && app.dataset.testConnectionState === "CONNECTED")) return false;
  delete window.__since;
  return true; }"""
# opens what is shut: drawers of the app and details of the page
OPEN_ALL = """() => { const shut = [...document.querySelectorAll("details:not([open]) > summary")].filter(s => s.checkVisibility());
  shut.forEach(s => s.click()); return shut.length }"""


def unused_port() -> int:
    """A port that no other worker of the tests will choose: the system hands them out."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


# true once nothing moved for ten frames and no movement that ends is under way; false after ten seconds
STILL = """async () => { const begun = performance.now(); let same = 0, last = '';
  while (same < 10 && performance.now() - begun < 10000) {
    await new Promise(next => requestAnimationFrame(next));
    const now = [...document.querySelectorAll('button, summary')].map(
      e => (r => [r.top, r.left, r.width, r.height].map(Math.round))(e.getBoundingClientRect())).join();
    const moves = document.getAnimations().some(
      a => a.playState === 'running' && Number.isFinite(a.effect.getComputedTiming().endTime));
    same = now === last && !moves ? same + 1 : 0; last = now; }
  return same >= 10 }"""


class Server:
    """The app's process; it can be killed and started again at the same address."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.store_file = folder, folder / "calls.sqlite"
        self.port = unused_port()
        self.address = f"http://{HOST}:{self.port}"
        self.log = (folder / "server.log").open("w")
        self.process: subprocess.Popen[bytes] | None = None
        self.start()
        self.store = Store(str(self.store_file))

    def start(self) -> None:
        """Start it and wait until it answers."""
        command = [sys.executable, "-m", "ui", "--headless", "--port", str(self.port)]
        environment = {**os.environ, "CHILLER_STORE": str(self.store_file)}
        self.process = subprocess.Popen(
            command, cwd=self.folder, env=environment, stdout=self.log, stderr=subprocess.STDOUT
        )
        for _ in range(300):
            try:
                with urllib.request.urlopen(f"{self.address}/_stcore/health", timeout=2) as reply:
                    if reply.status == 200:
                        return
            except OSError:
                time.sleep(0.1)
        raise AssertionError(f"the app does not answer: {(self.folder / 'server.log').read_text()}")

    def kill(self) -> None:
        """End it without a word, as a power cut does."""
        assert self.process is not None
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)

    def end(self) -> None:
        """End it and say what it complained about."""
        assert self.process is not None
        self.process.terminate()
        self.process.wait(20)
        self.store.close()
        self.log.close()
        told = (self.folder / "server.log").read_text()
        assert "Traceback" not in told, told


@pytest.fixture(scope="module")
def server(need_browser: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The app with the demonstration in a fresh store."""
    made = Server(tmp_path_factory.mktemp("app"))
    yield made
    made.end()


class Device:
    """A browser page that knows how to wait for this app, and notes every request that leaves the machine."""

    def __init__(self, browser: Any, server: Server, size: str) -> None:
        width, height = SIZES[size]
        self.context = browser.new_context(viewport={"width": width, "height": height})
        self.context.add_init_script(LISTEN)
        self.page = self.context.new_page()
        self.server, self.size = server, size
        self.outside: list[str] = []
        self.errors: list[str] = []
        self.page.on("request", self._note)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))

    def _note(self, request: Any) -> None:
        if not request.url.startswith((self.server.address, "data:", "blob:")):
            self.outside.append(request.url)

    def settle(self) -> None:
        """Wait until every run of the script that was asked for has ended and is drawn."""
        from playwright.sync_api import TimeoutError as TooLong

        try:
            self.page.wait_for_function(SETTLED, timeout=90_000, polling=20)
        except TooLong:
            state = self.page.evaluate("""[window.__seen, performance.now(),
                {...document.querySelector("[data-testid=stApp]")?.dataset}]""")
            raise AssertionError(f"not settled: {state} at {self.page.url}") from None

    def open_all(self) -> None:
        """Open every drawer, also those within drawers."""
        while self.page.evaluate(OPEN_ALL):
            self.settle()
        self.still()

    def still(self) -> None:
        """Wait until nothing on the page moves any more: a drawer that is still opening cuts off what it holds."""
        assert self.page.evaluate(STILL), f"the page never stands still: {self.page.url}"

    def open(self, address: str = "") -> None:
        """Go to an address of the app."""
        self.page.goto(f"{self.server.address}/{address}")
        self.page.wait_for_selector("[data-screen] h1", timeout=30_000)
        self.settle()

    def see(self, text: str, timeout: float = 20_000) -> None:
        """Wait until a text is seen."""
        self.page.get_by_text(text).first.wait_for(state="visible", timeout=timeout)
        self.settle()

    def heading(self) -> str:
        """What the screen is about."""
        return str(self.page.inner_text("[data-screen] h1"))

    def tap(self, text: str) -> None:
        """Tap the one row with this text: the row that says just this, else the only one that holds it."""
        exactly = self.page.get_by_role("button", name=text, exact=True)
        (exactly if exactly.count() == 1 else self.page.get_by_role("button", name=text)).click()
        self.settle()

    def rows(self) -> Any:
        """The answer rows of the question."""
        return self.page.locator("[class*=st-key-rows-answers] button")

    def answer(self, call: str) -> int:
        """Answer the question by its first row, or by "cannot tell" where numbers are asked; the revision after it."""
        before = self.server.store.call(call).revision
        self.page.locator("[class*=st-key-rows-answers] button, [class*='-ans-'] button").first.wait_for(
            state="attached"
        )
        where = self.page.locator("[class*='-place-'] [data-testid=stButtonGroup] button, "
                                  "[class*='-place-'] button")  # fmt: skip
        if where.count():
            where.first.click()
            self.settle()
        if self.rows().count():
            self.rows().first.click()
        else:
            self.page.get_by_role("button", name="I cannot tell").click()
        self.settle()
        after = self.wait_for_revision(call, before + 1)
        entries = [e for e in self.server.store.call(call).events if e.kind == "entry"]
        self.see(f"Answer {len(entries)} saved")
        return after

    def drawn(self, call: str) -> None:
        """Wait until the whole screen of the call as it is stored stands there: a busy machine stores long before it draws."""
        for _ in range(300):
            revision = self.server.store.call(call).revision
            if self.page.locator(f"[class*='st-key-{call}-{revision}-drawer-report']").count():
                self.settle()
                return
            self.page.wait_for_timeout(100)
        raise AssertionError(f"{call} is stored to {revision} and never shown: {self._state(call)}")

    def _state(self, call: str) -> str:
        """What the page shows of a call, for whoever reads why it did not move on."""
        shown = self.page.evaluate(
            """call => [...new Set([...document.querySelectorAll(`[class*='st-key-${call}']`)].flatMap(
                e => [...e.classList].filter(c => c.startsWith('st-key-' + call)).map(c => c.slice(7 + call.length))))]""",
            call,
        )
        state = self.page.evaluate("({...document.querySelector('[data-testid=stApp]')?.dataset})")
        return f"{self.heading()!r} with {shown}, {state}, at {self.page.url}"

    def wait_for_revision(self, call: str, revision: int) -> int:
        """Wait until the record has come as far as ``revision``."""
        for _ in range(100):
            if self.server.store.call(call).revision >= revision:
                return self.server.store.call(call).revision
            time.sleep(0.1)
        raise AssertionError(f"{call} stays at revision {self.server.store.call(call).revision}, not {revision}")


@pytest.fixture(scope="module")
def devices(browser: Any, server: Server) -> Iterator[dict[str, Device]]:
    """One page of each size, opened once: every test goes to its own address, which is a new session."""
    made = {size: Device(browser, server, size) for size in SIZES}
    yield made
    for one in made.values():
        one.context.close()


def _use(device: Device) -> Iterator[Device]:
    width, height = SIZES[device.size]
    device.page.set_viewport_size({"width": width, "height": height})
    yield device
    outside, errors = device.outside[:], device.errors[:]
    device.outside.clear()
    device.errors.clear()
    assert outside == [], "requests left the machine"
    assert errors == [], "a script failed"


@pytest.fixture(params=SIZES)
def device(request: pytest.FixtureRequest, devices: dict[str, Device]) -> Iterator[Device]:
    """A device at each size; no request may leave the machine, no script may fail."""
    yield from _use(devices[request.param])


@pytest.fixture
def phone(devices: dict[str, Device]) -> Iterator[Device]:
    """A phone only."""
    yield from _use(devices["phone"])


@pytest.fixture
def desktop(devices: dict[str, Device]) -> Iterator[Device]:
    """A desktop only."""
    yield from _use(devices["desktop"])
