"""A step that is not right opens a trouble call with everything known: machine, circumstances, readings of the steps so far.

Where the placement has a baseline, its figures stand on the machine card of the call as this machine's own healthy ones, unless the
card has them already, and the drift of the rounds stands in a note.
"""

from __future__ import annotations

from typing import Any

from diagnose.case import Case
from diagnose.phrases import at_place
from diagnose.placement.baseline import Baseline
from diagnose.placement.plan import facts_of
from diagnose.placement.record import Done, Placement
from diagnose.placement.rounds import ROUND
from diagnose.placement.trend import Trends, trend_of
from diagnose.placement.trend_text import baseline_line, drift_lines
from knowledge.load import Knowledge
from shared.errors import ChillerError

STATES = {"receive": "standing", "set": "standing", "fluid": "standing", "supply": "powered", "pump": "pump-only"}


def call_of(placement: Placement, step_id: str, knowledge: Knowledge) -> Case:
    """The case a step that is not right opens. Raises ChillerError for an unknown step or one that opens none."""
    step = knowledge.steps.get(step_id)
    if step is None:
        raise ChillerError("unknown step", given=step_id, allowed=", ".join(knowledge.steps), do="choose one of these")
    if not step.not_right:
        raise ChillerError("this step opens no call", given=step_id, do="write a note; hand it over with the report")
    entries: list[dict[str, object]] = []
    last_round = max((n for n, e in enumerate(placement.entries) if e.step == ROUND and e.readings), default=-1)
    for number, done in enumerate(placement.entries):
        # of the rounds only the last one is read here; what they say together stands in the note on the drift
        only_said = done.step == ROUND and number != last_round
        entries += _entries(done.model_copy(update={"readings": ()}) if only_said else done, knowledge)
    facts = facts_of(placement, knowledge)
    note = next((e.note for e in reversed(placement.entries) if e.step == step_id and e.note), "")
    trends = trend_of(placement, knowledge, ahead=False)
    baseline = trends.baseline if trends.baseline is not None and trends.baseline.usable else None
    context = [c for c in ("first-start", *placement.context) if c in knowledge.contexts]
    if step.stage in ("stay", "return"):
        context = [c for c in context if c != "first-start"] + ["running-site"]
    return Case.model_validate(
        {
            "complaint": step.not_right,
            "role": "technician",
            "qualified": placement.qualified,
            "machine": _with_baseline(placement, baseline),
            "context": list(dict.fromkeys(context)),
            "words": " ".join(part for part in (f"{step.title}: not right.", note) if part),
            "now": next((e.at for e in reversed(placement.entries) if e.at), ""),
            "entries": [
                *entries,
                {"note": "so far: " + ", ".join(f"{name} {word}" for name, word in facts.items())},
                *_drift(trends),
            ],
        }
    )


def _drift(trends: Trends) -> list[dict[str, str]]:
    """One note on how the machine stands against its baseline; none without a round."""
    if trends.baseline is None or not trends.rounds:
        return []
    told = "; ".join(drift_lines(trends)) or "as it was, within what a healthy machine moves"
    words = ", ".join(at_place(w.card.title, w.place) for w in trends.words)
    text = f"{baseline_line(trends.baseline)}. Last round {trends.rounds[-1].at.isoformat(timespec='minutes')}: {told}."
    return [{"note": text + (f" Early words: {words}." if words else "")}]


def _with_baseline(placement: Placement, baseline: Baseline | None) -> dict[str, Any]:
    """The machine with what its undoubted baseline showed, where its card is silent: the figures that hardly move with the day.

    A card has one figure for all circuits: the smallest split and the largest subcooling, so that a circuit that was worse from the
    start is not taken for the measure.
    """
    machine: dict[str, Any] = placement.machine.model_dump(mode="json", exclude_defaults=True)
    if baseline is None or baseline.state != "kept":
        return machine
    made = baseline.round
    card = dict(machine.get("card", {}))
    for name, pick in (("condenser_split", min), ("subcooling", max)):
        figures = [f for f in made.figures.values() if f.figure == name]
        if figures and made.full and name not in card and not any(f.regime for f in figures):
            card[name] = f"{pick(f.measured for f in figures):.1f} delta_degC"
    if made.strainer is not None and not machine.get("strainer_clean_drop") and min(made.strainer) > 0.0:
        drop_pa, flow_m3s = made.strainer
        machine |= {
            "strainer_clean_drop": f"{drop_pa / 1e3:.2f} kPa",
            "strainer_clean_flow": f"{flow_m3s * 1e3:.3f} L/s",
        }
    return machine | ({"card": card} if card else {})


def _entries(done: Done, knowledge: Knowledge) -> list[dict[str, object]]:
    step = knowledge.steps.get(done.step)
    if step is None:
        return []
    state = STATES.get(step.stage, "cooling")
    out: list[dict[str, object]] = []
    for one in done.readings:
        if one.at:
            continue  # read earlier only to show that the machine was steady
        entry: dict[str, object] = {"quantity": one.quantity, "value": one.value, "by": done.by, "at": done.at}
        entry["state"] = "standing" if one.quantity == "fill_pressure" else state
        if step.state == "steady":
            entry["steadiness"] = "steady"
        if one.place:
            entry["place"] = one.place
        out.append({k: v for k, v in entry.items() if v != ""})
    if done.note:
        out.append({"note": f"{step.title}: {done.note}", **({"by": done.by} if done.by else {})})
    return out
