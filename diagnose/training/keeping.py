"""Sessions and scenarios to and from the store: a reload, a restart or another device finds the exercise where it was."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import blake2b
from typing import Any

from pydantic import ValidationError

from diagnose.store import Store
from diagnose.store.training import SessionRecord
from diagnose.training.checking import checked_scenario
from diagnose.training.draw import draw_scenario
from diagnose.training.session import Happening, Mode, Part, Session, start
from knowledge.load import Knowledge
from knowledge.scenarios import Scenario
from shared.errors import CaseError, StoreError

Step = Callable[[Session], Session]


class Assignment(Part):
    """What a class works on: one scenario for all, or one drawn for each by difficulty and topic. seed decides the answers."""

    scenario: str = ""
    difficulty: str = ""
    topic: str = ""
    seed: int = 1
    mode: Mode = "exam"


@dataclass(frozen=True)
class Kept:
    """A session as the store has it."""

    id: str
    session: Session
    revision: int
    class_code: str
    last_at: datetime


def _kept(record: SessionRecord) -> Kept:
    try:
        session = Session.model_validate(
            {**record.header, "trainee": record.trainee, "happenings": list(record.events)}
        )
    except ValidationError as error:
        where = ".".join(str(p) for p in error.errors()[0]["loc"])
        raise StoreError("this exercise cannot be read", given=where, do="begin another one") from None
    return Kept(record.id, session, record.revision, record.class_code, record.last_at)


def begin(store: Store, session: Session, *, key: str, class_code: str = "", at: datetime | None = None) -> str:
    """Keep a session that was just started; its id. Raises StoreError."""
    header = session.model_dump(mode="json", exclude_defaults=True, exclude={"happenings", "trainee"})
    return store.training.begin(header, trainee=session.trainee, key=key, class_code=class_code, at=at)


def kept(store: Store, session_id: str) -> Kept:
    """A session by its id. Raises StoreError."""
    return _kept(store.training.session(session_id))


def of_class(store: Store, code: str) -> list[Kept]:
    """All sessions of a class. Raises StoreError."""
    return [_kept(one) for one in store.training.sessions(code)]


def act(
    store: Store, session_id: str, step: Step, *, key: str, after_revision: int, at: datetime | None = None
) -> Kept:
    """Do one step of a session and keep it; done with the same key before, it is not done again.

    Raises ChillerError for what cannot be done, Conflict when the session has moved on.
    """
    record = store.training.session(session_id)
    before = _kept(record)
    if before.revision != after_revision:
        # the store knows whether this very step was kept; its body is not looked at then
        return _kept(
            store.training.add(session_id, {}, key=key, after_revision=after_revision, by=before.session.trainee, at=at)
        )
    new = step(before.session).happenings[-1]
    return _kept(
        store.training.add(
            session_id, body_of(new), key=key, after_revision=after_revision, by=before.session.trainee, at=at
        )
    )


def body_of(happening: Happening) -> dict[str, Any]:
    """A happening as plain data."""
    return happening.model_dump(mode="json", exclude_defaults=True)


def all_scenarios(store: Store, knowledge: Knowledge) -> dict[str, Scenario]:
    """Shipped scenarios and those that trainers wrote; one that no longer fits the cards is left out."""
    found: dict[str, Scenario] = dict(knowledge.scenarios)
    for scenario_id, body in store.training.scenarios().items():
        try:
            found[scenario_id] = Scenario.model_validate(body)
        except ValidationError:
            continue
    return found


def keep_scenario(store: Store, knowledge: Knowledge, data: Mapping[str, Any], *, by: str) -> Scenario:
    """Check a scenario that somebody wrote and keep it. Raises CaseError with every problem; ids of shipped ones are taken."""
    scenario = checked_scenario(dict(data), knowledge)
    if scenario.id in knowledge.scenarios:
        raise CaseError("scenario", [f"id: '{scenario.id}' is a shipped one; give another id"])
    store.training.keep_scenario(scenario.id, scenario.model_dump(mode="json", exclude_defaults=True), by=by)
    return scenario


def open_class(store: Store, title: str, assignment: Assignment, *, by: str) -> str:
    """Open a class; its code. Raises StoreError."""
    return store.training.open_class(title, assignment.model_dump(mode="json"), by=by)


def join(store: Store, knowledge: Knowledge, code: str, trainee: str, *, key: str) -> str:
    """Begin the exercise of a class; the session's id. Raises StoreError, ChillerError."""
    group = store.training.one_class(code)
    given = Assignment.model_validate(group.body)
    scenarios = all_scenarios(store, knowledge)
    if given.scenario:
        chosen = scenarios.get(given.scenario)
        if chosen is None:
            raise StoreError("the scenario of this class is gone", given=given.scenario, do="tell the trainer")
    else:
        # each trainee another one, the same again for the same name
        own = int.from_bytes(blake2b(f"{given.seed}:{trainee}".encode(), digest_size=4).digest(), "big")
        chosen = draw_scenario(scenarios, own, given.difficulty, given.topic)
    return begin(store, start(chosen, given.seed, given.mode, trainee), key=key, class_code=group.code)
