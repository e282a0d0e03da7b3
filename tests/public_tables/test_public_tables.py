"""The tool against public tables: cause lists of army and navy manuals, pressure pairs, measured condenser air.

Sources stand in the data files beside this one. Nothing here looks at probabilities of one call; the tables were not written
for this machine, and each listed cause that this machine cannot have says why.
"""

from __future__ import annotations

import json
from collections import defaultdict
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from diagnose.advice import Advice
from diagnose.advise import advise
from diagnose.case_check import checked, parse_case
from diagnose.work import prepare, reason
from knowledge.load import Knowledge, load_knowledge
from knowledge.yaml_text import read_yaml

FOLDER = Path(__file__).parent


def table(name: str) -> Any:
    return read_yaml((FOLDER / name).read_text(encoding="utf-8"))[0]


LISTS: list[dict[str, Any]] = table("symptom_lists.yaml")
PAIRS: list[dict[str, Any]] = table("pressure_pairs.yaml")
AIR: dict[str, Any] = table("condenser_air.yaml")
SYMPTOMS = list(dict.fromkeys(row["symptom"] for row in LISTS))
ENOUGH = 0.9
SUBSTANTIAL = 10**0.5
EVERYBODY = ["electrical", "refrigerant", "height"]
# One machine of each part, so that no cause counts double.
MACHINE = {"circuits": "1", "compressors": "1", "fans": "1"}


@cache
def base() -> Knowledge:
    """The shipped cards."""
    return load_knowledge()


def odds_of(p: float) -> float:
    return p / (1.0 - p)


def case_of(complaint: str, entries: list[dict[str, Any]], machine: dict[str, Any]) -> Any:
    data = {"complaint": complaint, "qualified": EVERYBODY, "machine": {**MACHINE, **machine}, "entries": entries}
    return checked(parse_case(data), base())


# cause lists ------------------------------------------------------------------------------------------------------------


@cache
def suspects(told: str) -> frozenset[str]:
    """Causes that are suspects when the symptom is all that is known.

    A cause is one when the symptom speaks for it: its odds rise by more than the square root of ten, from where on evidence
    is called substantial (H. Jeffreys, Theory of Probability, 3rd ed. 1961, appendix B; from memory). And when it is not
    further behind the leader than the rarest word of the cards is behind the commonest: whoever falls behind by more does
    so because of what was told, not because it is rare.
    """
    symptom = json.loads(told)
    entries = [{"finding": symptom["finding"], "word": symptom["word"]}] if "finding" in symptom else []
    network, _, belief = reason(prepare(case_of(symptom["complaint"], entries, {}), base()))
    before: dict[str, float] = defaultdict(float)
    after: dict[str, float] = defaultdict(float)
    nothing_told = 1.0 + float(sum(network.odds))
    for instance, odds, p in zip(network.instances, network.odds, belief.causes(), strict=True):
        before[instance.cause] += float(odds) / nothing_told
        after[instance.cause] += float(p)
    words = base().words.prior.values()
    least = max(after.values()) * min(words) / max(words)
    return frozenset(c for c, p in after.items() if p >= least and odds_of(p) > SUBSTANTIAL * odds_of(before[c]))


def test_the_lists_are_whole() -> None:
    """Every listed cause has cards or a reason; every card, complaint, finding and word exists; every list names its manual."""
    cards = base()
    for row in LISTS:
        told = row["told"]
        assert row["source"].startswith(("Army TM ", "Navy NAVEDTRA ", "MIL-HDBK-")), row
        assert told["complaint"] in cards.complaints
        if "finding" in told:
            finding = cards.findings[told["finding"]]
            assert told["word"] in (finding.ordered or finding.words)
        for cause in row["causes"]:
            assert ("ours" in cause) != ("none" in cause), cause
            assert set(cause.get("ours", ())) <= set(cards.causes), cause
            assert "ours" in cause or len(cause["none"]) > 12, cause


def test_most_listed_causes_exist_here() -> None:
    """What is set aside as not on this machine is the exception, so that nothing is won by setting aside."""
    listed = [c for row in LISTS for c in row["causes"]]
    assert len(listed) >= 100
    assert sum("none" in c for c in listed) <= 0.12 * len(listed)


@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_listed_causes_are_suspects(symptom: str) -> None:
    """Nine in ten of the listed causes that exist here are suspects for that symptom; all cards that a listed cause means."""
    missing, count = [], 0
    for row in LISTS:
        if row["symptom"] != symptom:
            continue
        found = suspects(json.dumps(row["told"]))
        for cause in row["causes"]:
            if "ours" in cause:
                count += 1
                if not set(cause["ours"]) <= found:
                    missing.append((row["source"], cause["listed"], sorted(set(cause["ours"]) - found)))
    assert len(missing) <= (1 - ENOUGH) * count, missing


def test_not_everything_is_a_suspect() -> None:
    """The measure can fail: over the symptoms three cards in four are no suspects, and a sharp one leaves few, of its own trade."""
    counts = [len(suspects(told)) for told in {json.dumps(row["told"]) for row in LISTS}]
    assert sum(counts) < 0.3 * len(counts) * len(base().causes)
    high = suspects(json.dumps(next(r["told"] for r in LISTS if r["symptom"] == "discharge pressure too high")))
    assert not high & {"refrigerant-leak", "strainer-clogged", "pump-reversed", "drier-restricted", "scroll-worn"}
    assert len(high) < 0.15 * len(base().causes)


# pressure pairs ---------------------------------------------------------------------------------------------------------


def first(advice: Advice, count: int) -> list[str]:
    return [s.cause for s in advice.suspects[:count]]


def ways(pair: dict[str, Any]) -> list[str]:
    return [way for way in ("signs", "readings") if way in pair]


@pytest.mark.parametrize(("pair", "way"), [pytest.param(p, w, id=f"{p['pair']}, {w}") for p in PAIRS for w in ways(p)])
def test_pressure_pairs_name_their_cause(pair: dict[str, Any], way: str) -> None:
    """The listed cause is among the first three suspects, given as graded signs and, where two gauges tell it, as readings."""
    if way == "signs":
        entries = [{"finding": name, "word": word} for name, word in pair["signs"].items()]
    else:
        entries = [
            {"quantity": name, "value": value, "state": "cooling", "steadiness": "steady"}
            for name, value in pair["readings"].items()
        ]
    advice = advise(case_of(pair["complaint"], entries, {"refrigerant": "R-410A"}), base())
    assert set(first(advice, 3)) & set(pair["ours"]), [(s.cause, round(s.probability, 3)) for s in advice.suspects[:6]]


# condenser air ----------------------------------------------------------------------------------------------------------


def with_less_air(row: dict[str, str]) -> Advice:
    """Readings as measured, on a machine whose card holds its healthy figures."""
    ambient = float(AIR["ambient_f"])
    liquid_line = ambient + float(row["split_f"]) - float(row["subcooling_f"])
    values = {
        "liquid_pressure": f"{row['head_psig']} psig",
        "entering_air": f"{ambient} F",
        "liquid_line": f"{liquid_line:.1f} F",
    }
    entries = [{"quantity": q, "value": v, "state": "cooling", "steadiness": "steady"} for q, v in values.items()]
    return advise(case_of(AIR["complaint"], entries, {**AIR["machine"], "card": AIR["card"]}), base())


@pytest.mark.parametrize("row", AIR["rows"][1:], ids=lambda r: f"-{r['less_air']} %")
def test_measured_loss_of_condenser_air(row: dict[str, str]) -> None:
    """The air side leads at -58 %, is in the first three at -28 %; charge is in neither, whatever subcooling does there."""
    advice = with_less_air(row)
    shown = first(advice, int(row["first"]))
    assert set(shown) & set(AIR["air_side"]), [(s.cause, round(s.probability, 3)) for s in advice.suspects[:6]]
    assert not set(first(advice, 3)) & set(AIR["charge"])
    assert advice.verdict is None or not set(advice.verdict.causes) & set(AIR["charge"])


def test_the_healthy_unit_blames_no_coil() -> None:
    """The same unit with all its air: no cause at its coil or fans leads, though its split and subcooling are wide for most."""
    advice = with_less_air(AIR["rows"][0])
    assert advice.suspects[0].cause not in {*AIR["air_side"], *AIR["charge"]}
    graded = {d.quantity: d.word for d in advice.derived}
    assert graded["subcooling_over_card"] == "normal" and graded["condenser_split_over_clean"] == "normal"


def test_without_the_card_the_same_figures_say_less() -> None:
    """What the card is for: general bands would call the healthy subcooling of this unit high."""
    data = [
        {"quantity": "liquid_pressure", "value": "334 psig", "state": "cooling", "steadiness": "steady"},
        {"quantity": "liquid_line", "value": "82.9 F", "state": "cooling", "steadiness": "steady"},
    ]
    plain = advise(case_of("high-head", data, {"refrigerant": "R-410A"}), base())
    known = advise(case_of("high-head", data, {"refrigerant": "R-410A", "card": AIR["card"]}), base())
    chance = [sum(s.probability for s in a.suspects if s.cause == "overcharge") for a in (plain, known)]
    assert chance[0] > chance[1]
