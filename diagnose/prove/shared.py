"""`prove shared`: what it matters that values computed from one reading are weighed as if their honest errors were independent.

Superheat, approach and ratio share one suction reading. Gross errors of a gauge are weighed together (a lying instrument moves
all its values); its ordinary uncertainty is not. Here that is done by sampling, for every call of two folders: the errors of
all readings are drawn together, every value is moved by its own slopes, the likelihood of each hypothesis is averaged over the
draws, and the largest change of any probability is reported. Stressed: the same with every uncertainty three times as wide.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from diagnose.belief import Belief, Inference
from diagnose.derive import DerivedValue
from diagnose.grade import SETTLED, UNSTEADY_SOFT, BandRow, band_rows, choose_band, word_probabilities
from diagnose.network import Array, Key
from diagnose.prove.result import Options
from diagnose.replay import read_call
from diagnose.work import Work, prepare, reason
from knowledge.load import Knowledge, load_knowledge
from shared.errors import ChillerError

FOLDERS = ("tests/calls", "tests/calls_own")
SAMPLES = 400
STRESS = 3.0
LIMIT = 0.03  # a tenth shown as a whole word ("about 6 in 10") never moves by it


def graded_values(work: Work, inference: Inference) -> dict[Key, tuple[DerivedValue, BandRow]]:
    """Findings graded from numbers alone, with their band."""
    rows = band_rows(work.knowledge)
    out = {}
    for key, one in work.graded.evidence.items():
        if one.derived is None or one.answered or key not in inference.likelihoods:
            continue
        band = choose_band(rows[one.finding], work.facts, [one.derived.quantity])
        if band is not None:
            out[key] = (one.derived, band)
    return out


def _likelihood(work: Work, value: DerivedValue, band: BandRow, shift: float, own: float) -> Array:
    steadiness = next((s.steadiness for s in value.sources if s.steadiness), work.steadiness)
    wide = value.quantity in SETTLED and steadiness in ("unknown", "")
    soft = band.soft * (UNSTEADY_SOFT if wide else 1.0)
    p = word_probabilities(value.value + shift, math.hypot(own, soft), band.limits)
    out: Array = np.maximum(np.array(p), work.knowledge.words.floor)
    return out


def _belief(work: Work, inference: Inference, belief: Belief, honest: Array) -> Belief:
    over = belief.over
    log = inference.log_likelihood(over)
    log[0] = honest
    log += inference.log_prior(over) + np.array([inference.log_mode(m) for m in belief.names])[:, None]
    joint = np.exp(log - log.max())
    return Belief(inference, belief.names, joint / joint.sum(), over)


def compared(work: Work, samples: int, seed: int, wider: float = 1.0) -> tuple[int, float, str]:
    """(values graded, largest change of any cause's, instrument's or "nothing"'s probability, whose it is)."""
    network, inference, belief = reason(work)
    values = graded_values(work, inference)
    spread = {s.variable(i): sd * wider for v, _ in values.values() for s in v.sources for i, sd in enumerate(s.sd)}
    rng = np.random.default_rng(seed)
    apart = {k: _likelihood(work, v, b, 0.0, _wider(v, spread)) for k, (v, b) in values.items()}
    plain = Inference(network, {**inference.likelihoods, **apart}, {}, {}, {}, inference.cause_factor)
    together = np.full(len(belief.over.first), -np.inf)
    for _ in range(samples):
        error = {variable: rng.normal(0.0, sd) for variable, sd in spread.items()}
        moved = {
            k: _likelihood(work, v, b, sum(slope * error[x] for x, slope in v.partials.items()), v.own_sd)
            for k, (v, b) in values.items()
        }
        one = Inference(network, {**inference.likelihoods, **moved}, {}, {}, {}, inference.cause_factor)
        together = np.logaddexp(together, one.log_likelihood(belief.over)[0])
    one_by_one = _belief(work, inference, belief, plain.log_likelihood(belief.over)[0])
    jointly = _belief(work, inference, belief, together - math.log(samples))
    names = [i.cause for i in network.instances] + list(one_by_one.modes()) + ["nothing"]
    before = np.array([*one_by_one.causes(), *one_by_one.modes().values(), one_by_one.nothing()])
    after = np.array([*jointly.causes(), *jointly.modes().values(), jointly.nothing()])
    most = int(np.abs(after - before).argmax())
    return len(values), float(abs(after - before)[most]), names[most]


def _wider(value: DerivedValue, spread: dict[Any, float]) -> float:
    """Standard uncertainty of a value with these uncertainties of its readings."""
    return math.hypot(value.own_sd, *(slope * spread[x] for x, slope in value.partials.items()))


def _calls(knowledge: Knowledge) -> list[tuple[str, Work]]:
    paths = [p for folder in FOLDERS for p in sorted(Path(folder).glob("*.yaml"))]
    if not paths:
        raise ChillerError(
            "no calls found", given=", ".join(FOLDERS), allowed="a checkout", do="run it in the checkout"
        )
    return [(p.stem, prepare(read_call(p, knowledge).case, knowledge)) for p in paths]


def prove_shared(options: Options) -> tuple[str, dict[str, Any]]:
    """All calls with numbers; ``draws`` sets the number of samples."""
    knowledge = load_knowledge()
    samples = options.draws or SAMPLES
    rows: list[tuple[str, int, float, str, float, str]] = []
    for name, work in _calls(knowledge):
        count, change, whose = compared(work, samples, options.seed)
        if count:
            _, wider, whose_wider = compared(work, samples, options.seed, STRESS)
            rows.append((name, count, round(change, 4), whose, round(wider, 4), whose_wider))
    largest = max(r[2] for r in rows)
    return knowledge.digest, {
        "samples": samples,
        "calls": rows,
        "largest_change": largest,
        "largest_change_three_times_as_wide": max(r[4] for r in rows),
        "limit": LIMIT,
        "passes": largest <= LIMIT,
    }


def shared_text(result: dict[str, Any]) -> str:
    """The report for people."""
    lines = [f"{'call':12s}{'values':>7s}{'change':>9s}  of"]
    lines += [f"{r[0]:12s}{r[1]:7d}{r[2]:9.4f}  {r[3]}; three times as wide {r[4]:.4f} {r[5]}" for r in result["calls"]]
    lines.append(
        f"largest change of any probability {result['largest_change']:.4f} (limit {result['limit']}), "
        f"with uncertainties three times as wide {result['largest_change_three_times_as_wide']:.4f}"
    )
    lines.append("passes" if result["passes"] else "DOES NOT PASS")
    return "\n".join(lines)
