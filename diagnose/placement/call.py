"""A step that is not right opens a trouble call with everything known: machine, circumstances, readings of the steps so far."""

from __future__ import annotations

from diagnose.case import Case
from diagnose.placement.plan import facts_of
from diagnose.placement.record import Done, Placement
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
    for done in placement.entries:
        entries += _entries(done, knowledge)
    facts = facts_of(placement, knowledge)
    note = next((e.note for e in reversed(placement.entries) if e.step == step_id and e.note), "")
    context = [c for c in ("first-start", *placement.context) if c in knowledge.contexts]
    if step.stage in ("stay", "return"):
        context = [c for c in context if c != "first-start"] + ["running-site"]
    return Case.model_validate(
        {
            "complaint": step.not_right,
            "role": "technician",
            "qualified": placement.qualified,
            "machine": placement.machine.model_dump(mode="json", exclude_defaults=True),
            "context": list(dict.fromkeys(context)),
            "words": " ".join(part for part in (f"{step.title}: not right.", note) if part),
            "now": next((e.at for e in reversed(placement.entries) if e.at), ""),
            "entries": [*entries, {"note": "so far: " + ", ".join(f"{name} {word}" for name, word in facts.items())}],
        }
    )


def _entries(done: Done, knowledge: Knowledge) -> list[dict[str, object]]:
    step = knowledge.steps.get(done.step)
    if step is None:
        return []
    state = STATES.get(step.stage, "cooling")
    out: list[dict[str, object]] = []
    for one in done.readings:
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
