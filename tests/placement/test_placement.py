"""A placement from receipt to return: order, what may not be started, figures, and the call it turns into."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from diagnose.__main__ import main
from diagnose.advise import advise
from diagnose.case import Machine
from diagnose.case_check import case_problems, read_case_file
from diagnose.placement.amounts import figures
from diagnose.placement.call import call_of
from diagnose.placement.command import with_done
from diagnose.placement.plan import StepState, facts_of, outlook
from diagnose.placement.record import Done, Placement, PlacementError, Taken, placement_of, read_placement
from diagnose.placement.text import next_text, report_text, step_lines
from knowledge.load import Knowledge, load_knowledge

EVERYTHING = ("electrical", "refrigerant", "height")
MACHINE = Machine(
    name="T-7 Curlew (invented)", refrigerant="R-410A", voltage="460 V", frequency="60 Hz", fluid="propylene-glycol",
    glycol_percent="30 %", capacity="140 kW", design_flow="96 gpm", design_drop="6.5 psi", set_point="44 F", pump_in_use="onboard",
)  # fmt: skip


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def opened(**more: object) -> Placement:
    return Placement.model_validate(
        {"name": "north lot (invented)", "machine": MACHINE, "qualified": EVERYTHING, **more}
    )


def walk(placement: Placement, base: Knowledge, until: str) -> Placement:
    """Do whatever comes next until the step before ``until``."""
    for _ in range(200):
        ready = [s.card.id for s in outlook(placement, base).next if not s.card.again and s.last is None]
        if until in ready or not ready:
            return placement
        placement = with_done(placement, Done(step=ready[0]), base)
    raise AssertionError("it never ends")


def test_the_whole_order_can_be_walked_to_the_return(base: Knowledge) -> None:
    placement = walk(opened(), base, "")
    states = {s.card.id: s.state for s in outlook(placement, base).steps}
    assert all(
        state == "done" for name, state in states.items() if base.steps[name].stage in ("receive", "set", "return")
    )
    # what the return took back would have to be done again before anything turns
    assert {"fluid-drains-shut", "fluid-fill", "supply-power-on", "start-pump"} <= {
        n for n, s in states.items() if s != "done"
    }
    assert facts_of(placement, base)["loop"] == "drained"


@pytest.mark.parametrize("seed", range(25))
def test_no_order_of_doing_things_starts_what_was_not_made_ready(base: Knowledge, seed: int) -> None:
    """Random tries at any step: cooling never runs on an unproved flow, power never comes onto an empty loop, and so on."""
    rng, placement = random.Random(seed), opened()
    names = [s.card.id for s in outlook(placement, base).steps]
    for _ in range(160):
        before = facts_of(placement, base)
        step = base.steps[rng.choice(names)]
        outcome = rng.choice(["done", "done", "done", "left", "not-right"])
        try:
            placement = with_done(placement, Done(step=step.id, outcome=outcome, note="tried"), base)
        except PlacementError:
            continue
        after = facts_of(placement, base)
        if outcome == "done":
            assert all(before[fact] in words for fact, words in step.requires.items())
        if after["power"] == "on" and before["power"] == "off":
            assert before["loop"] == "filled"
        if after["cooling"] == "running" and before["cooling"] == "off":
            assert (before["flow"], before["sump"], before["loop"]) == ("proved", "warm", "filled")


def test_a_drained_machine_is_filled_before_anything_turns(base: Knowledge) -> None:
    placement = walk(opened(), base, "fluid-fill")
    for name in ("supply-power-on", "start-pump", "start-cooling"):
        with pytest.raises(PlacementError) as refused:
            with_done(placement, Done(step=name), base)
        assert "has to wait" in refused.value.line()
    # and again after the return
    back = walk(opened(), base, "")
    with pytest.raises(PlacementError):
        with_done(back, Done(step="start-pump"), base)
    assert outlook(back, base).of("fluid-fill").state in ("next", "waits")  # type: ignore[union-attr]


def test_leaving_out_a_step_that_counts_needs_a_reason_and_sets_nothing(base: Knowledge) -> None:
    placement = walk(opened(), base, "fluid-fill")
    with pytest.raises(PlacementError) as refused:
        with_done(placement, Done(step="fluid-fill", outcome="left"), base)
    assert "needs a reason" in refused.value.line()
    left = with_done(placement, Done(step="fluid-fill", outcome="left", note="site fills tonight"), base)
    assert facts_of(left, base)["loop"] == "drained"
    assert outlook(left, base).of("supply-power-on").state == "waits"  # type: ignore[union-attr]


def test_live_and_refrigerant_steps_are_for_the_qualified(base: Knowledge) -> None:
    plain = opened(qualified=())
    for step in base.steps.values():
        if step.needs_qualified:
            with pytest.raises(PlacementError):
                with_done(plain, Done(step=step.id), base)
    text = next_text(walk(opened(qualified=("electrical",)), base, "delivery-standing-pressure"), base)
    assert "For somebody qualified: refrigerant" in text
    for step in base.steps.values():  # nor is it shown how it is done
        shown = "\n".join(step_lines(StepState(step, "next"), plain))
        assert (" ".join(step.do.split())[:30] in " ".join(shown.split())) is not bool(step.needs_qualified)


def test_steps_of_another_kind_of_machine_are_not_there(base: Knowledge) -> None:
    water = opened(machine=MACHINE.model_copy(update={"fluid": "water", "glycol_percent": "", "pump_in_use": "site"}))
    names = {s.card.id for s in outlook(water, base).steps}
    assert "fluid-valves-site" in names and not {"fluid-glycol", "fluid-valves-onboard"} & names


def test_figures_are_worked_out_from_machine_site_and_readings(base: Knowledge) -> None:
    """Glycol by mass balance: 500 gal at 30 to 40 %: 500 x 10/60 = 83.3 gal on top; pull-down by the energy balance."""
    placement = opened(site={"loop_volume": "500 gal", "wanted_glycol": "40 %"})
    first, freezes = figures(base.steps["fluid-glycol"], placement)
    assert any("83.33 gal" in line for line in first.lines)
    assert any("freeze point" in line for line in freezes.lines)
    (lacking,) = figures(base.steps["fluid-hoses"], placement)
    assert lacking.lacks == ("inside diameter of the hoses",)
    warm = Done(
        step="start-pull-down", readings=(Taken(quantity="leaving_fluid", value="80 F"),), site={"heat_load": "0 kW"}
    )
    (time,) = figures(base.steps["start-pull-down"], placement.model_copy(update={"entries": (warm,)}))
    # 500 gal, 30 % propylene glycol: 1.9 m3 x 1022 kg/m3 x 3.85 kJ/(kg K) x 20 K over 140 kW, about 18 min
    minutes = float(next(line for line in time.lines if line.startswith("time")).split()[1])
    assert minutes == pytest.approx(17.8, abs=0.6)


def test_every_drain_of_this_machine_is_listed_where_it_is_shut_opened_and_blown_out(base: Knowledge) -> None:
    points = "pump casing plug; strainer ;plate outlet;"
    with_list = opened(machine=MACHINE.model_copy(update={"low_points": points}))
    for name in ("fluid-drains-shut", "back-drain", "back-blow"):
        assert figures(base.steps[name], with_list)[0].lines == ("pump casing plug", "strainer", "plate outlet")
        shown = " ".join("\n".join(step_lines(StepState(base.steps[name], "next"), with_list)).split())
        assert "low points of this machine (3): pump casing plug; strainer; plate outlet" in shown
        assert "machine card" in figures(base.steps[name], opened())[0].lacks[0]


def test_not_right_turns_into_a_call_with_everything_known(base: Knowledge) -> None:
    placement = walk(opened(context=("generator",)), base, "start-flow-curve")
    readings = (Taken(quantity="evaporator_drop", value="0.3 psi"),)
    wrong = Done(step="start-flow-curve", outcome="not-right", note="hardly any drop", readings=readings, by="Ann")
    placement = with_done(placement, wrong, base)
    case = call_of(placement, "start-flow-curve", base)
    assert case_problems(case, base) == []
    assert case.complaint == "no-flow"
    assert {"first-start", "generator"} <= set(case.context)
    reading = next(e for e in case.entries if e.quantity == "evaporator_drop")
    assert (reading.value, reading.state, reading.by) == ("0.3 psi", "pump-only", "Ann")
    advice = advise(case, base)
    assert advice.suspects and not any("failed" in doubt for doubt in advice.doubts)
    # it holds up what comes after, until it is done
    assert outlook(placement, base).of("start-cooling").state == "waits"  # type: ignore[union-attr]
    mended = with_done(placement, Done(step="start-flow-curve"), base)
    assert outlook(mended, base).of("start-flow-curve").state == "done"  # type: ignore[union-attr]


def test_every_step_that_opens_a_call_gives_a_sound_case(base: Knowledge) -> None:
    for step in base.steps.values():
        if step.not_right:
            assert case_problems(call_of(opened(), step.id, base), base) == []


def test_the_waiting_time_is_told(base: Knowledge) -> None:
    placement = walk(opened(), base, "start-cooling")
    started = with_done(placement, Done(step="start-cooling", at="2026-06-01T10:00:00+00:00"), base)
    seen = outlook(started, base).of("start-cooling")
    assert seen is not None and seen.until is not None and seen.until.isoformat() == "2026-06-01T10:06:00+00:00"


@pytest.mark.parametrize(
    "spoilt",
    [
        "[]", "{}x", '{"entries": [{"step": "x", "outcome": "maybe"}]}', '{"site": {"loop_volume": "red"}}',
        '{"site": {"colour": "red"}}', '{"unknown": 1}', '{"machine": {"circuits": "many"}}',
        '{"entries": [{"step": "place-air", "at": "yesterday"}]}',
        '{"entries": [{"step": "place-air", "readings": [{"quantity": "colour", "value": "red"}]}]}',
        '{"entries": [{"step": "place-air", "readings": [{"quantity": "flow", "value": "much"}]}]}',
    ],
)  # fmt: skip
def test_a_spoilt_file_is_told_in_lines(spoilt: str, tmp_path: Path) -> None:
    path = tmp_path / "p.json"
    path.write_text(spoilt, encoding="utf-8")
    with pytest.raises(PlacementError) as told:
        read_placement(path)
    assert "Traceback" not in told.value.line() and told.value.line()


def test_a_placement_survives_its_file(base: Knowledge) -> None:
    placement = walk(opened(), base, "start-pump")
    assert placement_of(json.loads(placement.model_dump_json())) == placement


def test_the_command_leads_from_opening_to_a_call(
    tmp_path: Path, base: Knowledge, capsys: pytest.CaptureFixture[str]
) -> None:
    machine = tmp_path / "machine.json"
    machine.write_text(
        json.dumps({"complaint": "no-flow", "machine": MACHINE.model_dump(mode="json", exclude_defaults=True)})
    )
    file, call = tmp_path / "p.json", tmp_path / "call.json"
    assert main(["placement", "open", str(file), "--machine", str(machine), "--qualified", *EVERYTHING]) == 0
    assert "Photograph the nameplate" in capsys.readouterr().out
    assert main(["placement", "done", str(file), "start-pump"]) == 2
    assert "has to wait" in capsys.readouterr().err
    assert (
        main(["placement", "done", str(file), "place-air", "--outcome", "not-right", "--note", "wall at one metre"])
        == 0
    )
    assert main(["placement", "call", str(file), "place-air", "-o", str(call)]) == 0
    assert read_case_file(call).complaint == "high-head"
    assert main(["placement", "open", str(file)]) == 2
    capsys.readouterr()
    assert main(["placement", "show", str(file), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["facts"]["loop"] == "unknown"
    assert main(["placement", "report", str(file)]) == 0
    assert "wall at one metre" in capsys.readouterr().out
    assert "Not done:" in report_text(read_placement(file), base)
