"""Values that share a reading: weighed one by one against jointly."""

from __future__ import annotations

from pathlib import Path

from diagnose.prove.shared import LIMIT, compared
from diagnose.replay import read_call
from diagnose.work import prepare
from knowledge.load import load_knowledge

CALLS = Path(__file__).parents[1] / "calls"


def test_shared_errors_matter_little_at_the_uncertainties_people_have() -> None:
    """A small sample of `prove shared`: seventeen values from eight readings, and four that decide a call."""
    knowledge = load_knowledge()
    for name in ("call-08", "call-01"):
        work = prepare(read_call(CALLS / f"{name}.yaml", knowledge).case, knowledge)
        count, change, _ = compared(work, 60, seed=1)
        assert count >= 6
        assert change <= LIMIT


def test_where_they_do_matter_the_comparison_shows_it() -> None:
    """With readings six times as uncertain as people's, one error moves several values over their limits, and it is seen."""
    knowledge = load_knowledge()
    work = prepare(read_call(CALLS.parent / "calls_own" / "own-13.yaml", knowledge).case, knowledge)
    assert compared(work, 60, seed=1, wider=6.0)[1] > 2.0 * LIMIT
