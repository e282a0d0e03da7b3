"""`prove load`: fifty people at once on the real app.

The app runs as its own process on a fresh SQLite file; the people are programs that speak the page's own socket from another
process (`ui/visitors.py`), on the same machine, each with a call of its own. Three parts: somebody alone (cold start to
the first question, then twenty answers); a soak in which each of fifty answers every 20 s and once a minute ten answer
within one second on top, with the app's memory read every few seconds; then rising rates, until the 95th percentile passes one
second. A time is from when an answer was due to the new screen with its receipt. What it does not show: drawing in a browser,
a network between. The machine's load by others is written down, since it counts against the numbers.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from diagnose.prove.result import Options
from knowledge.load import load_knowledge
from shared.errors import ChillerError

USERS, EVERY_S, BURST, MINUTES = 50, 20.0, 10, 30.0
ALONE = 20
RATES = (2.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0)
RATE_S = 30.0
MOST = {
    "cold_first_question_s": 4.0,
    "alone_median_ms": 250.0,
    "soak_p95_ms": 500.0,
    "memory_mb": 800.0,
    "growth": 0.05,
}
PASSED_MS = 1000.0  # the rate is sought at which the 95th percentile goes beyond


class App:
    """The app as its own process."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.store = folder, folder / "load.sqlite"
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = int(probe.getsockname()[1])
        self.address = f"http://127.0.0.1:{port}"
        self.started = time.monotonic()
        self.log = (folder / "app.log").open("wb")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "ui", "--headless", "--port", str(port), "--store", str(self.store)],
            stdout=self.log,
            stderr=self.log,
            cwd=folder,
        )
        self.wait()

    def wait(self) -> None:
        """Until it answers. Raises ChillerError."""
        for _ in range(1200):
            with contextlib.suppress(OSError), urllib.request.urlopen(f"{self.address}/_stcore/health", timeout=2):
                return
            if self.process.poll() is not None:
                break
            time.sleep(0.05)
        raise ChillerError(
            "the app does not start", given=(self.folder / "app.log").read_text()[-300:], do="see the log"
        )

    def memory_mb(self) -> float:
        """What the process holds in memory; 0 where the system does not tell."""
        try:
            text = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        except OSError:
            return 0.0
        return next((int(line.split()[1]) / 1024 for line in text.splitlines() if line.startswith("VmRSS")), 0.0)

    def cpu_s(self) -> float:
        """Processor time the process has used so far; 0 where the system does not tell."""
        try:
            after_name = Path(f"/proc/{self.process.pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        except OSError:
            return 0.0
        return (int(after_name[11]) + int(after_name[12])) / os.sysconf("SC_CLK_TCK")

    def crowd(self, *arguments: str) -> dict[str, Any]:
        """What a crowd saw."""
        command = [
            sys.executable,
            "-m",
            "ui.visitors",
            "--address",
            self.address,
            "--store",
            str(self.store),
            *arguments,
        ]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            raise ChillerError("the visitors did not get through", given=done.stderr[-300:], do="see the log")
        seen: dict[str, Any] = json.loads(done.stdout)
        return seen

    def end(self) -> str:
        """End it; what it wrote."""
        self.process.terminate()
        self.process.wait(30)
        self.log.close()
        return (self.folder / "app.log").read_text(encoding="utf-8", errors="replace")


@contextlib.contextmanager
def running() -> Iterator[App]:
    """The app on a fresh store, ended afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        app = App(Path(folder))
        try:
            yield app
        finally:
            told = app.end()
        if "Traceback" in told:
            raise ChillerError("the app failed", given=told[-300:], do="see the log")


def percentile(values: Sequence[float], share: float) -> float:
    """The value that this share lies at or below; 0 for none."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else 0.0


def _times(seen: dict[str, Any]) -> dict[str, Any]:
    took = [1000 * one for _, one in seen["took"]]
    return {
        "answers": len(took),
        "median_ms": round(statistics.median(took)) if took else 0,
        "p95_ms": round(percentile(took, 0.95)),
        "most_ms": round(max(took, default=0)),
        "first_question_p95_ms": round(1000 * percentile(seen["opened"], 0.95)),
        "failed": len(seen["failed"]),
        "failures": sorted(set(seen["failed"]))[:5],
    }


def alone(app: App, seed: int) -> dict[str, Any]:
    """One person: the first question after the start, then answers with nobody else about."""
    app.crowd("--users", "1", "--rate", "1000", "--seconds", "0.001", "--seed", str(seed))
    cold = time.monotonic() - app.started
    seen = app.crowd("--users", "1", "--every", "1", "--burst", "0", "--seconds", str(ALONE), "--seed", str(seed))
    return {"cold_first_question_s": round(cold, 1), **_times(seen)}


def soak(app: App, seconds: float, users: int, seed: int) -> dict[str, Any]:
    """Everybody at once, with the memory read meanwhile."""
    memory: list[float] = []
    over = threading.Event()

    def watch() -> None:
        while not over.wait(min(5.0, seconds / 20)):
            memory.append(app.memory_mb())

    watcher, used = threading.Thread(target=watch, daemon=True), app.cpu_s()
    watcher.start()
    seen = app.crowd("--users", str(users), "--every", str(EVERY_S), "--burst", str(BURST), "--seconds", str(seconds),
                     "--seed", str(seed))  # fmt: skip
    over.set()
    watcher.join()
    quarter = max(1, len(memory) // 4)
    second, last = memory[quarter : 2 * quarter] or memory, memory[-quarter:]
    return {
        "users": users,
        "minutes": round(seconds / 60, 2),
        **_times(seen),
        "cpu_ms_per_answer": round(1000 * (app.cpu_s() - used) / max(1, len(seen["took"]) + len(seen["opened"]))),
        "memory_most_mb": round(max(memory, default=0)),
        "memory_second_quarter_mb": round(statistics.fmean(second)) if second else 0,
        "memory_last_quarter_mb": round(statistics.fmean(last)) if last else 0,
    }


def rising(app: App, users: int, seed: int) -> list[dict[str, Any]]:
    """Rates one after the other, until one is too much."""
    steps = []
    for rate in RATES:
        seen = app.crowd("--users", str(users), "--rate", str(rate), "--seconds", str(RATE_S), "--seed", str(seed))
        steps.append({"answers_per_s": rate, **_times(seen)})
        if steps[-1]["p95_ms"] > PASSED_MS:
            break
    return steps


def prove_load(options: Options) -> tuple[str, dict[str, Any]]:
    """All three parts; (knowledge digest, numbers). options.minutes: length of the soak, 0 = the full one."""
    before = os.getloadavg() if hasattr(os, "getloadavg") else (0.0, 0.0, 0.0)
    with running() as app:
        one = alone(app, options.seed)
        many = soak(app, 60 * (options.minutes or MINUTES), USERS, options.seed)
        steps = rising(app, USERS, options.seed)
    after = os.getloadavg() if hasattr(os, "getloadavg") else (0.0, 0.0, 0.0)
    return load_knowledge().digest, {
        "load_before": round(before[1], 2),
        "load_after": round(after[1], 2),
        "alone": one,
        "soak": many,
        "rising": steps,
        "rate_beyond_one_second": next((s["answers_per_s"] for s in steps if s["p95_ms"] > PASSED_MS), None),
        "limits": MOST,
        "passes": not missed(one, many),
        "missed": missed(one, many),
    }


def missed(one: dict[str, Any], many: dict[str, Any]) -> list[str]:
    """Which limits were not kept, in words."""
    grown = many["memory_last_quarter_mb"] / max(1, many["memory_second_quarter_mb"]) - 1
    told = {
        f"cold start to the first question {one['cold_first_question_s']} s": one["cold_first_question_s"]
        > MOST["cold_first_question_s"],
        f"an answer alone {one['median_ms']} ms": one["median_ms"] > MOST["alone_median_ms"],
        f"95 of 100 answers within {many['p95_ms']} ms": many["p95_ms"] > MOST["soak_p95_ms"],
        f"memory {many['memory_most_mb']} MB": many["memory_most_mb"] > MOST["memory_mb"],
        f"memory grows by {grown:.0%}": grown > MOST["growth"],
        f"{many['failed'] + one['failed']} answers failed": many["failed"] + one["failed"] > 0,
    }
    return [line for line, wrong in told.items() if wrong]


def load_text(result: dict[str, Any]) -> str:
    """The result for people."""
    one, many = result["alone"], result["soak"]
    lines = [
        f"alone: first question {one['cold_first_question_s']} s after a cold start; an answer {one['median_ms']} ms "
        f"(median), {one['p95_ms']} ms (95th percentile)",
        f"{many['users']} users for {many['minutes']} minutes: {many['answers']} answers, median {many['median_ms']} ms, "
        f"95th percentile {many['p95_ms']} ms, most {many['most_ms']} ms, failed {many['failed']}",
        f"processor time {many['cpu_ms_per_answer']} ms a screen",
        f"memory: most {many['memory_most_mb']} MB, second quarter {many['memory_second_quarter_mb']} MB, last quarter "
        f"{many['memory_last_quarter_mb']} MB",
    ]
    lines += [f"  {s['answers_per_s']:g} answers a second: 95th percentile {s['p95_ms']} ms" for s in result["rising"]]
    lines.append(f"load of the machine before {result['load_before']}, after {result['load_after']}")
    lines.append("passes" if result["passes"] else "DOES NOT PASS: " + "; ".join(result["missed"]))
    return "\n".join(lines)
