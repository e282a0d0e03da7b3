"""Closed calls of the record as `knowledge.outcomes` counts them: which cause was confirmed, and by what.

A call closed as cured names its cause by the last remedy that cured: of the causes this remedy is for, the one that led when it
was done. A call closed as normal names the normal explanation the tool held at the end. Anything else is "not-found". Calls
of the demonstration are left out.
"""

from __future__ import annotations

from diagnose.advise import advise
from diagnose.case import Case
from diagnose.places import topology_of
from diagnose.store import Call, Store
from knowledge.load import Knowledge
from knowledge.models import PlaceKind
from knowledge.outcomes import NOT_FOUND, ClosedCall


def closed_calls(address: str, knowledge: Knowledge) -> list[ClosedCall]:
    """All closed calls of the record at ``address`` ("" = the usual place). Raises StoreError."""
    store = Store(address or None)
    try:
        lines = [line for line in store.calls("closed") if not line.invented]
        return [closed_call(store.call(line.id), knowledge) for line in lines]
    finally:
        store.close()


def closed_call(call: Call, knowledge: Knowledge) -> ClosedCall:
    """One closed call with its confirmed cause."""
    case = call.case
    cause, proof = _confirmed(call.line.outcome, case, knowledge)
    return ClosedCall(
        id=call.id,
        at=call.line.last_at.date().isoformat(),
        complaint=case.complaint,
        context=tuple(c for c in case.context if c in knowledge.contexts),
        cause=cause,
        proof=proof,
        places=_places(case),
    )


def _confirmed(outcome: str, case: Case, knowledge: Knowledge) -> tuple[str, str]:
    """(cause id, what proved it)."""
    if outcome == "normal":
        verdict = advise(case, knowledge).verdict
        if verdict is not None and verdict.kind == "normal" and verdict.causes[0] in knowledge.causes:
            return verdict.causes[0], "explained as normal and watched"
    if outcome == "cured":
        for number in range(len(case.entries) - 1, -1, -1):
            entry = case.entries[number]
            if entry.action and entry.outcome == "cured":
                mends = {c.id for c in knowledge.causes.values() if c.remedy.id == entry.action}
                before = case.model_copy(update={"entries": case.entries[:number]})
                led = next((s.cause for s in advise(before, knowledge).suspects if s.cause in mends), "")
                if not led and len(mends) == 1:
                    led = next(iter(mends))
                if led:
                    return led, f"cured by {entry.action}"
                break
    return NOT_FOUND, ""


def _places(case: Case) -> dict[PlaceKind, int]:
    """How many places of each kind the machine has, as far as its card says."""
    topology = topology_of(case.machine)
    counts: dict[PlaceKind, int] = {
        "circuit": len(topology.circuits),
        "compressor": sum(len(ids) for ids in topology.compressors.values()) or case.machine.compressors or 0,
        "fan": topology.fan_count,
        "pump": len(topology.pumps),
    }
    return {kind: count for kind, count in counts.items() if count > 0}
