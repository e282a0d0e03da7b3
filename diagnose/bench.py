"""Timings of the reasoning on the shipped base and on a base ten times larger; medians and 95th percentiles in milliseconds.

The larger base is that of `diagnose.grown`: every cause of its own, all of them alone and the likeliest 300 in pairs.
"""

from __future__ import annotations

import os
import platform
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from typing import Any

from diagnose.advise import advise
from diagnose.belief import Belief, Inference
from diagnose.case import Case
from diagnose.grown import times_larger
from diagnose.looks import candidates, gates_of, relevant_checks, tells_for
from diagnose.network import Network
from diagnose.plan import Plan, Predictor, keep_worlds, plan_next
from diagnose.work import Work, prepare, reason
from knowledge.load import Knowledge

CASE: dict[str, Any] = {
    "complaint": "low-suction",
    "role": "technician",
    "qualified": ["electrical", "refrigerant"],
    "context": ["running-site"],
    "machine": {
        "refrigerant": "R-410A",
        "voltage": "460 V",
        "frequency": "60 Hz",
        "fluid": "water",
        "circuits": {
            "A": {"compressors": ["A1", "A2"], "fans": ["1", "2", "3"]},
            "B": {"compressors": ["B1", "B2"], "fans": ["4", "5", "6"]},
        },
        "pumps": ["onboard", "site"],
        "design_flow": "144 gpm",
        "design_drop": "7 psi",
    },
    "entries": [
        {"quantity": "suction_pressure", "value": "115 psig", "place": "circuit:A"},
        {"quantity": "suction_line", "value": "49 F", "place": "circuit:A"},
        {"quantity": "liquid_pressure", "value": "370 psig", "place": "circuit:A"},
        {"quantity": "liquid_line", "value": "98 F", "place": "circuit:A"},
        {"quantity": "suction_pressure", "value": "84 psig", "place": "circuit:B"},
        {"quantity": "suction_line", "value": "50 F", "place": "circuit:B"},
        {"quantity": "liquid_pressure", "value": "335 psig", "place": "circuit:B"},
        {"quantity": "liquid_line", "value": "101 F", "place": "circuit:B"},
        {"quantity": "entering_fluid", "value": "54 F"},
        {"quantity": "leaving_fluid", "value": "45 F"},
        {"quantity": "entering_air", "value": "88 F"},
        {"quantity": "evaporator_drop", "value": "6.7 psi"},
    ],
}


def _timed(function: Callable[[], object], repeats: int) -> dict[str, float]:
    function()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        taken.append(1000.0 * (time.perf_counter() - start))
    return _percentiles(taken)


def _percentiles(taken: Sequence[float]) -> dict[str, float]:
    taken = sorted(taken)
    return {
        "median_ms": round(statistics.median(taken), 2),
        "p95_ms": round(taken[min(len(taken) - 1, int(0.95 * len(taken)))], 2),
    }


def _cold_start() -> dict[str, float]:
    """`run` in fresh interpreters, compiled base at hand."""
    import json
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.yaml"
        path.write_text(json.dumps(CASE), encoding="utf-8")
        command = [sys.executable, "-m", "diagnose", "run", str(path), "--json"]
        return _timed(lambda: subprocess.run(command, check=True, capture_output=True, env=os.environ), 5)


def _one_card_edited() -> dict[str, float]:
    """A base of cards read anew after one of them was edited."""
    import shutil
    import tempfile
    from itertools import count
    from pathlib import Path

    from knowledge.load import CARDS, load_knowledge

    with tempfile.TemporaryDirectory() as folder:
        cards, edits = Path(shutil.copytree(CARDS, Path(folder) / "cards")), count()
        card = cards / "contexts.yaml"
        text = card.read_text(encoding="utf-8")
        kept = os.environ.get("CHILLER_CACHE")
        os.environ["CHILLER_CACHE"] = str(Path(folder) / "cache")  # so that nothing of this is left behind

        def edit_and_read() -> None:
            card.write_text(f"{text}# edited {next(edits)}\n", encoding="utf-8")
            load_knowledge(cards)

        try:
            return _timed(edit_and_read, 5)
        finally:
            os.environ.pop("CHILLER_CACHE")
            if kept is not None:
                os.environ["CHILLER_CACHE"] = kept


def next_checks(work: Work, network: Network, inference: Inference, belief: Belief) -> Plan:
    """What to do next from a belief: what may be offered at all, scored."""
    gates = gates_of(work)
    now = candidates(work, network, gates, relevant_checks(work, network, belief, gates))
    worlds = keep_worlds(belief, work.case.role, work.case.qualified)
    return plan_next(now, Predictor(inference, worlds), network, tells_for(work, network))


def _after_each_answer(case: Case, knowledge: Knowledge, rounds: int) -> dict[str, float]:
    """Belief plus next checks after each entry of the call in turn, as it comes: a place first spoken of costs a new network."""
    taken = []
    for _ in range(rounds):
        knowledge.memo.get("networks", {}).clear()
        for count in range(len(case.entries) + 1):
            work = prepare(case.model_copy(update={"entries": case.entries[:count]}), knowledge)
            start = time.perf_counter()
            next_checks(work, *reason(work))
            taken.append(1000.0 * (time.perf_counter() - start))
    return _percentiles(taken)


def _timings(case: Case, knowledge: Knowledge, repeats: int) -> dict[str, Any]:
    work = prepare(case, knowledge)
    belief = reason(work)
    return {
        "causes": len(knowledge.causes),
        "hypotheses": len(belief[2].over.first),
        "posterior": _timed(lambda: reason(work), repeats),
        "next_checks": _timed(lambda: next_checks(work, *belief), repeats),
        "belief_and_next_after_each_answer": _after_each_answer(case, knowledge, max(2, repeats // 5)),
        "whole_advice": _timed(lambda: advise(case, knowledge), repeats),
    }


def _memory_mb(times: int) -> float:
    """Peak memory of a fresh process that gives one advice on a base ``times`` as large."""
    code = (
        "import resource, sys\n"
        "from diagnose.advise import advise\n"
        "from diagnose.bench import CASE\n"
        "from diagnose.case import Case\n"
        "from diagnose.grown import times_larger\n"
        "from knowledge.load import load_knowledge\n"
        f"advise(Case.model_validate(CASE), times_larger(load_knowledge(), {times}))\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024.0 if sys.platform != 'darwin' else 1024.0**2))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, env=os.environ)
    return round(float(done.stdout), 1)


def bench(knowledge: Knowledge, repeats: int = 20) -> dict[str, Any]:
    """All timings, with the machine they were taken on."""
    case = Case.model_validate(CASE)
    return {
        "knowledge": knowledge.digest,
        "machine": f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}",
        "cold_start_run": _cold_start(),
        "one_card_edited": _one_card_edited(),
        "shipped": {**_timings(case, knowledge, repeats), "peak_memory_mb": _memory_mb(1)},
        "ten_times": {**_timings(case, times_larger(knowledge, 10), 10), "peak_memory_mb": _memory_mb(10)},
    }


def growth(
    knowledge: Knowledge, sizes: Sequence[int] = (1, 2, 3, 5, 10, 20, 30), repeats: int = 5
) -> list[dict[str, Any]]:
    """The same timings over the size of the base, for the curve."""
    case = Case.model_validate(CASE)
    out = []
    for times in sizes:
        base = times_larger(knowledge, times)
        out.append({"times": times, **_timings(case, base, repeats), "peak_memory_mb": _memory_mb(times)})
    return out


def bench_text(result: dict[str, Any]) -> str:
    """The timings for people."""
    lines = [f"knowledge {result['knowledge']}; {result['machine']}"]
    cold = result["cold_start_run"]
    lines.append(f"run from a cold start: median {cold['median_ms']} ms, p95 {cold['p95_ms']} ms (target 1500)")
    edited = result["one_card_edited"]
    lines.append(
        f"one card edited, all read anew: median {edited['median_ms']} ms, p95 {edited['p95_ms']} ms (target 2000)"
    )
    for name in ("shipped", "ten_times"):
        part = result[name]
        lines.append(
            f"{name}: {part['causes']} causes, {part['hypotheses']} hypotheses, peak memory {part['peak_memory_mb']} MB"
        )
        for key, value in part.items():
            if isinstance(value, dict):
                lines.append(f"  {key.replace('_', ' ')}: median {value['median_ms']} ms, p95 {value['p95_ms']} ms")
    return "\n".join(lines)
