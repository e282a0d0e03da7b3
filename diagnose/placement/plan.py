"""What a placement stands at: facts, the state of every step, what comes next, and why something has to wait. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from diagnose.machine import read_machine
from diagnose.placement.record import Done, Placement
from knowledge.load import Knowledge
from knowledge.placement import FACTS, STAGES, PlacementStep

State = Literal["done", "not-right", "left", "next", "open", "waits", "not-here"]
ORDER = {stage: n for n, stage in enumerate(STAGES)}
ASSUMED = {"pump-in-use": "onboard"}


@dataclass(frozen=True)
class StepState:
    """One step. waits: what has to come first, in words; until: the moment a waiting time ends (None = none counts)."""

    card: PlacementStep
    state: State
    last: Done | None = None
    waits: tuple[str, ...] = ()
    until: datetime | None = None


@dataclass(frozen=True)
class Outlook:
    """Where a placement stands. facts: what is true now; steps: all that belong to this machine, in order; next: what to do now."""

    facts: Mapping[str, str]
    steps: tuple[StepState, ...]

    @property
    def next(self) -> tuple[StepState, ...]:
        """Steps that can be done now, the first one first."""
        return tuple(s for s in self.steps if s.state == "next")

    def of(self, step: str) -> StepState | None:
        """The state of one step."""
        return next((s for s in self.steps if s.card.id == step), None)


def ordered(steps: Iterable[PlacementStep]) -> list[PlacementStep]:
    """Steps in the order of the job."""
    return sorted(steps, key=lambda s: (ORDER[s.stage], s.number))


def facts_of(placement: Placement, knowledge: Knowledge) -> dict[str, str]:
    """What is true after everything done so far; only what was done counts, not what was left out or was not right."""
    facts = {name: words[0] for name, words in FACTS.items()}
    for entry in placement.entries:
        step = knowledge.steps.get(entry.step)
        if step is not None and entry.outcome == "done":
            facts.update(step.sets)
    return facts


def lacking_facts(step: PlacementStep, facts: Mapping[str, str]) -> tuple[str, ...]:
    """What has to be true before a step and is not, in words."""
    return tuple(
        f"{fact}: {' or '.join(words)} (now {facts[fact]})"
        for fact, words in step.requires.items()
        if facts[fact] not in words
    )


def belongs(step: PlacementStep, machine_facts: Mapping[str, str]) -> bool:
    """Whether a step is one of a machine's (a glycol step, a site pump)."""
    return all({**ASSUMED, **machine_facts}.get(name) in words for name, words in step.when.items())


def outlook(placement: Placement, knowledge: Knowledge) -> Outlook:
    """The state of every step. A step waits for its facts, for the musts of earlier stages, and for waiting times."""
    facts = facts_of(placement, knowledge)
    last: dict[str, Done] = {}
    taken_back: set[str] = set()
    for entry in placement.entries:
        last[entry.step] = entry
        card = knowledge.steps.get(entry.step)
        if card is None or entry.outcome != "done":
            continue
        taken_back.discard(card.id)
        if _is_return(card):  # what was made ready has to be made ready again: a drained loop, a cold sump
            undone = {
                s for s in last if any(f in card.sets and card.sets[f] != w for f, w in knowledge.steps[s].sets.items())
            }
            taken_back |= {s for s in undone if knowledge.steps[s].stage not in ("receive", "return")}
    rows: list[StepState] = []
    owed: list[PlacementStep] = []
    owing_until: datetime | None = None
    now = _latest(placement)
    machine_facts = read_machine(placement.machine).facts
    for step in ordered(knowledge.steps.values()):
        if not belongs(step, machine_facts):
            continue
        done = last.get(step.id)
        stale = done is not None and done.outcome == "done" and step.id in taken_back
        if done is not None and not stale and not (step.again and done.outcome == "done"):
            until = _until(step, done)
            rows.append(StepState(step, done.outcome, done, (), until))
            if done.outcome == "not-right" and step.must:
                owed.append(step)
            if until is not None and (now is None or until > now):
                owing_until = max(until, owing_until) if owing_until else until
            continue
        waits = list(lacking_facts(step, facts))
        waits += [
            f"first: {one.title}" for one in owed if ORDER[one.stage] < ORDER[step.stage] and not _is_return(step)
        ]
        rows.append(StepState(step, "waits" if waits else "next", done, tuple(waits), owing_until))
        if step.must and not step.again:
            owed.append(step)
    return Outlook(facts, tuple(rows))


def _is_return(step: PlacementStep) -> bool:
    """A machine may be taken back at any stage."""
    return step.stage == "return"


def _until(step: PlacementStep, done: Done) -> datetime | None:
    if not step.wait_minutes or done.outcome != "done":
        return None
    at = _moment(done.at)
    return at + timedelta(minutes=step.wait_minutes) if at is not None else None


def _moment(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text) if text else None
    except ValueError:
        return None


def _latest(placement: Placement) -> datetime | None:
    return next((m for e in reversed(placement.entries) if (m := _moment(e.at)) is not None), None)
