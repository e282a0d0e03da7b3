"""How hazards, states and entries are put into words: the same on every screen and in every report."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from diagnose.advice import Advice, Suspect, Verdict
from diagnose.case import Case, Entry
from diagnose.places import spell
from diagnose.setups import answer_of
from diagnose.wording import likelihood, likelihood_word
from knowledge.load import Knowledge
from shared.errors import ChillerError
from shared.quantities import DERIVED, QUANTITIES
from shared.units import parse_reading

SignalWord = Literal["DANGER", "WARNING", "CAUTION", "NOTICE"]

# Meanings of ANSI Z535.4-2007: DANGER will, WARNING could end in death or serious injury; CAUTION could in
# minor or moderate injury; NOTICE has nothing to do with injury. Which hazard is which: common practice.
_SIGNALS: dict[str, SignalWord] = {
    "live-electrical": "WARNING",
    "stored-electrical": "WARNING",
    "pressure": "WARNING",
    "refrigerant": "WARNING",
    "rotating": "WARNING",
    "height": "WARNING",
    "traffic": "WARNING",
    "hot-surface": "CAUTION",
    "lifting": "CAUTION",
    "chemical": "CAUTION",
    "slip": "CAUTION",
}
_HAZARDS = {
    "live-electrical": "live electrical parts",
    "stored-electrical": "charge that stays after switching off",
    "pressure": "stored pressure",
    "refrigerant": "refrigerant",
    "rotating": "parts that start by themselves",
    "height": "height",
    "traffic": "site traffic",
    "hot-surface": "hot surfaces",
    "lifting": "lifting",
    "chemical": "chemicals",
    "slip": "wet ground",
}
_RANK: tuple[SignalWord, ...] = ("DANGER", "WARNING", "CAUTION", "NOTICE")
# before that many, a ranking says little more than what is common: common practice, no source
EARLY_FINDINGS = 2
ROLES = {
    "customer": "anyone on site",
    "agent": "the telephone desk",
    "technician": "a technician",
    "electrician": "a licensed electrician",
    "refrigerant-technician": "a certified refrigerant technician",
    "site-operator": "the site's trained operator",
    "maker": "the maker's service",
}
QUALIFICATIONS = {
    "electrical": "electrical work",
    "refrigerant": "refrigerant work",
    "height": "work at height",
}


@dataclass(frozen=True, slots=True)
class Likelihood:
    """word and whole tenths, 0 to 10; text: both, as shown."""

    word: str
    tenths: int
    text: str


def likely(probability: float) -> Likelihood:
    """Word and whole tenths of a probability in 0..1 by the one table of `diagnose.wording`.

    >>> likely(0.617)
    Likelihood(word='likely', tenths=6, text='likely, about 6 in 10')
    """
    tenths = min(10, max(0, round(probability * 10)))
    return Likelihood(likelihood_word(probability), tenths, likelihood(probability))


def signal(hazards: Iterable[str]) -> SignalWord | None:
    """The strongest signal word of these hazards; None when the cards name none that can hurt somebody.

    NOTICE says that nobody can be hurt, which no card says: it is never given here.
    """
    found = {_SIGNALS[h] for h in hazards if h in _SIGNALS}
    return next((word for word in _RANK if word in found), None)


def caution_line(word: SignalWord | None, text: str) -> str:
    """A caution on one line, its signal word first."""
    return f"{word}: {text}" if word else text


def hazard_words(hazards: Iterable[str]) -> str:
    """Hazards in plain words, "" when there is none.

    >>> hazard_words(["pressure", "slip", "none"])
    'stored pressure, wet ground'
    """
    return ", ".join(_HAZARDS[h] for h in hazards if h in _HAZARDS)


def early(advice: Advice) -> bool:
    """Whether the ranking still rests on too little to lean on: hardly a finding speaks on the leading suspect."""
    lead = advice.suspects[0] if advice.suspects else None
    heard = [r for r in (*lead.for_, *lead.against) if not r.finding.startswith("complaint:")] if lead else []
    return len(heard) < EARLY_FINDINGS


_OPEN_PLACES = {"*": "all alike", "?": "one, unsure which"}


def at_place(title: str, place: str) -> str:
    """A title with its place, if that is one of several.

    >>> at_place("Coil dirty", "circuit:B"), at_place("Strainer clogged", "unit")
    ('Coil dirty, circuit B', 'Strainer clogged')
    """
    if ":" not in place:
        return title
    return f"{title}, {_OPEN_PLACES.get(place.partition(':')[2]) or spell(place)}"


def suspect_title(suspect: Suspect) -> str:
    """A suspect as shown."""
    return at_place(suspect.title, suspect.place)


def minutes(value: float) -> str:
    """Minutes as people say them.

    >>> minutes(0.4), minutes(12.4), minutes(150)
    ('1 min', '12 min', '2 h 30 min')
    """
    whole = max(1, round(value))
    return f"{whole} min" if whole < 100 else f"{whole // 60} h {whole % 60} min".replace(" 0 min", "")


def who_may(who: str, needs_qualified: Iterable[str] = ()) -> str:
    """Who may do a step: "a technician qualified for electrical work"."""
    person = ROLES.get(who, who)
    needs = [QUALIFICATIONS.get(n, n) for n in needs_qualified]
    return f"{person} qualified for {' and '.join(needs)}" if needs else person


def quantity_title(name: str) -> str:
    """A quantity as people say it."""
    found = QUANTITIES.get(name) or DERIVED.get(name)
    return found.title if found else name.replace("_", " ")


def reading_echo(quantity: str, value: object) -> str:
    """A value as it was understood, "8.1 bar gauge"; the text as typed if it cannot be read."""
    try:
        return " / ".join(part.echo for part in parse_reading(quantity, value))
    except ChillerError:
        parts = value if isinstance(value, list | tuple) else [value]
        return " / ".join(str(part) for part in parts)


def complaint_title(case: Case, knowledge: Knowledge) -> str:
    """The complaint as shown."""
    card = knowledge.complaints.get(case.complaint)
    return card.title if card else case.complaint


@dataclass(frozen=True, slots=True)
class Line:
    """One entry of a case in words: what was looked at, what came out, remarks on it."""

    what: str
    result: str
    remarks: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """On one line."""
        return f"{self.what}: {self.result}" if self.what and self.result else self.what or self.result


_SOURCES = {
    "card": "from the machine card",
    "last-visit": "from the last visit",
    "shift-log": "from the shift log",
}
_OUTCOMES = {
    "": "done",
    "cured": "cured",
    "not-cured": "not cured",
    "better": "better, not cured",
    "gone": "the trouble is gone",
    "moved": "the trouble moved along",
    "unchanged": "unchanged",
    "undone": "put back",
}


def entry_line(entry: Entry, knowledge: Knowledge) -> Line:
    """An entry of a case in words. Ids that no card has stay as they are."""
    remarks = [_SOURCES[entry.source]] if entry.source in _SOURCES else []
    if entry.who == "customer-says":
        remarks.append("said by the customer")
    if entry.sure != "sure":
        remarks.append({"think-so": "fairly sure", "guess": "a guess"}[entry.sure])
    if entry.again:
        remarks.append("looked at once more")
    for given in (entry.state, entry.steadiness, entry.condition, entry.instrument):
        if given:
            remarks.append(str(given).replace("-", " "))
    if entry.note and (entry.check or entry.quantity or entry.action or entry.finding):
        remarks.append(entry.note)
    return Line(*_what_and_result(entry, knowledge), tuple(remarks))


def _what_and_result(entry: Entry, knowledge: Knowledge) -> tuple[str, str]:
    if entry.check:
        check = knowledge.checks.get(entry.check)
        title = at_place(check.title if check else entry.check, entry.place)
        if entry.answer == "cannot-tell":
            return title, "cannot tell"
        answer = check.answers.get(entry.answer) if check else None
        return title, answer.text if answer else entry.answer
    if entry.quantity:
        return at_place(quantity_title(entry.quantity), entry.place), reading_echo(entry.quantity, entry.value)
    if entry.action:
        title, setup = at_place(action_title(entry.action, knowledge), entry.place), knowledge.setups.get(entry.action)
        if setup is None or entry.outcome not in setup.outcomes:
            return title, _OUTCOMES[entry.outcome]
        return title, f"{_OUTCOMES[entry.outcome]}: {setup.answers[answer_of(setup, entry.outcome)].text}"
    if entry.finding:
        finding = knowledge.findings.get(entry.finding)
        title = at_place(finding.title if finding else entry.finding, entry.place)
        return title, finding.texts.get(entry.word, entry.word) if finding else entry.word
    return "Note", entry.note


def action_title(action: str, knowledge: Knowledge) -> str:
    """What a remedy, check or change of set-up that was done is called; remedy ids are written to be read."""
    if action in knowledge.checks:
        return knowledge.checks[action].title
    words = action.removeprefix("instrument:").replace("-", " ").replace("_", " ")
    return words[:1].upper() + words[1:]


VERDICTS: dict[str, str] = {
    "one-cause": "This is the cause",
    "two-causes": "Two causes together",
    "inseparable": "One of these; the same remedy serves",
    "normal": "Nothing is wrong",
    "cannot-tell": "None of these fits well enough",
    "hand-over": "Hand this over",
}


def verdict_heading(verdict: Verdict) -> str:
    """What a verdict means, in a few words."""
    return VERDICTS[verdict.kind]


STATES = {
    "cooling": "cooling",
    "pump-only": "pump only, no compressor",
    "powered": "powered, nothing turns",
    "standing": "off, standing",
    "isolated": "isolated and locked out",
}
STEADINESS = {
    "steady": "steady for ten minutes or more",
    "pull-down": "still pulling down",
    "cycling": "cycling on and off",
    "starting": "just started",
}
_NEEDED = {"any": "", "steady": "cooling, steady", "pump-on": "pump running", **STATES}


def needed_state(state: str) -> str:
    """The machine state a step needs, in words; "" when any will do."""
    return _NEEDED.get(state, state.replace("-", " "))


def remedy_hazards(verdict: Verdict | None, knowledge: Knowledge) -> tuple[str, ...]:
    """Hazards of what a verdict says to do."""
    causes = [knowledge.causes[c] for c in verdict.causes if c in knowledge.causes] if verdict else []
    return tuple(dict.fromkeys(h for cause in causes for h in cause.remedy.hazards))


def unchecked(suspect: Suspect, knowledge: Knowledge) -> tuple[str, ...]:
    """What was not checked of a suspect, in words."""
    findings = knowledge.findings
    return tuple(findings[text].title if text in findings else text for text in suspect.not_checked)
