"""Flow by three ways against figures worked out by hand, and the step that is due. The sources stand beside the values."""

from __future__ import annotations

from typing import Any

import pytest

from diagnose.case import Machine
from diagnose.placement.flow import flows, shows_flow, way_line
from diagnose.placement.now import current, going_back, gone_back
from diagnose.placement.plan import outlook
from diagnose.placement.record import Done, Placement, Taken
from knowledge.load import Knowledge, load_knowledge

GPM = 231 * 0.0254**3 / 60  # a US gallon is 231 cubic inches by definition
WATER = Machine(name="W-1 (invented)", fluid="water", capacity="140 kW", design_flow="96 gpm", design_drop="6.5 psi")
GLYCOL = WATER.model_copy(update={"fluid": "propylene-glycol", "glycol_percent": "30 %"})


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def taken(machine: Machine, **read: str) -> Placement:
    split = {q: v for q, v in read.items() if q in ("entering_fluid", "leaving_fluid")}
    rest = {q: v for q, v in read.items() if q not in split}
    entries = [Done(step="start-flow-curve", readings=tuple(Taken(quantity=q, value=v) for q, v in rest.items()))]
    if split:
        entries.append(Done(step="base-steady", readings=tuple(Taken(quantity=q, value=v) for q, v in split.items())))
    return Placement(machine=machine, entries=tuple(entries))


def test_three_ways_of_one_flow_agree(base: Knowledge) -> None:
    """Square law of a pressure drop: 0.64 of it at 0.8 of the flow (DOE-HDBK-1012). Energy balance, Q = P/(rho cp dT): 140 kW over
    10 F of water (4.19 kJ/kgK, 999 kg/m3) is 6.02 L/s, 95.4 gpm."""
    found = flows(taken(WATER, evaporator_drop="4.16 psi", flow="77 gpm"), base)
    ways = {w.name: w.flow / GPM for w in found.ways}
    assert ways["drop"] == pytest.approx(0.8 * 96, rel=0.01) and ways["meter"] == pytest.approx(77, rel=1e-6)
    assert "That is as close as the two come." in found.words[0]
    found = flows(
        taken(WATER, evaporator_drop="6.5 psi", flow="96 gpm", entering_fluid="54 F", leaving_fluid="44 F"), base
    )
    ways = {w.name: w.flow / GPM for w in found.ways}
    assert ways["temperature"] == pytest.approx(95.4, rel=0.01)
    assert "as good as the plate's capacity" in found.words[1]
    assert way_line(found.ways[0], metric=True).endswith("L/s") and "gpm" in way_line(found.ways[0], metric=False)


@pytest.mark.parametrize(
    ("read", "said"),
    [
        ({"evaporator_drop": "6.5 psi", "flow": "130 gpm"}, "a bypass not quite shut"),
        ({"evaporator_drop": "6.5 psi", "flow": "60 gpm"}, "partly blocked"),
        ({"flow": "96 gpm", "entering_fluid": "50 F", "leaving_fluid": "45 F"}, "not at full load"),
        ({"flow": "96 gpm", "entering_fluid": "64 F", "leaving_fluid": "44 F"}, "Warm fluid gives more cooling"),
    ],
)  # fmt: skip
def test_a_difference_is_explained_by_what_makes_it(base: Knowledge, read: dict[str, str], said: str) -> None:
    assert any(said in line for line in flows(taken(WATER, **read), base).words)


def test_a_meter_made_for_water_is_corrected_for_glycol(base: Knowledge) -> None:
    """A differential-pressure meter: true flow = reading x sqrt(998.2 / density). 30 % propylene glycol at 10 C has 1032 kg/m3
    (tables of ASHRAE, Fundamentals, chapter on secondary coolants, from memory within 0.5 %): 96 gpm read is 94.4."""
    found = flows(taken(GLYCOL, evaporator_drop="6.5 psi", flow="96 gpm"), base)
    line = next(w for w in found.words if "when it was made for water" in w)
    read = float(line.split(": ")[1].split(" gpm")[0])
    assert read == pytest.approx(96 * (998.2 / 1032) ** 0.5, rel=0.005)


def test_one_way_alone_is_not_judged(base: Knowledge) -> None:
    assert flows(taken(WATER, flow="96 gpm"), base).words == ()
    assert flows(Placement(machine=Machine()), base).ways == ()
    assert not any(
        w for w in flows(taken(WATER, flow="0 gpm", evaporator_drop="6.5 psi"), base).ways if w.name == "meter"
    )
    assert shows_flow(base.steps["start-flow-meter"]) and not shows_flow(base.steps["place-air"])


def due(placement: Placement, base: Knowledge, **more: Any) -> str:
    found = current(outlook(placement, base), placement, base, **more)
    return found.card.id if found else ""


def walked(base: Knowledge, upto: str, *entries: Done) -> Placement:
    placement = Placement(machine=WATER, qualified=("electrical", "refrigerant", "height"))
    while (step := due(placement, base)) not in (upto, ""):
        placement = placement.model_copy(update={"entries": (*placement.entries, Done(step=step))})
    return placement.model_copy(update={"entries": (*placement.entries, *entries)})


def test_the_step_that_is_due(base: Knowledge) -> None:
    start = Placement(machine=WATER)
    assert due(start, base) == "delivery-photo-plate"  # not the return, which may begin at any time
    wrong = walked(base, "place-air", Done(step="place-air", outcome="not-right"))
    assert due(wrong, base) == "place-air"  # its call is closed, or cannot be found
    assert due(wrong, base, in_trouble={"place-air"}) == "place-neighbours"
    noted = walked(base, "place-ground", Done(step="place-ground", outcome="not-right", note="soft"))
    assert due(noted, base) == "place-air"  # no call waits for it, so the stage goes on
    left = walked(base, "fluid-fill", Done(step="fluid-fill", outcome="left", note="tonight"))
    while (step := due(left, base)) not in ("fluid-fill", ""):
        left = left.model_copy(update={"entries": (*left.entries, Done(step=step))})
    assert step == "fluid-fill"  # nothing goes on without it


def test_whoever_is_not_qualified_goes_on_with_what_is_theirs(base: Knowledge) -> None:
    placement = walked(base, "supply-size").model_copy(update={"qualified": ()})
    assert due(placement, base) == "supply-disconnect"


def test_the_way_back_once_begun_goes_to_its_end(base: Knowledge) -> None:
    placement = walked(base, "stay-round", Done(step="stay-round"))
    assert due(placement, base) == "stay-round" and not going_back(placement, base)
    order = []
    placement = placement.model_copy(update={"entries": (*placement.entries, Done(step="back-stop"))})
    while step := due(placement, base):
        order.append(step)
        placement = placement.model_copy(update={"entries": (*placement.entries, Done(step=step))})
    assert order == ["back-isolate", "back-drain", "back-blow", "back-report"]
    assert gone_back(outlook(placement, base)) and going_back(placement, base)
