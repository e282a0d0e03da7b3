"""The plant's proof from its command on a small piece here; the full one is committed under tests/results."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

from diagnose.plant.prove import FULL, plant_digest, plant_text, prove_draws
from diagnose.prove.result import code_digest, stale_results
from diagnose.prove.run import PROOFS

RESULTS = Path(__file__).parent.parent / "results"


def test_sixty_draws_are_physical() -> None:
    """Random machines, days and up to three faults: nothing crashes, everything is physical or a named trip."""
    found = prove_draws(seed=7, draws=60)
    assert found["passes"] and sum(found["states"].values()) == 60
    assert found["causes_drawn"] > 30


def test_the_committed_proof_is_full_size_and_passes() -> None:
    """Twenty thousand draws, both speeds inside their targets; a result of other code is told, not failed."""
    made = json.loads((RESULTS / "plant.json").read_text(encoding="utf-8"))
    assert made["draws"] == FULL and made["passes"] and made["proof"] in PROOFS
    for kind, target in made["speed"]["targets_ms"].items():
        assert made["speed"][kind]["median_ms"] < target
    assert "all physical" in plant_text(made)
    for line in stale_results(RESULTS, made["knowledge"], {"plant": plant_digest()}):
        if line.startswith("plant.json"):
            warnings.warn(line, stacklevel=1)


def test_a_stale_result_is_told(tmp_path: Path) -> None:
    """Other code, other line; the same code with other line ends is the same."""
    code, result = tmp_path / "code", tmp_path / "results"
    code.mkdir()
    result.mkdir()
    (code / "a.py").write_bytes(b"x = 1\n")
    first = code_digest([code])
    (result / "plant.json").write_text(json.dumps({"proof": "plant", "knowledge": "", "code": first}), encoding="utf-8")
    assert stale_results(result, "any", {"plant": first}) == []
    (code / "a.py").write_bytes(b"x = 1\r\n")
    assert code_digest([code]) == first
    (code / "a.py").write_bytes(b"x = 2\n")
    told = stale_results(result, "any", {"plant": code_digest([code])})
    assert len(told) == 1 and "prove plant" in told[0]
