"""The app served to others, as its own process with a store of its own."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from diagnose.store import Person, Store, passwords

GOOD = "four walls and a roof"
ROLES = {
    "kit": ("keeper", ""),
    "ann": ("technician", "north"),
    "sam": ("technician", "south"),
    "tel": ("telephone", "north"),
    "tea": ("trainer", "north"),
}


class Served:
    """A running app and what is in its store."""

    def __init__(self, folder: Path, *arguments: str, environment: dict[str, str] | None = None) -> None:
        self.folder, self.file = folder, folder / "calls.sqlite"
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        self.url = f"http://127.0.0.1:{self.port}"
        self.store = Store(str(self.file))
        self.arguments, self.environment = arguments, environment or {}
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> Served:
        """Start it and wait until it answers."""
        import urllib.request

        command = [sys.executable, "-m", "ui", "--headless", "--port", str(self.port), *self.arguments]
        environment = {**os.environ, "CHILLER_STORE": str(self.file), **self.environment}
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(command, cwd=self.folder, env=environment, stdout=log, stderr=log)
        for _ in range(600):
            try:
                with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=2):
                    return self
            except OSError:
                time.sleep(0.1)
        raise AssertionError((self.folder / "log").read_text())

    def stop(self) -> str:
        """End it; what it wrote."""
        assert self.process is not None
        self.process.terminate()
        self.process.wait(30)
        return (self.folder / "log").read_text()


def people(store: Store) -> dict[str, str]:
    """Users of each role, calls of each team; ids of the calls by team."""
    cost, passwords.COST = passwords.COST, 4  # the cost stands in each hash
    try:
        for name, (role, team) in ROLES.items():
            store.users.add(name, role, password=GOOD, shown=f"{name.title()} Example", team=team, by="test")
    finally:
        passwords.COST = cost
    made = {}
    for team in ("", "north", "south"):
        for role in ("technician", "customer"):
            view = store.seen_by(Person("x", "Somebody", "keeper", team))
            made[f"{team}-{role}"] = view.open_call({"complaint": "no-flow", "role": role}, by="x", key=f"{team}{role}")
    return made


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The app for others, with users and calls."""
    made = Served(tmp_path_factory.mktemp("served"), "--address", "0.0.0.0", "--unencrypted")
    made.calls = people(made.store)  # type: ignore[attr-defined]
    made.start()
    yield made
    told = made.stop()
    made.store.close()
    assert "Traceback" not in told, told


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The app as one starts it for oneself."""
    made = Served(tmp_path_factory.mktemp("home")).start()
    yield made
    told = made.stop()
    made.store.close()
    assert "Traceback" not in told, told


@pytest.fixture(scope="session")
def served_class() -> type[Served]:
    """For tests that start the app in their own way."""
    return Served
