"""The plan's search against the exact optimum and against published examples, on a small piece here (`prove plan` does it in full).

Outside the project: the "light print" example (Vomlel) with its printed optima, and the order of probability over cost, the
best there is for faults that exclude each other (Kadane & Simon 1977).
"""

from __future__ import annotations

import itertools
from functools import cache

import numpy as np
import pytest

from diagnose.network import Array
from diagnose.plan_search import Acting, Limits, Look, act_values, acting_for, choose, look_values, unresolved_mass
from diagnose.prove.plan import (
    LIGHT_PRINT,
    LIMIT_95TH,
    LIMIT_MEAN,
    SLICE_95TH,
    base_slice,
    compare,
    light_print,
    optimum,
    policy_cost,
    random_change,
    random_model,
    two_steps,
)
from diagnose.prove.rollout import Model, against_rollouts, at_cost
from knowledge.load import load_knowledge

SAME = 1e-9


@pytest.mark.parametrize("price", sorted(LIGHT_PRINT))
def test_light_print_optima(price: float) -> None:
    """Printed: 13.98, 15.52 and 18.60 minutes for handing over at 20, 30 and 50; the search finds the same policy."""
    model = light_print(price)
    assert optimum(model) == pytest.approx(LIGHT_PRINT[price], abs=0.005)
    assert policy_cost(model, two_steps) == pytest.approx(LIGHT_PRINT[price], abs=0.005)


def plain_optimum(model: Model) -> float:
    """The optimum by plain recursion over what was answered and tried, for small models."""

    @cache
    def best(answers: tuple[tuple[int, int], ...], tried: frozenset[int]) -> float:
        weight = model.p.copy()
        for number, answer in answers:
            weight = weight * model.looks[number].given[:, answer]
        for remedy in tried:
            weight = weight * (1.0 - model.acting.cures[remedy])
        mass = float(weight.sum())
        out = float(weight @ model.acting.handed)
        asked = frozenset(n for n, _ in answers)
        for number, look in enumerate(at_cost(model.looks, asked)):
            if number not in asked:
                counts = np.ones(look.given.shape[1]) if look.eases is None else look.eases
                after = (float(c) * best((*answers, (number, a)), tried) for a, c in enumerate(counts))
                out = min(out, look.cost * mass + sum(after))
        for remedy in range(len(model.acting.costs)):
            if remedy not in tried:
                out = min(out, float(model.acting.costs[remedy]) * mass + best(answers, tried | {remedy}))
        return out

    return best((), frozenset())


def few(model: Model, looks: int, faults: int) -> Model:
    """The first faults, remedies and looks of a model; two of the looks behind one cover."""
    acting = Acting(
        np.arange(faults)[:, None],
        model.acting.cures[:faults, :faults],
        model.acting.costs[:faults],
        model.acting.handed[:faults],
    )
    short = [Look(look.cost + 3.0, look.given[:faults], "cover", 3.0, look.eases) for look in model.looks[-looks:]]
    return Model(model.p[:faults] / model.p[:faults].sum(), acting, tuple(short))


@pytest.mark.parametrize("seed", range(4))
def test_optimum_equals_plain_recursion(seed: int) -> None:
    """The vectorised optimum and the plain one agree, with a cover that serves two looks."""
    model = few(random_model(np.random.default_rng(seed)), looks=2, faults=4)
    assert optimum(model) == pytest.approx(plain_optimum(model), abs=SAME)


@pytest.mark.parametrize("seed", range(4))
def test_optimum_with_a_change_of_set_up_equals_plain_recursion(seed: int) -> None:
    """The same where one look changes the set-up and minutes count less once the trouble is gone by it."""
    model = few(random_change(np.random.default_rng(seed)), looks=2, faults=4)
    assert any(look.eases is not None for look in model.looks)
    assert optimum(model) == pytest.approx(plain_optimum(model), abs=SAME)


def test_a_change_of_set_up_by_hand() -> None:
    """One fault, mended for sure in 60 minutes, handing over far dearer. A change of 10 minutes after which minutes count half, and
    which helps for sure: 10 + 30 = 40 minutes, so it is made first; one of 40 minutes is not."""
    acting = acting_for(np.zeros((1, 1), dtype=np.int64), np.ones(1), np.array([60.0]), hand_over=500.0)
    sure, p = np.ones((1, 1)), np.ones(1)
    cheap, dear = (Look(cost, sure, eases=np.array([0.5])) for cost in (10.0, 40.0))
    made = choose(p, acting, [cheap])
    assert (made.kind, made.number) == ("look", 0) and made.value == pytest.approx(40.0)
    assert policy_cost(Model(p, acting, (cheap,)), two_steps) == pytest.approx(40.0)
    assert choose(p, acting, [dear]).kind == "act"
    # of two changes one alone eases: the second adds its minutes and saves none
    both = choose(p, acting, [cheap, cheap])
    assert both.value == pytest.approx(40.0)


@pytest.mark.parametrize("seed", range(5))
def test_acting_alone_is_the_best_order(seed: int) -> None:
    """With one remedy a fault no order and no place to hand over is cheaper than V0 (all are tried)."""
    rng = np.random.default_rng(seed)
    p, costs, cures = rng.dirichlet(np.ones(5)), rng.uniform(5, 60, 5), rng.uniform(0.5, 1.0, 5)
    acting = acting_for(np.arange(5)[:, None], cures, costs, hand_over=80.0)

    def cost(order: tuple[int, ...]) -> float:
        left, total = p.copy(), 0.0
        for remedy in order:
            total += left.sum() * costs[remedy]
            left[remedy] *= 1.0 - cures[remedy]
        return float(total + left @ (80.0 + costs))

    best = min(cost(order) for size in range(6) for order in itertools.permutations(range(5), size))
    assert float(act_values(p[None, :], acting)[0][0]) == pytest.approx(best, abs=SAME)


@pytest.mark.parametrize("seed", range(5))
def test_the_two_ways_through_acting_agree(seed: int) -> None:
    """Where each part has one remedy a shorter way is taken; a remedy that never helps forces the general one."""
    rng = np.random.default_rng(seed)
    need = np.array([[0, -1], [1, -1], [2, -1], [0, 1], [1, 2]])
    short = acting_for(need, rng.uniform(0.5, 1.0, 3), rng.uniform(5, 60, 3), hand_over=150.0)
    useless = np.vstack([short.cures, np.zeros(3)])
    general = Acting(need, useless, np.append(short.costs, 1.0), short.handed)
    assert short.own is not None and general.own is None
    beliefs = rng.dirichlet(np.ones(5), 40)
    for tried in ((), (1,)):
        for one, other in zip(act_values(beliefs, short, tried), act_values(beliefs, general, tried), strict=True):
            assert one == pytest.approx(other, abs=SAME)


def test_two_parts_wrong_need_both_remedies() -> None:
    """By hand: parts A and B wrong together, both remedies sure, 10 and 20 minutes, handing over 100: 30 minutes."""
    acting = acting_for(np.array([[0, 1]]), np.ones(2), np.array([10.0, 20.0]), hand_over=100.0)
    belief = np.ones((1, 1))
    assert float(act_values(belief, acting)[0][0]) == pytest.approx(30.0)
    assert float(unresolved_mass(belief, acting, (0,))[0]) == pytest.approx(1.0)
    assert float(unresolved_mass(belief, acting, (0, 1))[0]) == pytest.approx(0.0)


def test_a_silent_look_is_worth_its_cost_only() -> None:
    """A look whose answer depends on nothing leaves V0 as it was and adds its minutes; it is not chosen."""
    model = random_model(np.random.default_rng(3))
    silent = Look(2.0, np.tile([0.3, 0.7], (6, 1)))
    v0 = float(act_values(model.p[None, :], model.acting)[0][0])
    assert look_values([model.p], model.acting, [[(0, silent)]])[0][0] == pytest.approx(v0 + 2.0, abs=SAME)
    assert choose(model.p, model.acting, [silent]).kind != "look"


def test_a_cover_opened_makes_the_next_look_cheaper() -> None:
    """Two looks behind one cover: with the saving known, the pair is worth more than the two apart."""
    yes = np.array([0.97, 0.97, 0.03, 0.03])
    other = np.array([0.97, 0.03, 0.97, 0.03])
    acting = acting_for(np.arange(4)[:, None], np.ones(4), np.full(4, 60.0), hand_over=200.0)
    p = np.full(4, 0.25)

    def value(saves: float) -> float:
        looks = [Look(14.0, np.column_stack([a, 1 - a]), "panel-cover", saves) for a in (yes, other)]
        return choose(p, acting, looks, limits=Limits()).value

    assert value(10.0) < value(0.0)


def excess(models: list[Model]) -> dict[str, Array]:
    """Mean and 95th percentile of the search, and whether it ever was dearer than acting without looking."""
    found = compare(models)
    assert found["above_acting_only"] == 0
    return found["two_steps"]  # type: ignore[no-any-return]


def test_random_models_near_the_optimum() -> None:
    """Twenty-five random models here: mean at most 0.5 %, 95th percentile at most 2 %."""
    rng = np.random.default_rng(11)
    found = excess([random_model(rng) for _ in range(25)])
    assert found["mean"] <= LIMIT_MEAN and found["p95"] <= LIMIT_95TH


def test_slices_of_the_base_near_the_optimum() -> None:
    """Three smaller slices of the shipped base here: none more than 6 % above the optimum."""
    knowledge = load_knowledge()
    found = excess([base_slice(knowledge, seed, causes=6, looks=5) for seed in (1, 2, 3)])
    assert found["worst"] <= SLICE_95TH


def test_rollouts_of_a_small_model_cost_what_the_search_costs() -> None:
    """Where the search is at the optimum, rollouts on the same calls gain nothing, and their mean is near the exact cost."""
    model = light_print(30.0)
    found = against_rollouts([model], calls=300, repeats=8, seed=4)
    assert found["search_minutes"] == pytest.approx(LIGHT_PRINT[30.0], rel=0.12)
    assert abs(found["search_dearer_by"]) <= 0.05
