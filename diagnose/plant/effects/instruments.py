"""Causes that are a reading taken wrong: only the instruments lie, the machine is as it is."""

from __future__ import annotations

from dataclasses import replace

from diagnose.plant.effects.model import At, Effect, between
from diagnose.plant.health import Health, Lie

BAR_PA = 101325.0


def _lie(health: Health, *lies: Lie) -> Health:
    return replace(health, instruments=replace(health.instruments, lies=(*lies, *health.instruments.lies)))


def _clamp(health: Health, at: At) -> Health:
    return _lie(health, Lie("suction_line", f"circuit:{at.id}", toward_air=between(0.08, 0.45, at.s)))


def _port(health: Health, at: At) -> Health:
    """Liquid pressure taken at the discharge port behind a restriction of fittings: reads high."""
    return _lie(health, Lie("liquid_pressure", f"circuit:{at.id}", gain=between(1.02, 1.09, at.s)))


def _scale(health: Health, at: At) -> Health:
    """Absolute read as gauge."""
    place = f"circuit:{at.id}"
    return _lie(health, Lie("suction_pressure", place, offset=BAR_PA), Lie("liquid_pressure", place, offset=BAR_PA))


def _meter(health: Health, at: At) -> Health:
    return _lie(health, Lie("flow", "unit", gain=1.0 - between(0.12, 0.45, at.s)))


def _weather(health: Health, at: At) -> Health:
    """The weather service's figure, from a cooler place."""
    return _lie(health, Lie("entering_air", "unit", offset=-between(3.0, 12.0, at.s)))


EFFECTS = (
    Effect("probe-badly-strapped", "instruments", "circuit", "share of the way to the air, 0.08 to 0.45", _clamp),
    Effect("gauge-on-wrong-port", "instruments", "circuit", "reads high by 2 to 9 %", _port),
    Effect("wrong-scale-or-unit", "instruments", "circuit", "absolute read as gauge", _scale, "", True),
    Effect("meter-wrong-for-fluid", "instruments", "unit", "reads low by 12 to 45 %", _meter),
    Effect("weather-quoted-for-coil-air", "instruments", "unit", "3 to 12 K under the air at the coil", _weather),
)
