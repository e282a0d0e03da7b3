"""The proofs run from one command, on a small piece here; full-size results are committed under tests/results."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import pytest

from diagnose.prove.causes import prove_causes, sample, work_draw
from diagnose.prove.result import Options, stale_results
from diagnose.prove.run import PROOFS, prove
from knowledge.load import load_knowledge

RESULTS = Path(__file__).parent.parent / "results"


def test_belief_proof_runs_small(tmp_path: Path) -> None:
    """Ten networks and the pieces of the base agree with the independent library; the result file says on what it ran."""
    pytest.importorskip(
        "pyagrum", reason="pyAgrum does not load here (it needs the OpenMP library)", exc_type=ImportError
    )
    result, text = prove("belief", Options(seed=3, draws=10, out=str(tmp_path / "belief.json")))
    assert result["passes"] and result["largest_difference"] <= 1e-9
    kept = json.loads((tmp_path / "belief.json").read_text(encoding="utf-8"))
    assert kept["knowledge"] == load_knowledge().digest and kept["seed"] == 3 and "pyAgrum" in text


def test_self_play_is_the_same_by_seed() -> None:
    """One draw of a cause, worked twice, is the same call: answers, order and end."""
    knowledge = load_knowledge()
    first = work_draw(knowledge, "strainer-clogged", 1, 5)
    assert first == work_draw(knowledge, "strainer-clogged", 1, 5)
    assert first["checks"] <= 12


def test_self_play_counts_what_it_drew() -> None:
    """Every draw is counted once, in the matrix or as leading."""
    _, numbers = prove_causes(Options(seed=2, draws=2, only=("strainer-clogged", "phases-reversed")))
    assert numbers["draws"] == 4
    for name, one in numbers["causes"].items():
        assert one["leads"] + sum(numbers["confusions"].get(name, {}).values()) == one["draws"]
    assert len(sample(load_knowledge(), 60)) == 60


@pytest.mark.parametrize("name", sorted(PROOFS))
def test_committed_results_are_fresh(name: str) -> None:
    """A result made with other cards than the shipped ones is told, not failed: cards change faster than proofs run."""
    made = [p for p in RESULTS.glob("*.json") if json.loads(p.read_text(encoding="utf-8"))["proof"] == name]
    assert all({"seed", "machine", "knowledge"} <= set(json.loads(p.read_text(encoding="utf-8"))) for p in made)
    for line in stale_results(RESULTS, load_knowledge().digest):
        warnings.warn(line, stacklevel=1)
