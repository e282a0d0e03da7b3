"""Choose a scenario: by difficulty and topic, by the seed."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping

from knowledge.scenarios import DIFFICULTIES, TOPICS, Scenario
from shared.errors import ChillerError


def fitting(scenarios: Mapping[str, Scenario], difficulty: str = "", topic: str = "") -> list[Scenario]:
    """Scenarios of a difficulty and a topic ("" = any), in id order. Raises ChillerError for an unknown word."""
    if difficulty and difficulty not in DIFFICULTIES:
        raise ChillerError("no such difficulty", given=difficulty, allowed=", ".join(DIFFICULTIES), do="choose one")
    if topic and topic not in TOPICS:
        raise ChillerError("no such topic", given=topic, allowed=", ".join(TOPICS), do="choose one")
    found = (s for _, s in sorted(scenarios.items()))
    return [s for s in found if difficulty in ("", s.difficulty) and (not topic or topic in s.topics)]


def draw_scenario(
    scenarios: Mapping[str, Scenario], seed: int, difficulty: str = "", topic: str = "", done: Iterable[str] = ()
) -> Scenario:
    """One of those that fit, the same for the same seed; one not among ``done`` while there is one. Raises ChillerError for none."""
    found = fitting(scenarios, difficulty, topic)
    if not found:
        raise ChillerError(
            "no scenario of this difficulty and topic",
            given=f"{difficulty or 'any'}, {topic or 'any'}",
            do="leave one of the two open",
        )
    fresh = [s for s in found if s.id not in set(done)]
    return random.Random(f"training:{seed}:{difficulty}:{topic}").choice(fresh or found)
