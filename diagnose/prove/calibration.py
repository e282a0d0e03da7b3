"""`prove calibration`: whether "7 in 10" comes true seven times in ten, when the world is not quite as the cards say.

The world is a copy of the base in which every strength, every leak and every prior is moved at random, each by its own draw
(log-odds, standard deviation 0.7). A call is drawn in it: a complaint and circumstances, then what is wrong (nothing, one
cause, two at once) as likely as the moved base makes it once somebody complains so, then hidden effects and findings. A
person answers a random handful of the looks that belong to such a call, then, as in a real call, of those that confirm or
clear the likeliest suspects so far; three in ten are not answered, one answer in twenty is wrong. The shipped base, which
knows nothing of the move, reads the posterior through the same stages as `advise`, rules included. The same on unmoved copies
is the model's own world: a check for bugs, no evidence that the cards are right.

Counted are all suspects of at least ``FLOOR``, and the leading suspect of each call alone. Bins hold equally many; the
expected calibration error is the mean gap between what was said and what came true, its interval is a bootstrap over the
copies. Instruments are read by words here, so a lying instrument is not among the suspects.
"""

from __future__ import annotations

import dataclasses
import math
import random
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from diagnose.belief import COMPLAINS, Inference
from diagnose.case import Case
from diagnose.grade import HONEST
from diagnose.network import Key, network_for
from diagnose.prove.drawing import MACHINE, QUALIFIED, VARIED, Draw, pick, told
from diagnose.prove.result import Options
from diagnose.work import Work, prepare, reason
from knowledge.load import Knowledge, load_knowledge
from knowledge.models import Cause, Check, Effect, Finding

SD = 0.7
MISSING = 0.30
COPIES, CALLS = 60, 50
AT_RANDOM, AT_SUSPECTS = 10, 8  # most looks asked of each sort
LIKELIEST = 3
FLOOR = 0.02  # suspects below are mostly right by being small; counting them would hide what happens above
BINS = 15
LIMIT = 0.05
RESAMPLES = 500
NOTHING = "nothing-wrong"


# the moved world ---------------------------------------------------------------------------------------------------------


class _Mover:
    """Gives each strength and prior it is asked for a word of its own with a moved number."""

    def __init__(self, knowledge: Knowledge, rng: random.Random, sd: float) -> None:
        self.words, self.rng, self.sd = knowledge.words, rng, sd
        self.strength: dict[str, float] = {str(w): p for w, p in self.words.strength.items()}
        self.prior: dict[str, float] = {str(w): p for w, p in self.words.prior.items()}

    def chance(self, p: float) -> str:
        """A new word for a chance, moved in log-odds."""
        name = f"moved-{len(self.strength)}"
        self.strength[name] = 1.0 / (1.0 + (1.0 - p) / p * math.exp(-self.rng.gauss(0.0, self.sd)))
        return name

    def strengths(self, gives: Mapping[str, str]) -> dict[str, str]:
        """The same keys with moved strengths."""
        return {key: self.chance(self.words.strength[word]) for key, word in gives.items()}  # type: ignore[index]

    def weight(self, word: str) -> str:
        """A new word for a prior; weights are odds, so the move is a factor."""
        name = f"moved-{len(self.prior)}"
        self.prior[name] = self.words.prior[word] * math.exp(self.rng.gauss(0.0, self.sd))  # type: ignore[index]
        return name

    def leak(self, card: Effect | Finding) -> dict[str, str]:
        """Leaks moved one by one, also those a finding takes from the default."""
        out = self.strengths(card.leak)
        if isinstance(card, Finding):
            silent = [w for w in (card.ordered or card.words) if w != card.neutral and w not in card.leak]
            share = self.words.strength[self.words.default_leak] / max(1, len(silent))
            out |= {w: self.chance(share) for w in silent}
        return out

    def cause(self, card: Cause) -> Cause:
        edges = tuple(e.model_copy(update={"gives": self.strengths(e.gives)}) for e in card.brings)
        return card.model_copy(
            update={
                "brings": edges,
                "prior": self.weight(card.prior),
                "prior_in": {c: self.weight(w) for c, w in card.prior_in.items()},
                "complaints": self.strengths(card.complaints),
            }
        )


def moved_base(knowledge: Knowledge, seed: str, sd: float = SD) -> Knowledge:
    """A copy of the base with every strength, leak and prior moved by its own draw in log-odds."""
    mover = _Mover(knowledge, random.Random(seed), sd)
    causes = {k: mover.cause(c) for k, c in knowledge.causes.items()}
    hidden: dict[str, dict[str, Any]] = {}
    for kind, cards in (("effects", knowledge.effects), ("findings", knowledge.findings)):
        hidden[kind] = {
            k: c.model_copy(
                update={"given": {p: mover.strengths(g) for p, g in c.given.items()}, "leak": mover.leak(c)}
            )
            for k, c in cards.items()
        }
    words = knowledge.words
    complaints = {
        k: c.model_copy(
            update={
                "given": mover.strengths(c.given),
                "when_nothing_is_wrong": mover.chance(words.strength[c.when_nothing_is_wrong]),
            }
        )
        for k, c in knowledge.complaints.items()
    }
    update = {
        "other_complaint": mover.chance(words.strength[words.other_complaint]),
        "total_odds": words.total_odds * math.exp(mover.rng.gauss(0.0, sd)),
        "strength": mover.strength,
        "prior": mover.prior,
    }
    return dataclasses.replace(
        knowledge,
        words=words.model_copy(update=update),
        causes=causes,
        complaints=complaints,
        digest=f"{knowledge.digest}-moved-{seed}",
        memo={},
        **hidden,
    )


# one call ----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Called:
    """One call: what was true (cause ids; empty = nothing), and what the shipped base believed (cause id -> chance).

    proved: causes that a conclusive rule took for proved.
    """

    truth: frozenset[str]
    believed: dict[str, float]
    proved: frozenset[str] = frozenset()


def draw_call(world: Knowledge, shipped: Knowledge, rng: random.Random) -> Called:
    """Draw a call in ``world``, answer some looks, and read what ``shipped`` believes."""
    complaint = rng.choice(sorted(world.complaints))
    context = rng.sample(sorted(world.contexts), rng.choice((0, 0, 1, 2)))
    machine = dict(MACHINE) | {key: pick(rng, values) for key, values in VARIED.values()}
    case = Case.model_validate(
        {
            "complaint": complaint,
            "role": "technician",
            "qualified": QUALIFIED,
            "machine": machine,
            "context": context,
        }
    )
    draw = _drawn(world, case, rng)
    asked = rng.sample(_belonging(shipped, complaint), rng.randint(1, AT_RANDOM))
    case = _told(case, asked, draw)
    # only to choose what is asked next, so without the rule stage, which takes most of the time
    likeliest = sorted(believed(prepare(case, shipped, rules=False)).items(), key=lambda r: (-r[1], r[0]))[:LIKELIEST]
    aimed = {c for name, _ in likeliest if name != NOTHING for c in _shown_by(shipped.causes[name])}
    more = [shipped.checks[c] for c in sorted(aimed - {c.id for c in asked})]
    more = [c for c in more if not c.safety]
    case = _told(case, rng.sample(more, rng.randint(0, min(AT_SUSPECTS, len(more)))), draw)
    truth = frozenset(draw.network.instances[i - 1].cause for i in (draw.instance, draw.second) if i)
    work = prepare(case, shipped)
    proofs = (c.rule.then for c in work.conclusions.of("conclusive"))
    proved = frozenset(then.cause for then in proofs if then.holds and then.cause)
    return Called(truth, {k: v for k, v in believed(work).items() if v >= FLOOR}, proved)


def _told(case: Case, checks: Iterable[Check], draw: Draw) -> Case:
    """The case with these looks answered."""
    entries = [entry for check in checks for entry in told(check, draw)[0]]
    return case.model_copy(update={"entries": (*case.entries, *entries)})


def believed(work: Work) -> dict[str, float]:
    """Chance that each cause is there, by id, and of `nothing-wrong`."""
    network, _, belief = reason(work)
    out: dict[str, float] = {}
    for instance, p in zip(network.instances, belief.causes(), strict=True):
        # the same cause at two places at once is rarer than anything counted here
        out[instance.cause] = out.get(instance.cause, 0.0) + float(p)
    over = belief.over
    out[NOTHING] = float(belief.hypotheses()[(over.first == 0) & (over.second == 0)].sum())
    return out


def _shown_by(cause: Cause) -> tuple[str, ...]:
    """Looks that confirm or clear a cause."""
    return (*cause.confirm, *cause.clear)


def _drawn(world: Knowledge, case: Case, rng: random.Random) -> Draw:
    """What is wrong given that this complaint came, and the hidden effects it hangs on."""
    work = prepare(case, world, rules=False)  # nothing is known yet
    network = network_for(world, work.places, case.context, work.facts)
    key: Key = (f"complaint:{case.complaint}", "unit")
    belief = Inference(network, {key: COMPLAINS}, {}, {}, {HONEST: 1.0}).posterior()
    p = belief.hypotheses()
    row = int(np.searchsorted(np.cumsum(p), rng.random() * float(p.sum())))
    first, second = int(belief.over.first[row]), int(belief.over.second[row])
    draw = Draw("", 0, case, work, network, first, MISSING, rng, second=second)
    chain = []
    above = network.node(key).parent
    while above is not None:
        chain.append(above)
        above = network.node(above).parent
    _settle(draw, key, chain)
    return draw


def _settle(draw: Draw, key: Key, chain: Sequence[Key]) -> None:
    """Draw the effects above the complaint given that it was made: enumerated, exact."""
    states: list[tuple[tuple[int, ...], float]] = [((), 1.0)]
    for name in reversed(chain):
        states = [
            ((*had, k), p * float(q)) for had, p in states for k, q in enumerate(draw.row(name, had[-1] if had else 0))
        ]
    yes = draw.network.node(key).words.index("yes")
    weights = [p * float(draw.row(key, had[-1] if had else 0)[yes]) for had, p in states]
    chosen = draw.rng.choices(states, weights)[0][0]
    for name, k in zip(reversed(chain), chosen, strict=True):
        draw.words[name] = draw.network.node(name).words[k]


def _belonging(knowledge: Knowledge, complaint: str) -> list[Check]:
    """Looks that belong to a complaint: its families, and what confirms or clears the causes reported under it."""
    names = {c.id for c in knowledge.checks.values() if complaint in c.families}
    for cause in knowledge.causes.values():
        if complaint in cause.complaints:
            names |= {*_shown_by(cause)}
    return [knowledge.checks[n] for n in sorted(names) if not knowledge.checks[n].safety]


# counting ----------------------------------------------------------------------------------------------------------------

Pairs = list[tuple[float, bool]]


def pairs_of(calls: Iterable[Called], *, leader: bool) -> Pairs:
    """(what was said, whether it was so) for each suspect, or for the leading one of each call."""
    out: Pairs = []
    for call in calls:
        rows = sorted(call.believed.items(), key=lambda r: -r[1])
        for name, p in rows[:1] if leader else rows:
            out.append((p, not call.truth if name == NOTHING else name in call.truth))
    return out


def bins_of(pairs: Pairs, bins: int = BINS) -> list[tuple[int, float, float]]:
    """(how many, mean said, share that was so) for equally full bins, from the least likely on."""
    ordered = sorted(pairs)
    size = max(1, math.ceil(len(ordered) / bins))
    cut = [ordered[i : i + size] for i in range(0, len(ordered), size)]
    return [(len(b), sum(p for p, _ in b) / len(b), sum(hit for _, hit in b) / len(b)) for b in cut]


def calibration_error(pairs: Pairs, bins: int = BINS) -> float:
    """Mean gap between said and so over equally full bins, weighed by how many each holds (0 for no pairs)."""
    return sum(n * abs(said - so) for n, said, so in bins_of(pairs, bins)) / max(1, len(pairs))


def _interval(groups: Sequence[Sequence[Called]], *, leader: bool, seed: int) -> tuple[float, float]:
    """Bootstrap over the copies (calls of one copy share its move)."""
    rng = random.Random(seed)
    each = [pairs_of(g, leader=leader) for g in groups]
    got = sorted(calibration_error([p for g in rng.choices(each, k=len(each)) for p in g]) for _ in range(RESAMPLES))
    return got[int(0.025 * len(got))], got[min(len(got) - 1, int(0.975 * len(got)))]


def counted(groups: Sequence[Sequence[Called]], seed: int) -> dict[str, Any]:
    """Numbers of one world: for all suspects and for the leaders."""
    out: dict[str, Any] = {"copies": len(groups), "calls": sum(len(g) for g in groups)}
    every = [c for g in groups for c in g]
    out["with_two_causes"] = sum(len(c.truth) == 2 for c in every)
    out["with_nothing_wrong"] = sum(not c.truth for c in every)
    for name, leader in (("suspects", False), ("leaders", True)):
        pairs = pairs_of(every, leader=leader)
        low, high = _interval(groups, leader=leader, seed=seed)
        out[name] = {
            "counted": len(pairs),
            "error": round(calibration_error(pairs), 4),
            "interval_95": [round(low, 4), round(high, 4)],
            "said_minus_so": round(sum(p - hit for p, hit in pairs) / max(1, len(pairs)), 4),
            **_proved(every, leader),
            "bins": [[n, round(p, 4), round(hit, 4)] for n, p, hit in bins_of(pairs)],
        }
    return out


def _proved(calls: Iterable[Called], leader: bool) -> dict[str, Any]:
    """Leading suspects that a rule took for proved: how many, mean said, share that was so. One answer in twenty is wrong."""
    if not leader:
        return {}
    rows = []
    for call in calls:
        name, p = max(call.believed.items(), key=lambda r: r[1], default=("", 0.0))
        if name in call.proved:
            rows.append((p, name in call.truth))
    count = max(1, len(rows))
    return {"proved": [len(rows), round(sum(p for p, _ in rows) / count, 4), round(sum(h for _, h in rows) / count, 4)]}


def groups_of(knowledge: Knowledge, seed: int, sd: float, copies: int, calls: int = CALLS) -> list[list[Called]]:
    """Calls in each of ``copies`` moved worlds."""
    out = []
    for copy in range(copies):
        world = moved_base(knowledge, f"{seed}:{copy}", sd) if sd else knowledge
        rng = random.Random(f"{seed}:{copy}:{sd}:calls")
        out.append([draw_call(world, knowledge, rng) for _ in range(calls)])
    return out


# the proof ---------------------------------------------------------------------------------------------------------------


def prove_calibration(options: Options) -> tuple[str, dict[str, Any]]:
    """Moved worlds, then the model's own. ``draws`` sets the number of moved copies; a plot is written beside the result."""
    knowledge = load_knowledge()
    start = time.perf_counter()
    copies = options.draws or COPIES
    moved = counted(groups_of(knowledge, options.seed, SD, copies), options.seed)
    own = counted(groups_of(knowledge, options.seed + 1, 0.0, max(1, copies // 3)), options.seed)
    if options.out:
        Path(options.out).with_suffix(".svg").write_text(plot({"moved": moved, "own": own}), encoding="utf-8")
    return knowledge.digest, {
        "moved_by_log_odds_sd": SD,
        "answers_missing": MISSING,
        "floor": FLOOR,
        "limit": LIMIT,
        "moved": moved,
        "own": own,
        "passes": moved["suspects"]["error"] <= LIMIT and moved["leaders"]["error"] <= LIMIT,
        "seconds": round(time.perf_counter() - start, 1),
    }


WORLDS = {"moved": "moved world", "own": "the model's own world"}


def calibration_text(result: Mapping[str, Any]) -> str:
    """The table for people."""
    lines = [f"cards {result['knowledge']}"]
    for world, title in WORLDS.items():
        one = result[world]
        lines.append(
            f"{title}: {one['calls']} calls in {one['copies']} copies, {one['with_two_causes']} with two causes, "
            f"{one['with_nothing_wrong']} with nothing wrong"
        )
        for name in ("suspects", "leaders"):
            part = one[name]
            low, high = part["interval_95"]
            lines.append(
                f"  {name}: expected calibration error {part['error']:.3f} (95 %: {low:.3f} to {high:.3f}), "
                f"said minus so {part['said_minus_so']:+.3f}, {part['counted']} counted"
            )
            if "proved" in part:
                many, said, so = part["proved"]
                lines.append(f"    taken for proved by a rule: {many}, said {said:.2f}, so {so:.2f}")
            lines.append("    said  " + " ".join(f"{p:5.2f}" for _, p, _ in part["bins"]))
            lines.append("    so    " + " ".join(f"{hit:5.2f}" for _, _, hit in part["bins"]))
    lines.append("passes" if result["passes"] else "DOES NOT PASS")
    return "\n".join(lines)


def plot(worlds: Mapping[str, Mapping[str, Any]], side: int = 300) -> str:
    """Said against so, suspects and leaders, a panel a world; bars are twice the binomial standard error."""
    edge, top = 50, 40
    panels = []
    for number, (world, one) in enumerate(worlds.items()):
        left = edge + number * (side + edge)

        def at(x: float, y: float, left: int = left) -> str:
            return f"{left + x * side:.1f},{top + (1.0 - y) * side:.1f}"

        parts = [
            f'<rect x="{left}" y="{top}" width="{side}" height="{side}" fill="none" stroke="#111"/>',
            f'<text x="{left}" y="{top - 14}">{WORLDS[world]}</text>',
            f'<polyline points="{at(0, 0)} {at(1, 1)}" stroke="#888" stroke-dasharray="4 4" fill="none"/>',
        ]
        for tick in (0.0, 0.5, 1.0):
            parts.append(
                f'<text x="{left + tick * side:.1f}" y="{top + side + 18}" text-anchor="middle">{tick:g}</text>'
                f'<text x="{left - 6}" y="{top + (1 - tick) * side + 4:.1f}" text-anchor="end">{tick:g}</text>'
            )
        for name, dash in (("suspects", ""), ("leaders", ' stroke-dasharray="7 3"')):
            rows = one[name]["bins"]
            line = " ".join(at(p, hit) for _, p, hit in rows)
            parts.append(f'<polyline points="{line}" fill="none" stroke="#0b4f9e" stroke-width="2"{dash}/>')
            for n, p, hit in rows:
                wide = 2.0 * math.sqrt(max(hit * (1.0 - hit), 1.0 / (4.0 * n)) / n)
                low, high = at(p, max(0.0, hit - wide)), at(p, min(1.0, hit + wide))
                parts.append(f'<polyline points="{low} {high}" stroke="#0b4f9e" stroke-opacity="0.5" fill="none"/>')
        panels.append("".join(parts))
    width, height = edge + len(worlds) * (side + edge), top + side + 60
    foot = "across: chance said; up: share that was so. Full line: all suspects; broken: the leading one."
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" font-family="sans-serif" '
        f'font-size="12"><title>Calibration: chance said against share that was so</title>'
        f'<rect width="100%" height="100%" fill="#fff"/>{"".join(panels)}'
        f'<text x="{edge}" y="{height - 14}">{foot}</text></svg>\n'
    )
