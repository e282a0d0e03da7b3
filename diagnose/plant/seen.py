"""What somebody would see at a simulated machine, in the words of the knowledge's effects and findings.

Numbers are read by instruments; lamps, alarms, what runs and what stands are seen. Only what follows from the simulated moment is
here: dirt on a coil, a noise or the story of the last days comes from the cause cards. Keys are ("effect:head", place) for hidden
states, (finding, place) for what can be seen; a word that this moment does not show is absent. A test holds every name and word
against the cards.

Cuts are those a person would make, from the true values: they are common practice, no source, and stand here because the
simulation must not borrow the bands it is used to judge.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diagnose.calculators.electrical import unbalance_pct
from diagnose.plant import controller
from diagnose.plant.conditions import Conditions
from diagnose.plant.health import Health
from diagnose.plant.parameters import CircuitParameters, Plant
from diagnose.plant.snapshot import Snapshot

Key = tuple[str, str]
F = 5.0 / 9.0
HEAD_K = (301.0, 327.6)  # condensing below 82 F or above 130 F is what people call low or high head
SUCTION_K = (-11.5 * F, 3.0 * F)  # suction saturation against the leaving set point
GLYCOL_SUCTION_K = (-16.0 * F, 1.0 * F)
VOLTS, HERTZ = (0.9, 1.1), (0.95, 1.05)
UNBALANCED_PCT, LOST_PCT = 2.0, 12.0
SUPERHEAT_K = (5.0 * F, 18.0 * F)
SUBCOOLING_K = (1.0 * F, 6.0 * F, 20.0 * F)
FILL_PA = (1.5 * 6894.757, 5.0 * 6894.757, 45.0 * 6894.757)
WARM_K, COLD_K = 10.0 * F, -8.0 * F  # return against design
ALIKE_K = (
    4.0 * F,
    6.0 * F,
    6.0 * F,
    6.0 * F,
)  # suction, condensing, superheat, subcooling of two circuits at one stage

DEVICES = {
    "phase-monitor": "phase-monitor",
    "flow-proof": "flow",
    "pump-overload": "pump-overload",
    "compressor-overload": "compressor-overload",
    "high-pressure-switch": "high-pressure",
    "low-pressure-switch": "low-pressure",
    "freeze-limit": "freeze",
    "earth-leakage": "earth-leakage",
    "site-breaker": "breaker",
    "discharge-thermostat": "compressor-overload",  # the module it is wired to has locked out
}
SEEN_AS = {
    "": "healthy",
    "reversed": "sequence",
    "lost": "phase-loss",
    "unbalance": "unbalance",
    "under": "under-voltage",
    "over": "over-voltage",
    "failed": "fault-unnamed",
}
STRING = {
    "emergency-stop-pressed": "at-switch-or-stop",
    "control-switch-off": "at-switch-or-stop",
    "remote-enable-open": "at-enable",
    "enable-jumper-lost": "at-enable",
    "flow-proof": "at-flow",
    "phase-monitor": "at-monitor",
    "safety-not-reset": "at-pressure-switch",
    "pump-overload": "at-overload-or-module",
    "control-wire-loose": "at-a-wire",
    "start-delay": "after-timer",
    "monitor-timing": "after-timer",
}
FROM_BEFORE = ("safety-not-reset", "restart-after-blackout")  # holds whose alarm, from before, their cards know
STATUS = {
    "control-switch-off": "switched-off",
    "emergency-stop-pressed": "switched-off",
    "remote-enable-open": "enable-open",
    "enable-jumper-lost": "enable-open",
    "building-command-off": "network-off",
    "start-delay": "timer",
    "monitor-timing": "timer",
    "set-point-satisfied": "satisfied",
    "safety-not-reset": "locked-out",
}


def _three(value: float, limits: tuple[float, float]) -> str:
    return "low" if value < limits[0] else "high" if value > limits[1] else "normal"


def _step(value: float, limits: Sequence[float], words: Sequence[str]) -> str:
    return words[sum(value >= limit for limit in limits)]


def seen_words(plant: Plant, health: Health, conditions: Conditions, shot: Snapshot) -> dict[Key, str]:
    """All hidden states and findings that the moment ``shot`` of this machine shows, by key."""
    words: dict[Key, str] = {}
    words.update(_supply(plant, health, shot))
    words.update(_loop(plant, health, conditions, shot))
    words.update(_control(plant, health, shot))
    for circuit in plant.circuits:
        words.update(_circuit(plant, health, shot, circuit))
    words.update(_compressors(plant, health, shot))
    alike = _alike(plant, health, shot)
    if alike:
        words["circuits-alike", "unit"] = alike
    return words


def _standing(plant: Plant, health: Health, shot: Snapshot) -> set[str]:
    """Compressors that were called and do not run: not fed, resting, locked, tripped themselves or with their circuit."""
    tripped = {t.place for t in shot.trips}
    out = set()
    for circuit in plant.circuits:
        for name in circuit.compressors:
            branch = health.supply.branch(f"compressor:{name}")
            held = branch.dead or branch.locked or branch.earth or name in health.control.resting
            lost = {f"compressor:{name}", f"circuit:{circuit.id}"} & tripped
            if name not in shot.running and (held or lost):
                out.add(name)
    return out


def _alike(plant: Plant, health: Health, shot: Snapshot) -> str:
    """Whether somebody who holds circuit against circuit sees one in trouble; "" where there is nothing to hold it against.

    Circuits are compared at the same stage: those in which all compressors run. One whose compressor was called and stands
    differs plainly.
    """
    if len(plant.circuits) < 2:
        return ""
    if "cooling" not in shot.readings:
        return "alike"
    held = _standing(plant, health, shot)
    whole: list[tuple[float, ...]] = []
    for circuit in plant.circuits:
        if held & set(circuit.compressors):
            return "one-differs"
        if set(circuit.compressors) <= set(shot.running) and f"{circuit.id}.suction_dew_k" in shot.balance:
            keys = ("suction_dew_k", "discharge_dew_k", "superheat_k", "subcooling_k")
            whole.append(tuple(shot.balance[f"{circuit.id}.{key}"] for key in keys))
    for n, apart in enumerate(ALIKE_K):
        values = [one[n] for one in whole]
        if values and max(values) - min(values) > apart:
            return "one-differs"
    return "alike"


def _volts(shot: Snapshot, quantity: str) -> tuple[float, ...]:
    taken = shot.taken(quantity, "supply")
    return taken.true if taken is not None and isinstance(taken.true, tuple) else (0.0, 0.0, 0.0)


def _number(shot: Snapshot, quantity: str, place: str = "unit", state: str = "") -> float | None:
    taken = shot.taken(quantity, place, state)
    return taken.true if taken is not None and isinstance(taken.true, float | int) else None


def _supply(plant: Plant, health: Health, shot: Snapshot) -> Iterator[tuple[Key, str]]:
    volts = _volts(shot, "line_voltage")
    mean = sum(volts) / 3.0 / plant.supply.volts
    alive = shot.lamps["power"] == "on"
    balance = "one-lost"
    if alive and min(volts) > 0.6 * max(volts):
        pct = unbalance_pct((volts[0], volts[1], volts[2]))
        balance = "one-lost" if pct > LOST_PCT else "unbalanced" if pct > UNBALANCED_PCT else "balanced"
    if alive:
        # a lost leg is told by the balance, not by the level: the whole pair says how high the volts are
        level = max(volts) / plant.supply.volts if balance == "one-lost" else mean
        yield ("effect:supply-volts", "supply"), _three(level, VOLTS)
        yield ("effect:phase-balance", "supply"), balance
        yield ("effect:phase-order", "supply"), "reversed" if health.supply.reversed else "right"
        yield ("phase-sequence", "supply"), "reversed" if health.supply.reversed else "right"
        pump = _pump_volts(plant, health, balance, level)
        if pump:
            yield ("pump-supply-volts", f"pump:{plant.loop.in_use}"), pump
        if health.supply.start_add_va > 0.0:
            yield ("voltage-steadiness", "supply"), "dips-with-others"
        elif health.supply.swing > 0.02:
            yield ("voltage-steadiness", "supply"), "hunts"
    if plant.supply.source == "generator" and alive:
        hertz = (_number(shot, "frequency", "supply") or 0.0) / plant.supply.hertz
        display = _generator(hertz, *_at_the_board(plant, shot))
        if display:
            yield ("generator-display", "supply"), display


def _pump_volts(plant: Plant, health: Health, balance: str, level: float) -> str:
    """What stands at the pump's terminals: the supply, less what its own branch loses; "" where only its card says how much."""
    branch = health.supply.branch("pump")
    if balance == "one-lost" or (branch.open_phase >= 0 and not branch.winding_open):
        return "leg-missing"
    if balance == "unbalanced":
        return "uneven"
    if branch.dead or branch.ohm > 0.0 or branch.lead_ohm > 0.0 or health.control.pump_open_at:
        return ""
    return {"normal": "right"}.get(_three(level, VOLTS), _three(level, VOLTS))


def _at_the_board(plant: Plant, shot: Snapshot) -> tuple[float, str]:
    """Volts over nominal and their balance where the generator's own meters are, ahead of fuses and feeder."""
    taken = shot.taken("board_voltage", "supply")
    volts = taken.true if taken is not None and isinstance(taken.true, tuple) else (0.0, 0.0, 0.0)
    if min(volts) < 0.6 * max(volts):
        return max(volts) / plant.supply.volts, "one-lost"
    pct = unbalance_pct((volts[0], volts[1], volts[2])) if min(volts) > 0.0 else 0.0
    return sum(volts) / 3.0 / plant.supply.volts, "unbalanced" if pct > UNBALANCED_PCT else "balanced"


def _generator(hertz: float, volts: float, balance: str) -> str:
    """What its meters show; "" when they show nothing odd: then its card may still say overloaded."""
    if not HERTZ[0] <= hertz <= HERTZ[1]:
        return "off-frequency" if hertz > 0.75 else "idle-or-regenerating"
    if not VOLTS[0] <= volts <= VOLTS[1]:
        return "low-volts" if volts < 1.0 else "high-volts"
    return "" if balance == "balanced" else "uneven"


def _loop(plant: Plant, health: Health, conditions: Conditions, shot: Snapshot) -> Iterator[tuple[Key, str]]:
    turning = shot.lamps["pump"] == "on"
    place = f"pump:{plant.loop.in_use}"
    yield ("effect:pump-running", "unit"), "running" if turning else "stopped"
    flow = shot.balance.get("flow_m3s", 0.0) / plant.loop.design_m3s if turning else 0.0
    word = "none" if flow < 0.2 else "low" if flow < 0.85 else "high" if flow > 1.2 else "normal"
    yield ("effect:fluid-flow", "unit"), word
    proved = shot.lamps["flow"] == "on"
    yield ("effect:flow-proof", "unit"), "made" if proved else "open"
    if turning:
        yield ("flow-proof-lamp", "unit"), shot.lamps["flow"]
    back = health.loop.pump_reversed or (health.supply.reversed and not plant.loop.pump_drive)
    branch = health.supply.branch("pump")
    # two legs do not start a motor; a drive refuses to try
    hums = health.loop.pump_jammed or branch.locked or (branch.open_phase >= 0 and not plant.loop.pump_drive)
    turns = ("backwards" if back else "right-way") if turning else "hums" if hums else "stopped"
    if plant.loop.pump_drive and shot.lamps["power"] == "on":
        if turning:
            yield ("drive-display", place), "runs"
        elif shot.hold in ("pump-switched-off", "drive-no-run-order") or shot.lamps["screen"] == "off":
            yield ("drive-display", place), "ready"  # fed, and nobody orders it to run
    yield ("pump-turning", place), turns
    if not turning:
        yield ("pump-noise", place), "hum" if hums else "silent"
    both = turning and health.loop.both_running
    yield ("pumps-running", "unit"), "both" if both else "one" if turning else "neither"
    warm = conditions.entering_k + health.loop.entering_add_k - plant.control.set_point_k - 10.0 * F
    warmth = "warm" if warm > WARM_K else "cold" if warm < COLD_K else "at-design"
    yield ("effect:loop-warmth", "unit"), warmth
    fill = plant.loop.fill_pa - health.loop.fill_lost_pa
    yield ("tank-pressure", "unit"), _step(fill, FILL_PA, ("none", "low", "normal", "high"))
    if plant.loop.pump_drive:
        yield ("pump-starter", place), "drive"
    if turning and plant.loop.pump_drive:
        speed = health.loop.pump_speed
        yield ("drive-speed", place), "none" if speed < 0.05 else "low" if speed < 0.8 else "normal"
    if health.control.proof == "made":
        yield ("proof-pump-off", "unit"), "still-made"
    dial = health.control.pump_overload
    if dial < 0.94:
        yield ("overload-dial", place), "below"
    fluid, percent = health.loop.fluid, health.loop.percent
    if fluid and fluid != plant.loop.fluid and plant.loop.fluid != "water":
        yield ("fluid-kind", "unit"), "wrong-kind"
    elif percent is not None and abs(percent - plant.loop.percent) > 5.0:
        yield ("fluid-kind", "unit"), "too-thick" if percent > plant.loop.percent else "too-weak"


def _control(plant: Plant, health: Health, shot: Snapshot) -> Iterator[tuple[Key, str]]:
    volts = (_number(shot, "control_voltage") or 0.0) / plant.supply.control_volts
    power = "absent" if volts < 0.2 else "weak" if volts < 0.88 else "present"
    yield ("effect:control-power", "unit"), power
    lit = shot.lamps["screen"] == "on"
    if shot.hold != "controller-failed":  # what its screen does then its card says
        yield ("screen-lit", "unit"), "lit" if lit else "dark"
    if lit:
        if shot.hold not in FROM_BEFORE:
            yield ("alarm-text", "unit"), shot.alarms[0] if shot.alarms else "none"
        status = _status(shot)
        if status:
            yield ("screen-status", "unit"), status
    if shot.lamps["power"] == "on":
        yield ("monitor-lamp", "supply"), _monitor_lamp(plant, health, shot)
    device = next((DEVICES[t.device] for t in shot.trips if t.device in DEVICES), "none")
    opened = device == "breaker" or (shot.lamps["power"] == "on" and shot.hold not in FROM_BEFORE)
    if opened and all(t.device != controller.MODULE for t in shot.trips):  # its lamp is no device that has opened
        yield ("tripped-device", "unit"), device
    if shot.hold in STRING and lit:
        yield ("control-string", "unit"), STRING[shot.hold]
    yield ("what-runs", "unit"), _what_runs(plant, shot)
    if shot.state == "cooling" and not shot.trips:  # it runs: nothing holds it and nothing did
        yield ("control-string", "unit"), "complete"
        yield ("lock-out-reason", "unit"), "no-lock-out"
        yield ("safety-button", "unit"), "in"
        yield ("waiting-cleared", "unit"), "starts"
    timed = [t for t in shot.trips if t.place.startswith("pump:")]  # it is the pump's clock that is asked for
    if timed:
        first = timed[0].after_s
        yield (
            ("trip-time", "unit"),
            "at-once" if first < 1.5 else "seconds" if first < 75.0 else "minutes" if first < 6000.0 else "long",
        )
    elif shot.lamps["pump"] == "on":
        yield ("trip-time", "unit"), "no-trip"
    if shot.state == "cooling":
        unfed = any(health.supply.branch(f"compressor:{c}").dead for c in plant.compressors)
        rests = len(shot.running) < len(plant.compressors) and (
            unfed or bool(health.control.resting) or bool(shot.trips)
        )
        yield ("stages", "unit"), "fewer" if rests else "hunting" if shot.steadiness == "cycling" else "as-asked"


def _status(shot: Snapshot) -> str:
    if shot.state == "cooling":
        return "running"
    if any(t.latched for t in shot.trips):
        return "locked-out"
    return STATUS.get(shot.hold, "")


def _monitor_lamp(plant: Plant, health: Health, shot: Snapshot) -> str:
    if health.control.monitor == "timing":
        return "timing"
    if shot.lamps["phase-monitor"] == "off":
        return "dark"
    if shot.lamps["phase-monitor"] == "on":
        return "healthy"
    trip = next((t for t in shot.trips if t.device == "phase-monitor"), None)
    said = trip.why if trip else ""
    for word in ("reversed", "lost", "unbalance", "under", "over"):
        if said.startswith(word):
            return SEEN_AS[word]
    spoken = {"a phase is lost": "lost", "phases in the wrong order": "reversed", "voltages unbalanced": "unbalance"}
    spoken |= {"voltage low": "under", "voltage high": "over"}
    return SEEN_AS[spoken.get(said, "failed")]


def _what_runs(plant: Plant, shot: Snapshot) -> str:
    if shot.state == "cooling":
        return "all" if len(shot.running) == len(plant.compressors) else "one-circuit"
    if shot.hold == "dip-at-start":
        return "starts-then-stops"  # contactors or a breaker fall out on the first compressor
    late = any(t.after_s > 5.0 and t.device != "phase-monitor" for t in shot.trips)
    if "cooling" in shot.readings or (late and shot.hold in ("pump-overload", "tripped")):
        return "starts-then-stops"
    if shot.lamps["pump"] == "on":
        return "pump-only"
    return "nothing"


def _circuit(plant: Plant, health: Health, shot: Snapshot, circuit: CircuitParameters) -> Iterator[tuple[Key, str]]:
    name, place = circuit.id, f"circuit:{circuit.id}"
    tripped = {t.name for t in shot.trips if t.place == place}
    if "cooling" in shot.readings:
        yield ("high-pressure-trip", place), "yes" if controller.HIGH in tripped else "no"
        yield ("low-pressure-trip", place), "yes" if controller.LOW in tripped else "no"
        if controller.LOW in tripped:
            yield ("cycle-end", place), "low-pressure"
        elif any(t.name == controller.FREEZE for t in shot.trips):
            yield ("cycle-end", place), "freeze"
        elif tripped:
            yield ("cycle-end", place), "other-safety"
        elif set(circuit.compressors) & set(shot.running):
            yield ("cycle-end", place), "runs-on"
        # how a loose blade turns, and which fans the head control rests in cold air, their cards say
        if health.air[name].blade == 1.0 and health.air[name].weather_k is None:
            yield ("fans", place), _fans(health, circuit)
    elif shot.hold == "set-point-satisfied":
        yield ("cycle-end", place), "set-point-reached"
    if f"{name}.suction_dew_k" not in shot.balance:
        if "cooling" in shot.readings and not tripped and _standing(plant, health, shot) & set(circuit.compressors):
            yield ("pressures-equal", place), "nearly-equal"  # it was called and stands while the others run
        return
    limits = SUCTION_K if plant.loop.fluid == "water" else GLYCOL_SUCTION_K
    over_set = shot.balance[f"{name}.suction_dew_k"] - plant.control.set_point_k
    yield ("effect:suction", place), _three(over_set, limits)
    yield ("effect:head", place), _three(shot.balance[f"{name}.discharge_dew_k"], HEAD_K)
    if shot.balance[f"{name}.steady"] == 1.0:
        yield ("superheat", place), _three(shot.balance[f"{name}.superheat_k"], SUPERHEAT_K)
        liquid = 0.0 if shot.balance[f"{name}.quality_3"] > 0.0 else shot.balance[f"{name}.subcooling_k"]
        yield ("subcooling", place), _step(liquid, SUBCOOLING_K, ("none", "low", "normal", "high"))
    ratio = shot.balance[f"{name}.ratio"]
    yield ("pressures-equal", place), "nearly-equal" if ratio < 1.35 else "apart"
    if shot.balance[f"{name}.flash"] > 0.02 or shot.balance[f"{name}.quality_3"] > 0.0:
        yield ("sight-glass", place), "bubbles"  # else clear, unless its card knows of moisture or oil
    step = _number(shot, "drier_in", place, "cooling"), _number(shot, "drier_out", place, "cooling")
    if step[0] is not None and step[1] is not None:
        yield ("drier-drop", place), "high" if step[0] - step[1] > 3.0 * F else "normal"


def _fans(health: Health, circuit: CircuitParameters) -> str:
    air, number = health.air[circuit.id], len(circuit.air.fans)
    if round(air.fans_out) >= number or air.speed < 0.1:
        return "all-stopped"
    if air.fans_out >= 0.5:
        return "one-stopped"
    if air.fans_reversed >= 0.5 or (health.supply.reversed and not circuit.air.drive):
        return "backwards"
    return "slow" if air.speed < 0.8 else "all-right"


def _compressors(plant: Plant, health: Health, shot: Snapshot) -> Iterator[tuple[Key, str]]:
    devices = {t.place: t.device for t in shot.trips}
    for circuit in plant.circuits:
        lost = f"circuit:{circuit.id}" in devices
        for name in circuit.compressors:
            place = f"compressor:{name}"
            device = devices.get(place, "")
            key = ("start-attempt", place)
            if name in shot.running:
                yield key, "starts"
            elif health.supply.branch(place).locked and device:
                yield key, "hums-then-trips"
            elif device == "earth-leakage":
                yield key, "device-opens"
            elif device == controller.MODULE or name in health.control.resting or health.supply.branch(place).dead:
                yield key, "nothing"
            elif device or (lost and "cooling" in shot.readings):
                yield key, "starts-then-stops"
            elif "cooling" not in shot.readings:
                yield key, "nothing"
            if health.supply.branch(place).locked and device:
                yield ("compressor-sound", place), "hums"
            elif name not in shot.running and device in ("", controller.MODULE) and not lost:
                yield ("compressor-sound", place), "silent"  # one that ran until its trip was heard: its card says how
            dial = health.control.compressor_overload.get(name, 1.0)
            if dial < 0.9:
                yield ("compressor-overload-dial", place), "below"
