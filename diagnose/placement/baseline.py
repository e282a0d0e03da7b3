"""The baseline of a placement: what this machine shows here when it is well, with its conditions, and whether it may be taken for that.

It is kept once the machine is steady by the steady gate. Its readings are then given to the same reasoning that a trouble call
gets: a machine that already has a fault makes no baseline, and one that is in doubt makes a marked one. Pure: what is said of a
baseline follows from its entry and the cards.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from diagnose.advice import Advice, Derived
from diagnose.advise import advise
from diagnose.calculators.steady import STAGES_UNCHANGED_S, WINDOW_S, last_window, steady_gate
from diagnose.machine import MachineData, read_machine
from diagnose.placement.plan import facts_of
from diagnose.placement.record import Done, Placement
from diagnose.placement.rounds import BASELINE, Round, entry_case, moment_of, round_of
from diagnose.places import spell
from diagnose.wording import likelihood_word
from knowledge.load import Knowledge
from shared.errors import ChillerError
from shared.quantities import QUANTITIES, Kind
from shared.units import parse_reading

BLOCKS, MARKS = 0.5, 0.3  # chance of a fault from which a baseline is refused, and from which it is marked
WATCHED = ("entering_fluid", "leaving_fluid")  # what has to be read twice for the steady gate
MOST_KEPT = 64
UNHEALTHY = ("one-cause", "two-causes", "inseparable")
# quantities that tell of the machine and not of the day; an unhealthy word of one of them makes no baseline
SIGNS = (
    "strainer_ratio", "evaporator_drop_ratio", "superheat_of_expected", "superheat", "subcooling_of_expected", "subcooling",
    "approach_of_expected", "approach", "split_of_expected", "condenser_split", "fluid_split_of_expected",
    "compressor_current_of_expected", "compressor_current_unbalance", "pump_current_ratio", "pump_current_unbalance",
)  # fmt: skip

State = Literal["kept", "marked", "refused"]


@dataclass(frozen=True)
class Baseline:
    """state: kept, marked (to be used with the doubts told) or refused. reasons: why not simply kept, one sentence each.

    shown_steady: by readings and not only by what was said. suspects: (title, chance) of what the reasoning fears. moving: refused
    because it was not steady, so nothing is said of the machine.
    """

    state: State
    reasons: tuple[str, ...]
    round: Round
    shown_steady: bool
    suspects: tuple[tuple[str, float], ...] = ()
    moving: bool = False

    @property
    def usable(self) -> bool:
        """Whether rounds are compared with it."""
        return self.state != "refused"


def baseline_of(placement: Placement, knowledge: Knowledge) -> Baseline | None:
    """The baseline that holds now; None where none was taken, it was taken back, or its entry has no moment or readings."""
    if facts_of(placement, knowledge)["baseline"] != "taken":
        return None
    numbers = [n for n, e in enumerate(placement.entries) if e.step == BASELINE and e.outcome == "done"]
    return judged(placement, numbers[-1], knowledge) if numbers else None


def judged(placement: Placement, number: int, knowledge: Knowledge) -> Baseline | None:
    """What is to be thought of the baseline of an entry; None without a moment or readings."""
    done = placement.entries[number]
    made = round_of(placement, number, knowledge) if done.readings else None
    if made is None:
        return None
    if not made.figures:
        return Baseline("refused", made.why or ("nothing that is followed was read",), made, False)
    unsteady, shown = _unsteady(done, read_machine(placement.machine))
    if unsteady:
        return Baseline("refused", tuple(f"not steady: {one}" for one in unsteady), made, shown, moving=True)
    advice = _advice(placement, done, knowledge)
    state, reasons, suspects = _challenged(advice, made, knowledge)
    if not shown:
        reasons.append("steady as said, not shown: read fluid in and out a second time, 3 to 10 minutes apart")
        state = "marked" if state == "kept" else state
    return Baseline(state, tuple(reasons), made, shown, suspects)


def with_baseline(placement: Placement, done: Done, knowledge: Knowledge) -> tuple[Placement, Baseline]:
    """The placement with the baseline of an entry: done where it may be kept, "not-right" with its reason where it is refused,
    so that nothing that was read is lost. Raises ChillerError where the entry cannot be a baseline at all.
    """
    if moment_of(done.at) is None:
        raise ChillerError("baseline without a moment", given=done.at, allowed="2026-06-01T10:00", do="say when")
    if not done.readings:
        raise ChillerError("baseline without readings", do="read fluid in and out, drops, air, and each circuit")
    tried = placement.model_copy(update={"entries": (*placement.entries, done)})
    made = judged(tried, len(tried.entries) - 1, knowledge)
    if made is None:
        raise ChillerError("baseline without a moment", given=done.at, allowed="2026-06-01T10:00", do="say when")
    if made.usable:
        return tried, made
    note = " ".join(part for part in (done.note, f"No baseline: {'; '.join(made.reasons)}.") if part)
    kept = done.model_copy(update={"outcome": "not-right", "note": note})
    return placement.model_copy(update={"entries": (*placement.entries, kept)}), made


def _series(done: Done, machine: MachineData) -> Iterator[tuple[str, Kind, list[float], list[float]]]:
    """What was read more than once: (name, kind, seconds, values)."""
    found: dict[tuple[str, str], list[tuple[float, float]]] = {}
    end = moment_of(done.at)
    for one in done.readings:
        at = moment_of(one.at or done.at)
        if at is None or end is None:
            continue
        values = [p.value for p in parse_reading(one.quantity, one.value, atmosphere_pa=machine.atmosphere_pa)]
        found.setdefault((one.quantity, one.place), []).append(((at - end).total_seconds(), sum(values) / len(values)))
    for (quantity, place), rows in found.items():
        rows = sorted(dict(rows).items())
        if len(rows) > 1:
            name = f"{QUANTITIES[quantity].title} {place}".strip()
            yield name, QUANTITIES[quantity].kind, [t for t, _ in rows], [v for _, v in rows]


def _unsteady(done: Done, machine: MachineData) -> tuple[tuple[str, ...], bool]:
    """Reasons against steadiness, and whether it was shown by readings taken twice."""
    temperatures, pressures, seen, span = [], [], set(), 0.0
    rows = list(_series(done, machine))
    for _, _, times, _ in rows:
        span = max(span, times[-1] - times[0])
    window_s = min(max(span, WINDOW_S), STAGES_UNCHANGED_S)
    for name, kind, times, values in rows:
        if times[-2] < times[-1] - window_s:
            continue  # too long ago to show anything about now
        window = last_window(times, values, window_s)
        if kind is Kind.TEMPERATURE:
            temperatures.append((name, window))
            seen |= {q for q in WATCHED if name.startswith(QUANTITIES[q].title)}
        elif kind is Kind.GAUGE_PRESSURE:
            pressures.append((name, window))
    entering = next((one for one in done.readings if one.quantity == "entering_fluid" and not one.at), None)
    gate = steady_gate(
        temperatures=temperatures,
        pressures=pressures,
        entering_fluid_k=parse_reading("entering_fluid", entering.value)[0].value if entering else None,
        design_entering_k=machine.get("design_entering"),
        window_s=min(window_s, WINDOW_S),
    )
    return gate.reasons, seen == set(WATCHED)


def _advice(placement: Placement, done: Done, knowledge: Knowledge) -> Advice:
    """What the reasoning makes of these readings; kept in the memory of the base, since every screen asks again."""
    case = entry_case(placement, done)
    memo: dict[str, Advice] = knowledge.memo.setdefault("baselines", {})
    key = case.model_dump_json()
    if key not in memo:
        if len(memo) >= MOST_KEPT:
            memo.clear()
        memo[key] = advise(case, knowledge)
    return memo[key]


def _challenged(
    advice: Advice, made: Round, knowledge: Knowledge
) -> tuple[State, list[str], tuple[tuple[str, float], ...]]:
    """What the reasoning says against a baseline: a stop, a verdict, an unhealthy word, a suspect that is likely enough."""
    feared = [s for s in advice.suspects if s.kind in ("fault", "instrument") and s.probability >= MARKS]
    suspects = tuple((s.title, s.probability) for s in feared)
    if advice.stop is not None:
        return "refused", [f"stop: {advice.stop.reason}"], suspects
    if advice.verdict is not None and advice.verdict.kind in UNHEALTHY:
        return "refused", [f"the readings say: {advice.verdict.title}"], suspects
    reasons = [
        f"{d.text}, {d.word.replace('-', ' ')}{_at(d.place)}" for d in advice.derived if _unhealthy(d, made, knowledge)
    ]
    state: State = "refused" if reasons else "kept"
    for one in feared:
        if one.probability >= BLOCKS:
            state = "refused"
        elif state == "kept":
            state = "marked"
        reasons.append(f"{one.title}{_at(one.place)}: {likelihood_word(one.probability)}")
    return state, reasons, suspects


def _unhealthy(derived: Derived, made: Round, knowledge: Knowledge) -> bool:
    if derived.quantity not in SIGNS or not derived.word:
        return False
    own = made.figures.get((derived.quantity, derived.place))
    if own is not None and own.expected is not None:
        return False  # the figure of this machine judges it, not the general band
    findings = {b.finding for b in knowledge.bands.values() if b.quantity == derived.quantity}
    return any(
        derived.word in (*f.ordered, *f.words) and derived.word != f.neutral
        for f in map(knowledge.findings.get, findings)
        if f
    )


def _at(place: str) -> str:
    return f" ({spell(place)})" if ":" in place else ""
