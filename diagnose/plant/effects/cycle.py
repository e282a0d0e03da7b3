"""Causes that act inside the refrigerant circuit. Valve openings are shares of full travel; 0.62 is the rated one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from diagnose.plant.effects.model import Apply, At, Effect, between
from diagnose.plant.health import CycleHealth, Health
from diagnose.plant.sizing import CONDENSING_K, EVAPORATING_K
from diagnose.plant.valve import RATED_OPENING
from diagnose.properties.surface import surface

OTHERS = {
    "R-410A": "R-407C",
    "R-32": "R-410A",
    "R-454B": "R-32",
    "R-134a": "R-22",
    "R-513A": "R-134a",
    "R-407C": "R-22",
    "R-22": "R-134a",
}


def _set(changes: Callable[[CycleHealth, At], dict[str, Any]]) -> Apply:
    def apply(health: Health, at: At) -> Health:
        return replace(
            health, cycle={**health.cycle, at.id: replace(health.cycle[at.id], **changes(health.cycle[at.id], at))}
        )

    return apply


def _pressures(at: At) -> tuple[float, float]:
    fluid = surface(at.plant.refrigerant)
    return fluid.line(EVAPORATING_K).p_pa, fluid.line(CONDENSING_K).p_pa


def _charge(worst: float) -> Apply:
    return _set(lambda h, at: {"charge": h.charge * (1.0 + (worst - 1.0) * at.s)})


def _liquid(worst: float, ahead: bool = False) -> Apply:
    """Drop at the rated flow, up to ``worst`` of the whole pressure difference; squared, as passages close. ahead: of the drier."""

    def changes(h: CycleHealth, at: At) -> dict[str, Any]:
        low, high = _pressures(at)
        return {"liquid_pa": h.liquid_pa + worst * at.s**2 * (high - low), "liquid_ahead": ahead and not h.liquid_pa}

    return _set(changes)


def _circuit_of(at: At) -> str:
    return next(c.id for c in at.plant.circuits if at.id in c.compressors)


def _worn(health: Health, at: At) -> Health:
    circuit = _circuit_of(at)
    h = health.cycle[circuit]
    return replace(health, cycle={**health.cycle, circuit: replace(h, leak={**h.leak, at.id: 0.5 * at.s})})


def _backwards(health: Health, at: At) -> Health:
    circuit = _circuit_of(at)
    h = health.cycle[circuit]
    return replace(health, cycle={**health.cycle, circuit: replace(h, stalled=(*h.stalled, at.id))})


def _most(low: float, high: float) -> Apply:
    return _set(
        lambda h, at: {"most": min(h.most if h.most is not None else 1.0, RATED_OPENING * between(low, high, at.s))}
    )


def _least(high: float) -> Apply:
    return _set(lambda h, at: {"least": between(RATED_OPENING, high, at.s)})


def _e(cause: str, place: str, meaning: str, apply: Apply, needs: str = "", switch: bool = False) -> Effect:
    return Effect(cause, "cycle", place, meaning, apply, needs, switch)


VALVE = "superheat-controlling valve"
EFFECTS = (
    _e("refrigerant-leak", "circuit", "charge lost, up to 0.65", _charge(0.35)),
    _e("undercharged-after-service", "circuit", "charge missing, up to 0.4", _charge(0.6)),
    _e("overcharge", "circuit", "charge in excess, up to 0.4", _charge(1.4)),
    _e(
        "non-condensable-gas",
        "circuit",
        "its share of the condensing pressure when running, up to 0.25",
        _set(lambda h, at: {"gas_pa": 0.25 * at.s * _pressures(at)[1]}),
    ),
    _e(
        "drier-restricted",
        "circuit",
        "drop in the liquid line at rated flow, up to 0.95 of the whole, by the square",
        _liquid(0.95),
    ),
    _e(
        "liquid-service-valve-part-shut",
        "circuit",
        "drop in the liquid line at rated flow, up to 0.95 of the whole, by the square",
        _liquid(0.95, ahead=True),
    ),
    _e(
        "suction-service-valve-part-shut",
        "circuit",
        "drop in the suction line at rated flow, up to 0.7 of suction pressure",
        _set(lambda h, at: {"suction_pa": 0.7 * at.s * _pressures(at)[0]}),
    ),
    _e(
        "discharge-valve-not-open",
        "circuit",
        "drop in the discharge line at rated flow, up to 0.3 of head",
        _set(lambda h, at: {"discharge_pa": 0.3 * at.s * _pressures(at)[1]}),
    ),
    _e(
        "expansion-valve-underfeeding",
        "circuit",
        "most it opens: rated flow to a quarter of it",
        _most(1.0, 0.25),
        VALVE,
    ),
    _e("circuit-wet", "circuit", "most it opens past the ice: rated flow to a sixth", _most(0.9, 0.16), VALVE),
    _e("liquid-solenoid-shut", "circuit", "nothing passes", _set(lambda h, at: {"most": 0.004}), switch=True),
    _e("expansion-valve-overfeeding", "circuit", "least it opens: rated flow to full travel", _least(1.0), VALVE),
    _e("liquid-floodback", "circuit", "least it opens: rated flow to full travel", _least(1.0), VALVE),
    _e(
        "expansion-bulb-loose",
        "circuit",
        "superheat it sees in excess, up to 15 K",
        _set(lambda h, at: {"sensor_shift_k": 15.0 * at.s}),
        "thermostatic valve",
    ),
    _e(
        "suction-temperature-sensor-wrong",
        "circuit",
        "superheat it sees in excess, up to 10 K",
        _set(lambda h, at: {"sensor_shift_k": 10.0 * at.s}),
        "electronic valve",
    ),
    _e(
        "electronic-valve-stuck-open",
        "circuit",
        "stands open: rated to full travel",
        _set(lambda h, at: {"fixed": between(RATED_OPENING, 1.0, at.s), "follows": False}),
        "electronic valve",
    ),
    _e(
        "electronic-valve-stuck-shut",
        "circuit",
        "stands toward shut: rated to a fifth of it",
        _set(lambda h, at: {"fixed": RATED_OPENING * between(0.95, 0.2, at.s), "follows": False}),
        "electronic valve",
    ),
    _e(
        "electronic-valve-driver-dead",
        "circuit",
        "stays where it stood: rated to a third of it",
        _set(lambda h, at: {"fixed": RATED_OPENING * between(1.1, 0.33, at.s)}),
        "electronic valve",
    ),
    _e(
        "hot-gas-bypass-passing",
        "circuit",
        "share of the compressor's flow, up to 0.35",
        _set(lambda h, at: {"bypass": 0.35 * at.s}),
    ),
    _e(
        "oil-logged-evaporator",
        "circuit",
        "heat transfer lost to oil, up to 0.5",
        _set(lambda h, at: {"evaporator_ua": h.evaporator_ua * (1.0 - 0.5 * at.s)}),
    ),
    _e(
        "wrong-refrigerant",
        "circuit",
        "another refrigerant in the circuit",
        _set(lambda h, at: {"refrigerant": OTHERS[at.plant.refrigerant]}),
        switch=True,
    ),
    _e("scroll-worn", "compressor", "share leaking back inside, up to 0.5", _worn),
    _e("scroll-reversed", "compressor", "turns without pumping", _backwards, switch=True),
    _e("scroll-thermal-disc-open", "compressor", "turns without pumping while it is hot", _backwards, switch=True),
)
