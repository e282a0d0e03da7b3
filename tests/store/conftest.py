"""An empty store of each kind: every test that asks for `address` or `store` runs on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from diagnose.store import Store


@pytest.fixture(params=["sqlite", "postgres"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Address of a store that does not exist yet."""
    if request.param == "postgres":
        return str(request.getfixturevalue("postgres_url"))
    return str(tmp_path / "deep" / "ä folder" / "calls.sqlite")


@pytest.fixture
def store(address: str) -> Iterator[Store]:
    """An empty store."""
    made = Store(address)
    yield made
    made.close()
