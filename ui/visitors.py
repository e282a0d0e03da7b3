"""Many visitors at once, each with a call of its own: `python -m ui.visitors --help`. For `prove load`; prints JSON.

An answer is due at its time whether or not the one before has come back; how long it took counts from then, so that a slow
app cannot make its own numbers better. What is measured: from the tap sent on the page's socket to the new screen with its
receipt read back, on this machine, without a browser's drawing.
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


@dataclass
class Crowd:
    """All visitors of one app and what they saw. due, took: seconds since the start, seconds."""

    address: str
    store: Store
    dice: random.Random
    took: list[tuple[float, float]] = field(default_factory=list)
    opened: list[float] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    began: float = field(default_factory=time.monotonic)

    def new_call(self) -> str:
        """A call on one of the invented machines, for a technician who may do anything."""
        header: dict[str, Any] = {
            "complaint": self.dice.choice(sorted(load_knowledge().complaints)),
            "qualified": list(QUALIFIED),
            "machine": self.dice.choice(list(fleet().values())),
        }
        return self.store.open_call(header, by="Load")

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


async def soak(crowd: Crowd, users: int, every: float, burst: int, seconds: float) -> None:
    """Each user answers every so many seconds; once a minute a burst answers within one second on top."""
    everybody = [await crowd.visitor() for _ in range(users)]
    crowd.took.clear()
    crowd.began = start = time.monotonic()
    times = [
        (start + phase + turn * every, one)
        for one in everybody
        for phase in [crowd.dice.uniform(0, every)]
        for turn in range(int((seconds - phase) / every) + 1)
    ]
    for minute in range(int(seconds // 60) or 1):
        at = start + minute * 60 + min(30.0, seconds / 2)
        times += [(at + crowd.dice.random(), one) for one in crowd.dice.sample(everybody, min(burst, users))]
    await _at_their_times(sorted(times, key=lambda t: t[0]))
    await asyncio.gather(*(one.page.leave() for one in everybody))


async def ramp(crowd: Crowd, users: int, rate: float, seconds: float) -> None:
    """Answers at random moments, so many a second in the mean, from whoever is next."""
    everybody = [await crowd.visitor() for _ in range(users)]
    crowd.took.clear()
    crowd.began = now = time.monotonic()
    times: list[tuple[float, One]] = []
    end = now + seconds
    while (now := now + crowd.dice.expovariate(rate)) < end:
        times.append((now, everybody[len(times) % users]))
    await _at_their_times(times)
    await asyncio.gather(*(one.page.leave() for one in everybody))


async def _at_their_times(times: Sequence[tuple[float, One]]) -> None:
    running = []
    for due, one in times:
        await asyncio.sleep(max(0.0, due - time.monotonic()))
        running.append(asyncio.create_task(one.answer(due)))
    await asyncio.gather(*running)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one crowd and print what it saw."""
    parser = argparse.ArgumentParser(prog="python -m ui.visitors", description="Many visitors without browsers.")
    parser.add_argument("--address", required=True, help="http://host:port of a running app")
    parser.add_argument("--store", required=True, help="the store of that app, to open calls in")
    parser.add_argument("--users", type=int, default=50)
    parser.add_argument("--every", type=float, default=20.0, help="seconds between a user's answers")
    parser.add_argument("--burst", type=int, default=10, help="users who answer within one second, once a minute")
    parser.add_argument("--rate", type=float, default=0.0, help="instead: answers a second at random moments")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    store = Store(given.store)
    crowd = Crowd(given.address, store, random.Random(given.seed))
    if given.rate:
        asyncio.run(ramp(crowd, given.users, given.rate, given.seconds))
    else:
        asyncio.run(soak(crowd, given.users, given.every, given.burst, given.seconds))
    store.close()
    print(json.dumps({"took": crowd.took, "opened": crowd.opened, "failed": crowd.failed}))
    return 0


if __name__ == "__main__":
    sys.exit(main())
