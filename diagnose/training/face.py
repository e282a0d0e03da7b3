"""What the simulated machine itself shows in words: lamps, alarm list, what runs, and the hidden states behind them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diagnose.network import Key
from diagnose.places import circuit_of
from diagnose.plant.snapshot import Snapshot

_DEVICES = {
    "pump-overload": "pump-overload",
    "compressor-overload": "compressor-overload",
    "phase-monitor": "phase-monitor",
    "high-pressure-switch": "high-pressure",
    "low-pressure-switch": "low-pressure",
    "freeze-limit": "freeze",
    "flow-proof": "flow",
    "earth-leakage": "earth-leakage",
    "site-breaker": "breaker",
}
_MONITOR = (
    ("phase is lost", "phase-loss"),
    ("lost", "phase-loss"),
    ("wrong order", "sequence"),
    ("reversed", "sequence"),
    ("unbalance", "unbalance"),
    ("low", "under-voltage"),
    ("under", "under-voltage"),
    ("high", "over-voltage"),
    ("over", "over-voltage"),
    ("contact", "healthy"),  # its lamp is green, only its contact stays open
)
# words that mean "it does not trip", by the alarm that they deny
_DENIALS = {
    "low-pressure-timing": ("low-pressure", "no-trip"),
    "high-pressure-timing": ("high-pressure", "no-trip"),
    "head-at-trip": ("high-pressure", "no-trip-seen"),
    "amps-at-trip": ("motor-overload", "no-trip-seen"),
    "trip-pattern": ("motor-overload", "none"),
}
_STATUS = {
    "start-delay": "timer",
    "control-switch-off": "switched-off",
    "remote-enable-open": "enable-open",
    "enable-jumper-lost": "enable-open",
    "building-command-off": "network-off",
    "set-point-satisfied": "satisfied",
    "safety-not-reset": "locked-out",
}
_RUNS_ON = ("cooling", "pump-only")


def face_words(shot: Snapshot, circuits: Sequence[str], monitor: str, missing: Sequence[str]) -> dict[Key, str]:
    """Findings that the machine's own face decides, at unit, supply and circuits.

    monitor: health of the phase monitor. missing: compressors that are called and do not come; which of the words for that fits is left to
    the cause's card.
    """
    lit = shot.lamps.get("screen") == "on"
    tripped = [c for c in circuits if any(circuit_of(t.place) == c for t in shot.trips)]
    out: dict[Key, str] = {
        ("screen-lit", "unit"): "lit" if lit else "dark",
        ("monitor-lamp", "supply"): _monitor(shot, monitor),
    }
    if not (missing and shot.state == "cooling"):
        out["what-runs", "unit"] = _what_runs(shot, tripped, circuits)
    if missing:
        out["stages", "unit"] = "fewer"
    if lit:
        out["alarm-text", "unit"] = shot.alarms[0] if shot.alarms else "none"
        status = _status(shot)
        if status:
            out["screen-status", "unit"] = status
    if shot.lamps.get("flow") and any(n in shot.readings for n in _RUNS_ON):
        out["flow-proof-lamp", "unit"] = shot.lamps["flow"]
    device = next((_DEVICES[t.device] for t in shot.trips if t.device in _DEVICES), "")
    if device:
        out["tripped-device", "unit"] = device
    troubled = {*tripped, *(circuit_of(m) for m in missing)}
    if len(circuits) > 1 and "cooling" in shot.readings:
        out["circuits-alike", "unit"] = "one-differs" if 0 < len(troubled) < len(circuits) else "alike"
    for c in circuits:
        for alarm, finding in (("high-pressure", "high-pressure-trip"), ("low-pressure", "low-pressure-trip")):
            own = any(t.name == alarm and circuit_of(t.place) == c for t in shot.trips)
            out[finding, f"circuit:{c}"] = "yes" if own else "no"
    return out


def denied(finding: str, place: str, shot: Snapshot) -> str:
    """The word of a finding that the alarms of this machine rule out here; "" for none."""
    alarm, word = _DENIALS.get(finding, ("", ""))
    here = [t for t in shot.trips if t.name == alarm]
    if not any(circuit_of(place) in ("", circuit_of(t.place)) for t in here):
        return ""
    return word


def _what_runs(shot: Snapshot, tripped: Sequence[str], circuits: Sequence[str]) -> str:
    if shot.state == "cooling":
        return "one-circuit" if 0 < len(tripped) < len(circuits) else "all"
    if shot.trips and ("cooling" in shot.readings or shot.hold == "pump-overload"):
        return "starts-then-stops"
    return "pump-only" if shot.lamps.get("pump") == "on" else "nothing"


def _monitor(shot: Snapshot, monitor: str) -> str:
    lamp = shot.lamps.get("phase-monitor", "on")
    if lamp == "off":
        return "dark"
    if monitor == "timing":
        return "timing"
    if lamp == "on":
        return "healthy"
    why = next((t.why for t in shot.trips if t.device == "phase-monitor"), "")
    return next((word for part, word in _MONITOR if part in why), "fault-unnamed")


def _status(shot: Snapshot) -> str:
    if shot.state == "cooling":
        return "running"
    if shot.hold in _STATUS:
        return _STATUS[shot.hold]
    return "locked-out" if any(t.latched for t in shot.trips) else ""


_FROM_FINDING = {
    "suction": ("suction", {}),
    "head": ("head", {}),
    "supply-volts": ("voltage-level", {"none": "low"}),
    "phase-balance": ("voltage-unbalance", {}),
    "control-power": ("control-voltage", {"none": "absent", "low": "weak", "normal": "present", "high": "present"}),
    "loop-warmth": ("entering-fluid", {}),
    "fluid-flow": ("meter-flow", {}),
}


def effect_words(
    shot: Snapshot, graded: Mapping[Key, str], reversed_supply: bool, reversed_pump: bool
) -> dict[Key, str]:
    """Hidden states that the simulated machine decides, keyed as nodes of the network ("effect:suction", place)."""
    out: dict[Key, str] = {}
    for effect, (finding, said) in _FROM_FINDING.items():
        for (name, place), word in graded.items():
            if name == finding:
                out[f"effect:{effect}", place] = said.get(word, word)
    turning = shot.lamps.get("pump") == "on" or reversed_pump
    if "pump" in shot.lamps:
        out["effect:pump-running", "unit"] = "running" if turning else "stopped"
        out["effect:flow-proof", "unit"] = "made" if shot.lamps.get("flow") == "on" else "open"
        if not turning:
            out["effect:fluid-flow", "unit"] = "none"
    out["effect:phase-order", "supply"] = "reversed" if reversed_supply else "right"
    return out
