"""`prove plan`: what the planner's search does against the exact optimum, on random models and on slices of the shipped base.

A random model has six faults that exclude each other, six remedies that mend several of them with different chances, three
questions with noisy yes or no, and handing over at one price; as many again have a change of set-up besides. A slice has eight causes of the base behind one complaint, their
eight remedies, and six looks of the base with their minutes, hazards and covers. The optimum is found by dynamic programming
over everything answered and tried; the search's own cost is summed over every branch it may run into, not sampled.
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np

from diagnose.belief import Inference
from diagnose.case import Machine
from diagnose.grade import HONEST
from diagnose.network import Array, Network
from diagnose.places import places_for, topology_of
from diagnose.plan import answer_table, check_cost, hand_over_cost, remedy_cost
from diagnose.plan_search import Acting, Choice, Limits, Look, act_values, acting_for, choose, unresolved_mass
from diagnose.prove.drawing import QUALIFIED
from diagnose.prove.result import Options
from diagnose.prove.rollout import Model, against_rollouts, at_cost
from knowledge.load import Knowledge, load_knowledge

MODELS = 500
SLICES = 100
LIMIT_MEAN, LIMIT_95TH = 0.005, 0.02
SLICE_MEAN, SLICE_95TH = 0.02, 0.06
MOST_ANSWERS = 4
LARGER, LARGER_CAUSES, LARGER_LOOKS = 8, 16, 12
CALLS, ROLLOUTS = 12, 24
LIGHT_PRINT = {20.0: 13.98, 30.0: 15.52, 50.0: 18.60}  # hand-over price -> optimum; example of Vomlel, as printed
DONE = 1e-12
Policy = Callable[[Array, Acting, Sequence[Look], tuple[int, ...]], Choice]


def light_print(price: float) -> Model:
    """Four faults, three remedies, one question: the small example whose optima are printed."""
    cures = np.array([[0.9, 0.0, 0.0, 0.0], [0.9, 0.9, 0.0, 0.0], [0.0, 0.0, 0.9, 0.0]])
    yes = np.array([1.0, 1.0, 0.0, 0.0])
    acting = Acting(np.arange(4)[:, None], cures, np.array([5.0, 15.0, 1.0]), np.full(4, price))
    return Model(np.array([0.4, 0.3, 0.2, 0.1]), acting, (Look(2.0, np.column_stack([yes, 1.0 - yes])),))


def random_model(rng: np.random.Generator) -> Model:
    """Six faults, six imperfect overlapping remedies, three noisy questions, a price for handing over."""
    count = 6
    cures = np.where(rng.random((count, count)) < 0.25, rng.uniform(0.3, 0.95, (count, count)), 0.0)
    np.fill_diagonal(cures, rng.uniform(0.6, 1.0, count))
    looks = []
    for _ in range(3):
        says = rng.random(count) < 0.5
        says[0] = says[0] if says.any() and not says.all() else not says[0]
        noise = rng.uniform(0.03, 0.15)
        yes = np.where(says, 1.0 - noise, noise)
        looks.append(Look(float(rng.uniform(0.3, 1.5)), np.column_stack([yes, 1.0 - yes])))
    acting = Acting(
        np.arange(count)[:, None], cures, rng.uniform(1.0, 10.0, count), np.full(count, rng.uniform(30.0, 80.0))
    )
    return Model(rng.dirichlet(np.ones(count)), acting, tuple(looks))


def random_change(rng: np.random.Generator) -> Model:
    """The same with a change of set-up besides: in some faults the trouble is gone by it, and then minutes count less."""
    model = random_model(rng)
    count = len(model.p)
    helps = rng.random(count) < rng.uniform(0.2, 0.8)
    gone = np.where(helps, rng.uniform(0.6, 0.97, count), rng.uniform(0.0, 0.1, count))
    eases = np.array([rng.uniform(0.4, 0.9), 1.0])
    change = Look(float(rng.uniform(2.0, 10.0)), np.column_stack([gone, 1.0 - gone]), eases=eases)
    return Model(model.p, model.acting, (*model.looks, change))


def base_slice(knowledge: Knowledge, seed: int, causes: int = 8, looks: int = 6) -> Model:
    """Eight causes of the base with one remedy each behind one complaint, and six looks that tell them apart."""
    rng = np.random.default_rng(seed)
    complaint = str(rng.choice(sorted(knowledge.complaints)))
    network = Network(knowledge, places_for(topology_of(Machine(circuits=1, compressors=1, fans=1)), []), (), {})
    chosen = _some_causes(network, complaint, rng, causes)
    acting, prior = _acts(network, chosen, complaint)
    return Model(prior, acting, _some_looks(network, chosen, prior, rng, looks))


def _some_causes(network: Network, complaint: str, rng: np.random.Generator, count: int) -> list[int]:
    """Instance numbers: those of the complaint first, then any; each with a remedy of its own."""
    cards = network.knowledge.causes
    own = [n for n, i in enumerate(network.instances, 1) if complaint in cards[i.cause].complaints]
    rest = [n for n in range(1, len(network.instances) + 1) if n not in own]
    out: dict[str, int] = {}
    for n in (*rng.permutation(own), *rng.permutation(rest)):
        cause = cards[network.instances[n - 1].cause]
        if cause.kind == "fault" and len(out) < count:
            out.setdefault(cause.remedy.id, int(n))
    return sorted(out.values())


def _acts(network: Network, chosen: Sequence[int], complaint: str) -> tuple[Acting, Array]:
    knowledge, words = network.knowledge, network.knowledge.words
    cards = [knowledge.causes[network.instances[n - 1].cause] for n in chosen]
    costs = np.array([remedy_cost(knowledge, c.remedy, c.proof_minutes, "technician", QUALIFIED) for c in cards])
    cures = np.array([words.cures[c.remedy.cures] for c in cards])
    said = [words.strength[c.complaints.get(complaint, words.other_complaint)] for c in cards]
    prior = network.odds[np.array(chosen) - 1] * np.array(said)
    price = hand_over_cost(knowledge, "technician") + words.verdict["next-person-minutes"]
    need = np.arange(len(chosen))[:, None]
    return acting_for(need, cures, costs, price), prior / prior.sum()


def _some_looks(
    network: Network, chosen: Sequence[int], prior: Array, rng: np.random.Generator, count: int
) -> tuple[Look, ...]:
    """The two most telling looks of each of two covers, then the most telling of twenty drawn from the base."""
    knowledge = network.knowledge
    instances = np.array(chosen, dtype=np.int64)
    inference = Inference(network, {}, {}, {}, {HONEST: 1.0})
    run = inference.upward(HONEST, instances, np.zeros_like(instances))
    found: list[tuple[float, str, Look]] = []
    for check in knowledge.checks.values():
        finding = knowledge.findings.get(check.finding or "")
        if finding is None or not finding.weighed or not check.answers:
            continue
        place = next(p.id for p in network.places.values() if p.kind == finding.place)
        words = finding.ordered or finding.words
        given = inference.predict((finding.id, place), run) @ answer_table(knowledge, check, words)[1]
        given = _few_answers(given / given.sum(axis=1, keepdims=True), prior)
        tells = _information(given, prior)
        if tells > 0.02:
            saves = check_cost(knowledge, check, (), check.state) - check_cost(
                knowledge, check, [check.access] if check.access else [], check.state
            )
            cost = check_cost(knowledge, check, (), check.state)
            found.append((tells, check.id, Look(cost, given, check.access or "", saves)))
    found.sort(key=lambda x: (-x[0], x[1]))
    covers = list(dict.fromkeys(look.cover for _, _, look in found if look.cover))[:2]
    behind = [one for cover in covers for one in [f for f in found if f[2].cover == cover][:2]]
    drawn = [found[i] for i in sorted(rng.choice(len(found), min(20, len(found)), replace=False))]
    names = {name for _, name, _ in behind}
    return tuple(look for _, _, look in [*behind, *(f for f in drawn if f[1] not in names)][:count])


def _few_answers(given: Array, prior: Array) -> Array:
    """(W, A) with the rarest answers together, so that the optimum can still be searched in full."""
    while given.shape[1] > MOST_ANSWERS:
        order = np.argsort(-(prior @ given))
        given = np.column_stack([given[:, order[:-2]], given[:, order[-2:]].sum(axis=1)])
    return given


def _information(given: Array, prior: Array) -> float:
    joint = given * prior[:, None]
    outer = prior[:, None] * joint.sum(axis=0)
    used = joint > 1e-15
    return float((joint[used] * np.log2(joint[used] / outer[used])).sum())


# the optimum -------------------------------------------------------------------------------------------------------------


def optimum(model: Model) -> float:
    """Least expected cost over all policies. One look or remedy at most once; faults exclude each other."""
    acting, looks, count = model.acting, model.looks, len(model.acting.costs)
    failed = np.ones((1 << count, len(model.p)))  # chance that the remedies of a set all fail, by world
    cures = acting.cures[:, acting.wrong[:, 0]]
    for tried in range(1, 1 << count):
        low = (tried & -tried).bit_length() - 1
        failed[tried] = failed[tried & (tried - 1)] * (1.0 - cures[low])
    by_size = sorted(range(1 << count), key=lambda s: -s.bit_count())
    layers = [np.array(list(g)) for _, g in itertools.groupby(by_size, key=int.bit_count)]
    sizes = [look.given.shape[1] for look in looks]
    # by set of looks asked: (sets of remedies tried, every combination of answers, the last look's answers turning fastest)
    best: dict[frozenset[int], Array] = {}
    for asked in _sets_from_the_largest(len(looks)):
        own = sorted(asked)
        belief = model.p[None, :]
        for n in own:
            belief = (belief[:, None, :] * looks[n].given.T[None, :, :]).reshape(-1, len(model.p))
        alive = failed @ belief.T
        value = failed @ (belief * acting.handed).T
        for n, look in enumerate(at_cost(looks, asked)):
            if n not in asked:
                earlier = math.prod(sizes[m] for m in own if m < n)
                branches = best[asked | {n}].reshape(1 << count, earlier, sizes[n], -1)
                counts = np.ones(sizes[n]) if look.eases is None else look.eases
                branches = (branches * counts[None, None, :, None]).sum(axis=2)
                value = np.minimum(value, look.cost * alive + branches.reshape(1 << count, -1))
        for layer in layers:  # from everything tried to nothing tried
            for remedy in range(count):
                free = layer[(layer >> remedy & 1) == 0]
                value[free] = np.minimum(value[free], acting.costs[remedy] * alive[free] + value[free | 1 << remedy])
        best[asked] = value
    return float(best[frozenset()][0, 0])


def _sets_from_the_largest(count: int) -> Iterator[frozenset[int]]:
    for size in range(count, -1, -1):
        yield from map(frozenset, itertools.combinations(range(count), size))


# policies ----------------------------------------------------------------------------------------------------------------


def policy_cost(model: Model, policy: Policy) -> float:
    """Expected cost of following a policy, summed over everything that may happen."""

    def go(belief: Array, tried: tuple[int, ...], asked: frozenset[int]) -> float:
        mass = float(unresolved_mass(belief[None, :], model.acting, tried)[0])
        if mass < DONE:
            return 0.0
        now = at_cost(model.looks, asked)
        still = [n for n in range(len(now)) if n not in asked]
        choice = policy(belief, model.acting, [now[n] for n in still], tried)
        if choice.kind == "act":
            cost = float(model.acting.costs[choice.number]) * mass
            return cost + go(belief, (*tried, choice.number), asked)
        if choice.kind == "look":
            number = still[choice.number]
            branches, eases = model.looks[number].given.T * belief, model.looks[number].eases
            counts = np.ones(len(branches)) if eases is None else eases
            later = [float(c) * go(b, tried, asked | {number}) for b, c in zip(branches, counts, strict=True)]
            return now[number].cost * mass + sum(later)
        alive = model.acting.unresolved(model.acting.left_after(tried)[None, :])
        return float((model.acting.grouped(belief[None, :]) * alive @ model.acting.groups[3])[0])

    return go(model.p, (), frozenset())


def two_steps(belief: Array, acting: Acting, looks: Sequence[Look], tried: tuple[int, ...]) -> Choice:
    """The planner's search with its own limits."""
    return choose(belief, acting, looks, tried)


def one_step(belief: Array, acting: Acting, looks: Sequence[Look], tried: tuple[int, ...]) -> Choice:
    """One look ahead of updated probability over cost."""
    return choose(belief, acting, looks, tried, Limits(looks=0, acts=0, then=0))


def compare(models: Sequence[Model]) -> dict[str, Any]:
    """Excess over the optimum of the search, of one step, and of acting without looking."""
    excess: dict[str, list[float]] = {"two_steps": [], "one_step": [], "acting_only": []}
    above = 0
    for model in models:
        best = optimum(model)
        acting_only = float(act_values(model.p[None, :], model.acting)[0][0])
        two = policy_cost(model, two_steps)
        above += bool(two > acting_only * (1.0 + 1e-9))
        excess["two_steps"].append(two / best - 1.0)
        excess["one_step"].append(policy_cost(model, one_step) / best - 1.0)
        excess["acting_only"].append(acting_only / best - 1.0)
    return {
        "models": len(models),
        "above_acting_only": above,
        **{
            name: {
                "mean": round(float(np.mean(all_)), 6),
                "p95": round(float(np.percentile(all_, 95)), 6),
                "worst": round(max(all_), 6),
            }
            for name, all_ in excess.items()
        },
    }


def prove_plan(options: Options) -> tuple[str, dict[str, Any]]:
    """Random models, the printed example, slices of the base, larger ones against rollouts.

    ``draws`` sets the number of random models; slices are a fifth, larger ones a sixtieth of it.
    """
    knowledge = load_knowledge()
    start = time.perf_counter()
    rng = np.random.default_rng(options.seed)
    count = options.draws or MODELS
    random = compare([random_model(rng) for _ in range(count)])
    changes = compare([random_change(rng) for _ in range(count)])
    slices = compare([base_slice(knowledge, options.seed * 1000 + n) for n in range(max(1, count * SLICES // MODELS))])
    larger = against_rollouts(
        [
            base_slice(knowledge, options.seed * 1000 + 500 + n, LARGER_CAUSES, LARGER_LOOKS)
            for n in range(max(1, count * LARGER // MODELS))
        ],
        CALLS,
        ROLLOUTS,
        options.seed,
    )
    printed = {
        f"hand-over {price:g}": [want, round(policy_cost(light_print(price), two_steps), 4)]
        for price, want in LIGHT_PRINT.items()
    }
    limits = ((random, LIMIT_MEAN, LIMIT_95TH), (changes, SLICE_MEAN, SLICE_95TH), (slices, SLICE_MEAN, SLICE_95TH))
    passes = (
        all(part["two_steps"]["mean"] <= mean and part["two_steps"]["p95"] <= p95 for part, mean, p95 in limits)
        and not random["above_acting_only"]
        and not changes["above_acting_only"]
        and all(abs(want - got) < 0.005 for want, got in printed.values())
    )
    return knowledge.digest, {
        "random_models": random,
        "with_a_change_of_set_up": changes,
        "slices_of_the_base": slices,
        "larger_slices": {"causes": LARGER_CAUSES, "looks": LARGER_LOOKS, **larger},
        "light_print": printed,
        "limits": {
            "random": [LIMIT_MEAN, LIMIT_95TH],
            "with_a_change": [SLICE_MEAN, SLICE_95TH],
            "slices": [SLICE_MEAN, SLICE_95TH],
        },
        "passes": passes,
        "seconds": round(time.perf_counter() - start, 1),
    }


def plan_text(result: dict[str, Any]) -> str:
    """The report for people."""
    lines = []
    for name in ("random_models", "with_a_change_of_set_up", "slices_of_the_base"):
        part = result[name]
        lines.append(f"{name.replace('_', ' ')}: {part['models']}; excess over the exact optimum")
        for policy in ("two_steps", "one_step", "acting_only"):
            one = part[policy]
            lines.append(f"  {policy:12s} mean {one['mean']:.2%}, 95th {one['p95']:.2%}, worst {one['worst']:.1%}")
        lines.append(f"  above updated probability over cost: {part['above_acting_only']}")
    one = result["larger_slices"]
    lines.append(
        f"larger slices: {one['models']} of {one['causes']} causes and {one['looks']} looks, {one['calls']} calls: search "
        f"{one['search_minutes']:.1f} min, long rollouts {one['rollout_minutes']:.1f} min; the search is dearer by "
        f"{one['search_dearer_by']:.2%} (standard error {one['standard_error']:.2%})"
    )
    for name, (want, got) in result["light_print"].items():
        lines.append(f"light print, {name}: {got:.2f} (printed {want:.2f})")
    lines.append("passes" if result["passes"] else "DOES NOT PASS")
    return "\n".join(lines)
