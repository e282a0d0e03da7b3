"""`prove load`: fifty people at once on the real app.

The app runs as its own process on a fresh SQLite file; the people are programs that speak the page's own socket from another
process (`ui/visitors.py`), on the same machine, each with a call of its own. Three parts: somebody alone (cold start to
the first question, then an answer a second); a soak in which each of fifty answers every 20 s and once a minute ten answer
within one second on top, with the app's memory read every few seconds; then rising rates, until the 95th percentile passes one
second. Nothing counts before each visitor has answered once. A time is from when an answer was due to the new screen with its
receipt. What it does not show: drawing in a browser, a network between.

On one machine the measuring itself takes processor time, and so may others. So each part tells three numbers beside its times:
the share of all cores the app used, the visitors used, and anything else used; and how late the visitors' own clock came (95th
percentile), by which their taps were sent too late. Where others took more than a tenth, or the clock came later than a tenth of
what is allowed, the times of that part are called not valid: they are an upper bound, and the proof neither passes nor fails by
them. Memory, failures and processor time a screen count all the same.

How long it takes: the soak (30 minutes, or --minutes), half a minute alone, a minute to come in, and at most five rates of a
tenth of the soak each, between 5 and 30 s.
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
ALONE_S = 20.0
RATES = (2.0, 4.0, 7.0, 11.0, 16.0)
RATE_S = (5.0, 30.0)  # least and most of each rate
OTHERS_MOST, LATE_MOST_MS = 0.10, 50.0
GROWTH_FROM_MINUTES = 10.0  # in a shorter soak memory still fills up with what is kept on purpose (advice, open pages)
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
        self.port, self.address = port, f"http://127.0.0.1:{port}"
        self.log = (folder / "app.log").open("wb")
        self.start()
        self.wait()

    def start(self) -> None:
        """Start the process; it may not answer yet."""
        self.started = time.time()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "ui", "--headless", "--port", str(self.port), "--store", str(self.store)],
            stdout=self.log,
            stderr=self.log,
            cwd=self.folder,
        )

    def first_question_s(self, seed: int) -> float:
        """Seconds from a fresh start of the app to the first question on the page of somebody who waits for it already."""
        self.process.terminate()
        self.process.wait(30)
        command = [sys.executable, "-m", "ui.visitors", "--address", self.address, "--store", str(self.store), "--first",
                   "--seed", str(seed)]  # fmt: skip
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as waiting:
            assert waiting.stdout is not None
            ready = waiting.stdout.readline()
            self.start()
            told = waiting.stdout.readline()
        if not (ready and told):
            raise ChillerError("the visitor did not get through", given=self.log.name, do="see the log")
        return float(told) - self.started

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

    def crowd(self, *arguments: str) -> list[dict[str, Any]]:
        """What a crowd saw, part by part (see `ui/visitors.py`)."""
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
        seen: list[dict[str, Any]] = json.loads(done.stdout)
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


def machine_s() -> tuple[float, float]:
    """(processor seconds all cores were busy with anything since the machine started, cores); zeros where the system does not tell.

    Time that a host took away from this machine counts as busy: it is lost to the app.
    """
    try:
        ticks = [int(n) for n in Path("/proc/stat").read_text(encoding="ascii").splitlines()[0].split()[1:9]]
    except (OSError, ValueError, IndexError):
        return 0.0, 0.0
    return (sum(ticks) - ticks[3] - ticks[4]) / os.sysconf("SC_CLK_TCK"), float(os.cpu_count() or 1)


class Watch:
    """What app and machine spend while a crowd is at work, coming in and warming up included."""

    def __init__(self, app: App) -> None:
        self.app, self.began, self.app_s, (self.busy_s, self.cores) = app, time.monotonic(), app.cpu_s(), machine_s()

    def shares(self, visitors_s: float) -> dict[str, float]:
        """Shares of all cores: app, visitors, others. visitors_s: processor seconds of the visitors."""
        whole = self.cores * (time.monotonic() - self.began)
        if not whole:
            return {"app_share": 0.0, "visitors_share": 0.0, "others_share": 0.0}
        app_s = self.app.cpu_s() - self.app_s
        others = machine_s()[0] - self.busy_s - app_s - visitors_s
        found = {"app_share": app_s, "visitors_share": visitors_s, "others_share": max(0.0, others)}
        return {name: round(spent / whole, 3) for name, spent in found.items()}


def children_s() -> float:
    """Processor seconds of the ended processes this one has started: the visitors, from their first line on."""
    used = os.times()
    return used.children_user + used.children_system


def times(seen: dict[str, Any], shares: dict[str, float]) -> dict[str, Any]:
    """Numbers of one part; valid: whether its times tell about the app and not about the measuring."""
    took = [1000 * one for _, one in seen["took"]]
    late = round(1000 * percentile(seen["late"], 0.95), 1)
    return {
        "answers": len(took),
        "median_ms": round(statistics.median(took)) if took else 0,
        "p95_ms": round(percentile(took, 0.95)),
        "most_ms": round(max(took, default=0)),
        "first_question_p95_ms": round(1000 * percentile(seen["opened"], 0.95)),
        "failed": len(seen["failed"]),
        "failures": sorted(set(seen["failed"]))[:5],
        "visitors_cpu_ms_per_answer": round(1000 * seen["used"] / max(1, len(took)), 1),
        "visitors_late_p95_ms": late,
        **shares,
        "valid": bool(took) and late <= LATE_MOST_MS and shares["others_share"] <= OTHERS_MOST,
    }


def alone(app: App, seed: int, seconds: float = ALONE_S) -> dict[str, Any]:
    """One person: the first question after the start, then answers with nobody else about."""
    cold = app.first_question_s(seed)
    watch, before = Watch(app), children_s()
    (seen,) = app.crowd("--users", "1", "--every", "1", "--burst", "0", "--seconds", str(seconds), "--seed", str(seed))
    return {"cold_first_question_s": round(cold, 1), **times(seen, watch.shares(children_s() - before))}


def soak(app: App, seconds: float, users: int, seed: int) -> dict[str, Any]:
    """Everybody at once, with the memory read meanwhile."""
    memory: list[float] = []
    over = threading.Event()

    def look() -> None:
        while not over.wait(min(5.0, seconds / 20)):
            memory.append(app.memory_mb())

    watcher, watch, before, used = threading.Thread(target=look, daemon=True), Watch(app), children_s(), app.cpu_s()
    watcher.start()
    (seen,) = app.crowd("--users", str(users), "--every", str(EVERY_S), "--burst", str(BURST), "--seconds", str(seconds),
                        "--seed", str(seed))  # fmt: skip
    over.set()
    watcher.join()
    quarter = max(1, len(memory) // 4)
    second, last = memory[quarter : 2 * quarter] or memory, memory[-quarter:]
    screens = (
        len(seen["took"]) + len(seen["opened"]) + 2 * users
    )  # each came in and answered once before anything counted
    return {
        "users": users,
        "minutes": round(seconds / 60, 2),
        **times(seen, watch.shares(children_s() - before)),
        "cpu_ms_per_screen": round(1000 * (app.cpu_s() - used) / screens),
        "memory_most_mb": round(max(memory, default=0)),
        "memory_second_quarter_mb": round(statistics.fmean(second)) if second else 0,
        "memory_last_quarter_mb": round(statistics.fmean(last)) if last else 0,
        "memory_each_minute_mb": [round(one) for one in memory[:: max(1, round(60 / min(5.0, seconds / 20)))]],
    }


def rising(app: App, users: int, seed: int, seconds: float) -> list[dict[str, Any]]:
    """Rates one after the other, until one is too much."""
    watch, before = Watch(app), children_s()
    found = app.crowd("--users", str(users), "--rates", *map(str, RATES), "--seconds", str(seconds), "--until",
                      str(PASSED_MS / 1000), "--seed", str(seed))  # fmt: skip
    shares = watch.shares(children_s() - before)
    return [{"answers_per_s": rate, **times(seen, shares)} for rate, seen in zip(RATES, found, strict=False)]


def prove_load(options: Options) -> tuple[str, dict[str, Any]]:
    """All three parts; (knowledge digest, numbers). options.minutes: length of the soak, 0 = the full one."""
    load = getattr(os, "getloadavg", lambda: (0.0, 0.0, 0.0))
    before, began = load(), time.monotonic()
    seconds = 60 * (options.minutes or MINUTES)
    with running() as app:
        one = alone(app, options.seed, min(ALONE_S, max(5.0, seconds / 3)))
        many = soak(app, seconds, USERS, options.seed)
        steps = rising(app, USERS, options.seed, min(RATE_S[1], max(RATE_S[0], seconds / 10)))
    after = load()
    valid = one["valid"] and many["valid"]
    return load_knowledge().digest, {
        "load_before": round(before[1], 2),
        "load_after": round(after[1], 2),
        "took_minutes": round((time.monotonic() - began) / 60, 1),
        "alone": one,
        "soak": many,
        "rising": steps,
        "rate_beyond_one_second": next(
            (s["answers_per_s"] for s in steps if s["valid"] and s["p95_ms"] > PASSED_MS), None
        ),
        "limits": MOST,
        "valid": valid,
        "passes": valid and not missed(one, many),
        "missed": missed(one, many),
    }


def missed(one: dict[str, Any], many: dict[str, Any]) -> list[str]:
    """Which limits were not kept, in words. Times that are not valid miss nothing and pass nothing."""
    grown = many["memory_last_quarter_mb"] / max(1, many["memory_second_quarter_mb"]) - 1
    told = {
        f"cold start to the first question {one['cold_first_question_s']} s": one["valid"]
        and one["cold_first_question_s"] > MOST["cold_first_question_s"],
        f"an answer alone {one['median_ms']} ms": one["valid"] and one["median_ms"] > MOST["alone_median_ms"],
        f"95 of 100 answers within {many['p95_ms']} ms": many["valid"] and many["p95_ms"] > MOST["soak_p95_ms"],
        f"memory {many['memory_most_mb']} MB": many["memory_most_mb"] > MOST["memory_mb"],
        f"memory grows by {grown:.0%}": many["minutes"] >= GROWTH_FROM_MINUTES and grown > MOST["growth"],
        f"{many['failed'] + one['failed']} answers failed": many["failed"] + one["failed"] > 0,
    }
    return [line for line, wrong in told.items() if wrong]


def _spent(part: dict[str, Any]) -> str:
    """Who used the machine during a part, and whether its times count."""
    shares = ", ".join(f"{who} {part[f'{who}_share']:.0%}" for who in ("app", "visitors", "others"))
    word = "valid" if part["valid"] else "NOT VALID (upper bounds only)"
    return f"  of all cores: {shares}; the visitors' clock {part['visitors_late_p95_ms']} ms late (95th percentile): {word}"


def load_text(result: dict[str, Any]) -> str:
    """The result for people."""
    one, many = result["alone"], result["soak"]
    lines = [
        f"alone: first question {one['cold_first_question_s']} s after a cold start; an answer {one['median_ms']} ms "
        f"(median), {one['p95_ms']} ms (95th percentile)",
        _spent(one),
        f"{many['users']} users for {many['minutes']} minutes: {many['answers']} answers, median {many['median_ms']} ms, "
        f"95th percentile {many['p95_ms']} ms, most {many['most_ms']} ms, failed {many['failed']}",
        _spent(many),
        f"  processor time: the app {many['cpu_ms_per_screen']} ms a screen, a visitor {many['visitors_cpu_ms_per_answer']} ms "
        "an answer",
        f"memory: most {many['memory_most_mb']} MB, second quarter {many['memory_second_quarter_mb']} MB, last quarter "
        f"{many['memory_last_quarter_mb']} MB",
    ]
    lines += [f"  {s['answers_per_s']:g} answers a second: 95th percentile {s['p95_ms']} ms" for s in result["rising"]]
    lines += [_spent(s) for s in result["rising"][-1:]]
    lines.append(f"load of the machine before {result['load_before']}, after {result['load_after']}; "
                 f"{result['took_minutes']} minutes in all")  # fmt: skip
    if result["missed"]:
        lines.append("DOES NOT PASS: " + "; ".join(result["missed"]))
    else:
        lines.append("passes" if result["passes"] else "says nothing about waiting: run it again on a quiet machine")
    return "\n".join(lines)
