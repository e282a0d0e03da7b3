"""Causes that act in the control: open contacts, settings, sensors, protection."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from diagnose.plant.effects.model import Apply, At, Effect, between
from diagnose.plant.health import ControlHealth


def _set(changes: Callable[[ControlHealth, At], dict[str, Any]]) -> Apply:
    return lambda health, at: replace(health, control=replace(health.control, **changes(health.control, at)))


def _e(cause: str, place: str, meaning: str, apply: Apply, needs: str = "", switch: bool = False) -> Effect:
    return Effect(cause, "control", place, meaning, apply, needs, switch)


def _string(cause: str, place: str = "unit") -> Effect:
    return _e(
        cause, place, "the run string is open there", _set(lambda h, at: {"open_at": h.open_at or cause}), switch=True
    )


def _pump(cause: str, meaning: str = "the pump is not called or not fed") -> Effect:
    return _e(cause, "pump", meaning, _set(lambda h, at: {"pump_open_at": h.pump_open_at or cause}), switch=True)


def _rest(cause: str, place: str, meaning: str) -> Effect:
    return _e(cause, place, meaning, _set(lambda h, at: {"resting": {**h.resting, at.id: cause}}), switch=True)


def _volts(cause: str, meaning: str, share: Callable[[At], float]) -> Effect:
    return _e(cause, "unit", meaning, _set(lambda h, at: {"control_volts": h.control_volts * share(at)}))


def _head(at: At) -> float:
    return at.plant.control.high_pressure_pa


EFFECTS = (
    _string("emergency-stop-pressed"),
    _string("control-switch-off"),
    _string("remote-enable-open"),
    _string("enable-jumper-lost"),
    _string("building-command-off"),
    _e(
        "safety-not-reset",
        "unit",
        "cooling is locked out, the pump runs on",
        _set(lambda h, at: {"waiting": h.waiting or "safety-not-reset"}),
        switch=True,
    ),
    _string("restart-after-blackout"),
    _string("controller-failed"),
    _string("control-wire-loose"),
    _volts("control-fuse-open", "no control voltage", lambda at: 0.0),
    _volts("control-transformer-failed", "no control voltage", lambda at: 0.0),
    _volts("control-circuit-shorted", "no control voltage", lambda at: 0.0),
    _volts("control-neutral-lost", "control voltage wanders down, to a third", lambda at: between(0.75, 0.35, at.s)),
    _volts("control-tap-wrong", "control voltage low, to 0.7", lambda at: between(0.9, 0.7, at.s)),
    _e("start-delay-running", "unit", "the delay counts", _set(lambda h, at: {"waiting": "start-delay"}), switch=True),
    _e(
        "monitor-timing", "supply", "the monitor's delay counts", _set(lambda h, at: {"monitor": "timing"}), switch=True
    ),
    _e("monitor-failed", "supply", "its contact stays open", _set(lambda h, at: {"monitor": "failed"}), switch=True),
    _e(
        "monitor-wired-load-side",
        "supply",
        "it watches a dead wire",
        _set(lambda h, at: {"monitor": "wired-behind"}),
        switch=True,
    ),
    _e(
        "monitor-misset",
        "supply",
        "limits narrowed, to a tenth",
        _set(lambda h, at: {"monitor_factor": between(0.5, 0.1, at.s)}),
    ),
    _pump("pump-switched-off"),
    _pump("drive-no-run-order"),
    _pump("pump-contactor-dead"),
    _pump("drive-faulted", "the drive stands in fault"),
    _e("flow-switch-failed", "unit", "open whatever flows", _set(lambda h, at: {"proof": "open"}), switch=True),
    _e("flow-switch-miswired", "unit", "open whatever flows", _set(lambda h, at: {"proof": "open"}), switch=True),
    _e("proof-tube-shut", "unit", "open whatever flows", _set(lambda h, at: {"proof": "open"}), switch=True),
    _e("flow-switch-stuck-made", "unit", "made whatever flows", _set(lambda h, at: {"proof": "made"}), switch=True),
    _e(
        "flow-switch-misset",
        "unit",
        "makes only at 1.1 to 1.9 of its flow",
        _set(lambda h, at: {"proof_factor": between(1.1, 1.9, at.s)}),
    ),
    _e(
        "overload-set-low",
        "pump",
        "dial under the plate, to 0.55",
        _set(lambda h, at: {"pump_overload": h.pump_overload * between(0.9, 0.55, at.s)}),
    ),
    _e(
        "overload-relay-worn",
        "pump",
        "opens under its setting, to 0.55",
        _set(lambda h, at: {"pump_relay": h.pump_relay * between(0.9, 0.55, at.s)}),
    ),
    _e(
        "overload-box-hot",
        "pump",
        "heat takes from its setting, to 0.7",
        _set(lambda h, at: {"pump_relay": h.pump_relay * between(0.92, 0.7, at.s)}),
    ),
    _e(
        "overload-wrong-class",
        "pump",
        "class time against the right one, to 0.07: opens while the motor starts",
        _set(lambda h, at: {"pump_overload_class": between(0.5, 0.07, at.s)}),
    ),
    _e(
        "star-delta-dial-misplaced",
        "pump",
        "set for the other place",
        _set(lambda h, at: {"pump_overload": h.pump_overload * 0.58}),
        switch=True,
    ),
    _e(
        "compressor-overload-set-low",
        "compressor",
        "setting under the plate, to 0.5",
        _set(lambda h, at: {"compressor_overload": {**h.compressor_overload, at.id: between(0.75, 0.5, at.s)}}),
    ),
    _rest("module-lock-out", "compressor", "locked out by its module"),
    _rest("compressor-internal-overload-open", "compressor", "internal overload open"),
    _e(
        "stage-rests-at-part-load",
        "unit",
        "half the compressors rest because the load is small",
        _set(lambda h, at: {"load_limit": 0.5}),
        switch=True,
    ),
    _e("set-point-satisfied", "unit", "no call", _set(lambda h, at: {"normal": "satisfied"}), switch=True),
    _e(
        "set-point-too-low",
        "unit",
        "set point under what the fluid stands, 2 to 10 K",
        _set(lambda h, at: {"set_point_add_k": -between(2.0, 10.0, at.s)}),
    ),
    _e(
        "sensor-drifted",
        "unit",
        "leaving sensor reads low by 2 to 8 K",
        _set(lambda h, at: {"leaving_shift_k": -between(2.0, 8.0, at.s)}),
    ),
    _e(
        "sensor-out-of-well",
        "unit",
        "leaving sensor reads high by 2 to 10 K",
        _set(lambda h, at: {"leaving_shift_k": between(2.0, 10.0, at.s)}),
    ),
    _e(
        "wrong-sensor-selected",
        "unit",
        "control works from the entering fluid",
        _set(lambda h, at: {"control_shift_k": 5.0}),
        switch=True,
    ),
    _e(
        "freeze-limit-set-wrong",
        "unit",
        "limit too high, 2 to 7 K",
        _set(lambda h, at: {"freeze_add_k": between(2.0, 7.0, at.s)}),
    ),
    _e(
        "high-pressure-switch-wrong",
        "circuit",
        "opens early, to 0.6 of its mark",
        _set(
            lambda h, at: {
                "high_pressure_add_pa": {**h.high_pressure_add_pa, at.id: -between(0.10, 0.40, at.s) * _head(at)}
            }
        ),
    ),
    _e(
        "low-pressure-switch-wrong",
        "circuit",
        "opens high, to 1.9 of its mark",
        _set(
            lambda h, at: {
                "low_pressure_add_pa": {
                    **h.low_pressure_add_pa,
                    at.id: between(0.2, 0.9, at.s) * at.plant.control.low_pressure_pa,
                }
            }
        ),
    ),
    _e(
        "head-transducer-wrong",
        "circuit",
        "reads high, to 0.45 of the cut-out",
        _set(lambda h, at: {"head_shift_pa": {**h.head_shift_pa, at.id: between(0.08, 0.45, at.s) * _head(at)}}),
    ),
    _e(
        "suction-transducer-wrong",
        "circuit",
        "reads low, to 0.8 of the cut-out",
        _set(
            lambda h, at: {
                "suction_shift_pa": {
                    **h.suction_shift_pa,
                    at.id: -between(0.2, 0.8, at.s) * at.plant.control.low_pressure_pa,
                }
            }
        ),
    ),
    _e(
        "safety-jumpered",
        "unit",
        "pressure and freeze safeties bridged",
        _set(lambda h, at: {"jumpered": True}),
        switch=True,
    ),
    _e(
        "staging-too-tight",
        "unit",
        "delays and band shortened, to a tenth",
        _set(lambda h, at: {"stage_factor": between(0.5, 0.1, at.s), "band_factor": between(0.6, 0.15, at.s)}),
    ),
)
