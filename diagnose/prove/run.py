"""Runs one proof by name, prints it, writes its result file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from diagnose.evaluate.command import proof_text, prove_evaluation
from diagnose.plant.prove import plant_text, prove_plant
from diagnose.prove.ahead import ahead_text, prove_ahead
from diagnose.prove.belief import belief_text, prove_belief
from diagnose.prove.calibration import calibration_text, prove_calibration
from diagnose.prove.causes import causes_text, prove_causes
from diagnose.prove.crash import crash_text, prove_crash
from diagnose.prove.drift import drift_text, prove_drift
from diagnose.prove.growth import growth_text, prove_growth
from diagnose.prove.load import load_text, prove_load
from diagnose.prove.plan import plan_text, prove_plan
from diagnose.prove.result import Options, stamped, write_result
from diagnose.prove.shared import prove_shared, shared_text

Proof = Callable[[Options], tuple[str, dict[str, Any]]]
PROOFS: dict[str, tuple[Proof, Callable[[dict[str, Any]], str]]] = {
    "ahead": (prove_ahead, ahead_text),
    "belief": (prove_belief, belief_text),
    "calibration": (prove_calibration, calibration_text),
    "causes": (prove_causes, causes_text),
    "crash": (prove_crash, crash_text),
    "drift": (prove_drift, drift_text),
    "evaluate": (prove_evaluation, proof_text),
    "growth": (prove_growth, growth_text),
    "load": (prove_load, load_text),
    "plan": (prove_plan, plan_text),
    "plant": (prove_plant, plant_text),
    "shared": (prove_shared, shared_text),
}


def prove(name: str, options: Options) -> tuple[dict[str, Any], str]:
    """Run a proof; (result, the same for people). Writes the result file where one is asked for."""
    work, text = PROOFS[name]
    result = stamped(name, options, *work(options))
    if options.out:
        write_result(Path(options.out), result)
        Path(options.out).with_suffix(".partial.jsonl").unlink(missing_ok=True)
    return result, text(result)
