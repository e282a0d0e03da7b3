"""What to do next: every allowed look scored by the expected minutes until the trouble is resolved.

V0(b), the cost of acting on a belief, is the updated probability-over-cost sequence of remedies, cut where handing over is
cheaper. A look costs its minutes, hazards, tools and covers, and leaves V0 of the beliefs its answers would give. What the
cards and gates do not allow is not a candidate at all: authority and hazard are never traded for minutes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from diagnose.belief import Belief, Inference
from diagnose.grade import HONEST
from diagnose.network import Array, Hypotheses, Index, Key, Network
from knowledge.load import Knowledge
from knowledge.models import Check, Remedy

MOST_WORLDS = 300
WORLD_MASS = 0.9995
MODE_SHARE = 0.01
EXPLAIN_MINUTES = 10.0
INSTRUMENT_MINUTES = 42.0
WORTH_BITS = 0.02  # a look that tells less than this is not proposed
MOST_TELLS = 2
SHIFT_MINUTES: dict[str, float] = {"isolated": 4.0, "standing": 2.0}


@dataclass(frozen=True)
class World:
    """One joint state kept for planning: hypothesis row and instrument mode."""

    row: int
    mode: str


@dataclass
class Worlds:
    """The most probable joint states, with what each needs done. need: (W, 2) remedy numbers, -1 = none."""

    p: Array
    worlds: list[World]
    remedies: list[str]
    costs: Array
    cures: Array
    need: Index
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


def remedy_cost(
    knowledge: Knowledge, remedy: Remedy, proof_minutes: float, role: str, qualified: Iterable[str]
) -> float:
    """Minutes to do a remedy and prove it, by this person or by the one it must be handed to."""
    own = remedy.minutes + proof_minutes + hazard_minutes(knowledge, remedy.hazards)
    own += knowledge.words.verdict[
        "wrong-remedy-minutes"
    ]  # what a remedy costs beyond its minutes when it was not the one
    to = hand_over_to(remedy, role, qualified)
    if to:
        own += hand_over_cost(knowledge, to)
    return own


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
    costs, cures = [EXPLAIN_MINUTES], [1.0]
    number: dict[str, int] = {"explain-normal": 0}

    def remedy_number(name: str, cost: float, cure: float) -> int:
        if name not in number:
            number[name] = len(remedies)
            remedies.append(name)
            costs.append(cost)
            cures.append(cure)
        return number[name]

    def of_instance(index: int) -> int:
        instance = network.instances[index - 1]
        cause = knowledge.causes[instance.cause]
        if cause.kind == "normal":
            return 0  # whichever explanation is right, what is done about it is to explain
        cost = remedy_cost(knowledge, cause.remedy, cause.proof_minutes, role, qualified)
        return remedy_number(f"{cause.remedy.id}@{instance.place.id}", cost, knowledge.words.cures[cause.remedy.cures])

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
    return Worlds(p, worlds, remedies, np.array(costs), np.array(cures), need, by_mode, belief.over)


def acting_cost(beliefs: Array, worlds: Worlds, hand_over: float) -> tuple[Array, Index]:
    """V0 for each row of ``beliefs`` (N, W) and the first remedy of its sequence (-1 = hand over at once)."""
    rows, count = len(beliefs), len(worlds.remedies)
    need = worlds.need
    needs = np.zeros((len(need), count))
    for column in range(need.shape[1]):
        have = need[:, column] >= 0
        needs[np.flatnonzero(have), need[have, column]] = 1.0
    per = beliefs @ needs
    order = np.argsort(-(per * worlds.cures / worlds.costs), axis=1, kind="stable")
    position = np.empty_like(order)
    np.put_along_axis(position, order, np.broadcast_to(np.arange(count), order.shape), axis=1)
    running = np.cumsum(worlds.costs[order], axis=1)
    last = np.zeros((rows, len(need)), dtype=np.int64)
    cured = np.ones(len(need))
    for column in range(need.shape[1]):
        have = need[:, column] >= 0
        last[:, have] = np.maximum(last[:, have], position[:, need[have, column]])
        cured[have] *= worlds.cures[need[have, column]]
    flat = last + np.arange(rows)[:, None] * count
    mass = np.bincount(flat.ravel(), weights=(beliefs * cured).ravel(), minlength=rows * count).reshape(rows, count)
    resolved = np.cumsum(mass, axis=1)
    spent = np.cumsum(mass * running, axis=1)
    total = beliefs.sum(axis=1, keepdims=True)
    # whoever takes over still has to find and mend it: time of his own plus what the true remedies take
    handed = total * hand_over + per @ worlds.costs[:, None]
    share = np.divide(np.maximum(total - resolved, 0.0), total, out=np.zeros_like(resolved), where=total > 0)
    cut = spent + share * (total * running + handed)
    none = handed[:, 0]
    best = cut.min(axis=1)
    first = np.where(none <= best, -1, order[:, 0])
    return np.minimum(best, none), first


@dataclass(frozen=True)
class Candidate:
    """A check at a place with its full cost in minutes, the chance that it gets an answer, and safety questions before it."""

    check: Check
    place: str
    cost: float
    chance: float = 1.0
    before: tuple[str, ...] = ()


@dataclass
class Scored:
    """A candidate with what it is worth. value: expected total minutes with it; gain: bits per minute; outcomes: answer -> (P, belief)."""

    candidate: Candidate
    value: float
    information: float
    outcomes: dict[str, float] = field(default_factory=dict)
    lead_after: dict[str, Array] = field(default_factory=dict)


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
    """Answers of a check and P(answer | true word) with how sure this answer usually is: (K, A)."""
    table = knowledge.words.answer_right[check.usually]
    answers = list(check.answers)
    right = table["read" if check.reads else "saw" if who == "saw" else "customer-says"]
    meant = [check.answers[a].word or a for a in answers]
    out = np.zeros((len(words), len(answers)))
    for k, word in enumerate(words):
        same = [i for i, m in enumerate(meant) if m == word]
        for i in range(len(answers)):
            others = len(answers) - len(same)
            if same:
                out[k, i] = right / len(same) if i in same else (1.0 - right) / max(others, 1)
            else:
                out[k, i] = 1.0 / len(answers)
        if same and len(same) == len(answers):
            out[k] = 1.0 / len(answers)
    return answers, out


def _entropy(p: Array) -> Array:
    q = np.clip(p, 1e-12, 1.0)
    result: Array = -(q * np.log2(q)).sum(axis=-1)
    return result


def score_checks(
    candidates: Sequence[Candidate],
    predictor: Predictor,
    network: Network,
    hand_over: float,
    base: float,
    tells_of: Callable[[Check, str], list[Key]],
    who: str = "saw",
) -> list[Scored]:
    """Expected minutes to resolution after each candidate look, one step ahead of acting on the answer."""
    knowledge, worlds = network.knowledge, predictor.worlds
    blocks: list[tuple[Candidate, list[str], Array]] = []
    for candidate in candidates:
        check = candidate.check
        keys = tells_of(check, candidate.place)
        if not keys:
            continue
        if check.answers:
            words = network.node(keys[0]).words
            answers, table = answer_table(knowledge, check, words, who)
            blocks.append((candidate, answers, predictor.words(keys[0]) @ table))
        else:
            labels, joint = _joint_words(keys, predictor, network)
            blocks.append((candidate, labels, joint))
    if not blocks:
        return []
    groups = _groups(worlds)
    blocks = [b for b in blocks if _tells_enough(b[2], worlds.p, groups)]
    if not blocks:
        return []
    posteriors = np.concatenate([(given * worlds.p[:, None]).T for _, _, given in blocks])
    masses = posteriors.sum(axis=1)
    costs, _ = acting_cost(posteriors, worlds, hand_over)
    before = float(_entropy(_grouped(worlds.p[None, :], groups))[0])
    after = _entropy(_grouped(posteriors / np.where(masses > 0, masses, 1.0)[:, None], groups))
    scored, at = [], 0
    for candidate, answers, given in blocks:
        n = given.shape[1]
        mass = masses[at : at + n]
        value = candidate.cost + candidate.chance * float(costs[at : at + n].sum()) + (1.0 - candidate.chance) * base
        gain = candidate.chance * (before - float((mass * after[at : at + n]).sum()))
        scored.append(
            Scored(
                candidate,
                value,
                max(gain, 0.0),
                dict(zip(answers, (float(m) for m in mass), strict=True)),
                {a: posteriors[at + i] / max(float(mass[i]), 1e-12) for i, a in enumerate(answers)},
            )
        )
        at += n
    return scored


def _tells_enough(given: Array, p: Array, groups: Index) -> bool:
    """Whether the answers depend on what has to be done at all (mutual information of answer and remedy, bits)."""
    joint = _grouped((given * p[:, None]).T, groups)
    answers, causes = joint.sum(axis=1), joint.sum(axis=0)
    outer = answers[:, None] * causes[None, :]
    used = joint > 1e-15
    return float((joint[used] * np.log2(joint[used] / outer[used])).sum()) >= WORTH_BITS


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


def _groups(worlds: Worlds) -> Index:
    """Worlds that need the same done count as one for information."""
    keys: dict[tuple[int, ...], int] = {}
    out = np.empty(len(worlds.p), dtype=np.int64)
    for w, row in enumerate(worlds.need):
        out[w] = keys.setdefault(tuple(sorted(row)), len(keys))
    return out


def _grouped(p: Array, groups: Index) -> Array:
    order = np.argsort(groups, kind="stable")
    starts = np.searchsorted(groups[order], np.arange(int(groups.max()) + 1))
    out: Array = np.add.reduceat(p[:, order], starts, axis=1)
    return out


def check_cost(knowledge: Knowledge, check: Check, open_access: Iterable[str], state: str) -> float:
    """Minutes of a look: doing, waiting, care, tools, covers not yet open, bringing the machine into the state it needs."""
    words = knowledge.words
    # every question takes its own time besides the look: walking, asking, reading back
    cost = words.verdict["question-minutes"] + check.minutes + check.wait_minutes
    if check.access is None or check.access not in set(open_access):
        # tools and care come with the opening: gauges that are on serve the next reading as well
        cost += hazard_minutes(knowledge, check.hazards) + words.tool_minutes * len(check.tools)
        cost += words.access_minutes.get(check.access, 5.0) if check.access else 0.0
    if check.state in SHIFT_MINUTES and check.state != state:
        cost += SHIFT_MINUTES[check.state]
    return float(cost)


def group_by(values: Iterable[tuple[str, float]]) -> Mapping[str, float]:
    """Sum values by name."""
    out: dict[str, float] = {}
    for name, value in values:
        out[name] = out.get(name, 0.0) + value
    return out
