"""Causes that act on the supply and on the wiring of motors."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from diagnose.plant.effects.model import Apply, At, Effect, between
from diagnose.plant.health import Health


def _set(changes: Callable[[At], dict[str, Any]]) -> Apply:
    return lambda health, at: replace(health, supply=replace(health.supply, **changes(at)))


def _times(field: str, worst: float) -> Apply:
    def apply(health: Health, at: At) -> Health:
        before = getattr(health.supply, field)
        return replace(health, supply=replace(health.supply, **{field: before * (1.0 + (worst - 1.0) * at.s)}))

    return apply


def _motor(kind: str, changes: Callable[[At], dict[str, Any]]) -> Apply:
    """Wiring of the pump in use, or of the compressor at the place."""

    def apply(health: Health, at: At) -> Health:
        place = "pump" if kind == "pump" else f"{kind}:{at.id}"
        return replace(health, supply=health.supply.with_branch(place, **changes(at)))

    return apply


def _full_amps(at: At) -> float:
    p = at.plant.supply
    return len(at.plant.compressors) * p.compressor.duty_a + p.pump.duty_a


def _lug(at: At) -> dict[str, Any]:
    """Drop in one leg at full load, 2 to 16 % of the leg's volts."""
    leg = at.plant.supply.volts / math.sqrt(3.0)
    return {"lug_ohm": between(0.02, 0.16, at.s) * leg / _full_amps(at), "lug_leg": 0}


def _joint(kind: str) -> Apply:
    def changes(at: At) -> dict[str, Any]:
        p = at.plant.supply
        plate = p.pump if kind == "pump" else p.compressor
        return {"ohm": between(0.03, 0.22, at.s) * p.volts / math.sqrt(3.0) / plate.duty_a, "ohm_phase": 1}

    return _motor(kind, changes)


def _other_volts(at: At) -> dict[str, Any]:
    nominal = at.plant.supply.volts
    other = {480.0: 400.0, 460.0: 400.0, 400.0: 480.0, 380.0: 460.0, 230.0: 208.0, 208.0: 240.0}.get(
        nominal, 0.87 * nominal
    )
    return {"volts": other / nominal}


def _e(cause: str, place: str, meaning: str, apply: Apply, needs: str = "", switch: bool = False) -> Effect:
    return Effect(cause, "supply", place, meaning, apply, needs, switch)


GENERATOR = "generator supply"
EFFECTS = (
    _e(
        "phase-lost-upstream",
        "supply",
        "one phase gone before the board's meter",
        _set(lambda at: {"open_board": 2}),
        switch=True,
    ),
    _e("supply-fuse-open", "supply", "one phase gone at the unit", _set(lambda at: {"open_unit": 1}), switch=True),
    _e("disconnect-pole-bad", "supply", "one pole makes no contact", _set(lambda at: {"open_unit": 0}), switch=True),
    _e("lug-loose-burnt", "supply", "drop in one leg at full load, 2 to 16 %", _set(_lug)),
    _e(
        "unbalance-single-phase-loads",
        "supply",
        "voltage unbalance, 1.5 to 6 %",
        _set(lambda at: {"leg_low": 3.0 * between(0.015, 0.06, at.s)}),
    ),
    _e("undervoltage-long-cable", "supply", "drop of the feeder, up to 16 % at full load", _times("feeder", 13.0)),
    _e(
        "source-volts-low",
        "supply",
        "volts missing at the board, 4 to 18 %",
        _set(lambda at: {"volts": 1.0 - between(0.04, 0.18, at.s)}),
    ),
    _e(
        "over-voltage-light-load",
        "supply",
        "volts in excess, 4 to 16 %",
        _set(lambda at: {"volts": 1.0 + between(0.04, 0.16, at.s)}),
    ),
    _e("supply-voltage-other", "supply", "the neighbouring nominal voltage", _set(_other_volts), switch=True),
    _e(
        "fifty-hertz-on-sixty-machine",
        "supply",
        "50 Hz",
        _set(lambda at: {"hertz": 50.0 / at.plant.supply.hertz}),
        "60 Hz machine",
        True,
    ),
    _e(
        "sixty-hertz-on-fifty-machine",
        "supply",
        "60 Hz",
        _set(lambda at: {"hertz": 60.0 / at.plant.supply.hertz}),
        "50 Hz machine",
        True,
    ),
    _e("generator-too-small", "supply", "rating missing, up to 0.75", _times("generator", 0.25), GENERATOR),
    _e(
        "generator-dip-chatter",
        "supply",
        "rating missing against the largest start, up to 0.9",
        _times("generator", 0.10),
        GENERATOR,
    ),
    _e(
        "generator-regulation-poor",
        "supply",
        "volts wander by 2 to 12 %",
        _set(lambda at: {"swing": between(0.02, 0.12, at.s)}),
        GENERATOR,
    ),
    _e(
        "generator-speed-wrong",
        "supply",
        "speed missing, 3 to 15 %",
        _set(lambda at: {"hertz": 1.0 - between(0.03, 0.15, at.s)}),
        GENERATOR,
    ),
    _e(
        "generator-setting-moved",
        "supply",
        "volts missing, 5 to 20 %",
        _set(lambda at: {"volts": 1.0 - between(0.05, 0.20, at.s)}),
        GENERATOR,
    ),
    _e(
        "generator-idle-or-regeneration",
        "supply",
        "idle speed",
        _set(lambda at: {"hertz": 0.6, "volts": 0.55}),
        GENERATOR,
        True,
    ),
    _e("generator-own-alarm", "supply", "stopped", _set(lambda at: {"dead": "board"}), GENERATOR, True),
    _e(
        "nearby-loads-starting",
        "supply",
        "start of the others, up to five times what the unit would be fed by",
        _set(lambda at: {"start_add_va": 5.0 * at.s * at.plant.supply.generator_va, "swing": 0.08 * at.s}),
    ),
    _e("phases-reversed", "supply", "two phases exchanged", _set(lambda at: {"reversed": True}), switch=True),
    _e("plug-leads-swapped", "supply", "two phases exchanged", _set(lambda at: {"reversed": True}), switch=True),
    _e("site-supply-dead", "supply", "nothing at the board", _set(lambda at: {"dead": "board"}), switch=True),
    _e("upstream-disconnect-open", "supply", "open ahead of the unit", _set(lambda at: {"dead": "unit"}), switch=True),
    _e("main-breaker-tripped", "supply", "open at the unit", _set(lambda at: {"dead": "unit"}), switch=True),
    _e("main-switch-off", "supply", "open at the unit", _set(lambda at: {"dead": "unit"}), switch=True),
    _e(
        "site-breaker-too-small",
        "supply",
        "rating against the largest start",
        _set(lambda at: {"breaker_a": between(1.4, 0.5, at.s) * at.plant.supply.compressor.locked_a / 6.0}),
    ),
    # pump motor
    _e(
        "contactor-pole-lost",
        "pump",
        "one pole of the pump contactor",
        _motor("pump", lambda at: {"open_phase": 1}),
        switch=True,
    ),
    _e(
        "pump-fuse-open",
        "pump",
        "one phase of the pump circuit",
        _motor("pump", lambda at: {"open_phase": 2}),
        switch=True,
    ),
    _e(
        "motor-open-winding",
        "pump",
        "one winding open",
        _motor("pump", lambda at: {"open_phase": 0, "winding_open": True}),
        switch=True,
    ),
    _e(
        "motor-shorted-turns",
        "pump",
        "share of one winding shorted, up to 0.4",
        _motor("pump", lambda at: {"shorted": 0.4 * at.s}),
    ),
    _e("motor-earth-fault", "pump", "to earth", _motor("pump", lambda at: {"earth": True}), switch=True),
    _e(
        "motor-wrong-taps",
        "pump",
        "linked for 0.55 to 0.8 of the volts it gets",
        _motor("pump", lambda at: {"taps": between(1.25, 1.8, at.s)}),
    ),
    _e("pump-terminal-loose", "pump", "drop in one leg, 3 to 22 %", _joint("pump")),
    _e(
        "pump-lead-coiled",
        "pump",
        "drop of the lead, 3 to 20 %",
        _motor(
            "pump",
            lambda at: {
                "lead_ohm": between(0.03, 0.20, at.s)
                * at.plant.supply.volts
                / math.sqrt(3.0)
                / at.plant.supply.pump.duty_a
            },
        ),
    ),
    _e("star-delta-stays-in-star", "pump", "stays in star", _motor("pump", lambda at: {"star": True}), switch=True),
    # compressor motors
    _e(
        "compressor-contactor-pole-lost",
        "compressor",
        "one pole",
        _motor("compressor", lambda at: {"open_phase": 1}),
        switch=True,
    ),
    _e("compressor-lead-loose", "compressor", "drop in one leg, 3 to 22 %", _joint("compressor")),
    _e(
        "compressor-winding-fault",
        "compressor",
        "share of one winding shorted, up to 0.5",
        _motor("compressor", lambda at: {"shorted": between(0.1, 0.5, at.s)}),
    ),
    _e("compressor-branch-open", "compressor", "not fed", _motor("compressor", lambda at: {"dead": True}), switch=True),
    _e(
        "compressor-contactor-coil-failed",
        "compressor",
        "not fed",
        _motor("compressor", lambda at: {"dead": True}),
        switch=True,
    ),
    _e(
        "compressor-earth-fault",
        "compressor",
        "to earth",
        _motor("compressor", lambda at: {"earth": True}),
        switch=True,
    ),
    _e(
        "compressor-seized", "compressor", "cannot turn", _motor("compressor", lambda at: {"locked": True}), switch=True
    ),
)
