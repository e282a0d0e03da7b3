"""Timings of the reasoning on the shipped base and on a base ten times larger; medians and 95th percentiles in milliseconds."""

from __future__ import annotations

import dataclasses
import os
import platform
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

from diagnose.advise import advise
from diagnose.case import Case
from diagnose.work import prepare, reason
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


def times_larger(knowledge: Knowledge, times: int) -> Knowledge:
    """A base with every cause card copied ``times`` - 1 times under new ids, same edges: for growth only."""
    causes = dict(knowledge.causes)
    for number in range(1, times):
        for cause in knowledge.causes.values():
            name = f"{cause.id}-copy-{number}"
            causes[name] = cause.model_copy(update={"id": name})
    return dataclasses.replace(knowledge, causes=causes, digest=f"{knowledge.digest}-x{times}", memo={})


def _timed(function: Callable[[], object], repeats: int) -> dict[str, float]:
    function()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        taken.append(1000.0 * (time.perf_counter() - start))
    taken.sort()
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


def bench(knowledge: Knowledge, repeats: int = 15) -> dict[str, Any]:
    """All timings, with the machine they were taken on."""
    case = Case.model_validate(CASE)
    large = times_larger(knowledge, 10)
    shipped = prepare(case, knowledge)
    grown = prepare(case, large)
    return {
        "knowledge": knowledge.digest,
        "machine": f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}",
        "cold_start_run": _cold_start(),
        "shipped": {
            "causes": len(knowledge.causes),
            "posterior": _timed(lambda: reason(shipped), repeats),
            "whole_advice": _timed(lambda: advise(case, knowledge), repeats),
        },
        "ten_times": {
            "causes": len(large.causes),
            "posterior": _timed(lambda: reason(grown), 3),
            "whole_advice": _timed(lambda: advise(case, large), 3),
        },
    }


def bench_text(result: dict[str, Any]) -> str:
    """The timings for people."""
    lines = [f"knowledge {result['knowledge']}; {result['machine']}"]
    cold = result["cold_start_run"]
    lines.append(f"run from a cold start: median {cold['median_ms']} ms, p95 {cold['p95_ms']} ms (target 1500)")
    for name in ("shipped", "ten_times"):
        part = result[name]
        for key in ("posterior", "whole_advice"):
            lines.append(
                f"{name}, {part['causes']} causes, {key.replace('_', ' ')}: median {part[key]['median_ms']} ms, p95 {part[key]['p95_ms']} ms"
            )
    return "\n".join(lines)
