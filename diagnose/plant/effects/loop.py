"""Causes that act on the fluid loop, its pumps and its load."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from diagnose.plant.effects.model import Apply, At, Effect
from diagnose.plant.health import Health

PSI = 6894.757


def _set(changes: Callable[[At], dict[str, Any]]) -> Apply:
    def apply(health: Health, at: At) -> Health:
        return replace(health, loop=replace(health.loop, **changes(at)))

    return apply


def _open(field: str, worst: float) -> Apply:
    """One passage whose free share falls from 1 to ``worst``; two causes on one passage multiply."""

    def apply(health: Health, at: At) -> Health:
        before = getattr(health.loop, field)
        return replace(health, loop=replace(health.loop, **{field: before * (1.0 - (1.0 - worst) * at.s)}))

    return apply


def _gas(low: float, high: float, fill_psi: float = 0.0, **passages: float) -> Apply:
    """Gas in the fluid, with the fill pressure it goes with and passages it narrows."""

    def apply(health: Health, at: At) -> Health:
        loop = health.loop
        changes: dict[str, Any] = {"gas": min(loop.gas + (low + (high - low) * at.s if at.s > 0.0 else 0.0), 0.3)}
        if fill_psi:
            changes["fill_lost_pa"] = loop.fill_lost_pa + fill_psi * PSI * at.s
        for name, worst in passages.items():
            changes[name] = getattr(loop, name) * (1.0 - (1.0 - worst) * at.s)
        return replace(health, loop=replace(loop, **changes))

    return apply


def _fill(psi: float) -> Apply:
    return _gas(0.0, 0.0, psi)


def _bypass(health: Health, at: At) -> Health:
    """Open with the onboard pump: fluid runs in a circle. Shut with the site's: it must pass the idle pump."""
    if at.plant.loop.in_use == "onboard":
        return replace(health, loop=replace(health.loop, pump_bypass_open=max(health.loop.pump_bypass_open, at.s)))
    return replace(
        health,
        loop=replace(health.loop, idle_pump_in_path=True, check_open=health.loop.check_open * (1.0 - 0.6 * at.s)),
    )


def _thick(health: Health, at: At) -> Health:
    base = at.plant.loop.percent
    fluid = at.plant.loop.fluid if at.plant.loop.fluid != "water" else "propylene-glycol"
    return replace(health, loop=replace(health.loop, fluid=fluid, percent=min(max(base, 25.0) + 30.0 * at.s, 60.0)))


def _weak(health: Health, at: At) -> Health:
    return replace(health, loop=replace(health.loop, percent=at.plant.loop.percent * (1.0 - at.s)))


def _wrong(health: Health, at: At) -> Health:
    other = "ethylene-glycol" if at.plant.loop.fluid != "ethylene-glycol" else "propylene-glycol"
    return replace(health, loop=replace(health.loop, fluid=other, percent=max(at.plant.loop.percent, 30.0)))


def _idle(health: Health, at: At) -> Health:
    if at.plant.loop.in_use == "site":
        return replace(health, loop=replace(health.loop, idle_pass=0.8 * at.s))
    return replace(health, loop=replace(health.loop, crossover_open=max(health.loop.crossover_open, at.s)))


def _small(health: Health, at: At) -> Health:
    if at.plant.loop.in_use == "site":
        return replace(health, loop=replace(health.loop, site_head=health.loop.site_head * (1.0 - 0.7 * at.s)))
    return replace(health, loop=replace(health.loop, pump_head=health.loop.pump_head * (1.0 - 0.7 * at.s)))


def _factor(field: str, worst: float) -> Apply:
    def apply(health: Health, at: At) -> Health:
        before = getattr(health.loop, field)
        return replace(health, loop=replace(health.loop, **{field: before * (1.0 + (worst - 1.0) * at.s)}))

    return apply


def _both(*parts: Apply) -> Apply:
    def apply(health: Health, at: At) -> Health:
        for part in parts:
            health = part(health, at)
        return health

    return apply


def _e(cause: str, place: str, meaning: str, apply: Apply, needs: str = "", switch: bool = False) -> Effect:
    return Effect(cause, "loop", place, meaning, apply, needs, switch)


EFFECTS = (
    _e("strainer-clogged", "unit", "blocked share of the screen, up to 0.93", _open("strainer_open", 0.07)),
    _e(
        "start-up-screen-left",
        "unit",
        "how much finer the screen left in is: a quarter is free at 1",
        _open("strainer_open", 0.25),
    ),
    _e("strainer-screen-damaged", "unit", "share of the screen that is gone", _set(lambda at: {"strainer_gone": at.s})),
    _e("suction-valve-shut", "unit", "travel closed", _open("suction_valve_open", 0.0)),
    _e("discharge-valve-shut", "unit", "travel closed, outlet of the unit", _open("outlet_valve_open", 0.0)),
    _e("triple-duty-throttled", "unit", "travel closed", _open("check_open", 0.05)),
    _e("check-valve-stuck", "unit", "passage closed by the stuck disc", _open("check_open", 0.03)),
    _e("hose-kinked", "unit", "section of the return hose lost", _open("return_hose_open", 0.08)),
    _e(
        "hose-too-small",
        "unit",
        "section of both hoses lost",
        _both(_open("return_hose_open", 0.35), _open("supply_hose_open", 0.35)),
    ),
    _e("coupling-not-seated", "unit", "how far the coupling's valve stays shut", _open("supply_hose_open", 0.04)),
    _e("plug-left-in", "unit", "section closed in the return line", _open("return_hose_open", 0.02)),
    _e("gasket-pushed-in", "unit", "section closed in the return line", _open("return_hose_open", 0.15)),
    _e("line-frozen", "unit", "section closed by ice", _open("return_hose_open", 0.0)),
    _e("balancing-valve-in", "unit", "travel closed at the load", _open("load_open", 0.08)),
    _e("load-valves-shut", "unit", "share of the load valves shut, no bypass", _open("load_open", 0.0)),
    _e("site-valve-shut", "unit", "travel closed", _open("site_valve_open", 0.0)),
    _e(
        "evaporator-plugged",
        "unit",
        "share of the plate's channels closed, up to 0.85",
        _both(_open("evaporator_open", 0.15), _factor("evaporator_film", 0.55)),
    ),
    _e(
        "plate-iced",
        "unit",
        "share of the channels closed by ice",
        _both(_open("evaporator_open", 0.03), _factor("evaporator_film", 0.4)),
    ),
    _e(
        "evaporator-fouled",
        "unit",
        "heat transfer lost, up to 0.65; the drop rises with it",
        _both(_open("evaporator_open", 0.5), _factor("evaporator_film", 0.35)),
    ),
    _e("air-bound", "unit", "gas in the fluid, 2 to 12 % by volume", _gas(0.02, 0.12)),
    _e(
        "high-hose-trap",
        "unit",
        "gas held at the high spot, narrowing the supply",
        _gas(0.01, 0.05, supply_hose_open=0.3),
    ),
    _e("suction-air-leak", "unit", "air drawn in, 1 to 8 % by volume", _gas(0.01, 0.08)),
    _e("vent-shut", "unit", "gas that cannot leave, 1 to 7 %", _gas(0.01, 0.07)),
    _e("low-fill", "unit", "fill missing: pressure to nothing and gas", _gas(0.0, 0.11, 15.0)),
    _e("loop-leak", "unit", "fill pressure lost by now", _gas(0.0, 0.04, 14.0)),
    _e("drain-left-open", "unit", "fill pressure lost by now, gas drawn in", _gas(0.0, 0.08, 15.0)),
    _e("make-up-shut", "unit", "fill pressure no longer made up", _fill(12.0)),
    _e("expansion-tank-flat", "unit", "fill pressure lost when the fluid contracts", _fill(11.0)),
    _e("tank-wrong-side", "unit", "joined after the pump", _set(lambda at: {"tank_at": "discharge"}), switch=True),
    _e("crossover-open", "unit", "opening of the crossover at the load", _set(lambda at: {"crossover_open": at.s})),
    _e("idle-chiller-passing", "unit", "share of the flow that goes through the idle unit", _idle),
    _e("bypass-wrong", "unit", "opening of the bypass (onboard pump), or how far it is shut (site pump)", _bypass),
    _e("pump-bypass-left-open", "pump", "opening of the bypass round the pump", _bypass, needs="onboard pump in use"),
    _e(
        "both-pumps-running",
        "unit",
        "the second pump runs too",
        _set(lambda at: {"both_running": True}),
        "both pumps",
        True,
    ),
    _e("site-pump-slow", "unit", "speed lost, up to half", _factor("site_speed", 0.5), "site pump in use"),
    _e("site-pump-too-small", "pump", "head missing, up to 0.7", _small),
    _e("pump-reversed", "pump", "turns backwards", _set(lambda at: {"pump_reversed": True}), switch=True),
    _e("pump-coupling-sheared", "pump", "the shaft stands", _set(lambda at: {"pump_sheared": True}), switch=True),
    _e("pump-jammed", "pump", "cannot turn", _set(lambda at: {"pump_jammed": True}), switch=True),
    _e("impeller-worn", "pump", "head lost, up to 0.5", _factor("pump_head", 0.5)),
    _e(
        "impeller-clogged",
        "pump",
        "channels closed: head lost, curve steeper",
        _both(_factor("pump_head", 0.65), _factor("pump_bend", 5.0)),
    ),
    _e("impeller-wrong", "pump", "head lost, up to 0.6", _factor("pump_head", 0.4)),
    _e("pump-run-out", "pump", "resistance of hoses and load missing, up to 0.97", _factor("load_resistance", 0.03)),
    _e("pump-starved", "pump", "inlet closed and fill low", _both(_open("suction_valve_open", 0.06), _fill(10.0))),
    _e("drive-turned-down", "pump", "speed lost, up to 0.65", _factor("pump_speed", 0.35)),
    _e("drive-follows-down", "pump", "speed lost, up to 0.6", _factor("pump_speed", 0.4)),
    _e("drive-overheated", "pump", "speed lost to its own heat, up to 0.55", _factor("pump_speed", 0.45)),
    _e("pump-bearing-failing", "pump", "extra shaft power, up to 0.6", _factor("pump_drag", 1.6)),
    _e("glycol-too-thick", "unit", "percent above what is right, up to 30", _thick),
    _e("glycol-too-weak", "unit", "share of the glycol missing", _weak, "glycol in the loop"),
    _e("glycol-wrong-type", "unit", "the other glycol", _wrong, "glycol in the loop", switch=True),
    _e(
        "load-larger-than-machine",
        "unit",
        "load over capacity, up to twice",
        _both(_factor("load_factor", 2.0), _set(lambda at: {"entering_add_k": 12.0 * at.s})),
    ),
    _e("low-load", "unit", "load missing, up to 0.9", _factor("load_factor", 0.1)),
    _e("loop-volume-small", "unit", "volume missing, up to 0.85", _factor("volume_factor", 0.15)),
    _e(
        "hot-return-at-pull-down",
        "unit",
        "return over design, 8 to 25 K",
        _set(lambda at: {"entering_add_k": 8.0 + 17.0 * at.s}),
    ),
    _e(
        "pull-down-warm-loop",
        "unit",
        "return over design, 6 to 18 K",
        _set(lambda at: {"entering_add_k": 6.0 + 12.0 * at.s}),
    ),
    _e(
        "warm-return-duty",
        "unit",
        "return kept warm, 4 to 12 K over design",
        _set(lambda at: {"entering_add_k": 4.0 + 8.0 * at.s}),
    ),
)
