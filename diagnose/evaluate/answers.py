"""What the person at a simulated machine answers to a look: readings with noise, words seen, sometimes nothing, sometimes wrong.

Numbers come from the simulated machine through its instruments. Words come from it where it shows them, else they are drawn from the
cause cards, given what the machine does show (`seen`). Some answers are wrong, by telephone more of them; safety questions are answered
truly. A call opens with what the caller saw and read before ringing: some of what anybody tells (alarms, what runs, fluid and air
temperatures) and of the first looks of the complaint's card that this person may do. Each answer depends on (seed, number, what is
asked) and on how many remedies were tried before, so the order of asking changes nothing, and what is asked again after a remedy is
looked at anew.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from diagnose.again import said_again
from diagnose.case import Entry
from diagnose.evaluate.cases import Call, true_word
from diagnose.network import Key, Network
from diagnose.places import Place, circuit_of
from diagnose.plan import may_do
from diagnose.plant.instruments import Taken
from knowledge.load import Knowledge
from knowledge.models import Check
from shared.quantities import QUANTITIES, Kind
from shared.units import to_unit

# what a caller tells before anything is asked, and how often: common practice, no source
OPENING = {
    "technician": {"alarm-list-read": 0.5, "what-runs-ask": 0.5, "fluid-temps-read": 0.5, "ambient-read": 0.5},
    "telephone": {"alarm-list-read": 0.3, "what-runs-ask": 0.5},
}
OWN_LOOKS = {"technician": 0.6, "telephone": 0.3}  # the same of each first look of the complaint's card
TRIED_AGAIN = ("alarm-list-read", "what-runs-ask")  # seen by whoever tries the machine again after a remedy
WRONG = {"technician": 0.03, "telephone": 0.08}  # share of sure answers that are wrong: common practice, no source
RUNNING = ("cooling", "steady")
UNITS: dict[Kind, tuple[str, int]] = {
    Kind.GAUGE_PRESSURE: ("psig", 1),
    Kind.PRESSURE_DIFFERENCE: ("psi", 2),
    Kind.TEMPERATURE: ("degF", 1),
    Kind.FLOW: ("gpm", 1),
    Kind.VOLTAGE: ("V", 1),
    Kind.CURRENT: ("A", 2),
    Kind.FREQUENCY: ("Hz", 1),
    Kind.PERCENT: ("%", 1),
    Kind.TIME: ("min", 2),
    Kind.VOLUME: ("m3", 2),
    Kind.RESISTANCE: ("ohm", 3),
}


@dataclass
class Person:
    """Whoever stands at the machine of a call. words: what is true there, drawn once for each thing."""

    call: Call
    knowledge: Knowledge
    words: dict[Key, str] = field(default_factory=dict)

    def _rng(self, *what: str) -> random.Random:
        return random.Random(f"{self.call.seed}:{self.call.number}:{':'.join(what)}")

    def _asked(self, *what: str) -> random.Random:
        """For what is said when asked: who errs, or cannot tell, may do better when asked again after a remedy."""
        return self._rng(*what, *([str(self.call.attempt)] if self.call.attempt > 1 else []))

    @property
    def network(self) -> Network:
        return self.call.network

    @property
    def slip(self) -> float:
        """Chance that an answer is wrong."""
        return WRONG["telephone" if self.call.telephone else "technician"]

    def word(self, key: Key) -> str:
        """The true word of an effect or finding at a place."""
        return true_word(self.call, self.words, key)

    def place_of(self, check: Check, asked: str) -> str:
        """Where the look is done: as asked, else where the trouble is, else at the first place of its kind."""
        places = self.network.places
        own = [p for p in places.values() if p.kind == check.place and not p.folded]
        if asked in places:
            if not places[asked].folded:
                return asked
            own = [p for p in own if self._circuit(p) == places[asked].circuit] or own  # one of those nobody has named
        troubled = [*self.call.places, *([t.place for t in self.call.shot.trips] if self.call.shot else ())]
        for place in troubled:
            near = [p for p in own if p.id == place]
            near += [p for p in own if circuit_of(place) and self._circuit(p) == circuit_of(place)]
            if near:
                return near[0].id
        return own[0].id if own else check.place

    def _circuit(self, place: Place) -> str:
        """The circuit a place belongs to: whoever stands there sees which coil a fan blows through."""
        fans = {f"fan:{f}": c.id for c in self.call.plant.circuits for f in c.air.fans}
        return place.circuit or fans.get(place.id, "")

    def opening(self) -> list[Entry]:
        """What is told with the complaint: what anybody tells, and what was looked at because of this complaint."""
        desk = "telephone" if self.call.telephone else "technician"
        own = [c for c in self.knowledge.complaints[self.call.case.complaint].first if self._had_looked(c)]
        entries: list[Entry] = []
        for name, share in {**dict.fromkeys(own, OWN_LOOKS[desk]), **OPENING[desk]}.items():
            if self._asked("opening", name).random() < share:
                known = {(e.quantity, e.place) for e in entries if e.quantity}  # read once, told once
                entries += [e for e in self._told(name) if (e.quantity, e.place) not in known]
        return entries

    def _had_looked(self, name: str) -> bool:
        """Whether the caller may have made this look before ringing: what this person does alone, the machine allows and nothing
        dangerous forbids. Who has no training uses no tool; safety questions are left to be asked.
        """
        check, case = self.knowledge.checks[name], self.call.case
        if check.safety or not may_do(check.who, check.needs_qualified, case.role, case.qualified):
            return False
        if self.call.telephone and (check.tools or set(check.hazards) - {"none"}):
            return False
        if self.call.shot is not None and not self._table(check):
            return False
        return all(self._true_answer(self.knowledge.checks[c]) in words for c, words in check.needs.items())

    def _true_answer(self, check: Check) -> str:
        """The word that is true of what a look is about, where the caller would look."""
        return self.word((check.finding or "", self.place_of(check, "")))

    def afterwards(self, proofs: Iterable[tuple[str, str]]) -> list[Entry]:
        """What is told when the machine was tried again after a remedy: what it shows and what runs, and the looks (check, place)
        by which the cause had been found.
        """
        looks = dict.fromkeys([*((name, "") for name in TRIED_AGAIN), *proofs])
        return [entry for name, place in looks for entry in self._told(name, place)]

    def _told(self, name: str, place: str = "") -> list[Entry]:
        entries, said = self.answer(self.knowledge.checks[name], place)
        return entries if said != "cannot-tell" else []

    def answer(self, check: Check, asked: str = "", before: Sequence[Entry] = ()) -> tuple[list[Entry], str]:
        """Entries that answer a look, and the answer in words. before: what was answered to it, where it is made once more."""
        where = self.place_of(check, asked)
        place = where if ":" in where else ""
        silent = Entry(check=check.id, answer="cannot-tell", place=place, again=bool(before))
        rng = self._asked("answer", check.id, where, *(["again", str(len(before))] if before else []))
        same = said_again(before, self.knowledge.words.verdict["same-slip-again"], rng)
        if same is not None:
            return [same], same.answer
        if not check.safety and rng.random() < self.call.cannot_tell:
            return [silent], "cannot-tell"
        if check.reads:
            entries = self._readings(check, where) if self.call.shot else self._graded(check, where, rng)
            told = ", ".join(f"{e.quantity or e.finding} {e.value or e.word}" for e in entries)
            return [*entries, silent], told or "cannot-tell"
        finding = self.knowledge.findings[check.finding or ""]
        near = self.network.places[where]
        at = where if near.kind == finding.place else self.network.place_for(finding.place, near) or where
        true = self.word((finding.id, at))
        meant = {a: card.word or a for a, card in check.answers.items()}
        right = [a for a, w in meant.items() if w == true]
        if not right:
            return [silent], "cannot-tell"  # none of the offered answers fits what is there
        wrong = [a for a, w in meant.items() if w != true]
        slips = bool(wrong) and not check.safety and rng.random() < self.slip
        given = rng.choice(wrong if slips else right)
        who = "customer-says" if self.call.telephone and not check.safety else "saw"
        return [
            Entry.model_validate({**silent.model_dump(), "answer": given, "sure": check.usually, "who": who})
        ], given

    def _table(self, check: Check) -> str:
        """The machine state in which the look finds its readings; "" when the machine cannot be brought there."""
        have = self.call.shot.readings if self.call.shot else {}
        if check.state in RUNNING:
            return "cooling" if "cooling" in have else ""
        if check.state in ("pump-on", "pump-only"):
            return next((n for n in ("cooling", "pump-only") if n in have), "")
        if check.state in ("standing", "isolated"):
            return "standing" if "standing" in have else ""
        return next((n for n in ("cooling", "pump-only", "powered", "standing") if n in have), "")

    def _readings(self, check: Check, where: str) -> list[Entry]:
        shot, state = self.call.shot, self._table(check)
        if shot is None or not state:
            return []
        tripped = {t.place for t in shot.trips}
        entries = []
        for quantity in check.reads:
            if quantity in self.call.missing:
                continue
            taken = self._taken(quantity, where, state)
            if taken is None:
                continue
            place = taken.place if ":" in taken.place else ""
            early = bool(tripped & {taken.place, f"circuit:{circuit_of(taken.place)}", "unit"}) or shot.state != state
            steady = "" if early or state != "cooling" else shot.steadiness
            text = _text(taken)
            made = {"quantity": quantity, "value": text, "place": place, "state": state, "steadiness": steady or None}
            entries.append(Entry.model_validate(made))
        return entries

    def _taken(self, quantity: str, where: str, state: str) -> Taken | None:
        """The reading of a quantity at a place, or at the place of its own kind that belongs to it."""
        table = self.call.shot.readings[state] if self.call.shot else {}
        kind, near = QUANTITIES[quantity].place, self.network.places[where]
        own = where if kind in ("any", near.kind) else self.network.place_for(kind, near) or kind
        return table.get((quantity, own))

    def _graded(self, check: Check, where: str, rng: random.Random) -> list[Entry]:
        """A cause the machine cannot make: what the look would tell, put into words by its card."""
        entries, near = [], self.network.places[where]
        for name in check.tells:
            kind = self.knowledge.findings[name].place
            at = where if kind == near.kind else self.network.place_for(kind, near)
            if at is None:
                continue
            true = self.word((name, at))
            others = [w for w in self.network.node((name, at)).words if w != true]
            word = rng.choice(others) if rng.random() < self.slip else true
            entries.append(Entry(finding=name, word=word, place=at if ":" in at else ""))
        return entries


def _text(taken: Taken) -> str | tuple[str, ...]:
    unit, decimals = UNITS[QUANTITIES[taken.quantity].kind]
    kind = QUANTITIES[taken.quantity].kind
    values = taken.shown if isinstance(taken.shown, tuple) else (taken.shown,)
    texts = tuple(f"{to_unit(v, kind, unit):.{decimals}f} {unit}" for v in values)
    return texts if len(texts) > 1 else texts[0]
