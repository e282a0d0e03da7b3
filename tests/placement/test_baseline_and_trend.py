"""Baseline, rounds and early words: what is kept, what is refused, what a drift says, and the numbers behind it."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from scipy.stats import theilslopes

from diagnose.__main__ import main
from diagnose.case import Machine
from diagnose.case_check import case_problems
from diagnose.placement.ahead import Course, days_ahead
from diagnose.placement.baseline import baseline_of, with_baseline
from diagnose.placement.call import call_of
from diagnose.placement.command import with_done
from diagnose.placement.plan import outlook
from diagnose.placement.record import (
    Done,
    Placement,
    PlacementError,
    Taken,
    entry_problems,
    read_placement,
    write_placement,
)
from diagnose.placement.sequential import LEAST_FOR_SCATTER, cumulative, limit_for, robust_line, run_length, scatter
from diagnose.placement.trend import Trends, trend_of
from diagnose.placement.trend_data import trends_data
from diagnose.placement.trend_text import drift_lines, trend_picture, trends_text
from diagnose.plant.conditions import Conditions
from diagnose.plant.faults import Fault, apply_faults
from diagnose.plant.parameters import Plant
from diagnose.plant.scatter import scattered
from diagnose.plant.simulate import simulate_health
from diagnose.plant.sizing import plant_of
from knowledge.load import Knowledge, RawCards, load_knowledge
from knowledge.watches import FIGURES, watch_problems
from shared.errors import ChillerError
from shared.quantities import QUANTITIES
from shared.units import to_unit

MACHINE = Machine(
    name="T-7 Curlew (invented)", refrigerant="R-410A", capacity="210 kW", voltage="460 V", frequency="60 Hz", fluid="water",
    circuits=2, compressors=4, design_flow="145 gpm", design_drop="7 psi", expansion="thermostatic", pump_in_use="onboard",
)  # fmt: skip
UNITS = {
    "entering_fluid": "degF", "leaving_fluid": "degF", "evaporator_drop": "psi", "strainer_drop": "psi", "entering_air": "degF",
    "suction_pressure": "psig", "liquid_pressure": "psig", "suction_line": "degF", "liquid_line": "degF", "line_current": "A",
}  # fmt: skip


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


@cache
def plant() -> Plant:
    """A machine that is not quite as its card says."""
    return scattered(plant_of(MACHINE), 5)


@cache
def read(fault: Fault | None = None, air_k: float = 303.15) -> tuple[Taken, ...]:
    """What it shows, read without any scatter."""
    conditions = Conditions(air_k=air_k, entering_k=285.4, stages=4)
    shot = simulate_health(plant(), conditions, apply_faults(plant(), [fault] if fault else []))
    rows = []
    for (quantity, place), one in shot.readings["cooling"].items():
        if quantity in UNITS and place not in ("supply", "pump:site"):
            true = one.true if isinstance(one.true, float) else sum(one.true) / 3.0
            value = to_unit(true, QUANTITIES[quantity].kind, UNITS[quantity])
            rows.append(
                Taken(quantity=quantity, place="" if place == "unit" else place, value=f"{value:.2f} {UNITS[quantity]}")
            )
    return tuple(rows)


def moment(day: float) -> str:
    return f"2026-06-{1 + int(day):02d}T{round(24 * (day % 1.0)):02d}:00"


def base_entry(*faults: Fault) -> Done:
    rows = read(faults[0] if faults else None)
    again = tuple(
        r.model_copy(update={"at": "2026-05-31T23:54"})
        for r in rows
        if r.quantity in ("entering_fluid", "leaving_fluid")
    )
    return Done(step="base-steady", at=moment(0.0), readings=(*again, *rows))


def stay(*severities: float, cause: str = "strainer-clogged", place: str = "", machine: Machine = MACHINE) -> Placement:
    """Baseline and a round every quarter of a day, the fault as told, air that swings."""
    rounds = []
    for n, s in enumerate(severities, 1):
        air = 303.15 + 5.0 * math.sin(n % 5)
        rounds.append(
            Done(
                step="stay-round",
                at=moment(n / 4.0),
                readings=read(Fault(cause, s, place) if s else None, air),
            )
        )
    return Placement(machine=machine, qualified=("electrical", "refrigerant"), entries=(base_entry(), *rounds))


def before_the_baseline(base: Knowledge) -> Placement:
    """Everything done that comes before the baseline."""
    placement = Placement(machine=MACHINE, qualified=("electrical", "refrigerant", "height"))
    while True:
        ready = [s.card.id for s in outlook(placement, base).next if s.last is None and not s.card.again]
        if "base-steady" in ready:
            return placement
        placement = with_done(placement, Done(step=ready[0]), base)


def words(trends: Trends) -> set[tuple[str, str]]:
    return {(w.card.id, w.place) for w in trends.words}


# the numbers ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("limit", "table"), [(4.0, 168.0), (5.0, 465.0)])
def test_run_lengths_are_those_of_the_tables(limit: float, table: float) -> None:
    """Mean run lengths of a two-sided cumulative sum with reference 0.5: D. C. Montgomery, Introduction to Statistical Quality
    Control, table of the tabular cusum, 168 and 465 (from memory); a one-sided one takes twice as long.
    """
    assert run_length(-0.5, limit) == pytest.approx(2.0 * table, rel=0.02)


@pytest.mark.parametrize("drift", [-0.5, -1.0, -2.0])
def test_the_limit_keeps_the_run_length_it_promises(drift: float) -> None:
    """Simulated sums at a short run length, so that few draws do; it keeps the promise; for small limits it is longer."""
    limit, rng, total = limit_for(drift, 200.0), random.Random(7), 0
    for _ in range(400):
        s = 0.0
        while s <= limit:
            s = max(0.0, s + rng.gauss(drift, 1.0))
            total += 1
    assert 0.9 * 200.0 < total / 400 < 1.6 * 200.0


def test_the_line_is_that_of_a_general_library() -> None:
    rng = random.Random(3)
    times = [0.2 * n + 0.05 * rng.random() for n in range(17)]
    values = [1.0 + 0.7 * t + rng.gauss(0.0, 0.3) for t in times]
    values[9] = 40.0
    line = robust_line(times, values)
    outside = theilslopes(values, times, alpha=0.90)
    assert line is not None and line.slope == pytest.approx(outside.slope)
    assert line.low <= line.slope <= line.high
    assert line.low == pytest.approx(outside.low_slope, abs=0.05)
    assert line.high == pytest.approx(outside.high_slope, abs=0.05)
    assert robust_line([0.0, 1.0], [0.0, 1.0]) is None


def test_scatter_sees_no_drift_and_no_single_wild_value() -> None:
    rng = random.Random(2)
    values = [0.3 * n + rng.gauss(0.0, 1.0) for n in range(200)]
    assert scatter(values) == pytest.approx(1.0, rel=0.2)
    values[50] = 1000.0
    assert scatter(values) == pytest.approx(1.0, rel=0.2)
    assert scatter(values[: LEAST_FOR_SCATTER - 1]) == 0.0


@pytest.mark.parametrize("seed", range(20))
def test_no_single_value_gives_a_word(seed: int) -> None:
    rng = random.Random(seed)
    values = [rng.gauss(0.0, 0.5) for _ in range(30)]
    values[rng.randrange(30)] = rng.choice((50.0, 1e6))
    assert not any(s.word for s in cumulative(values, 0.5, 0.5, 1.5, 20000))
    steps = cumulative([*values, 4.0, 4.0, 4.0], 0.5, 0.5, 1.5, 20000)
    assert steps[-1].word  # while a real shift is seen within three


def test_days_follow_the_severity_and_not_the_figure() -> None:
    """A figure that rises with the square of a fault that grows evenly: the trip is where the fault gets there."""
    course = Course(tuple(n / 10 for n in range(11)), tuple((n / 10) ** 2 for n in range(11)), 0.9, "flow")
    times = [0.5 * n for n in range(1, 9)]
    severities = [0.1 * t for t in times]
    days, _ = days_ahead(times, [course.drift(s) for s in severities], course, ())
    assert days is not None and days.likely == pytest.approx(5.0, abs=0.05) and days.until == "it trips: flow"
    assert days.early <= days.likely and days.late is not None and days.late >= days.likely  # type: ignore[operator]
    due, _ = days_ahead(times, [0.1 * t for t in times], None, [(0.2, "work is due")])
    assert due is not None and due.likely == 0.0
    assert days_ahead(times, [-t for t in times], None, [(0.2, "work is due")])[0] is None


# baseline -------------------------------------------------------------------------------------------------------------


def test_a_steady_healthy_machine_gives_a_baseline(base: Knowledge) -> None:
    placement, made = with_baseline(Placement(machine=MACHINE), base_entry(), base)
    assert made.state == "kept" and made.shown_steady and not made.reasons
    assert placement.entries[-1].outcome == "done"
    assert {k[0] for k in made.round.figures} == set(FIGURES)
    found = baseline_of(placement, base)
    assert found is not None and found.state == "kept"


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (Fault("strainer-clogged", 0.7), "strainer loss factor"),
        (Fault("coil-dirty", 0.7, "circuit:B"), "circuit B"),
        (Fault("refrigerant-leak", 0.4, "circuit:A"), "subcooling"),
    ],
    ids=lambda v: getattr(v, "cause", ""),
)
def test_a_faulty_machine_gives_none_and_nothing_is_lost(base: Knowledge, fault: Fault, said: str) -> None:
    done = base_entry(fault)
    placement, made = with_baseline(Placement(machine=MACHINE), done, base)
    assert made.state == "refused" and said in " ".join(made.reasons)
    kept = placement.entries[-1]
    assert kept.outcome == "not-right" and kept.readings == done.readings and "No baseline" in kept.note
    assert baseline_of(placement, base) is None
    assert trend_of(placement, base).lacks


def test_steadiness_has_to_be_shown_and_a_moving_machine_is_refused(base: Knowledge) -> None:
    done = base_entry()
    once = done.model_copy(update={"readings": tuple(r for r in done.readings if not r.at)})
    _, made = with_baseline(Placement(machine=MACHINE), once, base)
    assert made.state == "marked" and not made.shown_steady and "a second time" in made.reasons[0]
    warm = Taken(quantity="leaving_fluid", value="52 degF", at="2026-05-31T23:54")
    moving = done.model_copy(
        update={"readings": (warm, *(r for r in done.readings if r.quantity != "leaving_fluid" or not r.at))}
    )
    _, made = with_baseline(Placement(machine=MACHINE), moving, base)
    assert made.state == "refused" and "not steady" in made.reasons[0]
    with pytest.raises(ChillerError):
        with_baseline(Placement(machine=MACHINE), done.model_copy(update={"at": ""}), base)
    with pytest.raises(ChillerError):
        with_baseline(Placement(machine=MACHINE), Done(step="base-steady", at=moment(0.0)), base)
    wrong = done.model_copy(update={"readings": (Taken(quantity="leaving_fluid", value="44 F", at="noon"),)})
    assert "noon" in entry_problems(wrong)[0]


def test_the_return_takes_the_baseline_back(base: Knowledge) -> None:
    placement, _ = with_baseline(Placement(machine=MACHINE), base_entry(), base)
    drained = placement.model_copy(update={"entries": (*placement.entries, Done(step="back-drain", at=moment(1.0)))})
    assert baseline_of(drained, base) is None


# rounds ---------------------------------------------------------------------------------------------------------------

QUIET = (0.0,) * 10
CLOGGING = tuple(0.06 * n for n in range(1, 13))


@pytest.fixture(scope="module")
def clogging(base: Knowledge) -> Iterator[tuple[Placement, Trends]]:
    placement = stay(*CLOGGING)
    yield placement, trend_of(placement, base)


def test_a_machine_that_stays_as_it_is_gives_no_word(base: Knowledge) -> None:
    """Its parts are not those of its card and the air swings by ten kelvin."""
    trends = trend_of(stay(*QUIET), base)
    assert not trends.words and len(trends.rounds) == 10
    assert all(w.level == "quiet" for w in trends.watches)
    assert max(abs(w.drift) / (w.card.size("allowance") or 1.0) for w in trends.watches) < 1.0


def test_a_strainer_that_clogs_is_told_with_its_days(clogging: tuple[Placement, Trends], base: Knowledge) -> None:
    _, trends = clogging
    one = next(w for w in trends.words if w.card.id == "strainer-loading")
    assert one.days is not None and one.days.until == "it trips: flow"
    # it grows by 0.06 a round of six hours from 0.72 on; the simulated machine of the card gives the trip
    assert one.days.likely is not None and 0.3 < one.days.likely < 1.4
    text = " ".join(trends_text(trends, base).split())
    assert "Strainer loading up" in text and "technician who may lock it out" in text and "days until it trips" in text
    picture = trend_picture(one)
    assert picture is not None and "against the baseline" in picture.words and "<svg" in picture.svg()
    assert {"worth a word", "due"} == {name for name, _ in picture.limits}


def test_what_was_said_before_is_not_changed_by_later_rounds(
    clogging: tuple[Placement, Trends], base: Knowledge
) -> None:
    placement, whole = clogging
    for count in (4, 8, 11):
        part = trend_of(placement.model_copy(update={"entries": placement.entries[: count + 1]}), base, ahead=False)
        for one in part.watches:
            same = next(w for w in whole.watches if w.key == one.key and w.card.id == one.card.id)
            assert [p.step for p in one.points] == [p.step for p in same.points[: len(one.points)]]


@pytest.mark.parametrize(
    ("cause", "place", "watch"),
    [("coil-dirty", "circuit:B", "coil-fouling"), ("refrigerant-leak", "circuit:A", "charge-loss")],
)
def test_the_word_names_the_fault_and_its_circuit(base: Knowledge, cause: str, place: str, watch: str) -> None:
    trends = trend_of(stay(*(0.055 * n for n in range(1, 12)), cause=cause, place=place), base)
    assert (watch, place) in words(trends)
    circuit = place.partition(":")[2]
    assert all(p == "unit" or circuit in p for _, p in words(trends))
    assert next(w for w in trends.words if w.place == place and w.card.id == watch).days is not None


def test_a_refrigerant_look_is_for_the_qualified(base: Knowledge) -> None:
    trends = trend_of(stay(*(0.055 * n for n in range(1, 8)), cause="refrigerant-leak", place="circuit:A"), base)
    assert "for somebody qualified: refrigerant" in trends_text(trends, base)
    assert "for somebody qualified" not in trends_text(trends, base, ("refrigerant", "electrical"))


def test_pump_bearing_and_a_poor_card(base: Knowledge) -> None:
    """Without capacity and flow nothing can be expected: what hangs on the fluid alone is followed all the same, and it is said."""
    poor = MACHINE.model_copy(update={"capacity": "", "design_flow": ""})
    trends = trend_of(stay(*(0.06 * n for n in range(1, 9)), cause="pump-bearing-failing", machine=poor), base)
    assert words(trends) == {("pump-bearing", "pump:onboard")}
    assert {w.card.figure for w in trends.watches} == {"strainer_resistance", "flow_by_drop", "pump_current"}
    assert any("nothing can be expected without" in one for one in trends.lacks)
    rich = trend_of(stay(*(0.06 * n for n in range(1, 9)), cause="pump-bearing-failing"), base)
    assert words(rich) == {("pump-bearing", "pump:onboard")}
    assert rich.words[0].days is not None and rich.words[0].days.until == "it trips: motor overload"


def test_rounds_may_be_missing_poor_or_without_a_moment(base: Knowledge) -> None:
    placement = stay(*CLOGGING)
    some = [placement.entries[0], *placement.entries[4:]]
    some[1] = some[1].model_copy(update={"readings": some[1].readings[:2]})
    some[2] = some[2].model_copy(update={"at": ""})
    some[3] = some[3].model_copy(
        update={"readings": (Taken(quantity="suction_pressure", place="Q", value="118 psig"),)}
    )
    trends = trend_of(placement.model_copy(update={"entries": tuple(some)}), base, ahead=False)
    assert trends.skipped == 1 and len(trends.rounds) == len(some) - 2
    assert ("strainer-loading", "unit") in words(trends)
    assert any("no such circuit" in one for one in trends.lacks)


def test_part_load_is_compared_only_where_it_is_told_what_ran(base: Knowledge) -> None:
    placement = stay(0.0, 0.0)
    unsure = [
        e.model_copy(
            update={
                "readings": (
                    *(r for r in e.readings if r.quantity != "line_current"),
                    Taken(quantity="machine_load", value="50 %"),
                )
            }
        )
        for e in placement.entries[1:]
    ]
    trends = trend_of(placement.model_copy(update={"entries": (placement.entries[0], *unsure)}), base, ahead=False)
    compared = {w.card.figure for w in trends.watches if w.points}
    assert compared == {"strainer_resistance", "flow_by_drop"}
    assert any("which compressors ran" in one for one in trends.lacks)


# the call, the command, the cards ---------------------------------------------------------------------------------------


def test_a_call_knows_the_baseline_and_the_drift(clogging: tuple[Placement, Trends], base: Knowledge) -> None:
    placement, trends = clogging
    case = call_of(placement, "stay-round", base)
    assert not case_problems(case, base)
    assert case.machine.strainer_clean_drop and case.machine.strainer_clean_flow
    assert set(case.machine.card) == {"condenser_split", "subcooling"}
    note = case.entries[-1].note
    assert "Strainer loading up" in note and drift_lines(trends)[0] in note
    own = MACHINE.model_copy(update={"strainer_clean_drop": "3 psi", "card": {"subcooling": "12 delta_degF"}})
    kept = call_of(placement.model_copy(update={"machine": own}), "stay-round", base).machine
    assert kept.strainer_clean_drop == "3 psi" and kept.card["subcooling"] == "12 delta_degF"
    bare = call_of(Placement(machine=MACHINE), "stay-round", base)
    assert bare.machine == MACHINE and len(bare.entries) == 1


def test_a_long_stay_still_opens_a_call(clogging: tuple[Placement, Trends], base: Knowledge) -> None:
    placement, _ = clogging
    long = placement.model_copy(update={"entries": (placement.entries[0], *placement.entries[1:4] * 40)})
    assert len(call_of(long, "stay-round", base).entries) < 200


def test_the_verbs_of_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str], base: Knowledge) -> None:
    file = tmp_path / "p.json"
    write_placement(file, before_the_baseline(base))

    def arguments(done: Done) -> list[str]:
        return [f"{r.quantity}{'@' + r.place if r.place else ''}={r.value}" for r in done.readings if not r.at]

    placement = stay(*CLOGGING[3:9])
    first = placement.entries[0]
    assert main(["placement", "baseline", str(file)]) == 0
    assert "No baseline." in capsys.readouterr().out
    earlier = ["--earlier", "6", *(a for a in arguments(first) if a.startswith(("entering_fluid", "leaving_fluid")))]
    assert main(["placement", "baseline", str(file), "--at", first.at, "--read", *arguments(first), *earlier]) == 0
    assert "kept" in capsys.readouterr().out
    assert main(["placement", "done", str(file), "base-hand-over"]) == 0
    for done in placement.entries[1:]:
        assert main(["placement", "round", str(file), "--at", done.at, "--read", *arguments(done)]) == 0
    assert "Strainer loading up" in capsys.readouterr().out
    assert main(["placement", "trend", str(file), "--svg", str(tmp_path)]) == 0
    capsys.readouterr()
    assert len(list(tmp_path.glob("drift-*.svg"))) >= 9
    assert main(["placement", "trend", str(file), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert main(["placement", "report", str(file)]) == 0
    assert "Strainer loading up" in capsys.readouterr().out
    assert told == trends_data(trend_of(read_placement(file), base))
    assert told["baseline"]["state"] == "kept" and any(w["level"] == "word" for w in told["watches"])
    before = file.read_bytes()
    assert main(["placement", "round", str(file), "--read", "leaving_fluid=44 psig"]) == 2
    assert (
        main(
            [
                "placement",
                "baseline",
                str(file),
                "--read",
                "leaving_fluid=44F",
                "--earlier",
                "soon",
                "leaving_fluid=44F",
            ]
        )
        == 2
    )
    assert main(["placement", "trend", str(file), "--svg", str(tmp_path / "none")]) == 2
    assert file.read_bytes() == before


def test_a_round_waits_for_a_machine_that_cools(base: Knowledge, tmp_path: Path) -> None:
    file = tmp_path / "p.json"
    write_placement(file, Placement(machine=MACHINE))
    with pytest.raises(PlacementError):
        with_done(read_placement(file), Done(step="stay-round", at=moment(0.0)), base)
    assert main(["placement", "round", str(file), "--read", "leaving_fluid=44F"]) == 2


def test_the_watch_cards_hold_together_and_bad_ones_are_told(base: Knowledge) -> None:
    kinds = ("watches", "causes", "checks", "sources")
    raw = RawCards({k: dict(getattr(base, k)) for k in kinds}, None, {}, {}, [])
    assert not watch_problems(raw)
    good = base.watches["coil-fouling"]
    for changes, key in (
        ({"noise": "a lot"}, "noise"),
        ({"allowance": "20 %"}, "reference"),
        ({"fault": "coil-lost"}, "fault"),
        ({"check": "look-hard"}, "check"),
        ({"fault": ""}, "act_at"),
        ({"act_at": "10 %"}, "act_at"),
        ({"when": {"expansion": ("wide",)}}, "when"),
        ({"goes_with": ("coil-fouling",)}, "goes_with"),
        ({"sources": ("hearsay",)}, "sources"),
    ):
        raw.cards["watches"]["coil-fouling"] = good.model_copy(update=changes)
        found = [f"{p.key} {p.text}" for p in watch_problems(raw)]
        assert any(f"coil-fouling.{key}" in one for one in found), (changes, found)


def test_every_watched_drift_has_its_limits_well_apart(base: Knowledge) -> None:
    """A healthy machine that sits at its whole allowance gives a false word once in more than a thousand days of rounds."""
    for card in base.watches.values():
        noise, allowance, reference = (card.size(k) for k in ("noise", "allowance", "reference"))
        assert noise and allowance and reference
        limit = limit_for((allowance - reference) / noise, card.in_control_rounds)
        assert run_length((allowance - reference) / noise, limit) >= 0.999 * card.in_control_rounds > 6 * 1000


def test_the_method_tells_the_watch_cards(base: Knowledge) -> None:
    text = (
        (Path(__file__).parents[2] / "diagnose" / "METHOD.md")
        .read_text(encoding="utf-8")
        .split("<!-- table: watches -->")[1]
    )
    rows = [
        [c.strip() for c in line.strip("|\n ").split("|")] for line in text.split("\n\n")[0].strip().splitlines()[2:]
    ]
    assert rows == [
        [
            w.title, f"{w.figure.replace('_', ' ')}, {w.way}", w.noise, w.allowance, w.reference, w.fault or "-",
            w.act_at or w.act_left or "-",
        ]
        for w in base.watches.values()
    ]  # fmt: skip
