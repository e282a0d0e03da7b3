"""From numbers and answers to words: the only place where a number becomes a word.

A reading becomes a probability for each word by integrating its uncertainty over the band limits; an answer by the
confusion table for how sure it was and who gave it. Both are likelihoods (virtual evidence). For every way an instrument of
this call may lie the grading is done again with that instrument's readings moved, so all values of a liar move together.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from diagnose.bounds import BOUNDS, Bound
from diagnose.case import Case, Entry
from diagnose.derive import Derivation, DerivedValue
from diagnose.expected import used
from diagnose.places import ALL_CIRCUITS, Topology, circuit_of, spell
from diagnose.readings import Reading, Readings, instrument_kinds, place_of, spoken_circuits, width
from knowledge.load import Knowledge
from knowledge.models import Band, Finding, Instrument
from shared.quantities import DERIVED
from shared.units import parse, parse_spread, show

HONEST = ""
CARD_FACTS = ("clean-split", "card-subcooling")  # rows that use this very machine's own healthy figure
UNSTEADY_SOFT = 1.5  # bands widened by half while steadiness is only assumed
# how far a pressure of the running machine wanders between two readings (Pa): 4 and 10 psi, common practice, no source
MOVES = {"suction_pressure": 27_600.0, "liquid_pressure": 68_900.0, "discharge_pressure": 68_900.0}
# share of liars that lie grossly, and how many times as far as theirs usually do: common practice, no source
GROSS, GROSSLY = 0.2, 4.0
SETTLED = (
    "superheat",
    "subcooling",
    "subcooling_over_card",
    "superheat_of_expected",
    "subcooling_of_expected",
    "approach_of_expected",
    "split_of_expected",
    "approach",
    "condenser_split",
    "condenser_split_over_clean",
    "discharge_excess",
    "air_rise",
)


@dataclass(frozen=True)
class Mode:
    """One instrument of this call lying in one way. shift: what it shows too much (SI) for each variable's quantity."""

    id: str
    title: str
    prior: float
    instrument: str
    kind: str
    readings: tuple[Reading, ...]
    bias: dict[str, float]
    spread: dict[str, float]
    shows: dict[tuple[str, str], tuple[str, float]]


@dataclass(frozen=True)
class Evidence:
    """What is known of one finding at one place.

    likelihood: per word of the finding, when all instruments are honest; by_mode: the same when one lies (absent = unchanged).
    texts: how it is known, for reasons; derived: the graded value if it came from numbers.
    """

    finding: str
    place: str
    likelihood: tuple[float, ...]
    by_mode: dict[str, tuple[float, ...]]
    texts: tuple[str, ...]
    state: str
    derived: DerivedValue | None = None
    answered: bool = False

    def beside(self, new: Evidence) -> Evidence:
        """Both as one: the same finding known twice counts twice."""
        by_mode = {
            m: tuple(
                a * b
                for a, b in zip(self.by_mode.get(m, self.likelihood), new.by_mode.get(m, new.likelihood), strict=True)
            )
            for m in {*self.by_mode, *new.by_mode}
        }
        return Evidence(
            new.finding,
            new.place,
            tuple(a * b for a, b in zip(self.likelihood, new.likelihood, strict=True)),
            by_mode,
            (*self.texts, *new.texts),
            new.state,
            self.derived or new.derived,
            self.answered or new.answered,
        )

    @property
    def against_expected(self) -> bool:
        """Whether it was judged by what this machine should show today."""
        return self.derived is not None and used(self.derived.quantity)

    def words(self, card: Finding) -> tuple[tuple[str, float], ...]:
        """(word, probability if every word were equally likely before), most likely first."""
        total = sum(self.likelihood) or 1.0
        names = card.ordered or card.words
        return tuple(sorted(((w, p / total) for w, p in zip(names, self.likelihood, strict=True)), key=lambda x: -x[1]))


@dataclass
class Graded:
    """All evidence of a case, the modes in play, factors of impossibilities on modes, and the first notes.

    impossible: what cannot be, in words; settle: checks that show which instrument lies.
    """

    evidence: dict[tuple[str, str], Evidence] = field(default_factory=dict)
    modes: dict[str, Mode] = field(default_factory=dict)
    mode_factor: dict[str, float] = field(default_factory=dict)
    impossible: list[str] = field(default_factory=list)
    settle: list[str] = field(default_factory=list)
    not_judged: list[tuple[str, str, str, str]] = field(default_factory=list)
    words_of: dict[tuple[str, str], str] = field(default_factory=dict)


def normal_cdf(x: float) -> float:
    """Standard normal distribution function."""
    return 0.5 * (1.0 + math.erf(x / math.sqrt(2.0)))


def word_probabilities(value: float, sd: float, limits: Sequence[float]) -> tuple[float, ...]:
    """Probability of each word of a scale cut at ``limits`` for a value with standard uncertainty ``sd`` (> 0)."""
    cuts = [0.0, *(normal_cdf((limit - value) / sd) for limit in limits), 1.0]
    return tuple(max(b - a, 0.0) for a, b in zip(cuts, cuts[1:], strict=False))


def told(word: str, words: Sequence[str], right: float) -> tuple[float, ...]:
    """Likelihood of each true word when ``word`` is told and such an answer is right with probability ``right``."""
    other = (1.0 - right) / (len(words) - 1)
    return tuple(right if w == word else other for w in words)


def told_again(words: Sequence[str], answers: Sequence[tuple[str, float]], same_slip: float) -> tuple[float, ...]:
    """Likelihood of each true word after several looks at one thing, in order. answers: (word told, chance that such an answer is
    right); same_slip: chance that who looks once more says what was said before, right or wrong.

    >>> [round(p, 4) for p in told_again(("yes", "no"), [("yes", 0.97), ("no", 0.97)], 0.2)]
    [0.0233, 0.0233]
    """
    out = [1.0] * len(words)
    for number, (word, right) in enumerate(answers):
        fresh, said = told(word, words, right), [w for w, _ in answers[:number]]
        repeats = same_slip * said.count(word) / len(said) if said else 0.0
        out = [p * (repeats + (1.0 - same_slip if said else 1.0) * q) for p, q in zip(out, fresh, strict=True)]
    return tuple(out)


def _floored(p: Sequence[float], floor: float) -> tuple[float, ...]:
    return tuple(max(x, floor) for x in p)


@dataclass(frozen=True)
class BandRow:
    """A band in SI."""

    card: Band
    limits: tuple[float, ...]
    soft: float


def band_rows(knowledge: Knowledge) -> dict[str, list[BandRow]]:
    """Bands in SI by finding, built once."""
    rows = knowledge.memo.get("bands")
    if rows is None:
        rows = {}
        for card in knowledge.bands.values():
            kind = DERIVED[card.quantity].kind
            rows.setdefault(card.finding, []).append(
                BandRow(card, tuple(parse(limit, kind).value for limit in card.limits), parse_spread(card.soft, kind))
            )
        knowledge.memo["bands"] = rows
    return dict(rows)


def choose_band(
    rows: Iterable[BandRow], facts: Mapping[str, str], have: Iterable[str], beside: bool = False
) -> BandRow | None:
    """The row whose conditions all hold, among those whose quantity is at hand: one with the machine's own figure first, then
    one on today's expected figure, then the one with most conditions. beside: among the rows weighed beside that one.
    """
    names = set(have)
    fitting = [
        r
        for r in rows
        if r.card.beside is beside
        and r.card.quantity in names
        and all(facts.get(k) in v for k, v in r.card.when.items())
    ]

    def rank(row: BandRow) -> tuple[bool, bool, int, str]:
        own = any(k in CARD_FACTS for k in row.card.when)
        return own, used(row.card.quantity), len(row.card.when), row.card.id

    return max(fitting, key=rank) if fitting else None


def farther(one: Sequence[float], other: Sequence[float], neutral: int) -> tuple[float, ...]:
    """Two gradings of one thing on the same scale: at each step away from the neutral word the larger chance counts."""
    out = [0.0] * len(one)
    for order in (range(neutral), range(len(one) - 1, neutral, -1)):
        reached = a = b = 0.0
        for k in order:
            a, b = a + one[k], b + other[k]
            out[k] = max(a, b) - reached
            reached = max(a, b)
    rest = 1.0 - sum(out)
    out[neutral] = max(rest, 0.0)
    total = sum(out)
    return tuple(x / total for x in out)


def state_fits(required: Iterable[str], state: str, steadiness: str) -> bool:
    """Whether a finding with these `states` may be judged in this state of the machine."""
    for need in required:
        if need == "any" or need == state:
            return True
        if need == "pump-on" and state in ("pump-only", "cooling"):
            return True
        if need == "steady" and state == "cooling" and steadiness in ("steady", "unknown", ""):
            return True
        if need == "standing" and state in ("standing", "powered", "isolated"):
            return True
        if need == "powered" and state in ("powered", "pump-only", "cooling"):
            return True
    return False


def find_modes(readings: Readings, knowledge: Knowledge) -> dict[str, Mode]:
    """Every way in which an instrument with a reading in this call may lie."""
    kinds = instrument_kinds(knowledge)
    # one name may stand for several kinds of instrument ("site meter"): each kind lies in its own way
    by_instrument: dict[tuple[str, str], list[Reading]] = {}
    compared = [one for pair in readings.comparisons for one in pair]
    current = [*readings.running.values(), *readings.resting.values(), *readings.conditioned]
    for one in dict.fromkeys([*current, *compared]):
        if kinds.get(one.quantity) is not None:
            by_instrument.setdefault((one.instrument, kinds[one.quantity].id), []).append(one)
    modes: dict[str, Mode] = {}
    for (name, kind), own in by_instrument.items():
        card: Instrument = kinds[own[0].quantity]
        several = sum(1 for other, _ in by_instrument if other == name) > 1
        label = f"{name} as {kind}" if several else name
        for lie in card.lies:
            bias, spread = {}, {}
            for one in own:
                sign = -1.0 if lie.bias.strip().startswith("-") else 1.0
                bias[one.quantity] = sign * width(lie.bias.strip().lstrip("-"), one.kind, one.values[0])
                spread[one.quantity] = width(lie.spread, one.kind, one.values[0])
            where = own[0].place
            shows = {}
            for finding_id, word in {**card.shows, **lie.shows}.items():
                finding = knowledge.findings.get(finding_id)
                if finding is not None:
                    place = (
                        "unit"
                        if finding.place in ("unit", "supply")
                        else (f"circuit:{circuit_of(where)}" if circuit_of(where) else where)
                    )
                    shows[finding_id, place] = (word, knowledge.words.strength[card.shown])
            title = _mode_title(card, own, lie.title)
            modes[f"{label}|{lie.mode}"] = Mode(
                f"{label}|{lie.mode}", title, lie.prior, name, card.id, tuple(own), bias, spread, shows
            )
    return modes


def _mode_title(card: Instrument, own: Sequence[Reading], says: str) -> str:
    from shared.quantities import QUANTITIES

    what = " and ".join(dict.fromkeys(QUANTITIES[r.quantity].title for r in own))
    place = own[0].place
    where = f", {spell(place)}" if place not in ("unit", "supply") and not place.startswith("pump") else ""
    named = own[0].instrument if ":" not in own[0].instrument else card.title
    return f"{named} ({what}{where}) {says}"


def moved(value: DerivedValue, mode: Mode) -> tuple[float, float] | None:
    """Value and uncertainty if ``mode`` is true; None when nothing of it came from that instrument."""
    shift, extra = 0.0, 0.0
    touched = False
    for variable, slope in value.partials.items():
        if variable.instrument == mode.instrument and variable.quantity in mode.bias:
            touched = True
            shift += slope * mode.bias[variable.quantity]
            extra += slope * mode.spread[variable.quantity]
    if not touched or (abs(shift) < 1e-12 and abs(extra) < 1e-12):
        return None
    return value.value - shift, math.hypot(value.sd, extra)


class Grader:
    """Grades one case. places: all places of the reasoning; facts: machine facts for band rows."""

    def __init__(
        self,
        case: Case,
        knowledge: Knowledge,
        topology: Topology,
        places: Collection[str],
        readings: Readings,
        derivation: Derivation,
        facts: Mapping[str, str],
        state: str,
        steadiness: str,
    ) -> None:
        self.case, self.knowledge, self.topology, self.places = case, knowledge, topology, places
        self.readings, self.derivation, self.facts = readings, derivation, facts
        self.state, self.steadiness = state, steadiness
        self.out = Graded(modes=find_modes(readings, knowledge))

    def grade(self, skip_answers: bool = False) -> Graded:
        """All evidence in the machine state given at construction."""
        rows = band_rows(self.knowledge)
        by_place: dict[str, dict[str, DerivedValue]] = {}
        for (quantity, place), value in self.derivation.values.items():
            by_place.setdefault(place, {})[quantity] = value
        for finding_id, bands in rows.items():
            finding = self.knowledge.findings[finding_id]
            for place, have in by_place.items():
                chosen = [choose_band(bands, self.facts, have, beside) for beside in (False, True)]
                if chosen[0] is not None and self._place_fits(finding, place):
                    self._number(finding, place, [(have[r.card.quantity], r) for r in chosen if r is not None])
        if not skip_answers:
            self._answers()
        self._bounds()
        return self.out

    def _place_fits(self, finding: Finding, place: str) -> bool:
        kind = place.split(":")[0]
        return finding.place == kind or (finding.place in ("unit", "supply") and kind in ("unit", "supply"))

    def _chances(self, value: DerivedValue, row: BandRow, mode: Mode | None) -> tuple[float, ...]:
        """Chance of each word by one row, if ``mode`` lies (None: all are honest)."""
        steadiness = next((s.steadiness for s in value.sources if s.steadiness), self.steadiness)
        soft = row.soft * (UNSTEADY_SOFT if value.quantity in SETTLED and steadiness in ("unknown", "") else 1.0)
        at = (moved(value, mode) if mode is not None else None) or (value.value, value.sd)
        return word_probabilities(at[0], math.hypot(at[1], soft), row.limits)

    def _number(self, finding: Finding, place: str, graded: Sequence[tuple[DerivedValue, BandRow]]) -> None:
        """Grade one finding by the row chosen, with the row beside it where there is one."""
        words, floor = finding.ordered, self.knowledge.words.floor

        def chances(mode: Mode | None) -> tuple[float, ...]:
            made = [self._chances(value, row, mode) for value, row in graded]
            return _floored(
                made[0] if len(made) == 1 else farther(made[0], made[1], words.index(finding.neutral)), floor
            )

        p = chances(None)
        best = max(range(len(words)), key=p.__getitem__)
        top = words[best]
        value = max(graded, key=lambda one: self._chances(one[0], one[1], None)[best])[0]
        state = value.state or self.state
        steadiness = next((s.steadiness for s in value.sources if s.steadiness), self.steadiness)
        for one, _ in graded:
            self.out.words_of[one.quantity, place] = top
        if not state_fits(finding.states, state, steadiness):
            need = " or ".join(finding.states)
            why = f"read while {state}" + (f", {steadiness}" if steadiness not in ("", "unknown") else "")
            self.out.not_judged.append(
                (finding.id, place, f"{finding.title}: {why}, needs {need}", f"read again when {need}")
            )
            return
        touched = [m for m in self.out.modes.values() if any(moved(v, m) is not None for v, _ in graded)]
        by_mode = {mode.id: chances(mode) for mode in touched}
        shown = f"{DERIVED[value.quantity].title} {show(value.value, value.kind, any(s.metric for s in value.sources))}"
        text = f"{finding.texts[top]} ({value.told or shown})"
        self._put(
            Evidence(
                finding.id,
                place if finding.place not in ("unit", "supply") else finding.place,
                p,
                by_mode,
                (text,),
                state,
                value,
            )
        )

    def _put(self, new: Evidence) -> None:
        key = (new.finding, new.place)
        old = self.out.evidence.get(key)
        self.out.evidence[key] = new if old is None else old.beside(new)

    def _answers(self) -> None:
        spoken = spoken_circuits(self.case, self.topology)
        latest: dict[tuple[str, str, str], tuple[Finding, list[tuple[Entry, str]]]] = {}
        for entry in self.case.entries:
            if entry.condition or entry.source != "today":
                continue
            if entry.check and entry.answer != "cannot-tell":
                check = self.knowledge.checks[entry.check]
                if check.finding is None or entry.answer not in check.answers:
                    continue
                finding = self.knowledge.findings[check.finding]
                word = check.answers[entry.answer].word or entry.answer
                key = entry.check, finding.id, place_of(entry, finding.place, self.topology, spoken)
                before = latest[key][1] if entry.again and key in latest else []
                latest[key] = finding, [*before, (entry, word)]
            elif entry.finding:
                finding = self.knowledge.findings[entry.finding]
                key = "", finding.id, place_of(entry, finding.place, self.topology, spoken)
                latest[key] = finding, [(entry, entry.word)]
        # said of all alike it is said of each, also of those told apart by other answers; what was said of one itself stands
        alike = [(key, heard) for key, heard in latest.items() if key[2] == ALL_CIRCUITS]
        for (check_id, finding_id, _), heard in alike:
            del latest[check_id, finding_id, ALL_CIRCUITS]
            for place in self.places:
                if place.startswith("circuit:"):
                    latest.setdefault((check_id, finding_id, place), heard)
        for (check_id, finding_id, place), (finding, looks) in latest.items():
            p = told_again(
                finding.ordered or finding.words,
                [(word, self._right(check_id, entry)) for entry, word in looks],
                self.knowledge.words.verdict["same-slip-again"],
            )
            said = list(dict.fromkeys((word, entry.who) for entry, word in looks))
            texts = [finding.texts[word] + ("" if who == "saw" else " (the customer says)") for word, who in said]
            state = looks[-1][0].state or self.state
            self._put(Evidence(finding_id, place, p, {}, tuple(texts), state, None, True))

    def _right(self, check_id: str, entry: Entry) -> float:
        """Chance that an answer, or a finding given as a word, is right."""
        table = self.knowledge.words
        return table.answer_right[entry.sure][entry.who] if check_id else table.graded_right[entry.sure]

    def _bounds(self) -> None:
        """Physical impossibilities and comparisons weigh on the instruments alone: no cause explains them."""
        factors = dict.fromkeys(self.out.modes, 1.0)
        honest = 1.0
        for bound in BOUNDS:
            for (name, place), value in self.derivation.values.items():
                if name != bound.quantity or not value.sources or not self._bound_holds(bound, value):
                    continue
                base = self._possible(bound, value.value, value.sd)
                if base > 0.9:
                    continue
                if base < 0.2:
                    self.out.impossible.append(
                        f"{bound.text} ({spell(place)}: {DERIVED[bound.quantity].title} "
                        f"{show(value.value, value.kind, any(s.metric for s in value.sources))})"
                    )
                    self.out.settle += [c for c in bound.settle if c not in self.out.settle]
                honest *= base
                for mode in self.out.modes.values():
                    changed = moved(value, mode)
                    factors[mode.id] *= self._possible(bound, *changed) if changed else base
        for first, second in self.readings.comparisons:
            for phase, (a, b) in enumerate(zip(first.values, second.values, strict=False)):
                moves = MOVES.get(first.quantity, 0.0) if {first.state, second.state} & {"cooling"} else 0.0
                sd = math.hypot(first.sd[phase], second.sd[phase], moves) or 1e-9
                density = _density(a - b, 0.0, sd)
                if abs(a - b) > 3 * sd and phase == 0:
                    self.out.impossible.append(
                        f"two instruments disagree on {first.quantity.replace('_', ' ')} ({first.echo} against {second.echo})"
                    )
                honest *= density
                for mode in self.out.modes.values():
                    shift = (mode.bias.get(first.quantity, 0.0) if mode.instrument == first.instrument else 0.0) - (
                        mode.bias.get(second.quantity, 0.0) if mode.instrument == second.instrument else 0.0
                    )
                    spread = mode.spread.get(first.quantity, 0.0) if shift else 0.0
                    usual = _density(a - b, shift, math.hypot(sd, spread))
                    gross = _density(a - b, shift, math.hypot(sd, GROSSLY * spread))
                    factors[mode.id] *= (1.0 - GROSS) * usual + GROSS * gross
        self.out.mode_factor = {HONEST: honest, **factors}

    def _bound_holds(self, bound: Bound, value: DerivedValue) -> bool:
        """Whether a bound says anything in the state of the machine and for its refrigerant."""
        states = ("cooling",) if bound.cooling else ("cooling", "pump-only")
        return value.state in states and not (bound.pure and self.facts.get("glide") == "yes")

    def _possible(self, bound: Bound, value: float, sd: float) -> float:
        """Chance that the true value keeps the bound."""
        return max(normal_cdf((bound.allowance - bound.sign * value) / max(sd, 1e-9)), self.knowledge.words.floor)


def _density(x: float, mean: float, sd: float) -> float:
    """Normal density relative to a broad one, floored: a gross mistake stays possible."""
    return max(math.exp(-0.5 * ((x - mean) / sd) ** 2) / sd, 1e-4 / sd)
