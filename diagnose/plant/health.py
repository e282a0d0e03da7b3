"""What may be wrong, one record per layer, neutral by default. A fault changes exactly one of them.

Shares run from 0 to 1: `*_open` 1 is fully open, 0 shut; factors are 1 when healthy, amounts 0.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from diagnose.plant.parameters import Plant


@dataclass(frozen=True, slots=True)
class LoopHealth:
    """Fluid loop, pumps and load. gas: volume share of gas in the fluid; *_lost_pa: fill pressure missing.

    pump_*: the pump in use; load_*: the site's load; evaporator_film: UA left by dirt on the fluid side.
    """

    strainer_open: float = 1.0
    strainer_gone: float = 0.0
    suction_valve_open: float = 1.0
    check_open: float = 1.0
    outlet_valve_open: float = 1.0
    supply_hose_open: float = 1.0
    return_hose_open: float = 1.0
    site_valve_open: float = 1.0
    load_open: float = 1.0
    evaporator_open: float = 1.0
    evaporator_film: float = 1.0
    pump_bypass_open: float = 0.0
    crossover_open: float = 0.0
    idle_pass: float = 0.0
    idle_pump_in_path: bool = False
    gas: float = 0.0
    fill_lost_pa: float = 0.0
    tank_at: str = ""
    pump_head: float = 1.0
    pump_bend: float = 1.0
    pump_speed: float = 1.0
    pump_reversed: bool = False
    pump_sheared: bool = False
    pump_jammed: bool = False
    pump_drag: float = 1.0
    site_speed: float = 1.0
    site_head: float = 1.0
    both_running: bool = False
    load_resistance: float = 1.0
    fluid: str = ""
    percent: float | None = None
    load_factor: float = 1.0
    volume_factor: float = 1.0
    entering_add_k: float = 0.0


@dataclass(frozen=True, slots=True)
class AirHealth:
    """Condenser air of one circuit. resistance: of the coil's air path; fans_*: number of fans; weather_k: of the day itself, when it
    is the cause."""

    resistance: float = 1.0
    ua: float = 1.0
    fans_out: float = 0.0
    fans_reversed: float = 0.0
    speed: float = 1.0
    blade: float = 1.0
    leak: float = 0.0
    recirculation: float = 0.0
    hot_air_k: float = 0.0
    weather_k: float | None = None
    no_head_control: bool = False


@dataclass(frozen=True, slots=True)
class Branch:
    """Wiring of one motor. open_phase: 0, 1 or 2 has no contact; ohm: added in one phase; dead: not fed at all;
    winding_open: the open phase is inside the motor.

    shorted: share of turns shorted in one winding; star: left in star; taps: volts it is linked for over the plate's, inverse;
    locked: cannot turn; lead_ohm: in every phase; drag: factor on the load torque.
    """

    open_phase: int = -1
    winding_open: bool = False
    ohm: float = 0.0
    ohm_phase: int = 0
    dead: bool = False
    shorted: float = 0.0
    earth: bool = False
    star: bool = False
    taps: float = 1.0
    locked: bool = False
    lead_ohm: float = 0.0
    drag: float = 1.0


@dataclass(frozen=True, slots=True)
class SupplyHealth:
    """Supply up to the unit's terminals, and the branches of its motors by place ("pump", "compressor:A1", "fan:1").

    leg_low: share by which one line-to-neutral voltage is low; open_board, open_unit: phase lost upstream of the board's
    meter or between board and unit; lug_ohm: in one feeder leg; reversed: phase sequence.
    """

    volts: float = 1.0
    hertz: float = 1.0
    leg_low: float = 0.0
    leg: int = 1
    open_board: int = -1
    open_unit: int = -1
    feeder: float = 1.0
    lug_ohm: float = 0.0
    lug_leg: int = 0
    reversed: bool = False
    dead: str = ""
    generator: float = 1.0
    swing: float = 0.0
    start_add_va: float = 0.0
    breaker_a: float = 0.0
    branches: dict[str, Branch] = field(default_factory=dict)

    def branch(self, place: str) -> Branch:
        """Wiring of the motor at a place."""
        return self.branches.get(place, SOUND)

    def with_branch(self, place: str, **changes: Any) -> SupplyHealth:
        """A copy in which the wiring of one motor is changed."""
        return replace(self, branches={**self.branches, place: replace(self.branch(place), **changes)})


SOUND = Branch()


@dataclass(frozen=True, slots=True)
class CycleHealth:
    """Refrigerant circuit. charge: of the plate; *_pa: drop at the rated flow; leak: inside the scrolls, by compressor.

    liquid_ahead: whether the drop of the liquid line lies ahead of the drier. least, most: limits of the valve's opening; fixed: where it
    stands; follows: whether the display shows that; sensor_shift_k: superheat the valve sees in excess; refrigerant: another one in it; stalled: compressors that turn without pumping.
    """

    charge: float = 1.0
    gas_pa: float = 0.0
    suction_pa: float = 0.0
    discharge_pa: float = 0.0
    liquid_pa: float = 0.0
    liquid_ahead: bool = False
    least: float | None = None
    most: float | None = None
    fixed: float | None = None
    follows: bool = True
    sensor_shift_k: float = 0.0
    bypass: float = 0.0
    evaporator_ua: float = 1.0
    leak: dict[str, float] = field(default_factory=dict)
    stalled: tuple[str, ...] = ()
    refrigerant: str = ""


@dataclass(frozen=True, slots=True)
class ControlHealth:
    """Control string, settings and protection. open_at: first open contact of the string, by name.

    *_shift: what a sensor reads in excess [K, Pa], *_add: on a setting, by circuit where it is a circuit's; *_factor: on a setting.
    leaving_shift_k: of the sensor that also guards against freezing; control_shift_k: only what the stages see. resting: compressors the control cannot start,
    with the reason. proof: "", "open" or "made". pump_overload: what the dial stands at; pump_relay: what the relay opens at
    against its dial.
    """

    control_volts: float = 1.0
    open_at: str = ""
    waiting: str = ""
    pump_open_at: str = ""
    proof: str = ""
    proof_factor: float = 1.0
    set_point_add_k: float = 0.0
    leaving_shift_k: float = 0.0
    control_shift_k: float = 0.0
    low_pressure_add_pa: dict[str, float] = field(default_factory=dict)
    high_pressure_add_pa: dict[str, float] = field(default_factory=dict)
    freeze_add_k: float = 0.0
    head_shift_pa: dict[str, float] = field(default_factory=dict)
    suction_shift_pa: dict[str, float] = field(default_factory=dict)
    jumpered: bool = False
    monitor: str = ""
    monitor_factor: float = 1.0
    pump_overload: float = 1.0
    pump_relay: float = 1.0
    pump_overload_class: float = 1.0
    compressor_overload: dict[str, float] = field(default_factory=dict)
    resting: dict[str, str] = field(default_factory=dict)
    stage_factor: float = 1.0
    band_factor: float = 1.0
    load_limit: float = 1.0
    normal: str = ""


@dataclass(frozen=True, slots=True)
class Lie:
    """One instrument that reads wrong. gain, offset [SI]; toward_air: share of the way to the air temperature; stuck: value."""

    quantity: str
    place: str = ""
    gain: float = 1.0
    offset: float = 0.0
    toward_air: float = 0.0
    stuck: float | None = None


@dataclass(frozen=True, slots=True)
class InstrumentHealth:
    """Instruments that lie."""

    lies: tuple[Lie, ...] = ()


@dataclass(frozen=True, slots=True)
class Health:
    """All six layers; air and cycle by circuit."""

    loop: LoopHealth
    air: dict[str, AirHealth]
    supply: SupplyHealth
    cycle: dict[str, CycleHealth]
    control: ControlHealth
    instruments: InstrumentHealth


def healthy(plant: Plant) -> Health:
    """A machine with nothing wrong."""
    return Health(
        LoopHealth(),
        {c.id: AirHealth() for c in plant.circuits},
        SupplyHealth(),
        {c.id: CycleHealth() for c in plant.circuits},
        ControlHealth(),
        InstrumentHealth(),
    )
