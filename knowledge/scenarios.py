"""Scenario cards of the training bench: an invented call with what is really wrong, and how it ought to be worked.

The shape, and what can be checked against the other cards. Whether the machine holds together and can show the faults is checked by
`diagnose.training.check_scenarios`, since only the simulated machine knows.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field

from knowledge.models import Card, Check, Id, Instrument, Qualification, Role, SureWord, Text, Title
from shared.errors import ReadingError
from shared.quantities import QUANTITIES, Kind
from shared.units import parse

if TYPE_CHECKING:
    from knowledge.load import Problem, RawCards

Difficulty = Literal["first", "usual", "hard"]
TOPICS: dict[str, str] = {
    "no-flow": "No flow",
    "pump-trip": "Pump trips",
    "phase-fault": "Phase or voltage fault",
    "low-suction": "Low suction",
    "high-head": "High head",
    "strainer": "Clogged strainer and its look-alikes",
    "control": "Control and start",
    "compressor": "Compressors",
    "misread": "Normal, but misread",
    "instrument": "An instrument that lies",
    "two-causes": "Two causes at once",
    "telephone": "By telephone",
}
DIFFICULTIES: dict[str, str] = {"first": "for the first weeks", "usual": "a usual day", "hard": "hard"}
ENDS: dict[str, str] = {
    "repair": "do what cures it, and prove it",
    "explain": "explain that it is normal",
    "hand-over": "hand over to whoever may do it",
    "stop": "stop, make safe, hand over",
}
Ends = Literal["repair", "explain", "hand-over", "stop"]


class ScenarioFault(Card):
    """What is wrong. severity: 0 (hardly) to 1 (as bad as it gets). place: "circuit:B"; empty: the first of its kind.

    acts_as: for a cause that the simulated machine cannot make, one whose readings and lamps it shares.
    """

    cause: Id
    severity: Annotated[float, Field(gt=0, le=1)] = 0.7
    place: str = ""
    acts_as: Id | None = None


class ScenarioLie(Card):
    """An instrument that lies in one of the ways of its card. quantity: which of its readings (empty: all); place: where (empty: all)."""

    instrument: Id
    mode: Id
    quantity: str = ""
    place: str = ""


class ScenarioAnswer(Card):
    """An answer that the author gives instead of the machine: a customer who is wrong, a detail of the story.

    Either an answer of the check, or readings by quantity. says: the words in which it comes. honest: false marks a wrong
    answer, which the debrief points out.
    """

    answer: Id | None = None
    readings: dict[str, Text] = {}
    sure: SureWord = "sure"
    says: str = ""
    honest: bool = True


class ScenarioConditions(Card):
    """The day. entering: return fluid, held; load_percent instead: the load is held and the return finds itself.

    wanted: how the machine stands when the person comes: asked to cool, or left standing. stages: compressors asked for (empty: what the control
    wants). minutes: since cooling started.
    """

    air: Text = "86 degF"
    entering: str = ""
    load_percent: Annotated[float, Field(gt=0, le=200)] | None = None
    minutes: Annotated[float, Field(ge=0, le=10000)] = 60
    stages: Annotated[int, Field(ge=1, le=48)] | None = None
    wanted: Literal["cooling", "pump-only", "powered", "standing"] = "cooling"
    volts: str = ""
    hertz: str = ""


class Scenario(Card):
    """One exercise. machine: id of a machine of the invented fleet, or a machine card.

    answers: by check id, or "check@place". ends: how the call should end for this person. points: what the debrief should point at.
    minutes: the time allowed. invented: said on every card, since none of it ever happened.
    """

    id: Id
    title: Title
    invented: Literal["yes"]
    difficulty: Difficulty
    topics: tuple[str, ...] = Field(min_length=1)
    complaint: Id
    words: Text
    role: Role = "technician"
    qualified: tuple[Qualification, ...] = ()
    machine: Id | dict[str, Any]
    changes: dict[str, Any] = {}
    conditions: ScenarioConditions = ScenarioConditions()
    context: tuple[Id, ...] = ()
    faults: tuple[ScenarioFault, ...] = Field(default=(), max_length=3)
    lies: tuple[ScenarioLie, ...] = Field(default=(), max_length=2)
    answers: dict[str, ScenarioAnswer] = {}
    ends: Ends = "repair"
    minutes: Annotated[float, Field(ge=5, le=600)] = 60
    points: tuple[Text, ...] = Field(min_length=1)
    sources: tuple[Id, ...] = ("common-practice",)


def scenario_problems(raw: RawCards) -> list[Problem]:
    """What is wrong with the scenarios beside the other cards; each problem names file, key and remedy."""
    cards: Mapping[str, Any] = raw.cards
    problems: list[Problem] = []
    for card in cards["scenarios"].values():
        problems += [raw.problem("scenarios", card.id, key, text) for key, text in reference_problems(card, cards)]
    return problems


def reference_problems(card: Scenario, cards: Mapping[str, Mapping[str, Any]]) -> list[tuple[str, str]]:
    """(key, text) of all that does not fit the other cards. cards: causes, checks, complaints, contexts, instruments, sources by id."""
    found: list[tuple[str, str]] = []

    def known(key: str, name: str, kind: str, what: str) -> bool:
        if name in cards[kind]:
            return True
        found.append((key, f"no {what} '{name}'; write that card or correct the id"))
        return False

    known("complaint", card.complaint, "complaints", "complaint")
    for one in card.context:
        known("context", one, "contexts", "context")
    for one in card.sources:
        known("sources", one, "sources", "source")
    for one in card.topics:
        if one not in TOPICS:
            found.append(("topics", f"no topic '{one}'; allowed: {', '.join(TOPICS)}"))
    for n, fault in enumerate(card.faults):
        known(f"faults.{n}.cause", fault.cause, "causes", "cause")
        if fault.acts_as is not None:
            known(f"faults.{n}.acts_as", fault.acts_as, "causes", "cause")
    twice = [f"{f.cause} {f.place}".strip() for f in card.faults]
    if len(set(twice)) < len(twice):
        found.append(("faults", "the same cause at the same place twice; remove one"))
    for n, lie in enumerate(card.lies):
        if known(f"lies.{n}.instrument", lie.instrument, "instruments", "instrument"):
            found += _mode(n, lie, cards["instruments"][lie.instrument])
    for name, given in card.answers.items():
        if known(f"answers.{name}", name.partition("@")[0], "checks", "check"):
            found += _answer(name, given, cards["checks"][name.partition("@")[0]])
    found += _ends(card, cards["causes"])
    found += _conditions(card.conditions)
    return found


def _mode(number: int, given: ScenarioLie, card: Instrument) -> Iterable[tuple[str, str]]:
    modes = [lie.mode for lie in card.lies]
    if given.mode not in modes:
        allowed = ", ".join(modes) or "none: its card lists no way to lie"
        yield f"lies.{number}.mode", f"'{card.id}' has no mode '{given.mode}'; allowed: {allowed}"
    if given.quantity and given.quantity not in card.quantities:
        yield (
            f"lies.{number}.quantity",
            f"'{card.id}' does not read '{given.quantity}'; allowed: {', '.join(card.quantities)}",
        )


def _answer(name: str, given: ScenarioAnswer, check: Check) -> Iterable[tuple[str, str]]:
    key = f"answers.{name}"
    if (given.answer is None) == (not given.readings):
        yield key, "give either answer or readings"
    if given.answer is not None and given.answer != "cannot-tell" and given.answer not in check.answers:
        yield (
            f"{key}.answer",
            f"'{given.answer}' is not an answer of '{check.id}'; allowed: {', '.join([*check.answers, 'cannot-tell'])}",
        )
    for quantity, text in given.readings.items():
        if quantity not in check.reads:
            yield (
                f"{key}.readings",
                f"'{check.id}' does not read '{quantity}'; allowed: {', '.join(check.reads) or 'none'}",
            )
            continue
        try:
            for part in text.split("/"):
                parse(part.strip(), QUANTITIES[quantity].kind)
        except ReadingError as error:
            yield f"{key}.readings.{quantity}", error.line()


def _ends(card: Scenario, causes: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    kinds = {causes[f.cause].kind for f in card.faults if f.cause in causes}
    if not card.faults and not card.lies and card.ends != "explain":
        yield (
            "ends",
            "nothing is wrong here and no instrument lies, so the call ends with an explanation: write explain",
        )
    if card.ends == "explain" and "fault" in kinds:
        yield "ends", "explain is for what is normal; this scenario has a fault: write repair, hand-over or stop"
    if card.role != "technician" and card.qualified:
        yield "qualified", "only a technician is qualified for anything; remove it or write role: technician"


def _conditions(card: ScenarioConditions) -> Iterable[tuple[str, str]]:
    for key, text, kind in (
        ("air", card.air, Kind.TEMPERATURE),
        ("entering", card.entering, Kind.TEMPERATURE),
        ("volts", card.volts, Kind.VOLTAGE),
        ("hertz", card.hertz, Kind.FREQUENCY),
    ):
        try:
            if text:
                parse(text, kind)
        except ReadingError as error:
            yield f"conditions.{key}", error.line()
    if card.entering and card.load_percent is not None:
        yield "conditions.load_percent", "either the return temperature is held or the load; remove one of the two"
