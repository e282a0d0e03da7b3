"""A card as readable sentences, with what the other cards say about it: for whoever keeps the base and does not read YAML.

One function a kind of card; each returns (heading, lines) sections, so that a terminal and a page can draw the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from knowledge.load import Knowledge
from knowledge.models import (
    Cause,
    Check,
    Complaint,
    Condition,
    Context,
    Effect,
    Finding,
    Instrument,
    Rule,
    Setup,
    Source,
    Specimen,
)
from knowledge.texts import english, languages, telephone
from shared.errors import ChillerError
from shared.quantities import QUANTITIES

Section = tuple[str, list[str]]
KINDS = (
    "causes",
    "checks",
    "setups",
    "rules",
    "complaints",
    "findings",
    "effects",
    "contexts",
    "instruments",
    "sources",
)


def found(knowledge: Knowledge, name: str) -> list[tuple[str, str]]:
    """(kind, id) of the cards called ``name`` or "kind/name"; the same id may serve a cause and a finding.

    Raises ChillerError when there is none.
    """
    kind, _, card_id = name.rpartition("/")
    kinds = [k for k in KINDS if not kind or k in (kind, f"{kind}s")]
    out = [(k, card_id) for k in kinds if card_id in getattr(knowledge, k)]
    if ("setups", card_id) in out:
        out = [one for one in out if one[0] != "checks"]  # a set-up is a look too; it is shown once
    if not out:
        near = [i for k in KINDS for i in getattr(knowledge, k) if card_id and card_id in i]
        raise ChillerError(
            "no such card",
            given=name,
            allowed=f"for example {', '.join(near[:5])}" if near else "an id of a card, or kind/id",
            do="`python -m diagnose match 'WORDS'` finds ids",
        )
    return out


def describe(knowledge: Knowledge, kind: str, card_id: str) -> list[Section]:
    """Sections of one card, the first with its title."""
    card = getattr(knowledge, kind)[card_id]
    singular = kind.removesuffix("s")
    file = knowledge.where.get(f"{kind}/{card_id}", "?")
    head: Section = (f"{card.title} ({singular} {card_id}, cards/{file})", [])
    sections: list[Section] = [head, *_DESCRIBE[kind](knowledge, card)]
    return [(title, lines) for number, (title, lines) in enumerate(sections) if lines or not number]


def as_text(sections: Iterable[Section]) -> str:
    """Sections for a terminal."""
    out: list[str] = []
    for number, (title, lines) in enumerate(sections):
        out += [title] if not number else ["", f"{title}:"]
        out += [f"  {line}" for line in lines]
    return "\n".join(out)


# words ------------------------------------------------------------------------------------------------------------------


def _clauses(gives: Mapping[str, str], texts: Callable[[str], str]) -> str:
    return "; ".join(f"{often.replace('-', ' ')} {texts(word)}" for word, often in gives.items())


def _on(when: Mapping[str, Iterable[str]]) -> str:
    parts = [f"{name.replace('-', ' ')} {' or '.join(words)}" for name, words in when.items()]
    return f" (only with {', '.join(parts)})" if parts else ""


def _effect_word(effect: Effect) -> Callable[[str], str]:
    return lambda word: f"{effect.title} {word}"


def _finding_word(finding: Finding) -> Callable[[str], str]:
    return lambda word: finding.texts.get(word, word)


def _titles(ids: Iterable[str], cards: Mapping[str, Any]) -> list[str]:
    return [f"{cards[i].title} ({i})" if i in cards else i for i in ids]


def _who(who: str, qualified: Iterable[str]) -> str:
    names = {"customer": "anyone on site", "agent": "the telephone desk", "technician": "a technician"}
    need = " and ".join(qualified)
    return names.get(who, who) + (f" qualified for {need}" if need else "")


def _hazards(hazards: Iterable[str]) -> str:
    named = [h.replace("-", " ") for h in hazards if h != "none"]
    return f" Hazards: {', '.join(named)}." if named else ""


def _needs(knowledge: Knowledge, needs: Mapping[str, Iterable[str]]) -> list[str]:
    return [f"First: {knowledge.checks[c].title} must be {' or '.join(w)} ({c})." for c, w in needs.items()]


# one kind after the other -------------------------------------------------------------------------------------------------


def _cause(knowledge: Knowledge, card: Cause) -> list[Section]:
    brings = []
    for edge in card.brings:
        if edge.effect:
            texts = _effect_word(knowledge.effects[edge.effect])
        else:
            texts = _finding_word(knowledge.findings[edge.finding or ""])
        why = f", because {edge.why}" if edge.why else ""
        brings.append(f"{_clauses(edge.gives, texts)}{_on(edge.when)}{why}.")
    effects = {e.effect for e in card.brings if e.effect}
    follows = [
        f"When {effect.title} is {above}: {_clauses(gives, _finding_word(f))}."
        for f in knowledge.findings.values()
        if f.effect in effects
        for effect in [knowledge.effects[f.effect or ""]]
        for above, gives in f.given.items()
        if any(above in e.gives for e in card.brings if e.effect == f.effect)
    ]
    prior = [f"A {card.prior.replace('-', ' ')} cause at each {card.place}."]
    prior += [
        f"{word.replace('-', ' ').capitalize()} when: {knowledge.contexts[c].plain}"
        for c, word in card.prior_in.items()
    ]
    prior += [f"Ruled out where this is told otherwise{_on(card.when)}."] if card.when else []
    remedy = card.remedy
    fix = [remedy.text]
    fix.append(
        f"{remedy.minutes:g} minutes, by {_who(remedy.who, remedy.needs_qualified)}; it {remedy.cures.replace('-', ' ')}; "
        f"{'can be undone' if remedy.reversible else 'cannot be undone'}.{_hazards(remedy.hazards)}"
    )
    fix += [f"Else hand over to: {remedy.hand_over_to}."] if remedy.hand_over_to else []
    fix += _needs(knowledge, remedy.needs)
    fix += [f"Parts: {', '.join(remedy.parts)}."] if remedy.parts else []
    fix += [f"Tools: {', '.join(remedy.tools)}."] if remedy.tools else []
    rules = [
        f"{r.title} ({r.id})"
        for r in knowledge.rules.values()
        if card.id == r.then.cause or remedy.id in r.then.forbid_remedies
    ]
    changes = [
        f"{c.at}: {c.key} from {c.was} to {c.now} ({c.confirmed} of {c.calls} closed calls): {c.reason}"
        for c in knowledge.changes.values()
        if c.cause == card.id
    ]
    kind = "Normal, only misread. " if card.kind == "normal" else ""
    return [
        ("How it shows", [kind + card.shows]),
        ("Why", [card.why]),
        ("When this is wrong", [card.wrong_when]),
        ("Also called", [", ".join(card.also)] if card.also else []),
        ("How likely", prior),
        ("It brings", brings),
        ("What follows from that", follows),
        ("Reported as", [f"{knowledge.complaints[c].title} ({c}): {often}" for c, often in card.complaints.items()]),
        ("Looks that confirm it", _titles(card.confirm, knowledge.checks)),
        ("Looks that clear it", _titles(card.clear, knowledge.checks)),
        ("Nothing tells it from", _titles(card.inseparable, knowledge.causes)),
        ("Remedy", fix),
        ("Proof of the cure", [f"{card.proof} ({card.proof_minutes:g} minutes)"]),
        ("Cautions", list(card.cautions)),
        ("Rules about it", rules),
        ("Accepted changes", changes),
        ("Sources", _titles(card.sources, knowledge.sources)),
    ]


def _check(knowledge: Knowledge, card: Check) -> list[Section]:
    said = english(card)
    finding = knowledge.findings.get(card.finding or "")
    answers = []
    for key, answer in card.answers.items():
        word = answer.word or key
        means = finding.texts.get(word, word) if finding else word
        spoken = f' (on the telephone: "{said[key]}")' if answer.say else ""
        answers.append(f"{key}: {answer.text}{spoken}. It means: {means}.")
    read = [f"Reads {', '.join(card.reads)}; from that follow:"] if card.reads else []
    read += [f"{knowledge.findings[t].title} ({t})" for t in card.tells]
    other = []
    if card.telephone:
        for language in languages(knowledge)[1:]:
            book = knowledge.texts[language]
            if card.id in book.checks:
                other.append(
                    f"{book.title} (review: {book.review}): {telephone(knowledge, card.id, language).telephone}"
                )
    about = [
        f"{card.minutes:g} minutes"
        + (f" and {card.wait_minutes:g} of waiting" if card.wait_minutes else "")
        + f", by {_who(card.who, card.needs_qualified)}, machine {card.state.replace('-', ' ')}; answers are usually "
        f"{card.usually.replace('-', ' ')}.{_hazards(card.hazards)}"
    ]
    about += [f"Opens: {card.access}."] if card.access else []
    about += [f"Tools: {', '.join(card.tools)}."] if card.tools else []
    about += [f"Asked{_on(card.when)}."] if card.when else []
    about += _needs(knowledge, card.needs)
    by = {
        "confirms": [c.id for c in knowledge.causes.values() if card.id in c.confirm],
        "clears": [c.id for c in knowledge.causes.values() if card.id in c.clear],
    }
    return [
        ("For a technician", [card.technician]),
        ("On the telephone", ([card.telephone] if card.telephone else []) + other),
        ("Listen for", [card.listen_for] if card.listen_for else []),
        ("Why", [card.why]),
        ("Answers", answers),
        ("Readings", read),
        ("What it takes", about),
        ("Cautions", list(card.cautions)),
        ("Among the first looks of", _titles(card.families, knowledge.complaints)),
        ("It confirms", _titles(by["confirms"], knowledge.causes)),
        ("It clears", _titles(by["clears"], knowledge.causes)),
        ("Sources", _titles(card.sources, knowledge.sources)),
    ]


def _setup(knowledge: Knowledge, card: Setup) -> list[Section]:
    said = {"gone": "the trouble is gone", "moved": "the trouble moves along", "unchanged": "unchanged"}
    cooled = {
        "no": "It is made to learn something.",
        "part": "While the trouble is gone by it the site is cooled in part.",
        "full": "While the trouble is gone by it the site is cooled.",
    }
    other = [f"Read otherwise: {', '.join(QUANTITIES[q].title for q in card.shifts)}."] if card.shifts else []
    other += [f"Not looked at running: {', '.join(card.rests)}."] if card.rests else []
    look = dict(_check(knowledge, card))
    took = look.pop("What it takes")
    return [
        ("What is changed", look.pop("For a technician")),
        ("How it is put back", [f"{card.undo} ({card.undo_minutes:g} minutes)"]),
        ("What stays in force", [card.stays]),
        ("What may come of it", [f"{said[o]}: {card.answers[a].text}" for o, a in card.outcomes.items()]),
        ("What it is for", [cooled[card.cools]]),
        ("What is otherwise while it stands", _titles(card.ages, knowledge.findings)),
        ("Readings and places meanwhile", other),
        ("What it takes", took),
        *look.items(),
    ]


def _condition(knowledge: Knowledge, one: Condition) -> str:
    if one.finding:
        finding = knowledge.findings[one.finding]
        text = " or ".join(finding.texts.get(w, w) for w in one.words)
        grade = " (leaning is enough)" if one.leaning else ""
        place = {"same": " in the same circuit", "other": " in another circuit", None: ""}[one.place]
        return f"{text}{place}{grade}"
    return f"{(one.fact or '').replace('-', ' ')} is {' or '.join(one.words)}"


def _specimen(one: Specimen) -> str:
    parts = [f"{k} {w}" for k, w in one.findings.items()] + [f"{k} {w}" for k, w in one.facts.items()]
    return ", ".join(parts)


def _rule(knowledge: Knowledge, card: Rule) -> list[Section]:
    then = card.then
    out = []
    if then.state:
        out.append(f"The machine counts as {then.state}.")
    if then.hold:
        out.append(f"Hold: {then.hold}. Lifted by: {then.release}.")
    if card.kind == "not-judged":
        titles = ", ".join(knowledge.findings[f].title for f in then.findings)
        out.append(f"Not judged: {titles}. {then.reason} Judgeable after: {then.release}")
    if card.kind == "derived-finding" and then.finding:
        finding = knowledge.findings[then.finding]
        weighed = f", in place of {', '.join(then.findings)}" if then.findings else ""
        out.append(f"Together that is one finding: {finding.texts.get(then.word or '', then.word or '')}{weighed}.")
    if card.kind == "contradiction":
        out.append(
            f"These cannot all be true: {then.reason} Settled by: {', '.join(_titles(then.settle, knowledge.checks))}."
        )
    if then.cause:
        holds = "proves" if then.holds else "rules out"
        out.append(f"That {holds} {knowledge.causes[then.cause].title} ({then.cause}).")
    if card.kind == "stop":
        out.append(
            f"Stop, to protect {then.protects}: {then.reason} Make safe: {then.make_safe} Hand over to: {then.hand_over_to}."
        )
    forbidden = [h.replace("-", " ") for h in (*then.forbid_hazards, *then.forbid_states, *then.forbid_remedies)]
    if forbidden:
        out.append(f"Until then nothing is offered with: {', '.join(forbidden)}.")
    if then.ask_first:
        out.append(f"Ask first: {knowledge.checks[then.ask_first].title} ({then.ask_first}).")
    return [
        ("When", [_condition(knowledge, c) for c in card.when]),
        ("Unless", [_condition(knowledge, c) for c in card.unless]),
        (f"Then ({card.kind}, for each {card.place})", out),
        ("Because", [card.because]),
        ("When this is wrong", [card.wrong_when]),
        ("Fires on", [_specimen(s) for s in card.fires_on]),
        ("Quiet on", [_specimen(s) for s in card.quiet_on]),
        ("Sources", _titles(card.source, knowledge.sources)),
    ]


def _complaint(knowledge: Knowledge, card: Complaint) -> list[Section]:
    rank = list(knowledge.words.strength)
    suspects = sorted(
        (c for c in knowledge.causes.values() if card.id in c.complaints),
        key=lambda c: (rank.index(c.complaints[card.id]), c.title),
    )
    above = []
    if card.effect:
        effect = knowledge.effects[card.effect]
        above = [f"{often.replace('-', ' ')} when {effect.title} is {word}" for word, often in card.given.items()]
    return [
        ("In plain words", [card.plain]),
        ("People say", [", ".join(card.words)] if card.words else []),
        ("Reported", [*above, f"{card.when_nothing_is_wrong.replace('-', ' ')} when nothing is wrong"]),
        ("First looks", _titles(card.first, knowledge.checks)),
        ("Cautions", list(card.cautions)),
        ("Causes that are reported so", [f"{c.complaints[card.id]}: {c.title} ({c.id})" for c in suspects]),
        ("Sources", _titles(card.sources, knowledge.sources)),
    ]


def _bringers(knowledge: Knowledge, name: str, kind: str, texts: Callable[[str], str]) -> list[str]:
    out = []
    for cause in knowledge.causes.values():
        for edge in cause.brings:
            if getattr(edge, kind) == name:
                out.append(f"{cause.title} ({cause.id}): {_clauses(edge.gives, texts)}{_on(edge.when)}")
    return out


def _finding(knowledge: Knowledge, card: Finding) -> list[Section]:
    scale = card.ordered or card.words
    order = "On a scale from low to high" if card.ordered else "Without order"
    above = []
    if card.effect:
        effect = knowledge.effects[card.effect]
        above = [
            f"When {effect.title} is {word}: {_clauses(gives, _finding_word(card))}."
            for word, gives in card.given.items()
        ]
    shown = [c.id for c in knowledge.checks.values() if card.id == c.finding or card.id in c.tells]
    bands = [
        f"{b.quantity} at {', '.join(b.limits)}, give or take {b.soft}{_on(b.when)}"
        + (f"; {b.note}" if b.note else "")
        + f" (source: {', '.join(b.source)})"
        for b in knowledge.bands.values()
        if b.finding == card.id
    ]
    rules = [
        f"{r.title} ({r.id})"
        for r in knowledge.rules.values()
        if card.id == r.then.finding or any(c.finding == card.id for c in (*r.when, *r.unless))
    ]
    return [
        (f"{order}; healthy is {card.neutral}", [f"{w}: {card.texts[w]}" for w in scale]),
        ("Means something when the machine is", [", ".join(card.states)] if card.states != ("any",) else []),
        ("Not weighed", [] if card.weighed else ["It is shown and may be read by rules, but moves no likelihood."]),
        ("Shows", above),
        ("Seen without any known cause", [f"{w}: {often}" for w, often in card.leak.items()]),
        ("Limits", bands),
        ("Brought by", _bringers(knowledge, card.id, "finding", _finding_word(card))),
        ("Looks that show it", _titles(shown, knowledge.checks)),
        ("Rules that read or make it", rules),
    ]


def _effect(knowledge: Knowledge, card: Effect) -> list[Section]:
    above = []
    if card.parent:
        parent = knowledge.effects[card.parent]
        above = [f"When {parent.title} is {w}: {_clauses(g, _effect_word(card))}." for w, g in card.given.items()]
    shows = [
        f"When {card.title} is {word}: {_clauses(gives, _finding_word(f))}."
        for f in knowledge.findings.values()
        if f.effect == card.id
        for word, gives in f.given.items()
    ]
    return [
        (f"Hidden state of the {card.place}; healthy is {card.neutral}", [", ".join(card.ordered)]),
        ("Follows from", above),
        ("Shows", shows),
        ("Brought by", _bringers(knowledge, card.id, "effect", _effect_word(card))),
    ]


def _context(knowledge: Knowledge, card: Context) -> list[Section]:
    shifts = [
        f"{c.title} ({c.id}): {c.prior} becomes {c.prior_in[card.id]}"
        for c in knowledge.causes.values()
        if card.id in c.prior_in
    ]
    return [("In plain words", [card.plain]), ("It shifts", shifts)]


def _instrument(knowledge: Knowledge, card: Instrument) -> list[Section]:
    lies = [f"{lie.title}: by {lie.bias}, give or take {lie.spread}; odds {lie.prior:g} in a call" for lie in card.lies]
    away = [f"{knowledge.findings[f].texts.get(w, w)} ({card.shown})" for f, w in card.shows.items()]
    away += [
        f"where it {lie.title}: {knowledge.findings[f].texts.get(w, w)} ({card.shown})"
        for lie in card.lies
        for f, w in lie.shows.items()
    ]
    return [
        ("Reads", [f"{', '.join(card.quantities)}, to within {card.accuracy}"]),
        ("How it may lie", lies),
        ("What gives it away", away),
        ("Remedy", [card.remedy] if card.remedy else []),
        ("Proof", [card.proof] if card.proof else []),
        ("Sources", _titles(card.source, knowledge.sources)),
    ]


def _source(knowledge: Knowledge, card: Source) -> list[Section]:
    uses = [
        f"{kind.removesuffix('s')} {c.id}"
        for kind in ("causes", "checks", "rules", "complaints", "findings", "bands", "instruments")
        for c in getattr(knowledge, kind).values()
        if card.id in (*getattr(c, "sources", ()), *getattr(c, "source", ()))
    ]
    return [("Kind", [card.kind]), ("Where", [card.where] if card.where else []), ("Used by", uses)]


_DESCRIBE: dict[str, Callable[[Knowledge, Any], list[Section]]] = {
    "causes": _cause,
    "checks": _check,
    "setups": _setup,
    "rules": _rule,
    "complaints": _complaint,
    "findings": _finding,
    "effects": _effect,
    "contexts": _context,
    "instruments": _instrument,
    "sources": _source,
}
