"""From belief and cards to the search for the next step: what each joint state needs, what each remedy and look costs.

The likeliest joint states become the worlds of `diagnose.plan_search`; a look becomes its cost and the chance of each answer in
each world. The search itself, with its limits, is the one that `prove plan` holds against the exact optimum. What the cards
and gates do not allow is not a candidate at all: authority and hazard are never traded for minutes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np

from diagnose.belief import Belief, Inference
from diagnose.grade import HONEST, told
from diagnose.network import Array, Hypotheses, Index, Key, Network
from diagnose.plan_search import Acting, Choice, Known, Limits, Look, acting_for, choose
from knowledge.load import Knowledge
from knowledge.models import Check, Remedy, Setup

MOST_WORLDS = 300
WORLD_MASS = 0.9995
MODE_SHARE = 0.01
EXPLAIN_MINUTES = 10.0
INSTRUMENT_MINUTES = 42.0
WORTH_BITS = 0.02  # a look that tells less than this is not proposed
SETTLES_BITS = (
    1e-4  # a look that settles a contradiction is proposed from this on: nobody is blamed without a comparison
)
MOST_TELLS = 2
SHIFT_MINUTES: dict[str, float] = {"isolated": 4.0, "standing": 2.0}


@dataclass(frozen=True)
class World:
    """One joint state kept for planning: hypothesis row and instrument mode."""

    row: int
    mode: str


@dataclass
class Worlds:
    """The most probable joint states: p (W,), sums to 1. remedies: names with their place, in the order of ``acting``."""

    p: Array
    worlds: list[World]
    remedies: list[str]
    acting: Acting
    by_mode: dict[str, tuple[Index, Index]]
    over: Hypotheses


def hand_over_cost(knowledge: Knowledge, to: str) -> float:
    """Minutes until the next person has taken over."""
    table = knowledge.words.hand_over_minutes
    return table.get(to, table["technician"])  # type: ignore[call-overload, no-any-return]


def hazard_minutes(knowledge: Knowledge, hazards: Iterable[str]) -> float:
    """Minutes charged for the care these hazards take."""
    return float(sum(knowledge.words.hazard_minutes.get(h, 0.0) for h in hazards))  # type: ignore[call-overload]


def may_do(who: str, needs: Sequence[str], role: str, qualified: Iterable[str]) -> bool:
    """Whether the person at the machine may do it: only a technician does technicians' work, qualified where it needs that."""
    if who == "technician" and role != "technician":
        return False
    return set(needs) <= set(qualified)


def hand_over_to(remedy: Remedy, role: str, qualified: Iterable[str]) -> str:
    """Who must do a remedy if the person at the machine may not; "" when that person may do it."""
    qualified = set(qualified)
    own = {"technician", *({"electrician"} if "electrical" in qualified else ())}
    own |= {"refrigerant-technician"} if "refrigerant" in qualified else set()
    if may_do(remedy.who, remedy.needs_qualified, role, qualified):
        if not remedy.hand_over_to or role == "technician" and remedy.hand_over_to in own:
            return ""
        return remedy.hand_over_to
    if remedy.hand_over_to:
        return remedy.hand_over_to
    needs = remedy.needs_qualified
    return (
        "electrician" if "electrical" in needs else "refrigerant-technician" if "refrigerant" in needs else "technician"
    )


def is_quick(knowledge: Knowledge, remedy: Remedy) -> bool:
    """Whether a remedy can be undone and takes hardly any time: a valve opened, a switch put back."""
    return remedy.reversible and remedy.minutes <= knowledge.words.verdict["quick-minutes"]


def remedy_cost(
    knowledge: Knowledge, remedy: Remedy, proof_minutes: float, role: str, qualified: Iterable[str]
) -> float:
    """Minutes to do a remedy and prove it, by this person or by the one it must be handed to."""
    own = remedy.minutes + proof_minutes + hazard_minutes(knowledge, remedy.hazards)
    # what it costs beyond its minutes when it was not the one, charged in any case: where it was the one, the charge
    # depends on what is wrong alone, not on the order of doing, so it changes no choice
    own += knowledge.words.verdict["wrong-remedy-minutes"]
    to = hand_over_to(remedy, role, qualified)
    if to:
        own += hand_over_cost(knowledge, to)
    return own


def remedies_of_several_kinds(knowledge: Knowledge) -> frozenset[str]:
    """Remedies of cards that stand for different kinds of places."""
    found: frozenset[str] | None = knowledge.memo.get("remedies-of-several-kinds")
    if found is None:
        kinds: dict[str, set[str]] = {}
        for cause in knowledge.causes.values():
            kinds.setdefault(cause.remedy.id, set()).add(cause.place)
        found = knowledge.memo["remedies-of-several-kinds"] = frozenset(r for r, own in kinds.items() if len(own) > 1)
    return found


def remedy_name(knowledge: Knowledge, remedy: Remedy, place: str) -> str:
    """What is done where; what cards for different kinds of places share is done once for all of them."""
    return remedy.id if remedy.id in remedies_of_several_kinds(knowledge) else f"{remedy.id}@{place}"


def keep_worlds(belief: Belief, role: str, qualified: Sequence[str], most: int = MOST_WORLDS) -> Worlds:
    """Cut the joint posterior to its most probable states and attach what each needs."""
    network, knowledge = belief.network, belief.network.knowledge
    flat = belief.joint.ravel()
    worth = np.flatnonzero(flat > 1e-6 * flat.max())
    top = worth[np.argsort(-flat[worth], kind="stable")][:most]
    cumulative = np.cumsum(flat[top])
    keep = int(np.searchsorted(cumulative, WORLD_MASS)) + 1
    top = top[:keep]
    p = flat[top] / flat[top].sum()
    width = belief.joint.shape[1]
    worlds = [World(int(t % width), belief.names[int(t // width)]) for t in top]
    remedies: list[str] = ["explain-normal"]
    # who is told that all is well, and it is not, has to call again: that makes "normal" no cheap guess
    costs, cures = [EXPLAIN_MINUTES + knowledge.words.verdict["wrong-normal-minutes"]], [1.0]
    number: dict[str, int] = {"explain-normal": 0}

    def remedy_number(name: str, cost: float, cure: float) -> int:
        if name not in number:
            number[name] = len(remedies)
            remedies.append(name)
            costs.append(cost)
            cures.append(cure)
        return number[name]

    @cache
    def of_instance(index: int) -> int:
        instance = network.instances[index - 1]
        cause = knowledge.causes[instance.cause]
        if cause.kind == "normal":  # who is told the wrong explanation will not believe the next one either
            return remedy_number(cause.remedy.id, costs[0], 1.0)
        cost = remedy_cost(knowledge, cause.remedy, cause.proof_minutes, role, qualified)
        name = remedy_name(knowledge, cause.remedy, instance.place.id)
        return remedy_number(name, cost, knowledge.words.cures[cause.remedy.cures])

    need = np.full((len(worlds), 3), -1, dtype=np.int64)
    for w, world in enumerate(worlds):
        slots = [
            of_instance(int(i)) for i in {int(belief.over.first[world.row]), int(belief.over.second[world.row])} if i
        ]
        if world.mode != HONEST:
            slots.append(
                remedy_number(f"instrument@{belief.inference.modes[world.mode].instrument}", INSTRUMENT_MINUTES, 1.0)
            )
        for s, slot in enumerate(slots or [0]):
            need[w, s] = slot
    by_mode: dict[str, tuple[Index, Index]] = {}
    modes = np.array([w.mode for w in worlds])
    for mode in dict.fromkeys(w.mode for w in worlds):
        where = np.flatnonzero(modes == mode)
        by_mode[mode] = (where, np.array([worlds[i].row for i in where], dtype=np.int64))
    hand_over = hand_over_cost(knowledge, "technician") + knowledge.words.verdict["next-person-minutes"]
    acting = acting_for(need, np.array(cures), np.array(costs), hand_over)
    return Worlds(p, worlds, remedies, acting, by_mode, belief.over)


@dataclass(frozen=True)
class Candidate:
    """A check at a place with its full cost in minutes, the chance that it gets an answer, and safety questions before it.

    cover: what has to be opened for it ("" = nothing, or it is open); saves: minutes of ``cost`` it no longer takes then.
    settles: whether it settles a contradiction. eases: what a minute counts after an answer that means that the site is cooled
    meanwhile (a change of set-up); empty for plain looks. blocks: candidates that cannot be looked at then, as (check, place).
    said: what was answered before where it is a second look.
    """

    check: Check
    place: str
    cost: float
    chance: float = 1.0
    before: tuple[str, ...] = ()
    cover: str = ""
    saves: float = 0.0
    settles: bool = False
    eases: Mapping[str, float] = field(default_factory=dict)
    blocks: frozenset[tuple[str, str]] = frozenset()
    said: tuple[str, ...] = ()


@dataclass
class Scored:
    """A candidate with what it is worth. value: expected minutes to resolution with it first; information: bits about what has
    to be done; outcomes: answer -> P, if one comes.

    relieved: the same minutes for a change of set-up, those counting less during which the site is cooled.
    """

    candidate: Candidate
    value: float
    information: float
    outcomes: dict[str, float] = field(default_factory=dict)
    relieved: float = float("inf")


@dataclass(frozen=True)
class Plan:
    """What the search says. base: expected minutes of acting without looking; scored: every look that tells something.

    changes: changes of set-up by which the site may be cooled, also those that tell nothing; first: the one to make now, if the
    search would neither look, nor mend, nor hand over before it.
    bit: minutes that one bit of knowing what has to be done is worth on average: what certainty would save, over the bits that
    are missing for it.
    """

    base: float
    choice: Choice
    scored: list[Scored]
    bit: float = 0.0
    changes: list[Scored] = field(default_factory=list)
    first: Scored | None = None


class Predictor:
    """P(word | world) for findings, cached for one belief."""

    def __init__(self, inference: Inference, worlds: Worlds) -> None:
        self.inference, self.worlds = inference, worlds
        everything = np.array([w.row for w in worlds.worlds], dtype=np.int64)
        first, second = worlds.over.first, worlds.over.second
        self._common = inference.upward(HONEST, first[everything], second[everything])
        # a liar hardly believed in is planned for as if honest: its share of the cost is below the precision of the rest
        counts = {m for m, (where, _) in worlds.by_mode.items() if m and worlds.p[where].sum() >= MODE_SHARE}
        self._moved = {mode: inference.roots_moved_by(mode) for mode in counts}
        self._runs = {
            mode: inference.upward(mode, first[rows], second[rows])
            for mode, (_, rows) in worlds.by_mode.items()
            if mode in counts
        }
        self._known: dict[Key, Array] = {}

    def words(self, key: Key) -> Array:
        """(W, K)."""
        found = self._known.get(key)
        if found is None:
            # only a liar that moves something in this tree needs a prediction of its own
            root = self.inference.root_of(key)
            found = self.inference.predict(key, self._common)
            for mode, moved in self._moved.items():
                if root in moved:
                    found[self.worlds.by_mode[mode][0]] = self.inference.predict(key, self._runs[mode])
            self._known[key] = found
        return found


def answer_table(knowledge: Knowledge, check: Check, words: Sequence[str], who: str = "saw") -> tuple[list[str], Array]:
    """Answers of a check and P(answer | true word) with how sure this answer usually is: (K, A), rows sum to at most 1.

    In proportion to what the answer will weigh once it is given, so that the belief foreseen is the belief that comes. Answers
    that mean the same word share its chance; a word that no answer means leaves a rest: no answer comes.
    """
    tables: dict[tuple[str, str], tuple[list[str], Array]] = knowledge.memo.setdefault("answer-tables", {})
    found = tables.get((check.id, who))
    if found is None:
        right = knowledge.words.answer_right[check.usually]["customer-says" if who == "customer-says" else "saw"]
        answers = list(check.answers)
        meant = [check.answers[a].word or a for a in answers]
        table = np.array([told(m, words, right) for m in meant]).T / [meant.count(m) for m in meant]
        table.flags.writeable = False
        found = tables[check.id, who] = answers, table
    return found


def plan_next(
    candidates: Sequence[Candidate],
    predictor: Predictor,
    network: Network,
    tells_of: Callable[[Check, str], list[Key]],
    who: str = "saw",
    limits: Limits | None = None,
) -> Plan:
    """Search over remedies, the candidate looks and handing over, with the limits of the proof."""
    worlds = predictor.worlds
    blocks: list[tuple[Candidate, list[str], Array]] = []
    for candidate in candidates:
        check = candidate.check
        keys = tells_of(check, candidate.place)
        if not keys:
            continue
        if check.answers:
            answers, table = answer_table(network.knowledge, check, network.node(keys[0]).words, who)
            if candidate.said:  # who looks again may say the same again, right or wrong
                same = network.words.verdict["same-slip-again"]
                repeats = np.array([candidate.said.count(a) for a in answers]) / len(candidate.said)
                table = same * repeats[None, :] + (1.0 - same) * table
            blocks.append((candidate, answers, predictor.words(keys[0]) @ table))
        else:
            blocks.append((candidate, *_joint_words(keys, predictor, network)))
    bits = information([given for _, _, given in blocks], worlds.p, worlds.acting)
    telling = [
        (block, float(one))
        for block, one in zip(blocks, bits, strict=True)
        if one >= (SETTLES_BITS if block[0].settles else WORTH_BITS) or block[0].eases
    ]
    looks = [_look(candidate, answers, given) for (candidate, answers, given), _ in telling]
    enough = [n for n, (block, one) in enumerate(telling) if not block[0].eases or one >= WORTH_BITS]
    # what a look is worth, and whether looking pays at all, is judged by what it tells alone; whether to change the set-up now is
    # judged against everything, that minutes then count less and some looks cannot be made
    known: Known = {}
    plain = [replace(looks[n], eases=None) for n in enough]
    choice = choose(worlds.p, worlds.acting, plain, limits=limits, known=known)
    value = dict(zip(enough, choice.looks.tolist(), strict=True))
    every = [
        Scored(
            candidate,
            value.get(n, choice.acting + candidate.cost),
            candidate.chance * one,
            dict(zip(answers, (worlds.p @ given).tolist(), strict=True)),
        )
        for n, ((candidate, answers, given), one) in enumerate(telling)
    ]
    changes = [n for n, one in enumerate(every) if one.candidate.eases]
    first = None
    if changes:
        whole = choose(worlds.p, worlds.acting, looks, limits=limits, known=known)
        for n in changes:
            every[n].relieved = float(whole.looks[n])
        first = every[whole.number] if whole.kind == "look" and whole.number in changes else None
    bit = bit_minutes(worlds.p, worlds.acting, choice.acting)
    return Plan(choice.acting, choice, [every[n] for n in enough], bit, [every[n] for n in changes], first)


def bit_minutes(p: Array, acting: Acting, base: float) -> float:
    """Minutes saved by knowing for certain what has to be done, for each bit that is missing (0.0 where none is)."""
    missing = float(_entropy(acting.grouped(p[None, :]))[0])
    if missing < 1e-6:
        return 0.0
    return max(base - float(acting.grouped(p[None, :])[0] @ acting.certain), 0.0) / missing


def _look(candidate: Candidate, answers: Sequence[str], given: Array) -> Look:
    """A candidate as the search sees it: one more outcome is that no answer comes."""
    answered = candidate.chance * given
    silent = 1.0 - answered.sum(axis=1, keepdims=True)
    eases = np.array([*(candidate.eases.get(a, 1.0) for a in answers), 1.0]) if candidate.eases else None
    name, blocks = _name(candidate.check.id, candidate.place), frozenset(_name(*b) for b in candidate.blocks)
    return Look(candidate.cost, np.hstack([answered, silent]), candidate.cover, candidate.saves, eases, name, blocks)


def _name(check: str, place: str) -> str:
    return f"{check}@{place}"


def information(given: Sequence[Array], p: Array, acting: Acting) -> Array:
    """Mutual information (bits) of each look's answer with what has to be done. given: (W, A) for each look."""
    if not given:
        return np.zeros(0)
    joint = acting.grouped((np.hstack(given) * p[:, None]).T)  # (all answers, G)
    answers, groups = joint.sum(axis=1, keepdims=True), acting.grouped(p[None, :])
    with np.errstate(divide="ignore", invalid="ignore"):
        bits = np.where(joint > 1e-15, joint * np.log2(joint / (answers * groups)), 0.0).sum(axis=1)
    starts = np.cumsum([0, *(g.shape[1] for g in given[:-1])])
    out: Array = np.maximum(np.add.reduceat(bits, starts), 0.0)
    return out


def _joint_words(keys: Sequence[Key], predictor: Predictor, network: Network) -> tuple[list[str], Array]:
    """Joint outcomes of the most telling findings of a reading check, independent given the world."""
    ranked = sorted(keys, key=lambda k: -_spread(predictor.words(k), predictor.worlds.p))[:MOST_TELLS]
    labels, joint = [""], np.ones((len(predictor.worlds.p), 1))
    for key in ranked:
        words = network.node(key).words
        p = predictor.words(key)
        labels = [f"{label}{' + ' if label else ''}{key[0]} {w}" for label in labels for w in words]
        joint = (joint[:, :, None] * p[:, None, :]).reshape(len(p), -1)
    return labels, joint


def _spread(p: Array, weight: Array) -> float:
    """How much a finding's words depend on the world (mutual information, bits)."""
    mean = weight @ p
    return float(_entropy(mean) - weight @ _entropy(p))


def _entropy(p: Array) -> Array:
    q = np.clip(p, 1e-12, 1.0)
    result: Array = -(q * np.log2(q)).sum(axis=-1)
    return result


def check_cost(knowledge: Knowledge, check: Check, open_access: Iterable[str], state: str) -> float:
    """What a look costs, in minutes: its own, and what every question takes besides: walking, asking, reading back, patience."""
    return knowledge.words.verdict["question-minutes"] + look_minutes(knowledge, check, open_access, state)


def look_minutes(knowledge: Knowledge, check: Check, open_access: Iterable[str], state: str) -> float:
    """Minutes of a look: doing, waiting, care, tools, covers not yet open, bringing the machine into the state it needs, putting
    back what it changes."""
    words = knowledge.words
    cost = check.minutes + check.wait_minutes
    if check.access is None or check.access not in set(open_access):
        # tools and care come with the opening: gauges that are on serve the next reading as well
        cost += hazard_minutes(knowledge, check.hazards) + words.tool_minutes * len(check.tools)
        cost += words.access_minutes.get(check.access, 5.0) if check.access else 0.0
    if check.state in SHIFT_MINUTES and check.state != state:
        cost += SHIFT_MINUTES[check.state]
    if isinstance(check, Setup):
        cost += check.undo_minutes  # what is changed is put back, sooner or later
    return float(cost)
