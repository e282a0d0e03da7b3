"""Why not this one? How a cause stands to the leader of a call, which evidence makes the difference, and what would bring it up.

The odds of a cause alone against the leader alone are taken apart exactly: how common each is here, how often it is reported so,
and what each group of findings says. Findings that hang on one hidden effect speak together, since they say it once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from pydantic import Field

from diagnose.advice import Lead, Part, Reason
from diagnose.belief import Inference
from diagnose.case import Case
from diagnose.looks import Gates, allowed, fits_machine, gates_of, tells_for, unmet_needs
from diagnose.match import match, tokens
from diagnose.network import Array, Key
from diagnose.phrases import who_may
from diagnose.places import spell
from diagnose.suspects import Row, Standing, liar_reasons, likelihoods_by_cause, reasons_of, seen_text, weights_of
from diagnose.turning import WhatIf
from diagnose.work import prepare, reason
from knowledge.load import Knowledge
from knowledge.models import Check
from shared.errors import ChillerError

MOST_LOOKS = 3
TRIED_LOOKS = 6
LEAST_DIFFERENCE = math.log10(1.5)  # less than half as likely again is no difference
ABOUT_AS_WELL = 0.95  # share of the best match from which plain words fit a cause about as well; the likelier is meant
NOTHING = "nothing-wrong"


class Raises(Part):
    """A look that would bring a suspect up: the answer that does it, how likely the suspect is then, and who leads.

    may: whether the person at the machine may do it; first: safety questions to be answered before; who: who may at all.
    """

    check: str
    place: str
    title: str
    answer: str
    probability: float
    leads: Lead
    may: bool
    first: tuple[str, ...]
    who: str


class Why(Part):
    """Where a suspect stands and why. rank from 1; against_whom: the leader, or the next if it leads itself.

    difference: log10 of the odds of this one against that one, by what makes it, the largest first; odds: their sum.
    """

    suspect: Lead
    rank: int
    against_whom: Lead
    common: str
    reported: str
    for_: tuple[Reason, ...] = Field(alias="for")
    against: tuple[Reason, ...]
    difference: tuple[Reason, ...]
    odds: float
    raises: tuple[Raises, ...]
    stopped: str = ""


def why(case: Case, knowledge: Knowledge, cause: str, place: str | None = None) -> Why:
    """Why ``cause`` (id, `nothing-wrong`, `instrument:...`, or words that a cause card uses) stands where it does in a call.

    place: one of several places of it; without it the likeliest. Raises ChillerError if no such cause or place is known.
    """
    work = prepare(case, knowledge)
    network, inference, belief = reason(work)
    what = WhatIf(work, network, inference, belief)
    ranking = what.now.ranking()
    liars = {r.mode: inference.modes[r.mode].title for r in ranking if r.mode}
    row = _row(what, ranking, causes_named(cause, knowledge, liars), place)
    other = next(r for r in ranking if r != row)
    single = likelihoods_by_cause(network, inference)
    weights = weights_of(single, belief.causes())
    for_, against = reasons_of(work, weights, row.index) if row.index >= 0 else ((), ())
    if row.mode:
        for_, against = liar_reasons(work, network, inference, row.mode, single, belief.causes())
    difference = _difference(what, row, other)
    stop = next((c.rule.then.reason for c in work.conclusions.of("stop") if c.rule.then.ends), "")
    return Why(
        suspect=what.named(row),
        rank=1 + ranking.index(row),
        against_whom=what.named(other),
        common=_common(what, row),
        reported=_reported(what, row),
        **{"for": for_},
        against=against,
        difference=tuple(r for r in difference if abs(r.weight) >= LEAST_DIFFERENCE),
        odds=round(sum(r.weight for r in difference), 3),
        raises=() if stop else _raises(what, row),
        stopped=stop,
    )


def causes_named(text: str, knowledge: Knowledge, liars: Mapping[str, str]) -> list[str]:
    """The cause id that was given, or those that plain words fit about equally well; liars: id and title of each suspected
    instrument, the likeliest first. Raises ChillerError when nothing fits.
    """
    text = text.strip()
    if text in knowledge.causes or text == NOTHING or text.removeprefix("instrument:") in liars:
        return [text]
    wanted = set(tokens(text))
    liar = next((name for name, title in liars.items() if wanted and wanted <= set(tokens(title))), "")
    if liar:
        return [liar]
    found = [m for m in match(text, knowledge, most=len(knowledge.causes)) if m.kind == "cause"]
    if not found:
        raise ChillerError(
            "no such cause",
            given=text[:60],
            allowed="an id of `causes`, nothing-wrong, an instrument suspected in this call, or words of a cause",
            do="look it up with `match`",
        )
    return [m.id for m in found if m.score >= ABOUT_AS_WELL * found[0].score]


def _row(what: WhatIf, ranking: Sequence[Row], causes: Sequence[str], place: str | None) -> Row:
    """The likeliest of these causes, at the place asked for."""
    named = [(row, what.named(row)) for row in ranking]
    mine = [(r, lead) for r, lead in named if {lead.cause, lead.cause.removeprefix("instrument:")} & set(causes)]
    if not mine:
        raise ChillerError("this machine has no place for that cause", given=causes[0], do="check the machine card")
    fitting = [row for row, lead in mine if place in (None, "", lead.place)]
    if not fitting:
        places = ", ".join(sorted({lead.place for _, lead in mine}))
        raise ChillerError("that cause is not possible there", given=str(place), allowed=places, do="name one of these")
    return fitting[0]


# the difference ----------------------------------------------------------------------------------------------------------


def _difference(what: WhatIf, row: Row, other: Row) -> list[Reason]:
    """log10 odds of ``row`` alone against ``other`` alone, by what makes them; they add up."""
    work, network, inference, belief = what.work, what.network, what.inference, what.belief
    singles, names = network.singles(), belief.names
    at = [(names.index(r.mode), r.index + 1) for r in (row, other)]

    def between(log: Array) -> float:
        return float(log[at[0]] - log[at[1]]) / math.log(10.0)

    prior = np.broadcast_to(singles.log_prior, (len(names), len(singles.first)))
    proved = np.broadcast_to(inference.log_prior(singles), prior.shape) - prior
    liars = np.array([inference.log_mode(n) for n in names])[:, None]
    chance = np.array(
        [math.log(inference.modes[n].prior / (1 - inference.modes[n].prior)) if n else 0.0 for n in names]
    )
    impossible = np.broadcast_to(liars - chance[:, None], prior.shape)
    out = [
        _item("how common", "how common the two are here", between(prior + chance[:, None])),
        _item("proved", "what was seen or proved about them for certain", between(proved)),
        _item("contradiction", "readings that cannot be, or instruments that disagree", between(impossible)),
    ]
    for root, keys in _by_root(inference).items():
        one = Inference(
            network,
            {k: inference.likelihoods[k] for k in keys},
            {m: {k: v for k, v in c.items() if k in keys} for m, c in inference.by_mode.items()},
            inference.modes,
            {},
        )
        text = "; ".join(dict.fromkeys(seen_text(work, k) for k in keys))
        out.append(_item(root[0].removeprefix("effect:"), text, between(one.log_likelihood(singles)), root[1]))
    if work.earlier:
        rows = [int(np.flatnonzero((belief.over.first == i) & (belief.over.second == 0))[0]) for _, i in at]
        p = [max(float(belief.joint[m, r]), 1e-300) for (m, _), r in zip(at, rows, strict=True)]
        rest = math.log10(p[0] / p[1]) - sum(r.weight for r in out)
        out.append(_item("earlier", "what was seen before the last remedy, and that it did not cure", rest))
    return sorted(out, key=lambda r: -abs(r.weight))


def _item(name: str, text: str, weight: float, place: str = "unit") -> Reason:
    return Reason(finding=name, place=place, text=text, weight=round(weight, 6) + 0.0)


def _by_root(inference: Inference) -> dict[Key, list[Key]]:
    out: dict[Key, list[Key]] = {}
    for key in inference.likelihoods:
        out.setdefault(inference.root_of(key), []).append(key)
    return out


def _common(what: WhatIf, row: Row) -> str:
    """How common it is, and what of the circumstances changes that."""
    if row.mode:
        return f"about {1000 * what.inference.modes[row.mode].prior:.0f} such instruments in 1000"
    if row.index < 0:
        return "hardly anybody calls about a machine that is in order"
    case, knowledge = what.work.case, what.work.knowledge
    cause = what.cause(row)
    here = [c for c in case.context if c in cause.prior_in and cause.prior_in[c] != cause.prior]
    changed = [f"{_plain(cause.prior_in[c])} here ({knowledge.contexts[c].title})" for c in here]
    return "; ".join([_plain(cause.prior), *changed])


def _reported(what: WhatIf, row: Row) -> str:
    """How often it is reported as this call was."""
    case, words = what.work.case, what.work.knowledge.words
    complaint = what.work.knowledge.complaints[case.complaint]
    if row.mode:
        often: str = words.liar_complaint
    elif row.index < 0:
        often = complaint.when_nothing_is_wrong
    else:
        listed = what.cause(row).complaints
        if case.complaint not in listed:
            return f"not listed under this complaint, so {_plain(words.other_complaint)}"
        often = listed[case.complaint]
    return _plain(often)


def _plain(word: str) -> str:
    return word.replace("-", " ")


# what would bring it up --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Asked:
    """A look at a place, with the findings it tells that this suspect moves."""

    check: Check
    place: str
    keys: tuple[Key, ...]


def _raises(what: WhatIf, row: Row) -> tuple[Raises, ...]:
    """The looks whose answer would bring the suspect up most, those it would lead after first."""
    gates = gates_of(what.work)
    found = []
    for asked in _looks_at(what, row):
        best = max((_after(what, row, asked, key, word, gates) for key, word in _told(what, asked)), key=_height)
        if best.probability > what.now.of(row):
            found.append(best)
    found.sort(key=_height, reverse=True)
    return tuple(found[:MOST_LOOKS])


def _height(one: Raises) -> float:
    return one.probability


def _looks_at(what: WhatIf, row: Row) -> list[_Asked]:
    """Looks not done yet that show or clear the suspect."""
    knowledge, work = what.work.knowledge, what.work
    done = {e.check for e in work.case.entries if e.check}
    if row.mode:
        liar = what.inference.modes[row.mode]
        shows = {f for f, _ in liar.shows}
        names = [c.id for c in knowledge.checks.values() if c.finding in shows]
    elif row.index < 0:
        names = list(knowledge.complaints[work.case.complaint].first)
    else:
        cause = what.cause(row)
        brought = {e.finding for e in cause.brings if e.finding}
        names = [*cause.confirm, *cause.clear, *(c.id for c in knowledge.checks.values() if c.finding in brought)]
    tells = tells_for(work, what.network)
    out = []
    for name in dict.fromkeys(names):
        check = knowledge.checks.get(name)
        if check is None or name in done or not fits_machine(check, work.facts):
            continue
        place = _place(what, check, row)
        keys = tuple(k for k in tells(check, place) if row.index < 0 or _moves(what, row.index, k))
        if keys:
            out.append(_Asked(check, place, keys))
    return out[:TRIED_LOOKS]


def _moves(what: WhatIf, index: int, key: Key | None) -> bool:
    """Whether a cause moves a finding, itself or through an effect above it."""
    while key is not None:
        node = what.network.node(key)
        if node.local[index + 1]:
            return True
        key = node.parent
    return False


def _place(what: WhatIf, check: Check, row: Row) -> str:
    """Where the look is done: at the suspect's place if the look is for such places."""
    network = what.network
    near = network.instances[row.index].place if row.index >= 0 else network.places["unit"]
    return network.place_for(check.place, near) or next(
        (p.id for p in network.places.values() if p.kind == check.place), "unit"
    )


def _told(what: WhatIf, asked: _Asked) -> list[tuple[Key, str]]:
    """The findings and words a look may tell."""
    check = asked.check
    if check.answers:
        return [(asked.keys[0], word) for word in dict.fromkeys(a.word or i for i, a in check.answers.items())]
    cards = what.work.knowledge.findings
    return [(key, word) for key in asked.keys for word in (cards[key[0]].ordered or cards[key[0]].words)]


def _after(what: WhatIf, row: Row, asked: _Asked, key: Key, word: str, gates: Gates) -> Raises:
    check = asked.check
    then: Standing = what.after({key: what.told(check, key, word)})
    before = unmet_needs(what.work, check.needs)
    texts = [a.text.rstrip(".") for i, a in check.answers.items() if (a.word or i) == word]
    where = f" ({spell(asked.place)})" if ":" in asked.place and asked.place in what.network.places else ""
    folded = asked.place in what.network.places and what.network.places[asked.place].folded
    return Raises(
        check=check.id,
        place=asked.place,
        title=check.title + ("" if folded else where),
        answer=" or ".join(texts) or what.work.knowledge.findings[key[0]].texts[word],
        probability=min(1.0, then.of(row)),
        leads=what.lead(then),
        may=allowed(check, what.work.case, gates) and before is not None,
        first=tuple(what.work.knowledge.checks[c].title for c in before or ()),
        who=who_may(check.who, check.needs_qualified),
    )
