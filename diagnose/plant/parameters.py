"""Everything the simulated machine is made of, in SI, one record per layer; healthy, and the same for every simulation.

Faults never change these records: they live in `diagnose.plant.health`. A machine card is turned into a `Plant` by
`diagnose.plant.sizing`, which documents every value it had to assume.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.plant.ahri_map import CompressorMap
from diagnose.plant.compressor import ScrollCurve
from diagnose.plant.valve import ExpansionValve


@dataclass(frozen=True, slots=True)
class PumpCurve:
    """Head at rated speed: H = shutoff - slope Q - bend Q2 [m, m3/s]. rated_m3s: duty flow, efficiency there.

    needed_m: NPSH required at the duty flow; rises with flow squared (assumption).
    """

    shutoff_m: float
    slope: float
    bend: float
    rated_m3s: float
    efficiency: float = 0.62
    needed_m: float = 2.0


@dataclass(frozen=True, slots=True)
class LoopParameters:
    """Fluid loop. Drops [Pa] are those of plain water at ``design_m3s``; volume and metal carry the heat.

    fluid, percent, basis: what is in it. tank_at: unit-suction, load or discharge. fill_pa: standing gauge pressure.
    pumps: those the machine has; in_use: the one that is meant to run; pump_drive: it has a frequency drive.
    """

    fluid: str
    percent: float
    basis: str
    design_m3s: float
    evaporator_pa: float
    strainer_pa: float
    hose_pa: float
    load_pa: float
    valve_pa: float
    pump: PumpCurve
    site_pump: PumpCurve
    pumps: tuple[str, ...]
    in_use: str
    tank_at: str
    fill_pa: float
    volume_m3: float
    metal_j_per_k: float
    pump_drive: bool
    hose_exponent: float = 1.75
    evaporator_exponent: float = 1.75


@dataclass(frozen=True, slots=True)
class AirParameters:
    """Condenser air of one circuit at rating. volume_m3s: all fans; fan_w: all fans; slope: of the fan curve (1.2: free
    air gives 1.35 times the rated flow). low_k, high_k: condensing temperatures of head control; least: smallest air share.
    """

    fans: tuple[str, ...]
    volume_m3s: float
    fan_w: float
    ua: float
    air_share: float
    low_k: float
    high_k: float
    least: float
    slope: float = 1.2
    drive: bool = False


@dataclass(frozen=True, slots=True)
class CircuitParameters:
    """One refrigerant circuit. swept_m3s: of each compressor at rated frequency; ua_evaporator: boiling zone, design flow."""

    id: str
    compressors: tuple[str, ...]
    swept_m3s: float
    curve: ScrollCurve
    ua_evaporator: float
    fluid_share: float
    valve: ExpansionValve
    charge_kg: float
    condenser_m3: float
    liquid_line_m3: float
    evaporator_m3: float
    gas_m3: float
    receiver_m3: float
    air: AirParameters
    chart: CompressorMap | None = None


@dataclass(frozen=True, slots=True)
class MotorPlate:
    """A three-phase motor: shaft power and current at its duty on rated volts, and what its plate says."""

    shaft_w: float
    duty_a: float
    plate_a: float
    locked_a: float


@dataclass(frozen=True, slots=True)
class SupplyParameters:
    """Supply and motors. source: generator or utility; generator_va; droop, regulation: shares at full load.

    feeder_ohm: resistance of one conductor from board to unit. compressor: plate of one; fan: plate of one.
    """

    volts: float
    hertz: float
    source: str
    generator_va: float
    droop: float
    reactance: float
    source_ohm: float
    feeder_ohm: float
    compressor: MotorPlate
    pump: MotorPlate
    site_pump: MotorPlate
    fan: MotorPlate
    control_volts: float = 120.0


@dataclass(frozen=True, slots=True)
class ControlParameters:
    """Settings of the control. Pressures gauge [Pa] at sea level; times [s].

    freeze_k: least leaving temperature; flow_share: of design flow at which the proof makes. monitor_pct: unbalance limit.
    """

    set_point_k: float
    band_k: float
    freeze_k: float
    low_pressure_pa: float
    high_pressure_pa: float
    discharge_limit_k: float
    flow_share: float
    flow_delay_s: float
    start_delay_s: float
    stage_delay_s: float
    low_pressure_bypass_s: float
    least_off_s: float
    least_on_s: float
    monitor_pct: float
    monitor_volts_share: float
    monitor_delay_s: float
    pump_overload_a: float
    compressor_overload_a: float
    overload_class: float = 10.0


@dataclass(frozen=True, slots=True)
class Plant:
    """A whole simulated machine. assumed: one line for each value its card did not give."""

    refrigerant: str
    capacity_w: float
    atmosphere_pa: float
    loop: LoopParameters
    circuits: tuple[CircuitParameters, ...]
    supply: SupplyParameters
    control: ControlParameters
    assumed: tuple[str, ...] = ()

    @property
    def compressors(self) -> tuple[str, ...]:
        """Ids of all compressors."""
        return tuple(c for circuit in self.circuits for c in circuit.compressors)
