"""Machines and single solutions the plant's tests share, as one fixture: the tests are no package and cannot import each other."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.case import Machine
from diagnose.plant import cycle
from diagnose.plant.conditions import RATING, Conditions
from diagnose.plant.cycle import Balance, FluidSide
from diagnose.plant.evaporator import overall_ua
from diagnose.plant.faults import Fault, apply_faults
from diagnose.plant.health import Health, healthy
from diagnose.plant.machine_state import MachineState, solve_machine
from diagnose.plant.parameters import Plant
from diagnose.plant.sizing import plant_of

CARD = {"refrigerant": "R-410A", "capacity": "60 tons", "voltage": "460 V", "frequency": "60 Hz", "fluid": "water"}
PSI = 6894.757


class Lab:
    """Single solutions of invented 60 ton machines."""

    @staticmethod
    def machine(**more: object) -> Machine:
        """A 60 ton machine, invented; keys of the card may be replaced."""
        return Machine.model_validate({**CARD, "circuits": 1, "compressors": 2, **more})

    @staticmethod
    def plant(**more: object) -> Plant:
        return plant_of(Lab.machine(**more))

    @staticmethod
    def solved(
        p: Plant, health: Health | None = None, entering_k: float | None = None, air_k: float = RATING.air_k
    ) -> MachineState:
        """All compressors on, no safety asked: what the physics alone says."""
        day = Conditions(air_k=air_k)
        running = {c.id: c.compressors for c in p.circuits}
        return solve_machine(p, health or healthy(p), day, running, True, entering_k or RATING.entering_k)

    @staticmethod
    def with_faults(p: Plant, *faults: Fault) -> MachineState:
        return Lab.solved(p, apply_faults(p, faults))

    @staticmethod
    def balance(state: MachineState) -> Balance:
        """The first circuit's balance; a test that asks for one needs one."""
        found = state.circuits[0].balance
        assert found is not None, state.circuits[0].failed
        return found

    @staticmethod
    def input_w(state: MachineState) -> float:
        """Compressors and fans, as a catalogue counts them."""
        return sum(c.balance.power_w + c.air.fan_w * c.balance.fan_share**3 for c in state.circuits if c.balance)

    @staticmethod
    def with_air(p: Plant, share: float) -> Health:
        """Healthy but for this share of the condenser's air."""
        h = healthy(p)
        return replace(h, air={c: replace(a, blade=share) for c, a in h.air.items()})

    @staticmethod
    def at_load(p: Plant, health: Health, load_w: float, flow: float = 1.0) -> tuple[Balance, float]:
        """Balance and return temperature that carry a load."""
        low, high = 279.0, 303.0
        for _ in range(28):
            middle = 0.5 * (low + high)
            state = Lab.solved(p, health, middle)
            low, high = (middle, high) if state.cooling_w < load_w else (low, middle)
        return Lab.balance(state), middle

    @staticmethod
    def own_fluid(p: Plant, flow_share: float, ua_share: float, entering_k: float = RATING.entering_k) -> Balance:
        """The first circuit with its fluid flow and plate set by hand."""
        state = Lab.solved(p)
        side, circuit = state.circuits[0].fluid_side, state.circuits[0]
        ua = overall_ua(side.ua, p.circuits[0].fluid_share, flow_share) if flow_share != 1.0 else side.ua
        found = cycle.solve(
            circuit.hardware, FluidSide(entering_k, side.capacity_rate * flow_share, ua * ua_share), circuit.air.side
        )
        assert isinstance(found, Balance)
        return found

    @staticmethod
    def differences(after: MachineState, before: MachineState) -> dict[str, float]:
        """The columns of the published fault signatures: change of each, in K."""
        a, b = Lab.balance(after), Lab.balance(before)

        def liquid(x: Balance) -> float:
            return x.subcooling_k - 100.0 * x.quality_3  # bubbles count as less than none

        return {
            "evaporating": a.evaporating_dew_k - b.evaporating_dew_k,
            "superheat": a.outlet - b.outlet,
            "condensing": a.condensing_dew_k - b.condensing_dew_k,
            "subcooling": liquid(a) - liquid(b),
            "discharge": a.t2_k - b.t2_k,
            "air": (a.air_out_k - a.air_in_k) - (b.air_out_k - b.air_in_k),
            "fluid": (after.entering_k - after.leaving_k) - (before.entering_k - before.leaving_k),
        }

    @staticmethod
    def signs(changes: dict[str, float], flat_k: float = 0.05) -> dict[str, str]:
        return {k: "+" if v > flat_k else "-" if v < -flat_k else "0" for k, v in changes.items()}


@pytest.fixture(scope="session")
def lab() -> type[Lab]:
    """The functions above."""
    return Lab
