"""What a trainee is shown afterwards: the true cause, the own path beside the planner's, what each answer said, belief over time."""

from __future__ import annotations

from typing import Any

import numpy as np

from diagnose.advise import advise
from diagnose.case import Case
from diagnose.looks import opened_access
from diagnose.phrases import likely
from diagnose.places import spell
from diagnose.plan import look_minutes
from diagnose.training.scoring import Points, score, total, truths, worth
from diagnose.training.session import Part, Session
from diagnose.training.world import opening_case, world_of
from diagnose.work import prepare, reason
from knowledge.load import Knowledge
from knowledge.scenarios import DIFFICULTIES, ENDS, Scenario

MOST_STEPS = 12
TELLS = 1.25  # belief that moves by less than this factor was hardly told anything


class Belief(Part):
    """What the tool would believe at a moment. true: of what is there (of two causes the less believed one). leader: who leads."""

    minutes: float
    true: float
    leader: str
    leader_title: str
    leader_p: float


class PlannerStep(Part):
    """One look of the planner's own path."""

    check: str
    title: str
    told: str
    minutes: float


class PlannerPath(Part):
    """How the planner works the same call with the same answers. right: it ends at what is there, or stops where it must."""

    steps: tuple[PlannerStep, ...]
    beliefs: tuple[Belief, ...]
    verdict: str
    causes: tuple[str, ...]
    minutes: float
    stop: str
    right: bool


class StepReview(Part):
    """One step of the trainee with what it cost and what it told. on_path: the planner asked this as well."""

    number: int
    kind: str
    title: str
    told: str
    minutes: float
    marks: int
    why: str
    lesson: str
    honest: bool
    on_path: bool


class Debrief(Part):
    """Everything about one finished (or abandoned) exercise."""

    scenario: str
    title: str
    difficulty: str
    topics: tuple[str, ...]
    trainee: str
    mode: str
    seed: int
    true_causes: tuple[str, ...]
    truth: tuple[str, ...]
    should_end: str
    named: tuple[str, ...]
    ended: str
    steps: tuple[StepReview, ...]
    beliefs: tuple[Belief, ...]
    planner: PlannerPath
    minutes: float
    allowed: float
    late: bool
    marks: int
    points: tuple[Points, ...]
    score: int
    look_at: tuple[str, ...]
    cures: tuple[str, ...]


def title_of(name: str, knowledge: Knowledge) -> str:
    """A cause, an instrument or nothing, as people call it."""
    if name == "nothing-wrong":
        return "Nothing is wrong"
    if name.startswith("instrument:"):
        kind = name.split(":")[1]
        return f"Instrument lies: {knowledge.instruments[kind].title}" if kind in knowledge.instruments else name
    return knowledge.causes[name].title if name in knowledge.causes else name


def belief_at(case: Case, scenario: Scenario, knowledge: Knowledge, minutes: float) -> Belief:
    """Belief in what is there, and the leader, from the entries of a case alone."""
    network, _, belief = reason(prepare(case, knowledge))
    marginals = belief.causes()
    modes = belief.modes()
    nothing = belief.nothing()
    found = []
    for name in truths(scenario):
        if name == "nothing-wrong":
            found.append(nothing)
        elif name.startswith("instrument:"):
            kind = name.partition(":")[2]
            own = [p for mode, p in modes.items() if belief.inference.modes[mode].kind == kind]
            found.append(float(sum(own)))
        else:
            own = [float(marginals[i]) for i, one in enumerate(network.instances) if one.cause == name]
            found.append(float(sum(own)))
    top = int(np.argmax(marginals))
    leaders = [
        (float(marginals[top]), network.instances[top].cause, knowledge.causes[network.instances[top].cause].title)
    ]
    leaders.append((nothing, "nothing-wrong", "Nothing is wrong"))
    leaders += [
        (p, f"instrument:{belief.inference.modes[m].kind}", belief.inference.modes[m].title) for m, p in modes.items()
    ]
    p, leader, title = max(leaders)
    return Belief(minutes=minutes, true=min(1.0, min(found)), leader=leader, leader_title=title, leader_p=min(1.0, p))


def planner_path(scenario: Scenario, knowledge: Knowledge, seed: int) -> PlannerPath:
    """The planner works the scenario to its verdict, an ending stop, or twelve looks; kept on the knowledge, since a class asks for it again."""
    cache: dict[Any, PlannerPath] = knowledge.memo.setdefault("planner-paths", {})
    key = (scenario.model_dump_json(), seed)
    if key not in cache:
        if len(cache) >= 256:
            cache.clear()
        cache[key] = _worked(scenario, knowledge, seed)
    return cache[key]


def _worked(scenario: Scenario, knowledge: Knowledge, seed: int) -> PlannerPath:
    world = world_of(scenario, knowledge, seed)
    case = opening_case(scenario)
    steps: list[PlannerStep] = []
    spent = 0.0
    beliefs = [belief_at(case, scenario, knowledge, 0.0)]
    advice = advise(case, knowledge)
    while True:
        looks = [s for s in advice.next if s.asks]
        ended = advice.stop is not None and advice.stop.ends
        if advice.verdict is not None or ended or not looks or len(steps) >= MOST_STEPS:
            break
        check = knowledge.checks[looks[0].id]
        place = looks[0].place if ":" in looks[0].place else ""
        told = world.look(check, place)
        work = prepare(case, knowledge)
        cost = knowledge.words.verdict["exercise-question-minutes"]
        if not told.note:
            cost += look_minutes(knowledge, check, opened_access(work), work.state)
        spent += cost
        steps.append(PlannerStep(check=check.id, title=looks[0].title, told=told.text, minutes=cost))
        entries = [e.model_copy(update={"again": looks[0].again}) if e.check else e for e in told.entries]
        case = case.model_copy(update={"entries": (*case.entries, *entries)})
        beliefs.append(belief_at(case, scenario, knowledge, spent))
        advice = advise(case, knowledge)
    verdict = advice.verdict
    stop = advice.stop.rule if advice.stop is not None and advice.stop.ends else ""
    causes = tuple(verdict.causes) if verdict else ()
    return PlannerPath(
        steps=tuple(steps),
        beliefs=tuple(beliefs),
        verdict=verdict.kind if verdict else "none",
        causes=causes,
        minutes=spent,
        stop=stop,
        right=_right(scenario, knowledge, causes, bool(stop)),
    )


def _right(scenario: Scenario, knowledge: Knowledge, causes: tuple[str, ...], stopped: bool) -> bool:
    if scenario.ends == "stop":
        return stopped
    named = [":".join(c.split(":")[:2]) if c.startswith("instrument:") else c for c in causes]
    return bool(named) and all(max(worth(n, t, knowledge) for n in named) > 0.0 for t in truths(scenario))


def debrief(session: Session, knowledge: Knowledge) -> Debrief:
    """The debrief of a session, finished or not."""
    scenario = session.scenario
    plan = planner_path(scenario, knowledge, session.seed)
    spent = 0.0
    beliefs = [belief_at(session.case_after(0), scenario, knowledge, 0.0)]
    steps = []
    asked = {s.check for s in plan.steps}
    for number, one in enumerate(session.happenings, 1):
        spent += 0.0 if one.mended else one.minutes
        before = beliefs[-1]
        after = belief_at(session.case_after(number), scenario, knowledge, spent) if one.entries else before
        if one.entries or one.minutes:
            beliefs.append(after.model_copy(update={"minutes": spent}))
        steps.append(
            StepReview(
                number=number,
                kind=one.kind,
                title=one.title or _named_title(one.causes, knowledge),
                told=one.told,
                minutes=one.minutes,
                marks=one.marks,
                why=one.why,
                lesson=_lesson(one.kind, one.honest, one.true, one.outcome, before, after),
                honest=one.honest,
                on_path=one.check in asked,
            )
        )
    points = score(session, knowledge, plan.minutes, beliefs[-1].true)
    named = session.named
    return Debrief(
        scenario=scenario.id,
        title=scenario.title,
        difficulty=DIFFICULTIES[scenario.difficulty],
        topics=scenario.topics,
        trainee=session.trainee,
        mode=session.mode,
        seed=session.seed,
        true_causes=truths(scenario),
        truth=_truth_lines(session, knowledge),
        should_end=ENDS[scenario.ends],
        named=tuple(title_of(c, knowledge) for c in named.causes) if named else (),
        ended=ENDS[named.ends] if named and named.ends else "",
        steps=tuple(steps),
        beliefs=tuple(beliefs),
        planner=plan,
        minutes=spent,
        allowed=scenario.minutes,
        late=session.late,
        marks=session.marks,
        points=points,
        score=total(points),
        look_at=scenario.points,
        cures=tuple(dict.fromkeys(knowledge.causes[f.cause].remedy.text for f in scenario.faults)),
    )


def _truth_lines(session: Session, knowledge: Knowledge) -> tuple[str, ...]:
    scenario = session.scenario
    world = world_of(scenario, knowledge, session.seed)
    lines = []
    for fault in scenario.faults:
        card = knowledge.causes[fault.cause]
        place = world.place_of_fault(fault)
        where = f" ({spell(place)})" if ":" in place else ""
        lines.append(f"{card.title}{where}. {card.shows}")
    for lie in scenario.lies:
        kind = knowledge.instruments[lie.instrument]
        says = next(x.title for x in kind.lies if x.mode == lie.mode)
        where = f" ({spell(lie.place)})" if ":" in lie.place else ""
        lines.append(f"The {kind.title}{where} {says}.")
    return tuple(lines) or ("Nothing was wrong.",)


def _named_title(causes: tuple[str, ...], knowledge: Knowledge) -> str:
    return "Named: " + (", ".join(title_of(c, knowledge) for c in causes) or "no cause")


def _lesson(kind: str, honest: bool, true: str, outcome: str, before: Belief, after: Belief) -> str:
    """What an answer should have told, in one or two sentences."""
    if kind == "stopped":
        return "Not done. Belief stays as it was."
    if kind == "named":
        return ""
    moved = f"before, {likely(before.true).text}; after it, {likely(after.true).text}"
    ratio = (after.true + 1e-6) / (before.true + 1e-6)
    if ratio >= TELLS:
        said = "Speaks for what is there"
    elif ratio <= 1.0 / TELLS:
        said = "Speaks against what is there"
    else:
        said = "Says little about what is there"
    lesson = f"{said}: {moved}."
    if after.leader != before.leader:
        lesson += f" Now leads: {after.leader_title}."
    if not honest:
        lesson += f" This answer was not right; an honest one would have been: {true}"
    if kind == "remedy":
        lesson = {"cured": "This was the cure. ", "better": "Part of the cure. "}.get(outcome, "In vain. ") + lesson
    return lesson
