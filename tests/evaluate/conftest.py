"""A fixed small sample of simulated calls, worked once for all tests here."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from diagnose.evaluate.run import Settings, rows_of

SAMPLE, SEED = 6, 3


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[dict[str, Any]], Path]:
    """Six calls of the sample's seed and the file that kept them."""
    path = tmp_path_factory.mktemp("evaluation") / "rows.jsonl"
    rows = rows_of(Settings(cases=SAMPLE, seed=SEED, rows=path))
    assert len(path.read_text(encoding="utf-8").splitlines()) == SAMPLE + 1
    return json.loads(json.dumps(rows)), path
