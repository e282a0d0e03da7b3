"""Electrical causes that look alike until one look is made: the look names the one or the other, and it is nobody's but an electrician's.

What each answer should mean is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.case import Case
from diagnose.work import prepare, reason
from knowledge.load import Knowledge

OFTEN = ("always", "almost-always", "usually", "often")
# complaint; what is known; the look; the cause each answer leaves in front ("" = anything but the cause of the first answer)
PAIRS = {
    "crossed in the lead or reversed at the source": (
        "phase-fault",
        [{"check": "monitor-lamp-look", "answer": "sequence"}, {"check": "sequence-measure", "answer": "reversed"}],
        "sequence-along-read",
        {
            "turns-in-a-lead": "plug-leads-swapped",
            "wrong-at-the-source": "phases-reversed",
            "turns-at-the-lugs": "phases-reversed",
        },
    ),
    "a controller that gives no order or a wire off": (
        "compressor-wont-start",
        [
            {"check": "start-attempt-ask", "answer": "nothing"},
            {"finding": "control-voltage", "word": "normal"},
            {"check": "delay-wait-watch", "answer": "still-waits"},
            {"check": "screen-look", "answer": "dark"},
        ],
        "control-string-trace",
        {"no-order": "controller-failed", "at-a-wire": "control-wire-loose"},
    ),
    "the monitor itself or what it watches": (
        "phase-fault",
        [
            {"check": "control-string-trace", "answer": "at-monitor"},
            {"check": "monitor-wait-watch", "answer": "still-fault"},
            {"finding": "voltage-level", "word": "normal"},
            {"check": "monitor-settings-read", "answer": "match"},
        ],
        "monitor-exchange-try",
        {"good-one-clears": "monitor-failed", "says-the-same": ""},
    ),
    "a rattle at the stop or in the run": (
        "noise-vibration",
        [{"check": "noise-place-ask", "answer": "compressor"}],
        "stop-listen-watch",
        {"at-stop": "scroll-rattles-at-stop", "no-pattern": ""},
    ),
}


def leader(base: Knowledge, complaint: str, entries: list[dict[str, str]]) -> str:
    machine = {"refrigerant": "R-410A", "circuits": {"A": {"compressors": ["A1", "A2"], "fans": ["1"]}}}
    case = Case.model_validate(
        {
            "complaint": complaint,
            "role": "technician",
            "qualified": ["electrical"],
            "machine": machine,
            "entries": entries,
        }
    )
    network, _, belief = reason(prepare(case, base))
    marginals = belief.causes()
    top = int(np.argmax(marginals))
    return "nothing-wrong" if belief.nothing() > marginals[top] else network.instances[top].cause


@pytest.mark.parametrize("pair", PAIRS)
def test_the_look_names_the_one_or_the_other(base: Knowledge, pair: str) -> None:
    complaint, known, look, means = PAIRS[pair]
    first = next(iter(means.values()))
    for answer, cause in means.items():
        found = leader(base, complaint, [*known, {"check": look, "answer": answer}])
        assert found == cause if cause else found != first, (pair, answer, found)


def test_the_new_looks_at_live_parts_are_an_electricians(base: Knowledge) -> None:
    for look in ("sequence-along-read", "monitor-exchange-try", "control-string-trace"):
        card = base.checks[look]
        assert card.who == "technician" and "electrical" in card.needs_qualified and not card.telephone, look
        assert card.needs == {"danger-signs-ask": ("none",), "dry-ground-ask": ("yes",)}, look
        assert "live-electrical" in card.hazards, look


def test_what_a_fault_holds_off_does_not_start_by_waiting(base: Knowledge) -> None:
    """Otherwise fifteen minutes of patience would speak for a fault as much as for a delay."""
    silent = []
    for cause in base.causes.values():
        gives = {edge.finding: edge.gives for edge in cause.brings if edge.finding}
        if cause.system not in ("control", "supply") or gives.get("start-attempt", {}).get("nothing") not in OFTEN:
            continue
        waits = gives.get("waiting-cleared", {}).get("still-waits")
        counts = cause.id in ("start-delay-running", "monitor-timing")
        if (waits in OFTEN) == counts:
            silent.append(cause.id)
    assert silent == []
