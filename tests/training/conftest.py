"""What the tests of the training bench share: the shipped base, and a small scenario to change."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from diagnose.store import Store
from knowledge.load import Knowledge, load_knowledge
from knowledge.scenarios import Scenario

PLAIN: dict[str, Any] = {
    "id": "made-for-a-test",
    "title": "Made for a test",
    "invented": "yes",
    "difficulty": "first",
    "topics": ["no-flow"],
    "complaint": "no-flow",
    "words": "No flow, it says.",
    "qualified": ["electrical", "refrigerant"],
    "machine": "demo-heron",
    "faults": [{"cause": "suction-valve-shut", "severity": "0.97"}],
    "points": ["Look at the handle."],
}


@pytest.fixture(scope="session")
def base() -> Knowledge:
    """The shipped cards."""
    return load_knowledge()


@pytest.fixture(scope="session")
def scenario() -> Callable[..., Scenario]:
    """A small scenario with other keys."""

    def make(**changes: Any) -> Scenario:
        return Scenario.model_validate({**PLAIN, **changes})

    return make


@pytest.fixture(params=["sqlite", "postgres"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """An empty store of each kind."""
    postgres = request.param == "postgres"
    made = Store(str(request.getfixturevalue("postgres_url")) if postgres else str(tmp_path / "calls.sqlite"))
    yield made
    made.close()
