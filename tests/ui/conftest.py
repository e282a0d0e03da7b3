"""One call after another on a store of its own, drawn without a browser."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from streamlit import config
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import AppTest

from ui import office

APP = Path(office.__file__).parent / "app.py"


@pytest.fixture(scope="session", autouse=True)
def _quick_screens() -> Iterator[None]:
    """As the app itself is started, without magic; and no search of all installed packages for components at every screen."""
    found, manifest_scanner.scan_component_manifests = manifest_scanner.scan_component_manifests, list
    magic = config.get_option("runner.magicEnabled")
    config.set_option("runner.magicEnabled", False)
    yield
    config.set_option("runner.magicEnabled", magic)
    manifest_scanner.scan_component_manifests = found


class Screen:
    """A screen as one device has it."""

    def __init__(self, **address: str) -> None:
        self.app = AppTest.from_file(APP, default_timeout=60)
        for name, value in address.items():
            self.app.query_params[name] = value
        self.app.run()
        self._look()

    def _look(self) -> None:
        assert not self.app.exception, self.app.exception
        assert "could not be drawn" not in self.text

    @property
    def text(self) -> str:
        """All markup of the screen."""
        bodies = [element.proto.body for element in self.app.get("html")]
        return "\n".join(body for body in bodies if not body.startswith("<style"))

    @property
    def heading(self) -> str:
        """What the screen is about."""
        return re.findall(r"<h1[^>]*>(.*?)</h1>", self.text)[0]

    @property
    def labels(self) -> list[str]:
        """Texts of the rows."""
        return [button.label.replace("\\", "") for button in self.app.button]

    def address(self, name: str) -> str:
        """What the address holds under a name, "" for nothing."""
        held = self.app.query_params.get(name, "")
        return str(held[0] if isinstance(held, list) else held)

    @property
    def answers(self) -> list[Any]:
        """Rows that answer the question."""
        return [button for button in self.app.button if "-ans-" in button.key]

    def field(self, part: str) -> Any:
        """The text field with this in its key."""
        return next(field for field in self.app.text_input if part in field.key)

    def box(self, label: str) -> Any:
        """The choice with this label."""
        return next(box for box in self.app.selectbox if box.label == label)

    def open(self, part: str) -> None:
        """Open the drawer with this in its key; what is in a shut one is not drawn."""
        found = [box.proto.id for box in self.app.expander if part in box.proto.id]
        assert found, f"no drawer '{part}'"
        self.app.session_state[found[0].split("-", 2)[2]] = True  # an id is $$ID, a digest, the key
        self.app.run()
        self._look()

    def do(self, changed: Any) -> None:
        """Send what was changed."""
        changed.run()
        self._look()

    def press(self, button: Any) -> None:
        """Tap a row."""
        self.do(button.click())

    def tap(self, text: str) -> None:
        """Tap the row with this text."""
        found = [button for button in self.app.button if text in button.label.replace("\\", "")]
        assert found, f"no row '{text}' among {self.labels}"
        self.press(found[0])


def _forget() -> None:
    office.store.cache_clear()
    office._kept.clear()


@pytest.fixture
def new_process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[], None]]:
    """Forgets what a new process would not know. The store is a fresh file with the demonstration."""
    monkeypatch.setenv("CHILLER_STORE", str(tmp_path / "calls.sqlite"))
    _forget()
    yield _forget
    office.store().close()
    _forget()


@pytest.fixture
def desk(new_process: Callable[[], None]) -> type[Screen]:
    """Draws a screen by its address: desk(call="demo-weak-flow")."""
    return Screen
