"""Scenarios against the simulated machine: does the machine hold together, can it have these faults, would anybody call about it?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pydantic import ValidationError

from diagnose.case_check import case_problems
from diagnose.demo import fleet
from diagnose.plant.faults import EFFECTS, shows_on
from diagnose.training.world import World, complaint_shows, machine_of, opening_case
from knowledge.load import Knowledge, Problem
from knowledge.scenarios import Scenario, reference_problems
from knowledge.yaml_text import YamlProblem, read_yaml
from shared.errors import CaseError, ChillerError

MOST_BYTES = 40_000


def plant_problems(scenario: Scenario, knowledge: Knowledge) -> list[tuple[str, str]]:
    """(key, text) of what the machine of a scenario cannot be or cannot show. Its references must hold."""
    if isinstance(scenario.machine, str) and scenario.machine not in fleet():
        return [("machine", f"no machine '{scenario.machine}' in the invented fleet; allowed: {', '.join(fleet())}")]
    try:
        machine_of(scenario)
        found = [("machine", p) for p in case_problems(opening_case(scenario), knowledge)]
        if found:
            return found
        world = World(scenario, knowledge, 1)
        found = [*_faults(world), *_lies(world), *_answers(world)]
        if not found and not _called_about(world):
            found.append(
                (
                    "complaint",
                    f"nothing here shows '{scenario.complaint}' and no fault's card lists it; "
                    "raise the severity, or change conditions or complaint",
                )
            )
        return found
    except ValidationError as error:
        one = error.errors()[0]
        return [("changes" if isinstance(scenario.machine, str) else "machine", f"{one['loc']}: {one['msg']}")]
    except ChillerError as error:
        return [("machine", error.line())]


def _faults(world: World) -> Iterable[tuple[str, str]]:
    for number, fault in enumerate(world.scenario.faults):
        cause = world.knowledge.causes[fault.cause]
        kind = [p.id for p in world.places.values() if p.kind == cause.place]
        if fault.place and fault.place not in kind:
            yield f"faults.{number}.place", f"'{fault.place}' is not on this machine; allowed: {', '.join(kind)}"
        made = fault.acts_as or fault.cause
        if fault.acts_as is not None and fault.acts_as not in EFFECTS:
            yield (
                f"faults.{number}.acts_as",
                f"the simulated machine does not make '{fault.acts_as}'; choose one that it makes",
            )
        elif made in EFFECTS and not shows_on(world.plant, EFFECTS[made]):
            yield f"faults.{number}.cause", f"needs {EFFECTS[made].needs}; choose another machine or cause"


def _lies(world: World) -> Iterable[tuple[str, str]]:
    for number, lie in enumerate(world.scenario.lies):
        if lie.place and lie.place not in world.places:
            yield f"lies.{number}.place", f"'{lie.place}' is not on this machine; allowed: {', '.join(world.places)}"


def _answers(world: World) -> Iterable[tuple[str, str]]:
    for name in world.scenario.answers:
        place = name.partition("@")[2]
        if place and place not in world.places:
            yield f"answers.{name}", f"'{place}' is not on this machine; allowed: {', '.join(world.places)}"


def _called_about(world: World) -> bool:
    listed = any(world.scenario.complaint in world.knowledge.causes[p.cause].complaints for p in world.present)
    told_wrong = any(not one.honest for one in world.scenario.answers.values())
    return listed or told_wrong or bool(complaint_shows(world))


def checked_scenario(data: Any, knowledge: Knowledge) -> Scenario:
    """A scenario from data that somebody wrote, checked as the shipped ones are; raises CaseError with every problem."""
    try:
        scenario = Scenario.model_validate(data)
    except ValidationError as error:
        lines = [f"{'.'.join(str(p) for p in one['loc'])}: {one['msg']}" for one in error.errors()]
        raise CaseError("the scenario does not hold together", list(dict.fromkeys(lines))) from None
    cards = {
        name: getattr(knowledge, name)
        for name in ("causes", "checks", "complaints", "contexts", "instruments", "sources")
    }
    problems = reference_problems(scenario, cards) or plant_problems(scenario, knowledge)
    if problems:
        raise CaseError("the scenario does not hold together", [f"{key}: {text}" for key, text in problems])
    return scenario


def read_scenario(text: str, knowledge: Knowledge) -> Scenario:
    """A scenario from YAML or JSON text; raises CaseError."""
    if len(text.encode()) > MOST_BYTES:
        raise CaseError(
            "too large", [f"scenario: given: {len(text)} characters; allowed: up to {MOST_BYTES}; shorten it"]
        )
    try:
        data, _ = read_yaml(text)
    except YamlProblem as error:
        raise CaseError("unreadable", [f"scenario: {error}"]) from None
    return checked_scenario(data, knowledge)


def scenario_problems(knowledge: Knowledge) -> list[Problem]:
    """Problems of all shipped scenarios with the simulated machine, for the keeper's check."""
    return [
        Problem(knowledge.where.get(f"scenarios/{s.id}", "?"), 1, f"{s.id}.{key}", text)
        for s in knowledge.scenarios.values()
        for key, text in plant_problems(s, knowledge)
    ]
