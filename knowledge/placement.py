"""Step cards of a placement: receive, set, fill, supply, start, stay, return; and what can be checked of them against the base.

A step says what to do, why, what good looks like, and which call "not right" opens. What has to be true before it and what it
makes true are facts of the placement ("loop: filled"), so that nothing can be started that was not filled.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from knowledge.models import Card, Hazard, Id, MachineState, Qualification, Text, Title
from shared.quantities import QUANTITIES, Kind

if TYPE_CHECKING:
    from knowledge.load import Problem, RawCards

Stage = Literal["receive", "set", "fluid", "supply", "pump", "cooling", "baseline", "stay", "return"]
STAGES: dict[str, str] = {
    "receive": "Receive and walk round",
    "set": "Set it down",
    "fluid": "Connect and fill",
    "supply": "Supply and power",
    "pump": "Pump alone, flow proved",
    "cooling": "Cooling",
    "baseline": "Baseline and handing over",
    "stay": "While it stays",
    "return": "Return",
}
# facts a placement has, with their words; the first one holds when it is opened
FACTS: dict[str, tuple[str, ...]] = {
    "loop": ("unknown", "drained", "filled"),
    "drains": ("unknown", "shut", "open"),
    "valves": ("unset", "set"),
    "strainer": ("unknown", "clean"),
    "power": ("off", "on"),
    "sump": ("cold", "warm"),
    "pump": ("off", "running"),
    "flow": ("unproved", "proved"),
    "cooling": ("off", "running"),
    "baseline": ("none", "taken"),
}
# what is asked of the site, with its kind
SITE: dict[str, tuple[str, Kind]] = {
    "lowest_air": ("lowest air temperature of the stay", Kind.TEMPERATURE),
    "highest_air": ("highest air temperature of the stay", Kind.TEMPERATURE),
    "altitude": ("height of the site", Kind.LENGTH),
    "height_above": ("highest point of the loop above the gauge", Kind.LENGTH),
    "loop_volume": ("fluid volume of the loop", Kind.VOLUME),
    "wanted_glycol": ("glycol wanted", Kind.PERCENT),
    "hose_inside_diameter": ("inside diameter of the hoses", Kind.LENGTH),
    "hose_length": ("length of hose, one way", Kind.LENGTH),
    "cable_length": ("length of the supply cable, one way", Kind.LENGTH),
    "cable_area": ("area of one conductor", Kind.AREA),
    "running_current": ("running current of the whole machine", Kind.CURRENT),
    "start_current": ("locked rotor current of the largest start", Kind.CURRENT),
    "generator_rating": ("rating of the generator", Kind.APPARENT_POWER),
    "heat_load": ("heat coming into the loop", Kind.POWER),
}
MACHINE_INPUTS = (
    "capacity", "voltage", "frequency", "fluid", "glycol_percent", "design_flow", "design_drop", "set_point",
    "design_entering", "pump_design_rise",
)  # fmt: skip


class Amount(Card):
    """A figure worked out for this placement. inputs: input of the calculator -> "machine.KEY", "site.KEY" or "taken.QUANTITY"."""

    title: Title
    calculator: Id
    inputs: dict[str, Text]
    shows: tuple[str, ...] = Field(min_length=1)


class PlacementStep(Card):
    """One step of a work order.

    number: order within the stage. requires/sets: facts of the placement. takes: quantities read here. asks: figures of the
    site. lists: lists of the machine card to go by. not_right: complaint a trouble call opens with ("" = a note is enough). must: later stages wait for it. again: done
    any number of times.
    """

    id: Id
    title: Title
    stage: Stage
    number: Annotated[int, Field(ge=1, le=999)]
    do: Text
    why: Text
    good: Text
    minutes: Annotated[float, Field(gt=0, le=600)]
    wait_minutes: Annotated[float, Field(ge=0, le=2000)] = 0
    needs_qualified: tuple[Qualification, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    cautions: tuple[Text, ...] = ()
    tools: tuple[str, ...] = ()
    state: MachineState = "any"
    when: dict[str, tuple[str, ...]] = {}
    requires: dict[str, tuple[str, ...]] = {}
    sets: dict[str, str] = {}
    takes: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
    amounts: tuple[Amount, ...] = ()
    lists: tuple[Literal["low_points"], ...] = ()
    not_right: str = ""
    must: bool = True
    again: bool = False
    sources: tuple[Id, ...] = Field(min_length=1)


def placement_problems(raw: RawCards) -> list[Problem]:
    """Everything wrong with the step cards: words nobody knows, order, facts nobody sets, dangers without a caution."""
    out: list[Problem] = []
    steps = {k: v for k, v in raw.cards["steps"].items() if isinstance(v, PlacementStep)}
    given = {(fact, word) for step in steps.values() for fact, word in step.sets.items()}
    seen: dict[tuple[str, int], str] = {}
    for name, step in steps.items():

        def say(key: str, text: str, name: str = name) -> None:
            out.append(raw.problem("steps", name, key, text))

        other = seen.setdefault((step.stage, step.number), name)
        if other != name:
            say("number", f"number {step.number} of stage {step.stage} is taken by {other}")
        for fact, word in step.sets.items():
            if word not in FACTS.get(fact, ()):
                say(f"sets.{fact}", f"no such fact or word; allowed: {_facts()}")
        for fact, words in step.requires.items():
            for word in words:
                if word not in FACTS.get(fact, ()):
                    say(f"requires.{fact}", f"no such fact or word; allowed: {_facts()}")
                elif (fact, word) not in given and word != FACTS[fact][0]:
                    say(f"requires.{fact}", f"no step sets {fact} to {word}, so this step can never be done")
        for quantity in step.takes:
            if quantity not in QUANTITIES:
                say("takes", f"no such quantity: {quantity}")
        for key in step.asks:
            if key not in SITE:
                say("asks", f"no such figure of the site: {key}; allowed: {', '.join(SITE)}")
        for n, amount in enumerate(step.amounts):
            for target, source in amount.inputs.items():
                where, _, key = source.partition(".")
                known = {"machine": MACHINE_INPUTS, "site": tuple(SITE), "taken": tuple(QUANTITIES)}.get(where)
                if known is None or key not in known:
                    say(f"amounts.{n}.inputs.{target}", f"'{source}' is not machine.KEY, site.KEY or taken.QUANTITY")
        if step.not_right and step.not_right not in raw.cards["complaints"]:
            say("not_right", f"no such complaint: {step.not_right}")
        for source in step.sources:
            if source not in raw.cards["sources"]:
                say("sources", f"no such source: {source}")
        if step.hazards and not step.cautions:
            say("cautions", "a step with a hazard needs a caution that is read before it")
        for hazard, needs in (
            ("live-electrical", "electrical"),
            ("stored-electrical", "electrical"),
            ("refrigerant", "refrigerant"),
        ):
            if hazard in step.hazards and needs not in step.needs_qualified:
                say("needs_qualified", f"a {hazard} step is for somebody qualified: {needs}")
    return out


def _facts() -> str:
    return "; ".join(f"{fact}: {', '.join(words)}" for fact, words in FACTS.items())
