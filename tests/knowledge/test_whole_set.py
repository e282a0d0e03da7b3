"""The whole-set checks: the shipped base passes, and each way to break it is reported with file, key and remedy."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from diagnose.belief import Inference
from diagnose.case import Machine
from diagnose.grade import HONEST
from diagnose.network import Network
from diagnose.places import places_for, topology_of
from knowledge.check import find_problems
from knowledge.graph import effect_forest, induced_width
from knowledge.load import Knowledge, Problem, RawCards
from knowledge.models import Cause
from knowledge.signature import Signatures
from knowledge.texts import text_problems
from knowledge.whole_set import MOST_IN_GROUP, MOST_SHARE, SEPARATES, WholeSet, whole_set_problems
from shared.quantities import DERIVED

Change = Callable[..., None]
KINDS = {d.name: d.kind for d in DERIVED.values()}


def only(problems: list[Problem], key: str, *texts: str) -> Problem:
    """The one problem with this key, which says all of this and names an existing file and a remedy."""
    found = [p for p in problems if p.key == key and all(t in p.text for t in texts)]
    assert len(found) == 1, [str(p) for p in problems]
    assert found[0].file.endswith(".yaml") and found[0].line >= 1
    return found[0]


# the measure ------------------------------------------------------------------------------------------------------------


def test_signatures_equal_what_the_belief_predicts(base: Knowledge) -> None:
    """Every ninth cause alone on a machine of one circuit: each finding it moves has the words the engine expects, to 1e-9."""
    places = places_for(topology_of(Machine(circuits=1, compressors=1, fans=1)), [])
    facts = {"expansion": "thermostatic", "tank-at": "load", "pump-in-use": "onboard"}
    network = Network(base, places, (), facts)
    signatures = Signatures(base.causes, base.effects, base.findings, base.words)
    inference = Inference(network, {}, {}, {}, {HONEST: 1.0})
    numbers = {i.cause: n for n, i in enumerate(network.instances, 1)}
    compared = 0
    for cause in list(base.causes)[::9]:
        first = np.array([numbers[cause]])
        run = inference.upward(HONEST, first, np.zeros(1, dtype=np.int64))
        near = network.instances[numbers[cause] - 1].place
        for finding, words in signatures.of(cause, facts).items():
            place = network.place_for(base.findings[finding].place, near)
            assert place is not None
            expected = inference.predict((finding, place), run)[0]
            scale = base.findings[finding].ordered or base.findings[finding].words
            assert [words[w] for w in scale] == pytest.approx(list(expected), abs=1e-9), (cause, finding)
            compared += 1
    assert compared > 300


def test_two_causes_of_one_machine_are_compared_on_that_machine(base: Knowledge) -> None:
    """Cards about other kinds of machines never meet; what they have in common is looked at in every combination."""
    signatures = Signatures(base.causes, base.effects, base.findings, base.words)
    assert list(signatures.variants("drive-faulted", "star-delta-stays-in-star")) == []
    valves = [v["valve"] for v in signatures.variants("expansion-bulb-loose", "electronic-valve-stuck-open")]
    assert set(valves) == {"unknown"}  # nobody told which valve it has
    tanks = [v["tank-at"] for v in signatures.variants("strainer-clogged", "check-valve-stuck")]
    assert set(tanks) == {"load", "discharge", "unknown"}


# the shipped base ---------------------------------------------------------------------------------------------------------


def test_the_shipped_base_holds_together(shipped: RawCards) -> None:
    assert find_problems(shipped, KINDS) == []


def test_few_causes_are_declared_inseparable_and_for_a_reason(shipped: RawCards) -> None:
    """The share is far below the limit; each pair is declared on both cards, with one remedy or one hand-over."""
    whole = WholeSet(shipped)
    members = set().union(*whole.groups)
    assert 0 < len(members) <= MOST_SHARE * len(whole.causes)
    assert max(map(len, whole.groups)) <= MOST_IN_GROUP
    for name in members:
        card = whole.causes[name]
        for other in card.inseparable:
            shared = card.remedy.id == whole.causes[other].remedy.id
            assert shared or card.remedy.hand_over_to == whole.causes[other].remedy.hand_over_to != ""


# broken bases -------------------------------------------------------------------------------------------------------------


def test_a_cause_no_look_confirms(raw: RawCards, change: Change) -> None:
    change("causes", "strainer-clogged", confirm=["wind-ask"])
    only(whole_set_problems(raw), "strainer-clogged.confirm", "no look named here shows it clearly")


def test_a_twin_that_no_look_tells_apart(raw: RawCards) -> None:
    """A second card with the same signs is told from everything but its twin."""
    card = raw.cards["causes"]["vent-shut"]
    assert isinstance(card, Cause)
    raw.cards["causes"]["vent-shut-twin"] = card.model_copy(
        update={"id": "vent-shut-twin", "complaints": {"no-flow": "often"}}
    )
    assert whole_set_problems(raw) == [], "they share no complaint, so nobody has to tell them apart"
    raw.cards["causes"]["vent-shut-twin"] = card.model_copy(update={"id": "vent-shut-twin"})
    problems = whole_set_problems(raw)
    assert {p.key for p in problems} == {"vent-shut.brings"}
    only(problems, "vent-shut.brings", "no look tells it from 'vent-shut-twin'", "best 0.00", str(SEPARATES))


def test_an_inseparable_pair_is_declared_on_both_cards_with_one_remedy(raw: RawCards, change: Change) -> None:
    change("causes", "drive-earth-leakage-trip", inseparable=[])
    change("causes", "bypass-wrong", remedy={"id": "another", "text": "Set it.", "minutes": 5})
    problems = whole_set_problems(raw)
    only(problems, "drive-earth-leakage-trip.inseparable", "'earth-leakage-drive-filters' declares itself inseparable")
    only(problems, "bypass-wrong.inseparable", "neither one remedy serves both")


def test_a_pair_that_a_look_tells_apart_is_not_inseparable(raw: RawCards, change: Change) -> None:
    change("causes", "air-bound", inseparable=["vent-shut"])
    change("causes", "vent-shut", inseparable=["air-bound"])
    only(whole_set_problems(raw), "air-bound.inseparable", "vent-look", "tells them apart")


def test_groups_stay_small_and_few(raw: RawCards, change: Change) -> None:
    names = [n for n, c in raw.cards["causes"].items() if isinstance(c, Cause) and not c.inseparable][:34]
    for first, second in zip(names, names[1:], strict=False):
        change("causes", second, inseparable=[first])
    problems = whole_set_problems(raw)
    only(problems, f"{min(names)}.inseparable", "34 cards in one group", f"at most {MOST_IN_GROUP}")
    assert any("cards are declared inseparable from another; at most 15%" in p.text for p in problems)


def test_a_check_nothing_leads_to(raw: RawCards, change: Change) -> None:
    change("checks", "wind-ask", families=[])
    for name, card in list(raw.cards["causes"].items()):
        assert isinstance(card, Cause)
        kept = {k: [c for c in getattr(card, k) if c != "wind-ask"] or ["fans-look"] for k in ("confirm", "clear")}
        if "wind-ask" in (*card.confirm, *card.clear):
            change("causes", name, **kept)
    only([p for p in whole_set_problems(raw) if p.key == "wind-ask.families"], "wind-ask.families", "never asked")


def test_a_first_look_belongs_to_its_complaint(raw: RawCards, change: Change) -> None:
    change("complaints", "no-flow", first=["wind-ask"])
    only(whole_set_problems(raw), "wind-ask.families", "first looks of 'no-flow'")


def test_a_cause_called_about_shows_what_its_callers_notice(raw: RawCards, change: Change) -> None:
    """A noise call about a cause that makes no noise: bring one or drop the complaint."""
    change("causes", "set-point-too-low", complaints={"noise-vibration": "often"})
    only(
        find_problems(raw, KINDS),
        "set-point-too-low.complaints",
        "'noise-vibration' is called about by who noticed",
        "drop the complaint",
    )


def test_what_callers_notice_may_follow_from_an_effect_further_up(raw: RawCards, change: Change) -> None:
    """Who calls about low suction has met low suction, which a stopped flow brings without saying so; what touches neither does not."""
    noticed = ["suction"]
    change("complaints", "low-suction", noticed=noticed)
    told = {p.key for p in find_problems(raw, KINDS) if "'low-suction' is called about" in p.text}
    stopped = [i for i, c in raw.cards["causes"].items() if "low-suction" in c.complaints and i == "check-valve-stuck"]  # type: ignore[attr-defined]
    assert stopped and "check-valve-stuck.complaints" not in told
    change("causes", "cold-pipes-sweat", complaints={"low-suction": "often"})
    told = {p.key for p in find_problems(raw, KINDS) if "'low-suction' is called about" in p.text}
    assert "cold-pipes-sweat.complaints" in told


def test_an_answer_that_leads_to_silence(raw: RawCards, change: Change) -> None:
    texts = {"free": "free", "close": "close", "odd": "odd"}
    card = raw.cards["findings"]["hose-stiffness"].model_dump(by_alias=True)
    change("findings", "hose-stiffness", words=[*card["words"], "odd"], texts={**card["texts"], "odd": texts["odd"]})
    answers = raw.cards["checks"]["hose-stiff-feel"].model_dump(by_alias=True)["answers"]
    change("checks", "hose-stiff-feel", answers={**answers, "odd": {"text": "Odd"}})
    only(whole_set_problems(raw), "hose-stiff-feel.answers.odd", "nothing follows from this answer")


def test_a_dead_rule(raw: RawCards, change: Change) -> None:
    """A word no check, band or rule ever gives; and, by the specimens, a rule that never fires."""
    answers = raw.cards["checks"]["ice-check"].model_dump(by_alias=True)["answers"]
    words = {a.get("word") or key for key, a in answers.items()}
    assert "yes" in words
    for check, card in raw.cards["checks"].items():
        if getattr(card, "finding", None) == "ice-seen":
            kept = {k: a for k, a in card.model_dump(by_alias=True)["answers"].items() if (a["word"] or k) != "yes"}
            change("checks", check, answers=kept)
    problems = [p for p in whole_set_problems(raw) if "dead rule" in p.text]
    assert "ask-burst-after-ice.when.0" in {p.key for p in problems}


def test_a_stop_without_hand_over_and_a_card_without_source(raw: RawCards, change: Change) -> None:
    then = raw.cards["rules"]["stop-below-freezing"].model_dump(by_alias=True, exclude_defaults=True)["then"]
    change("rules", "stop-below-freezing", then={**then, "hand_over_to": ""})
    change("causes", "air-bound", sources=["nowhere"])
    problems = find_problems(raw, KINDS)
    only(problems, "stop-below-freezing.then", "hand_over_to")
    only(problems, "air-bound.sources", "no source 'nowhere'")
    with pytest.raises(ValueError, match="sources"):
        change("causes", "air-bound", sources=[])


def test_a_telephone_text_that_is_too_hard(raw: RawCards, change: Change) -> None:
    hard = "Communicate the differential manometer indication immediately, including the engineering unit and its precision."
    change("checks", "read-fluid-gauges", telephone=hard)
    only(text_problems(raw), "read-fluid-gauges.telephone", "Flesch-Kincaid grade", "at most 6.5")


# the forest ---------------------------------------------------------------------------------------------------------------


def test_the_effects_form_a_forest(base: Knowledge) -> None:
    assert induced_width(effect_forest(base.effects, base.findings)) == (1, ())


def test_a_ring_of_effects_is_refused_with_the_cards_that_make_it(base: Knowledge) -> None:
    """Three effects in a ring have induced width 2 (a cycle's treewidth, R. Diestel, Graph Theory, 12.3); trees hang on unblamed."""
    ring = {"pump-running": "flow-proof", "fluid-flow": "pump-running", "flow-proof": "fluid-flow"}
    effects = {n: e.model_copy(update={"parent": ring.get(n, e.parent)}) for n, e in base.effects.items()}
    width, blamed = induced_width(effect_forest(effects, base.findings))
    assert width == 2
    assert set(blamed) == {("effects", name) for name in ring}


def test_a_finding_that_gives_a_liar_away_must_exist_and_have_that_word(raw: RawCards, change: Change) -> None:
    lies = raw.cards["instruments"]["flow-meter"].model_dump(by_alias=True, exclude_defaults=True)["lies"]
    change("instruments", "flow-meter", lies=[{**lies[0], "shows": {"flow-compared": "meter-lower"}}, lies[1]])
    change("instruments", "fluid-gauge", shows={"gauges-at-night": "differ"})
    problems = find_problems(raw, KINDS)
    only(problems, "flow-meter.shows", "'meter-lower' is not a word of 'flow-compared'", "meter-higher")
    only(problems, "fluid-gauge.shows", "no finding 'gauges-at-night'")
