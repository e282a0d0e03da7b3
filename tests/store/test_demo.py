"""The invented fleet: marked as such, coherent figures, loaded once."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from diagnose.calculators.capacity import capacity_w
from diagnose.calculators.flow import flow_square_law
from diagnose.case import Case, Machine
from diagnose.case_check import checked
from diagnose.demo import calls, fleet, load_demo
from diagnose.machine import read_machine
from diagnose.places import topology_of
from diagnose.properties.saturation import t_bubble_k, t_dew_k
from diagnose.store import Store, closing_of
from knowledge.load import load_knowledge

NOW = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


def check(case: Case) -> None:
    checked(case, load_knowledge())


def test_it_fills_an_empty_store_once(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "x.sqlite"), check=check)
    assert load_demo(store, NOW) and not load_demo(store, NOW)
    assert len(store.machines()) == len(fleet()) >= 6
    assert all(machine.invented and "(invented)" in machine.card.name for machine in store.machines())
    assert all(line.invented for line in store.calls())
    assert store.calls("open") and store.calls("closed")
    closings = [closing_of(store.call(line.id)) for line in store.calls("closed")]
    assert all(
        one is not None and set(one.found) <= set(load_knowledge().causes) and one.found and one.proof
        for one in closings
    )
    assert all(line.last_at <= NOW for line in store.calls())
    store.close()


def test_it_leaves_a_store_with_anything_in_it_alone(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "x.sqlite"))
    store.add_machine({"name": "Mine"}, by="Ann")
    assert not load_demo(store, NOW)
    assert len(store.machines()) == 1 and not store.calls()
    store.close()


def test_two_starts_at_once_load_it_once(tmp_path: Path) -> None:
    stores = [Store(str(tmp_path / "x.sqlite")) for _ in range(2)]
    problems: list[Exception] = []

    def work(store: Store) -> None:
        try:
            load_demo(store, NOW)
        except Exception as error:
            problems.append(error)

    threads = [threading.Thread(target=work, args=(store,)) for store in stores]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not problems
    assert len(stores[0].machines()) == len(fleet()) and len(stores[0].calls()) == len(calls())
    for row in calls():
        assert len(stores[0].case(row["id"]).entries) == len(row["entries"])
    for store in stores:
        store.close()


def test_the_fleet_is_mixed() -> None:
    cards = [Machine.model_validate(card) for card in fleet().values()]
    assert {card.frequency for card in cards} == {"50 Hz", "60 Hz"}
    assert len({card.refrigerant for card in cards}) >= 5 and "R-454B" in {card.refrigerant for card in cards}
    assert {len(topology_of(card).circuits) for card in cards} == {1, 2, 3, 4}


@pytest.mark.parametrize("name", fleet())
def test_nameplates_hold_together(name: str) -> None:
    """Design flow at the design split carries the capacity within 3 %; the curve is square within 4 % of flow; the
    cut-outs lie where a machine of this kind has them: under the set point and above condensing in summer."""
    card: dict[str, Any] = fleet()[name]
    data = read_machine(Machine.model_validate(card))
    assert not data.problems
    values = data.values
    carried_w = capacity_w(values["design_flow"], values["design_entering"], values["set_point"], data.fluid,
                           data.glycol_percent, data.glycol_basis)  # fmt: skip
    assert carried_w == pytest.approx(values["capacity"], rel=0.03)
    for flow, drop in data.curve:
        assert flow_square_law(drop, values["design_flow"], values["design_drop"]) == pytest.approx(flow, rel=0.04)
    low_k = t_dew_k(data.refrigerant, values["low_pressure_cutout"] + data.atmosphere_pa)
    high_k = t_bubble_k(data.refrigerant, values["high_pressure_cutout"] + data.atmosphere_pa)
    assert 5 < values["set_point"] - low_k < 20
    assert 57 < high_k - 273.15 < 70
    for pressure in ("pump_discharge", "pump_suction"):
        if pressure in data.card:
            rise = data.card["pump_discharge"][0] - data.card["pump_suction"][0]
            assert rise == pytest.approx(values["pump_design_rise"], rel=0.01)
