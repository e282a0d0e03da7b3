"""One trainee's work on a scenario: looks, remedies tried, choices that were stopped, the cause named.

Every function takes a session and gives a new one with one more happening; a session is its scenario, its seed and its
happenings, so it can be stored line by line and read again.
"""

from __future__ import annotations

import random
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from diagnose.case import Case, Entry
from diagnose.looks import Gates, allowed, fits_machine, gates_of, opened_access, unmet_needs
from diagnose.phrases import QUALIFICATIONS, ROLES, hazard_words, needed_state
from diagnose.places import spell
from diagnose.plan import INSTRUMENT_MINUTES, hand_over_to, hazard_minutes, look_minutes, may_do
from diagnose.training.world import World, opening_case, world_of
from diagnose.work import Work, prepare
from knowledge.load import Knowledge
from knowledge.models import Check, Remedy
from knowledge.scenarios import Ends, Scenario
from shared.errors import ChillerError, shorten

Mode = Literal["guided", "exam"]
MODES: dict[str, str] = {
    "guided": "guided: the ranking and the next checks are shown",
    "exam": "exam: no ranking, no proposals",
}
Kind = Literal["look", "remedy", "stopped", "named"]
Barrier = Literal["", "authority", "stop", "hazard", "state", "needs", "ask-first"]
# safety marks of a choice that had to be stopped: common practice, no source; a question left out counts least
MARKS: dict[str, int] = {"authority": 3, "stop": 3, "hazard": 3, "state": 2, "needs": 3, "ask-first": 1}
MOST_NAMED = 3


class Part(BaseModel):
    """Strict and immutable."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Happening(Part):
    """One thing the trainee did. told: what it gave, as shown. true: what an honest answer would have been. why: of a stop.

    mended: marks of what a remedy put right, never shown. marks: safety marks.
    """

    kind: Kind
    check: str = ""
    place: str = ""
    remedy: str = ""
    title: str = ""
    told: str = ""
    true: str = ""
    honest: bool = True
    entries: tuple[Entry, ...] = ()
    minutes: float = Field(default=0.0, ge=0)
    marks: int = Field(default=0, ge=0)
    barrier: Barrier = ""
    why: str = ""
    outcome: Literal["", "cured", "better", "not-cured"] = ""
    mended: tuple[str, ...] = ()
    causes: tuple[str, ...] = ()
    ends: Ends | None = None


class Session(Part):
    """The work so far. seed decides every answer; the scenario is kept whole, so that a later change of its card changes nothing here."""

    scenario: Scenario
    seed: int = 1
    mode: Mode = "exam"
    trainee: str = Field(default="", max_length=100)
    happenings: tuple[Happening, ...] = Field(default=(), max_length=500)

    @property
    def case(self) -> Case:
        """The call as it stands, for the reasoning and for whoever takes over."""
        opening = opening_case(self.scenario)
        return opening.model_copy(update={"entries": tuple(e for h in self.happenings for e in h.entries)})

    def case_after(self, count: int) -> Case:
        """The call after the first ``count`` happenings."""
        return self.model_copy(update={"happenings": self.happenings[:count]}).case

    @property
    def minutes(self) -> float:
        """Minutes spent on finding it: looks, and remedies in vain. A cure takes what it takes, whoever finds it."""
        return sum(h.minutes for h in self.happenings if not h.mended)

    @property
    def marks(self) -> int:
        """Safety marks so far."""
        return sum(h.marks for h in self.happenings)

    @property
    def late(self) -> bool:
        """Whether the time allowed is used up: only naming the cause is left."""
        return self.minutes >= self.scenario.minutes

    @property
    def named(self) -> Happening | None:
        """What the trainee named, None while the work goes on."""
        return next((h for h in self.happenings if h.kind == "named"), None)

    @property
    def mended(self) -> tuple[str, ...]:
        """Marks of everything put right so far."""
        return tuple(sorted({m for h in self.happenings for m in h.mended}))

    def world(self, knowledge: Knowledge) -> World:
        """The machine as it stands now."""
        return world_of(self.scenario, knowledge, self.seed, self.mended)


def start(scenario: Scenario, seed: int = 1, mode: Mode = "exam", trainee: str = "") -> Session:
    """A session in which nothing was done yet."""
    return Session(scenario=scenario, seed=seed, mode=mode, trainee=shorten(trainee, 100))


def _and(session: Session, happening: Happening) -> Session:
    return session.model_copy(update={"happenings": (*session.happenings, happening)})


def _open(session: Session, *, naming: bool = False) -> None:
    if session.named is not None:
        raise ChillerError("the cause was named, this exercise is over", do="look at the debrief")
    if session.late and not naming:
        raise ChillerError(
            "the time is up",
            given=f"{session.minutes:g} min",
            allowed=f"{session.scenario.minutes:g} min",
            do="name the cause with what you know",
        )


# what stops a choice -------------------------------------------------------------------------------------------------------


def _person(case: Case) -> str:
    able = ", ".join(QUALIFICATIONS[q] for q in case.qualified)
    return ROLES[case.role] + (f" qualified for {able}" if able else "")


def _standing_stop(work: Work) -> str:
    """An ending stop that holds now, in words; "" for none."""
    for one in work.conclusions.of("stop"):
        if one.rule.then.ends:
            then = one.rule.then
            return f"{then.reason} {then.make_safe} Hand over to {ROLES.get(then.hand_over_to, then.hand_over_to)}."
    return ""


def _forbidden_by(work: Work, hazards: set[str], state: str) -> str:
    """Reasons of the rules that forbid these hazards or this state now."""
    said = []
    for one in work.conclusions.of("gate", "hold-point", "stop"):
        then = one.rule.then
        running = state in ("cooling", "steady") and "cooling" in then.forbid_states
        running = running or (state in ("pump-only", "pump-on") and "pump-only" in then.forbid_states)
        if hazards & set(then.forbid_hazards) or state in then.forbid_states or running:
            said.append(then.reason or (f"{then.hold} Until: {then.release}" if then.hold else one.rule.because))
    return " ".join(dict.fromkeys(said))


def barrier_to_look(work: Work, gates: Gates, check: Check) -> tuple[Barrier, str]:
    """What stands against a look now, with the reason in words; ("", "") when it may be done."""
    case, knowledge = work.case, work.knowledge
    if not may_do(check.who, check.needs_qualified, case.role, case.qualified):
        needs = ", ".join(QUALIFICATIONS[q] for q in check.needs_qualified)
        who = ROLES[check.who] + (f" qualified for {needs}" if needs else "")
        return "authority", f"This is for {who}. At the machine is {_person(case)}."
    stop = _standing_stop(work)
    if stop and not check.safety:
        return "stop", f"A stop holds. {stop}"
    if not allowed(check, case, gates):
        hazards = set(check.hazards) & gates.hazards
        why = _forbidden_by(work, {str(h) for h in check.hazards}, check.state)
        asked = "; ".join(knowledge.checks[c].title for c in gates.ask_first)
        if hazards and not why and asked:
            return "ask-first", f"Ask first: {asked}. Until that is known, nothing with a hazard is done."
        if hazards:
            return "hazard", f"Now forbidden ({hazard_words(hazards)}). {why}"
        return "state", f"The machine must not be {needed_state(check.state) or check.state} now. {why}"
    return _needs(work, check.needs)


def _needs(work: Work, needs: dict[str, tuple[str, ...]]) -> tuple[Barrier, str]:
    unmet = unmet_needs(work, needs)
    if unmet is None:
        told = "; ".join(work.knowledge.checks[c].title for c in needs)
        return "needs", f"What was answered forbids it: {told}."
    if unmet:
        return "ask-first", f"Ask first: {'; '.join(work.knowledge.checks[c].title for c in unmet)}."
    return "", ""


def barrier_to_remedy(work: Work, gates: Gates, remedy: Remedy) -> tuple[Barrier, str]:
    """The same for a remedy."""
    case = work.case
    beyond = hand_over_to(remedy, case.role, case.qualified)
    if beyond:
        return "authority", f"This is for {ROLES.get(beyond, beyond)}: hand over. At the machine is {_person(case)}."
    stop = _standing_stop(work)
    if stop:
        return "stop", f"A stop holds. {stop}"
    if remedy.id in gates.remedies:
        why = [
            c.rule.then.reason or c.rule.because
            for c in work.conclusions.fired
            if remedy.id in c.rule.then.forbid_remedies
        ]
        return "hazard", f"Now forbidden. {' '.join(dict.fromkeys(why))}"
    hazards = {str(h) for h in remedy.hazards} & gates.hazards
    if hazards:
        why_words = _forbidden_by(work, hazards, "")
        asked = "; ".join(work.knowledge.checks[c].title for c in gates.ask_first)
        if asked and not why_words:
            return "ask-first", f"Ask first: {asked}. Until that is known, nothing with a hazard is done."
        return "hazard", f"Now forbidden ({hazard_words(hazards)}). {why_words}"
    return _needs(work, remedy.needs)


# looks ---------------------------------------------------------------------------------------------------------------------


def look(session: Session, knowledge: Knowledge, check_id: str, place: str = "") -> Session:
    """Do a look at a place (empty: where somebody would look first). Raises ChillerError: no such check or place, time up, over."""
    _open(session)
    check = knowledge.checks.get(check_id)
    if check is None:
        raise ChillerError("no such check", given=check_id, allowed="an id listed by `checks`", do="search for it")
    world = session.world(knowledge)
    at = world.places_for_check(check)
    if place and place not in at:
        raise ChillerError(
            "this check is not done there", given=place, allowed=", ".join(at) or "nowhere", do="choose one"
        )
    where = place or world.usual_place(check.place)
    title = check.title + (f" ({spell(where)})" if ":" in where and len(at) > 1 else "")
    work = prepare(session.case, knowledge)
    barrier, why = barrier_to_look(work, gates_of(work), check)
    if barrier:
        return _and(
            session,
            Happening(
                kind="stopped", check=check.id, place=where, title=title, barrier=barrier, marks=MARKS[barrier], why=why
            ),
        )
    asking = knowledge.words.verdict["exercise-question-minutes"]
    if not fits_machine(check, work.facts):
        text = "This machine has no such part."
        return _and(
            session, Happening(kind="look", check=check.id, place=where, title=title, told=text, minutes=asking)
        )
    told = world.look(check, where)
    cost = asking + (0.0 if told.note else look_minutes(knowledge, check, opened_access(work), work.state))
    return _and(
        session,
        Happening(
            kind="look",
            check=check.id,
            place=where,
            title=title,
            told=told.text,
            true=told.true,
            honest=told.honest,
            entries=told.entries,
            minutes=cost,
        ),
    )


# remedies ------------------------------------------------------------------------------------------------------------------


class Offer(Part):
    """A remedy as one chooses it. cause: id of a card that has it ("" for an instrument)."""

    id: str
    text: str
    minutes: float
    cause: str = ""
    place: str = "unit"


def offers(knowledge: Knowledge) -> dict[str, Offer]:
    """Every remedy of the base once, and putting right each kind of instrument that may lie."""
    out: dict[str, Offer] = {}
    for cause in knowledge.causes.values():
        one = cause.remedy
        out.setdefault(
            one.id,
            Offer(
                id=one.id, text=one.text, minutes=one.minutes + cause.proof_minutes, cause=cause.id, place=cause.place
            ),
        )
    for kind in knowledge.instruments.values():
        if kind.lies:
            name = f"instrument:{kind.id}"
            text = (
                f"{kind.title[0].upper() + kind.title[1:]}: {kind.remedy or 'compare it with another and exchange it.'}"
            )
            out[name] = Offer(id=name, text=text, minutes=INSTRUMENT_MINUTES)
    return out


def attempt(session: Session, knowledge: Knowledge, remedy_id: str, place: str = "") -> Session:
    """Try a remedy and see whether it cured. Raises ChillerError: no such remedy, time up, over."""
    _open(session)
    offer = offers(knowledge).get(remedy_id)
    if offer is None:
        raise ChillerError("no such remedy", given=remedy_id, allowed="an id of a cause's remedy", do="choose one")
    world = session.world(knowledge)
    own = [p.id for p in world.places.values() if p.kind == offer.place]
    if place and place not in own:
        raise ChillerError("this remedy is not done there", given=place, allowed=", ".join(own), do="choose one")
    where = place or world.usual_place(offer.place)
    title = offer.text + (f" ({spell(where)})" if ":" in where and len(own) > 1 else "")
    minutes = offer.minutes
    if offer.cause:
        remedy = knowledge.causes[offer.cause].remedy
        work = prepare(session.case, knowledge)
        barrier, why = barrier_to_remedy(work, gates_of(work), remedy)
        if barrier:
            return _and(
                session,
                Happening(
                    kind="stopped",
                    remedy=remedy_id,
                    place=where,
                    title=title,
                    barrier=barrier,
                    marks=MARKS[barrier],
                    why=why,
                ),
            )
        minutes += hazard_minutes(knowledge, remedy.hazards)
    elif session.scenario.role != "technician":
        why = f"An instrument is put right by {ROLES['technician']}. At the machine is {_person(session.case)}."
        return _and(
            session,
            Happening(
                kind="stopped", remedy=remedy_id, title=title, barrier="authority", marks=MARKS["authority"], why=why
            ),
        )
    mended = _takes(session, knowledge, world.mends(remedy_id, where if ":" in where else ""))
    after = world.after(mended)
    outcome: Literal["cured", "better", "not-cured"] = "not-cured"
    if mended:
        outcome = "cured" if after.sound else "better"
    said = {
        "cured": "It runs as it should, and the proof holds.",
        "better": "Something is better, but the complaint is not gone.",
        "not-cured": "Done, and nothing has changed.",
    }[outcome]
    entry = Entry(action=remedy_id, outcome=outcome, place=where if ":" in where else "")
    return _and(
        session,
        Happening(
            kind="remedy",
            remedy=remedy_id,
            place=where,
            title=title,
            told=said,
            true=said,
            entries=(entry,),
            minutes=minutes,
            outcome=outcome,
            mended=tuple(sorted(mended)),
        ),
    )


def _takes(session: Session, knowledge: Knowledge, marks: frozenset[str]) -> frozenset[str]:
    """Of what a remedy could mend, what it does mend this time: a remedy that only often cures sometimes does not."""
    out = set()
    tried = sum(h.kind == "remedy" for h in session.happenings)
    for mark in marks:
        chance = 1.0
        if mark.startswith("fault:"):
            cause = knowledge.causes[session.scenario.faults[int(mark.partition(":")[2])].cause]
            chance = knowledge.words.cures[cause.remedy.cures]
        sure = chance >= knowledge.words.cures["mostly-cures"]
        if sure or random.Random(f"{session.seed}:{mark}:{tried}").random() < chance:
            out.add(mark)
    return frozenset(out)


# the end -------------------------------------------------------------------------------------------------------------------


def name_cause(session: Session, knowledge: Knowledge, causes: tuple[str, ...], ends: Ends) -> Session:
    """Name what it is ("nothing-wrong", a cause, "instrument:suction-gauge"; none with stop or hand-over) and how the call ends.

    Going on although a stop holds costs safety marks. Raises ChillerError for an unknown cause or too many.
    """
    _open(session, naming=True)
    known = {
        "nothing-wrong",
        *knowledge.causes,
        *(f"instrument:{i.id}" for i in knowledge.instruments.values() if i.lies),
    }
    for one in causes:
        if one not in known:
            raise ChillerError(
                "no such cause", given=one, allowed="an id listed by `causes`", do="choose from the list"
            )
    if len(causes) > MOST_NAMED:
        raise ChillerError(
            "too many causes", given=len(causes), allowed=f"up to {MOST_NAMED}", do="name the ones you stand for"
        )
    if not causes and ends in ("repair", "explain"):
        raise ChillerError("no cause named", allowed="at least one, or end with hand-over or stop", do="name one")
    stop = _standing_stop(prepare(session.case, knowledge))
    bold = bool(stop) and ends in ("repair", "explain")
    return _and(
        session,
        Happening(
            kind="named",
            causes=tuple(dict.fromkeys(causes)),
            ends=ends,
            marks=MARKS["stop"] if bold else 0,
            barrier="stop" if bold else "",
            why=f"A stop held, and the call went on. {stop}" if bold else "",
        ),
    )
