"""Causes that act on the condenser's air, in one circuit or in all of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from diagnose.plant.effects.model import Apply, At, Effect, between
from diagnose.plant.health import AirHealth, Health


def _change(health: Health, at: At, changes: Callable[[AirHealth, At], dict[str, Any]]) -> Health:
    ids = [at.id] if at.id in health.air else list(health.air)
    return replace(health, air={c: replace(a, **changes(a, at)) if c in ids else a for c, a in health.air.items()})


def _set(changes: Callable[[AirHealth, At], dict[str, Any]]) -> Apply:
    return lambda health, at: _change(health, at, changes)


def _closed(worst: float, ua: float = 0.0, back: float = 0.0) -> Apply:
    """Air path closed by up to ``worst``, heat transfer lost by up to ``ua``, air coming back by up to ``back``."""

    def changes(a: AirHealth, at: At) -> dict[str, Any]:
        return {
            "resistance": a.resistance / (1.0 - worst * at.s) ** 2,
            "ua": a.ua * (1.0 - ua * at.s),
            "recirculation": max(a.recirculation, back * at.s),
        }

    return _set(changes)


def _fans(at: At) -> int:
    circuit = next((c for c in at.plant.circuits if c.id == at.id), at.plant.circuits[0])
    return len(circuit.air.fans)


def _some(at: At) -> float:
    """At least one fan, all of them at severity 1 on a section of up to two."""
    return float(max(1, round(at.s * _fans(at) * 0.6)))


def _slow(health: Health, at: At) -> Health:
    return _change(health, at, lambda a, at: {"speed": a.speed * (1.0 - 0.7 * at.s)})


EFFECTS = (
    Effect(
        "coil-dirty",
        "air",
        "circuit",
        "share of the air path closed, up to 0.85, and a little of the surface",
        _closed(0.85, 0.15),
    ),
    Effect(
        "coil-fins-flattened",
        "air",
        "circuit",
        "share of the air path closed, up to 0.65, and surface",
        _closed(0.65, 0.2),
    ),
    Effect("coil-covered", "air", "circuit", "share of the face covered, up to 0.95", _closed(0.95)),
    Effect(
        "air-blocked-by-obstacle",
        "air",
        "unit",
        "air path closed, up to 0.6, and air coming back, up to 0.35",
        _closed(0.6, 0.0, 0.35),
    ),
    Effect(
        "air-recirculates",
        "air",
        "unit",
        "share of leaving air that comes back, up to 0.55",
        _set(lambda a, at: {"recirculation": max(a.recirculation, 0.55 * at.s)}),
    ),
    Effect(
        "hot-air-from-neighbour",
        "air",
        "unit",
        "air over the weather, 2 to 20 K",
        _set(lambda a, at: {"hot_air_k": a.hot_air_k + 2.0 + 18.0 * at.s}),
    ),
    Effect(
        "condenser-panel-open",
        "air",
        "unit",
        "share of the fan's air that misses the coil, up to 0.45",
        _set(lambda a, at: {"leak": max(a.leak, 0.45 * at.s)}),
    ),
    Effect(
        "ambient-beyond-rating",
        "air",
        "unit",
        "weather, 41 to 53 C",
        _set(lambda a, at: {"weather_k": between(314.15, 326.15, at.s)}),
    ),
    Effect(
        "cold-start-no-head-control",
        "air",
        "unit",
        "weather, 5 to -15 C, and fans that do not follow",
        _set(lambda a, at: {"weather_k": between(278.15, 258.15, at.s), "no_head_control": True}),
    ),
    Effect(
        "fans-rest-in-cold",
        "air",
        "circuit",
        "weather, 14 to -10 C, head control works",
        lambda health, at: _change(
            health, replace(at, id="*"), lambda a, at: {"weather_k": between(287.15, 263.15, at.s)}
        ),
    ),
    Effect(
        "fan-blade-loose",
        "air",
        "circuit",
        "air of one fan lost",
        _set(lambda a, at: {"blade": a.blade * (1.0 - 0.8 * at.s / _fans(at))}),
    ),
    Effect(
        "fan-motor-failed",
        "air",
        "circuit",
        "fans standing: one, up to 0.6 of the section",
        _set(lambda a, at: {"fans_out": max(a.fans_out, _some(at))}),
    ),
    Effect(
        "fan-supply-lost",
        "air",
        "circuit",
        "fans standing: one, up to 0.6 of the section",
        _set(lambda a, at: {"fans_out": max(a.fans_out, _some(at))}),
    ),
    Effect(
        "fan-reversed",
        "air",
        "circuit",
        "fans turning backwards: one, up to 0.6 of the section",
        _set(lambda a, at: {"fans_reversed": max(a.fans_reversed, _some(at))}),
    ),
    Effect(
        "fan-drive-fault",
        "air",
        "circuit",
        "the drive gives nothing",
        _set(lambda a, at: {"speed": 0.03}),
        "fan drive",
        True,
    ),
    Effect("fan-drive-held-slow", "air", "circuit", "speed lost, up to 0.7", _slow),
)
