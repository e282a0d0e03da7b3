"""Cases drawn from a cause card, and the answers a person at such a machine would give.

The machine has one circuit with two compressors and two fans, the person is a technician qualified for everything. The call tells
its circumstances (first start, hot weather, generator), drawn as often as they go with this cause: by how often they are met at all
and how the card's word of likelihood changes in them. With the one cause present, hidden effects are drawn from the network, given
that this call was made at all and that the caller met what
such callers notice, then findings given effects and cause; both are drawn once and kept, so two looks at the same thing see the same thing. People err, as often as
the base itself says (`answer_right`, `answer-chance` of the table of words: a sure look is wrong in 3 of 100, one look in ten
gets no answer). With ``rough`` people they err more than the base expects: one answer in twenty is wrong, and in each call a
share between a tenth and three tenths of the questions gets "cannot tell". Safety questions are answered, and truly: whoever
stands there knows whether it smells burnt. Reading checks are answered with graded words, as in a table of signs.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from diagnose.advice import Step
from diagnose.again import said_again, told_before
from diagnose.case import Case, Entry
from diagnose.evaluate.cases import SOMETIMES, SOMETIMES_SHARE, STAGES
from diagnose.looks import tells_for
from diagnose.network import Array, Key, Network, network_for, prior_weight
from diagnose.noticed import met, noticed_keys
from diagnose.work import Work, prepare
from knowledge.load import Knowledge
from knowledge.models import Cause, Check, Words

WRONG = 0.05
CANNOT_TELL = (0.10, 0.30)
MOST_TRIES = 20_000
QUALIFIED = ("electrical", "refrigerant", "height")
MACHINE: dict[str, Any] = {
    "refrigerant": "R-410A",
    "voltage": "460 V",
    "frequency": "60 Hz",
    "fluid": "water",
    "circuits": {"A": {"compressors": ["A1", "A2"], "fans": ["1", "2"]}},
    "design_flow": "96 gpm",
    "design_drop": "6.5 psi",
    "pump_plate_current": "7.6 A",
    "compressor_plate_current": "28 A",
    "fan_plate_current": "3.4 A",
    "pump_shutoff_rise": "48 psi",
    "pump_design_rise": "36 psi",
    "strainer_clean_drop": "1.5 psi",
    "set_point": "44 F",
    "design_entering": "54 F",
    "card": {"condenser_split": "22 delta_degF"},
}
GLYCOL = {"fluid": "propylene-glycol", "glycol_percent": "35 %"}  # for a cause that only such a machine has
# machine facts a card may ask for: field of the machine card, and how often each value is met where no card cares
VARIED: dict[str, tuple[str, tuple[tuple[str, float], ...]]] = {
    "expansion": ("expansion", (("thermostatic", 0.7), ("electronic", 0.3))),
    "tank-at": ("tank_at", (("unit-suction", 0.5), ("load", 0.2), ("discharge", 0.1), ("unknown", 0.2))),
    "pump-in-use": ("pump_in_use", (("onboard", 0.75), ("site", 0.25))),
}

SUPPLIES = (("utility", 0.5), ("generator", 0.5))  # temporary sites: common practice, no source
WEATHER = (("", 0.6), ("hot-weather", 0.2), ("cold-snap", 0.2))
ALSO = ("storm", "part-load", "standby")  # as often as the others that are told now and then


def pick(rng: random.Random, weighted: Sequence[tuple[str, float]]) -> str:
    """One of the names, by weight."""
    return rng.choices([n for n, _ in weighted], [w for _, w in weighted])[0]


def circumstances(machine: Mapping[str, Any], rng: random.Random) -> tuple[str, ...]:
    """Circumstances of any call about such a machine."""
    made = [pick(rng, list(STAGES.items())), pick(rng, SUPPLIES)]
    made += ["site-pump"] if machine["pump_in_use"] == "site" else []
    made += [w] if (w := pick(rng, WEATHER)) else []
    return (*made, *(name for name in (*SOMETIMES, *ALSO) if rng.random() < SOMETIMES_SHARE))


def call_for(cause: Cause, words: Words, rng: random.Random) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Machine card and circumstances as they go with this cause. By rejection: exact."""
    most = max(words.prior[w] for w in (cause.prior, *cause.prior_in.values()))
    while True:
        machine = machine_for(cause, rng)
        context = circumstances(machine, rng)
        if rng.random() * most < prior_weight(words, cause, context):
            return machine, context


def machine_for(cause: Cause, rng: random.Random) -> dict[str, Any]:
    """A machine card that may have this cause, and on which a conditional edge of it holds for each fact its edges ask for."""
    machine = dict(MACHINE)
    for fact, (key, values) in VARIED.items():
        asked = {v for edge in cause.brings for v in edge.when.get(fact, ())}
        asked |= set(cause.when.get("valve", ())) if fact == "expansion" else set()
        fitting = [(v, w) for v, w in values if v in asked] or list(values)
        machine[key] = pick(rng, fitting)
    if "glycol" in cause.when.get("fluid", ()):
        machine |= GLYCOL
    return machine


@dataclass
class Draw:
    """One call: its first case, and everything that is true at the machine. words: true word of each node drawn so far.

    instance, second: numbers of the causes that are there (0 = none). wrong: share of wrong answers, None = as the base says.
    """

    cause: str
    number: int
    case: Case
    work: Work
    network: Network
    instance: int
    cannot_tell: float
    rng: random.Random
    words: dict[Key, str] = field(default_factory=dict)
    second: int = 0
    wrong: float | None = WRONG

    def errs(self, right: float) -> float:
        """Chance of a wrong answer where the base's own table says this often ``right``."""
        return 1.0 - right if self.wrong is None else self.wrong

    def word(self, key: Key) -> str:
        """The true word of an effect or finding at a place, drawn once."""
        found = self.words.get(key)
        if found is None:
            found = self.words[key] = self._drawn(key, self.words)
        return found

    def _drawn(self, key: Key, words: dict[Key, str]) -> str:
        node = self.network.node(key)
        above = 0
        if node.parent is not None:
            if node.parent not in words:
                words[node.parent] = self._drawn(node.parent, words)
            above = self.network.node(node.parent).words.index(words[node.parent])
        table = self.row(key, above)
        return pick(self.rng, list(zip(node.words, (float(p) for p in table), strict=True)))

    def row(self, key: Key, above: int) -> Array:
        """(K,) chances of the words of a node with what is wrong, and word number ``above`` of the effect over it."""
        node = self.network.node(key)
        wrong = [np.array([n], dtype=np.int64) for n in (self.instance, self.second)]
        out: Array = node.table()[int(node.signature(*wrong)[0]), above]
        return out

    def settle_complaint(self) -> None:
        """Draw the effect the complaint hangs on, and what its callers notice, until this call is one that gets made.

        By rejection: exact.
        """
        complaint: Key = (f"complaint:{self.case.complaint}", "unit")
        hangs = self.network.node(complaint).parent is not None
        noticed = noticed_keys(self.network, self.case.complaint, (self.instance, self.second))
        if not hangs and not noticed:
            return
        for _ in range(MOST_TRIES):
            words: dict[Key, str] = {}
            if hangs and self._drawn(complaint, words) != "yes":
                continue
            for key in noticed:
                words[key] = self._drawn(key, words)
            if not noticed or any(met(self.network, key, words[key]) for key in noticed):
                self.words.update(words)
                return
        raise ValueError(f"{self.cause} is never reported as {self.case.complaint}: correct the card's complaints")


def draw_case(knowledge: Knowledge, cause_id: str, number: int, seed: int, *, rough: bool = False) -> Draw:
    """Draw ``number`` of a cause: the same for the same seed, cards and number."""
    rng = random.Random(f"{seed}:{cause_id}:{number}")
    cause = knowledge.causes[cause_id]
    strength = knowledge.words.strength
    complaint = pick(rng, [(c, strength[s]) for c, s in sorted(cause.complaints.items())])
    machine, context = call_for(cause, knowledge.words, rng)
    case = Case.model_validate(
        {
            "complaint": complaint,
            "role": "technician",
            "qualified": QUALIFIED,
            "machine": machine,
            "context": context,
        }
    )
    work = prepare(case, knowledge)
    network = network_for(knowledge, work.places, case.context, work.facts)
    instance = next(n for n, one in enumerate(network.instances, 1) if one.cause == cause_id)
    silent = rng.uniform(*CANNOT_TELL) if rough else 1.0 - knowledge.words.verdict["answer-chance"]
    draw = Draw(cause_id, number, case, work, network, instance, silent, rng, wrong=WRONG if rough else None)
    draw.settle_complaint()
    return draw


def _place_of(check: Check, network: Network) -> str:
    return next(p.id for p in network.places.values() if p.kind == check.place)


def answer(step: Step, draw: Draw, before: Sequence[Entry] = ()) -> tuple[list[Entry], str]:
    """Entries that answer a step, and the answer in words. before: what was told so far; who looks once more may say the same again."""
    knowledge = draw.work.knowledge
    same = said_again(told_before(step, before), knowledge.words.verdict["same-slip-again"], draw.rng)
    if same is not None:
        return [same], same.answer
    entries, words = told(knowledge.checks[step.id], draw)
    return [e.model_copy(update={"again": step.again}) if e.check else e for e in entries], words


def told(check: Check, draw: Draw) -> tuple[list[Entry], str]:
    """Entries that answer a look, and the answer in words."""
    knowledge, network, rng = draw.work.knowledge, draw.network, draw.rng
    silent = Entry(check=check.id, answer="cannot-tell")
    if not check.safety and rng.random() < draw.cannot_tell:
        return [silent], "cannot-tell"
    place = _place_of(check, network)
    if check.reads:
        entries = [_graded(key, draw) for key in tells_for(draw.work, network)(check, place)]
        told = ", ".join(f"{e.finding} {e.word}" for e in entries)
        return [*entries, silent], told or "cannot-tell"
    finding = knowledge.findings[check.finding or ""]
    near = network.places[place]
    where = place if near.kind == finding.place else network.place_for(finding.place, near) or place
    true = draw.word((finding.id, where))
    meant = {a: card.word or a for a, card in check.answers.items()}
    right = [a for a, w in meant.items() if w == true]
    wrong = [a for a, w in meant.items() if w != true]
    if not right:
        return [silent], "cannot-tell"  # none of the offered answers fits what is there
    errs = draw.errs(knowledge.words.answer_right[check.usually]["saw"])
    given = rng.choice(wrong if wrong and not check.safety and rng.random() < errs else right)
    return [Entry(check=check.id, answer=given, sure=check.usually)], given


def _graded(key: Key, draw: Draw) -> Entry:
    """One finding read and put into a word."""
    words, true = draw.network.node(key).words, draw.word(key)
    others = [w for w in words if w != true]
    errs = draw.errs(draw.work.knowledge.words.graded_right["sure"])
    word = draw.rng.choice(others) if draw.rng.random() < errs else true
    return Entry(finding=key[0], word=word)


def everything(draw: Draw, entries: Sequence[Entry]) -> list[Entry]:
    """Answers to all looks of the base not among ``entries`` yet, whatever they cost: the most that could be known."""
    done = {e.check for e in entries if e.check}
    out: list[Entry] = []
    for check in draw.work.knowledge.checks.values():
        if check.id not in done:
            out += told(check, draw)[0]
    return out
