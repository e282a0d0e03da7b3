"""Closed calls of the record as `knowledge.outcomes` counts them: which cause was confirmed, and by what.

What somebody recorded on closing counts. Calls closed before that was asked name their cause by what follows from them: closed
as cured, the cause the last remedy that cured is for (of several, the one that led when it was done); closed as normal, the
normal explanation the tool held at the end. Anything else is "not-found". A call with two confirmed causes is two
draws. Calls of the demonstration are left out.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.advice import Suspect
from diagnose.advise import advise
from diagnose.case import Case
from diagnose.places import topology_of
from diagnose.store import Call, Closing, Store, closing_of
from knowledge.load import Knowledge
from knowledge.models import PlaceKind
from knowledge.outcomes import NOT_FOUND, ClosedCall

GONE = "a card that is no longer in the base"


def closed_calls(address: str, knowledge: Knowledge) -> list[ClosedCall]:
    """All closed calls of the record at ``address`` ("" = the usual place). Raises StoreError."""
    store = Store(address or None)
    try:
        return closed_calls_of(store, knowledge)
    finally:
        store.close()


def closed_calls_of(store: Store, knowledge: Knowledge) -> list[ClosedCall]:
    """All closed calls of an open record, one row for each confirmed cause, the last closed first. Raises StoreError."""
    lines = [line for line in store.calls("closed") if not line.invented]
    return [row for line in lines for row in closed_call(store.call(line.id), knowledge)]


def closed_call(call: Call, knowledge: Knowledge) -> list[ClosedCall]:
    """Rows of one closed call: one, or two where two causes were confirmed."""
    case, closing = call.case, closing_of(call)
    assert closing is not None, "a closed call"
    closed_at = next(e.at for e in reversed(call.events) if e.kind == "close")
    return [
        ClosedCall(
            id=call.id if number == 1 else f"{call.id}, cause {number}",
            at=closed_at.date().isoformat(),
            complaint=case.complaint,
            context=tuple(c for c in case.context if c in knowledge.contexts),
            cause=cause,
            proof=proof,
            places=_places(case),
        )
        for number, (cause, proof) in enumerate(_confirmed(closing, case, knowledge), 1)
    ]


def _confirmed(closing: Closing, case: Case, knowledge: Knowledge) -> list[tuple[str, str]]:
    """(cause id, what proved it) of each confirmed cause."""
    if closing.found:
        known = [c for c in closing.found if c in knowledge.causes]
        return [(c, closing.proof) for c in known] or [(NOT_FOUND, f"{', '.join(closing.found)}: {GONE}")]
    if closing.asked:
        return [(NOT_FOUND, closing.proof)]
    if closing.outcome == "normal":
        verdict = advise(case, knowledge).verdict
        if verdict is not None and verdict.kind == "normal" and verdict.causes[0] in knowledge.causes:
            return [(verdict.causes[0], "explained as normal and watched")]
    if closing.outcome == "cured":
        number = cured_at(case)
        if number is not None:
            action = case.entries[number].action
            before = case.model_copy(update={"entries": case.entries[:number]})
            led = mended(action, advise(before, knowledge).suspects, knowledge)
            if led:
                return [(led, f"cured by {action}")]
    return [(NOT_FOUND, "")]


def cured_at(case: Case) -> int | None:
    """Which entry is the last remedy that cured; None if there is none."""
    cured = [n for n, entry in enumerate(case.entries) if entry.action and entry.outcome == "cured"]
    return cured[-1] if cured else None


def mended(action: str, suspects_before: Sequence[Suspect], knowledge: Knowledge) -> str:
    """The cause a remedy that cured was for: of several, the one that led when it was done; "" if nothing says which."""
    mends = [c.id for c in knowledge.causes.values() if c.remedy.id == action]
    led = next((s.cause for s in suspects_before if s.cause in mends), "")
    return led or (mends[0] if len(mends) == 1 else "")


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
