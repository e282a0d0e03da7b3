"""Many visitors at once, each with a call of its own: `python -m ui.visitors --help`. For `prove load`; prints JSON.

An answer is due at its time whether or not the one before has come back; how long it took counts from then, so that a slow
app cannot make its own numbers better. What is measured: from the tap sent on the page's socket to the new screen with its
receipt read back, on this machine, without a browser's drawing. The visitors tell what they cost themselves: their processor
time, and how late their own clock came, since a tap sent late looks like a slow app.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import random
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from diagnose.demo import fleet
from diagnose.store import Store
from knowledge.load import load_knowledge
from ui.visitor import Visitor

QUALIFIED = ("electrical", "refrigerant", "height")
TOO_LONG_S = 120.0
LOOK_S = 0.05
WARM_ANSWERS = 1  # of each visitor before anything counts: the first screen of a page compiles and loads


@dataclass
class Crowd:
    """All visitors of one app and what they saw. due, took: seconds since the start, seconds."""

    address: str
    store: Store
    dice: random.Random
    took: list[tuple[float, float]] = field(default_factory=list)
    opened: list[float] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    late: list[float] = field(default_factory=list)
    began: float = field(default_factory=time.monotonic)
    used: float = 0.0

    def new_call(self) -> str:
        """A call on one of the invented machines, for a technician who may do anything."""
        header: dict[str, Any] = {
            "complaint": self.dice.choice(sorted(load_knowledge().complaints)),
            "qualified": list(QUALIFIED),
            "machine": self.dice.choice(list(fleet().values())),
        }
        return self.store.open_call(header, by="Load")

    def start(self) -> float:
        """Forget what was so far (warm-up, opening); the moment from which is counted."""
        for seen in (self.took, self.opened, self.failed, self.late):
            seen.clear()
        self.used, self.began = time.process_time(), time.monotonic()
        return self.began

    def seen(self) -> dict[str, Any]:
        """What was seen since the start; seconds: how long that was, used: processor seconds of the visitors themselves."""
        return {
            "seconds": time.monotonic() - self.began,
            "used": time.process_time() - self.used,
            "took": list(self.took),
            "opened": list(self.opened),
            "failed": list(self.failed),
            "late": list(self.late),
        }

    async def watch_the_clock(self) -> None:
        """Note how much later than asked for a short pause ends: taps of that moment are sent as late."""
        while True:
            due = time.monotonic() + LOOK_S
            await asyncio.sleep(LOOK_S)
            self.late.append(time.monotonic() - due)

    async def visitor(self) -> One:
        """A visitor with a fresh call, its first question on the screen."""
        one = One(self)
        await one.fresh()
        return one


class One:
    """One visitor."""

    def __init__(self, crowd: Crowd) -> None:
        self.crowd, self.page, self.busy = crowd, None, asyncio.Lock()

    async def fresh(self) -> None:
        """Go to a new call."""
        if self.page is not None:
            await self.page.leave()
        call, started = self.crowd.new_call(), time.monotonic()
        self.page = await Visitor.at(self.crowd.address, f"call={call}")
        self.crowd.opened.append(time.monotonic() - started)

    async def answer(self, due: float) -> None:
        """Answer what is asked, due at a moment of the monotonic clock; note how long it took from then."""
        async with self.busy:
            try:
                keys = self.page.keys("-ans-")
                while not keys:  # a verdict or a stop: that call is done
                    await self.fresh()
                    keys, due = self.page.keys("-ans-"), time.monotonic()
                key = self.crowd.dice.choice(keys)
                await self.page.tap(key, TOO_LONG_S)
                if "saved" not in self.page.text:
                    self.crowd.failed.append(f"no receipt after {key}")
                self.crowd.took.append((due - self.crowd.began, time.monotonic() - due))
            except Exception as error:  # counted, told, and the visitor comes again
                self.crowd.failed.append(f"{type(error).__name__}: {error}"[:200])
                await self.fresh()


async def everybody(crowd: Crowd, users: int) -> list[One]:
    """All visitors, each with a call on the screen and warmed up."""
    there = [await crowd.visitor() for _ in range(users)]
    for _ in range(WARM_ANSWERS):
        for one in there:
            await one.answer(time.monotonic())
    return there


async def soak(crowd: Crowd, users: int, every: float, burst: int, seconds: float) -> list[dict[str, Any]]:
    """Each user answers every so many seconds; once a minute a burst answers within one second on top."""
    there = await everybody(crowd, users)
    start = crowd.start()
    times = [
        (start + phase + turn * every, one)
        for one in there
        for phase in [crowd.dice.uniform(0, every)]
        for turn in range(int((seconds - phase) / every) + 1)
    ]
    for minute in range(int(seconds // 60) or 1):
        at = start + minute * 60 + min(30.0, seconds / 2)
        times += [(at + crowd.dice.random(), one) for one in crowd.dice.sample(there, min(burst, users))]
    await _at_their_times(crowd, sorted(times, key=lambda t: t[0]))
    seen = crowd.seen()
    await asyncio.gather(*(one.page.leave() for one in there))
    return [seen]


async def ramp(crowd: Crowd, users: int, rates: Sequence[float], seconds: float, until: float) -> list[dict[str, Any]]:
    """Answers at random moments from whoever is next, at one rate a second after the other, until ``until`` is passed by
    more than one answer in twenty."""
    there = await everybody(crowd, users)
    steps = []
    for rate in rates:
        now = crowd.start()
        times: list[tuple[float, One]] = []
        end = now + seconds
        while (now := now + crowd.dice.expovariate(rate)) < end:
            times.append((now, there[len(times) % users]))
        await _at_their_times(crowd, times)
        steps.append(crowd.seen())
        if sum(took > until for _, took in crowd.took) > 0.05 * len(crowd.took):
            break
    await asyncio.gather(*(one.page.leave() for one in there))
    return steps


async def first(crowd: Crowd) -> float:
    """Wait for the app with a call in hand, like a page that is loaded again and again; the moment of its first question."""
    call = crowd.new_call()
    print("ready", flush=True)
    for _ in range(1200):
        try:
            page = await Visitor.at(crowd.address, f"call={call}")
        except OSError:
            await asyncio.sleep(0.05)
            continue
        drawn = time.time()
        if not page.keys("-ans-"):
            raise RuntimeError("no question on the first screen")
        await page.leave()
        return drawn
    raise RuntimeError("the app does not answer")


async def _at_their_times(crowd: Crowd, times: Sequence[tuple[float, One]]) -> None:
    running, clock = [], asyncio.create_task(crowd.watch_the_clock())
    for due, one in times:
        await asyncio.sleep(max(0.0, due - time.monotonic()))
        running.append(asyncio.create_task(one.answer(due)))
    await asyncio.gather(*running)
    clock.cancel()


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one crowd and print what it saw."""
    parser = argparse.ArgumentParser(prog="python -m ui.visitors", description="Many visitors without browsers.")
    parser.add_argument("--address", required=True, help="http://host:port of a running app")
    parser.add_argument("--store", required=True, help="the store of that app, to open calls in")
    parser.add_argument("--users", type=int, default=50)
    parser.add_argument("--every", type=float, default=20.0, help="seconds between a user's answers")
    parser.add_argument("--burst", type=int, default=10, help="users who answer within one second, once a minute")
    parser.add_argument(
        "--rates", type=float, nargs="+", help="instead: answers a second at random moments, one after the other"
    )
    parser.add_argument(
        "--until", type=float, default=1.0, help="seconds; no further rate where one in twenty takes longer"
    )
    parser.add_argument("--seconds", type=float, default=60.0, help="of the soak, or of each rate")
    parser.add_argument("--first", action="store_true", help="instead: print when the first question of an app that is started "
                                                            "now stands there (seconds since 1970)")  # fmt: skip
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    store = Store(given.store)
    crowd = Crowd(given.address, store, random.Random(given.seed))
    if given.first:
        print(asyncio.run(first(crowd)))
        store.close()
        return 0
    if given.rates:
        steps = asyncio.run(ramp(crowd, given.users, given.rates, given.seconds, given.until))
    else:
        steps = asyncio.run(soak(crowd, given.users, given.every, given.burst, given.seconds))
    store.close()
    print(json.dumps(steps))
    return 0


if __name__ == "__main__":
    sys.exit(main())
