"""The shape of every card: what a keeper may write, checked by pydantic.

Cards are data. All texts are for people; all ids are permanent and kebab-case; no number of the trade stands
in a rule: numbers live in bands with their source. See DEVELOPERS.md for how to add a card.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=60)]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]
Title = Annotated[str, StringConstraints(strip_whitespace=True, min_length=3, max_length=110)]

PlaceKind = Literal["unit", "circuit", "compressor", "fan", "pump", "supply"]
Role = Literal["customer", "agent", "technician"]
Qualification = Literal["electrical", "refrigerant", "height"]
StrengthWord = Literal[
    "always",
    "almost-always",
    "usually",
    "often",
    "sometimes",
    "seldom",
    "rarely",
    "hardly-ever",
    "almost-never",
    "practically-never",
]
PriorWord = Literal["very-common", "common", "occasional", "uncommon", "rare", "very-rare"]
EfficacyWord = Literal["cures", "mostly-cures", "often-cures", "may-cure"]
SureWord = Literal["sure", "think-so", "guess"]
SetupOutcome = Literal["gone", "moved", "unchanged"]
MachineState = Literal["any", "isolated", "standing", "powered", "pump-only", "pump-on", "cooling", "steady"]
Hazard = Literal[
    "none",
    "live-electrical",
    "stored-electrical",
    "pressure",
    "refrigerant",
    "rotating",
    "hot-surface",
    "height",
    "lifting",
    "chemical",
    "slip",
    "traffic",
]
System = Literal[
    "fluid", "pump", "supply", "control", "low-side", "high-side", "compressor", "application", "safety", "normal"
]


class Card(BaseModel):
    """Strict base: unknown keys are errors, cards are immutable."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class Source(Card):
    """A published source, or an honest statement that there is none."""

    id: Id
    title: Text
    kind: Literal["standard", "law", "handbook", "manual", "paper", "open-data", "common-practice", "memory"]
    where: str = ""


class Effect(Card):
    """A hidden physical state between causes and what can be seen (fluid flow, suction, head...).

    ordered: words from the lowest to the highest; neutral: the healthy word. parent: at most one other effect;
    given: for each parent word, what it brings about here with which strength.
    """

    id: Id
    title: Title
    place: PlaceKind
    ordered: tuple[Id, ...] = Field(min_length=2)
    neutral: Id
    parent: Id | None = None
    given: dict[Id, dict[Id, StrengthWord]] = {}
    leak: dict[Id, StrengthWord] = {}


class Finding(Card):
    """Something that can be seen, heard, read or answered, in words.

    Exactly one of ``ordered`` (a scale with one neutral word) and ``words`` (no order, the neutral word among them).
    effect/given: the hidden state it shows. leak: how often a word appears though nothing known causes it
    (missing words take the table's default). states: machine states in which it means anything.
    texts: one plain clause for each word, used in reasons ("the strainer drop is high").
    """

    id: Id
    title: Title
    place: PlaceKind
    ordered: tuple[Id, ...] = ()
    words: tuple[Id, ...] = ()
    neutral: Id
    effect: Id | None = None
    given: dict[Id, dict[Id, StrengthWord]] = {}
    leak: dict[Id, StrengthWord] = {}
    states: tuple[MachineState, ...] = ("any",)
    texts: dict[Id, Text]
    weighed: bool = True
    source: tuple[Id, ...] = ()


class Band(Card):
    """Where a derived quantity turns into the words of an ordered finding.

    limits: ascending, one fewer than the finding's words, each with its unit; a value below the first limit is the
    first word. when: machine facts that must hold for this row (expansion: txv ...); the row with most matching
    conditions wins, a row on today's expected figure before all that need no figure of the card. soft: how blurred the
    limit itself is (standard deviation, same kind of unit), since healthy machines differ. beside: weighed together with
    the row that wins; the finding is as unhealthy as either says.
    """

    id: Id
    finding: Id
    quantity: Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$")]
    limits: tuple[Text, ...]
    soft: Text
    when: dict[str, tuple[str, ...]] = {}
    beside: bool = False
    source: tuple[Id, ...]
    note: str = ""


class Edge(Card):
    """What a cause brings about: an effect or a finding, each word with how often."""

    effect: Id | None = None
    finding: Id | None = None
    gives: dict[Id, StrengthWord] = Field(min_length=1)
    when: dict[str, tuple[str, ...]] = {}
    why: str = ""


class Remedy(Card):
    """What is done about a cause. Several causes may share one remedy id."""

    id: Id
    text: Text
    minutes: Annotated[float, Field(gt=0, le=1500)]
    cures: EfficacyWord = "cures"
    who: Role = "technician"
    needs_qualified: tuple[Qualification, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    reversible: bool = False
    hand_over_to: str = ""
    needs: dict[Id, tuple[Id, ...]] = {}
    parts: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()


class Cause(Card):
    """One thing that can be wrong (or normal but misread).

    when: machine facts without which it cannot be ({pump-drive: ['yes']}); what nobody told rules nothing out.
    """

    id: Id
    title: Title
    also: tuple[str, ...] = ()
    kind: Literal["fault", "normal"] = "fault"
    system: System
    place: PlaceKind
    prior: PriorWord
    prior_in: dict[Id, PriorWord] = {}
    when: dict[str, tuple[str, ...]] = {}
    shows: Text
    why: Text
    wrong_when: Text
    brings: tuple[Edge, ...] = Field(min_length=1)
    complaints: dict[Id, StrengthWord] = Field(min_length=1)
    confirm: tuple[Id, ...] = Field(min_length=1)
    clear: tuple[Id, ...] = Field(min_length=1)
    remedy: Remedy
    proof: Text
    proof_minutes: Annotated[float, Field(ge=0, le=600)] = 5
    cautions: tuple[Text, ...] = ()
    inseparable: tuple[Id, ...] = ()
    sources: tuple[Id, ...] = Field(min_length=1)


class Answer(Card):
    """One possible answer to a check. word: the finding's word it means (default: the answer's own id)."""

    text: Text
    word: Id | None = None
    say: str = ""


class Check(Card):
    """One thing to look at, read, measure or try.

    Either ``finding`` with ``answers`` (keys are answer ids) or ``reads`` (quantities of the fixed list, which the
    bands turn into ``tells``). "cannot-tell" is always allowed and never listed. who: the least role that may do it;
    needs_qualified: what the person must be qualified for. state: the machine state it needs. access: a cover or
    isolation that, once open, serves other checks too. needs: safety questions (check ids and the words they must
    have) that must be answered first. again: it reads once more, with another instrument, what may have been read before.
    instrument: what its readings are taken from, where that is not the gauge or thermometer usually put on ("display"); the same
    quantity read otherwise is then a comparison of the two.
    """

    id: Id
    title: Title
    place: PlaceKind
    system: System
    finding: Id | None = None
    answers: dict[Id, Answer] = {}
    reads: tuple[str, ...] = ()
    tells: tuple[Id, ...] = ()
    technician: Text
    telephone: str = ""
    listen_for: str = ""
    why: Text
    minutes: Annotated[float, Field(gt=0, le=600)]
    wait_minutes: Annotated[float, Field(ge=0, le=600)] = 0
    tools: tuple[str, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    cautions: tuple[Text, ...] = ()
    who: Role = "technician"
    needs_qualified: tuple[Qualification, ...] = ()
    state: MachineState = "any"
    access: Id | None = None
    needs: dict[Id, tuple[Id, ...]] = {}
    usually: SureWord = "sure"
    safety: bool = False
    again: bool = False
    instrument: str = ""
    when: dict[str, tuple[str, ...]] = {}
    families: tuple[Id, ...] = ()
    words: tuple[str, ...] = ()
    sources: tuple[Id, ...] = Field(min_length=1)


class Setup(Check):
    """A reversible change of how the machine is set up, made to learn or to keep the site cooled until it is mended.

    It is a look as well: ``technician`` says what is changed and what to watch, ``answers`` what may come of it; outcomes says
    which answer means that the trouble is gone while it stands so, has moved along, or is unchanged. undo: how it is put back.
    stays: which protections remain in force. ages: findings, shifts: quantities that are otherwise while it stands so: what was
    told of them before holds no longer, what is told meanwhile is not judged. rests: kinds of places that stand still by it, so that
    no look at them running can be made. cools: how far the site is cooled while the trouble is gone by it.
    """

    outcomes: dict[SetupOutcome, Id] = Field(min_length=2)
    undo: Text
    undo_minutes: Annotated[float, Field(ge=0, le=240)]
    stays: Text
    ages: tuple[Id, ...] = ()
    shifts: tuple[str, ...] = ()
    rests: tuple[PlaceKind, ...] = ()
    cools: Literal["no", "part", "full"] = "no"


class Condition(Card):
    """One line of a rule: a finding with one of these words, a fact of the case, or a fact of a lower stratum."""

    finding: Id | None = None
    fact: Id | None = None
    words: Annotated[tuple[str, ...], Field(alias="is", min_length=1)]
    leaning: bool = False
    place: Literal["same", "other"] | None = None


class Then(Card):
    """What a rule concludes; which keys are used depends on the rule's kind."""

    state: str = ""
    hold: str = ""
    release: str = ""
    finding: Id | None = None
    findings: tuple[Id, ...] = ()
    word: Id | None = None
    blames: tuple[str, ...] = ()
    settle: tuple[Id, ...] = ()
    cause: Id | None = None
    holds: bool = True
    forbid_hazards: tuple[Hazard, ...] = ()
    forbid_states: tuple[MachineState, ...] = ()
    forbid_remedies: tuple[Id, ...] = ()
    ask_first: Id | None = None
    protects: Literal["people", "machine"] | None = None
    reason: str = ""
    make_safe: str = ""
    hand_over_to: str = ""
    ends: bool = False


class Specimen(Card):
    """A small case for a rule: facts and finding words (place "unit" unless written "word @ circuit:B")."""

    findings: dict[str, str] = {}
    facts: dict[str, str] = {}


class Rule(Card):
    """One rule card: when / unless / then, why, and when it is wrong, with specimens it fires on and stays quiet on."""

    id: Id
    title: Title
    kind: Literal["state", "hold-point", "not-judged", "derived-finding", "contradiction", "conclusive", "gate", "stop"]
    place: PlaceKind = "unit"
    when: tuple[Condition, ...] = Field(min_length=1)
    unless: tuple[Condition, ...] = ()
    then: Then
    because: Text
    wrong_when: Text
    fires_on: tuple[Specimen, ...] = Field(min_length=1)
    quiet_on: tuple[Specimen, ...] = Field(min_length=1)
    source: tuple[Id, ...] = Field(min_length=1)


class Complaint(Card):
    """How a call opens. about: the effect it speaks of, for the chain shown to people; weighed is only ``effect``.

    noticed: findings of which whoever calls about a fault like this has met one (no noise call without a noise); calls are
    drawn so.
    """

    id: Id
    title: Title
    plain: Text
    words: tuple[str, ...] = ()
    about: Id | None = None
    effect: Id | None = None
    given: dict[Id, StrengthWord] = {}
    noticed: tuple[Id, ...] = ()
    when_nothing_is_wrong: StrengthWord = "almost-never"
    first: tuple[Id, ...] = ()
    cautions: tuple[Text, ...] = ()
    state: MachineState = "any"
    sources: tuple[Id, ...] = Field(min_length=1)


class Context(Card):
    """A circumstance of the call that shifts likelihoods (first start, running site, moved...)."""

    id: Id
    title: Title
    plain: Text


class Lie(Card):
    """One way an instrument may lie: it shows `bias` too much (negative: too little), give or take `spread`.

    prior: odds that this one instrument does so in a call. bias and spread carry a unit, or "%" of the reading.
    shows: findings that give away this way of lying, besides those that give away every way of the instrument.
    """

    mode: Id
    prior: Annotated[float, Field(gt=0, lt=0.5)]
    bias: Text
    spread: Text
    title: Text
    shows: dict[Id, Id] = {}


class Instrument(Card):
    """A kind of instrument: what it reads, its accuracy (+/-, with unit or "%" of the reading), how it may lie.

    shows: findings that give a liar away, with the word they then have and how often.
    """

    id: Id
    title: Title
    quantities: tuple[str, ...] = Field(min_length=1)
    accuracy: Text
    lies: tuple[Lie, ...] = ()
    shows: dict[Id, Id] = {}
    shown: StrengthWord = "almost-always"
    remedy: str = ""
    proof: str = ""
    source: tuple[Id, ...]

    def given_away(self) -> set[tuple[str, str]]:
        """Every (finding, word) that gives away one of its ways of lying."""
        return {pair for shows in (self.shows, *(lie.shows for lie in self.lies)) for pair in shows.items()}


class CheckText(Card):
    """A check in another language: what is read out on the telephone, and one clause for each answer."""

    telephone: Text
    answers: dict[Id, Text] = {}


class Catalogue(Card):
    """One language of the telephone texts; its id is the language's two letters (ISO 639-1).

    checks: texts by check id; empty for English, whose texts stand on the checks themselves. trade_words: words that
    count as two syllables in the measure of how hard a text is, since nobody can do without them. review: who has read
    the texts, or who must. sounds_wrong: for the one who asks, by check id: how an answer sounds that means something else.
    """

    id: Annotated[str, StringConstraints(pattern=r"^[a-z]{2}$")]
    title: Title
    review: Text
    trade_words: tuple[str, ...] = ()
    sounds_wrong: dict[Id, Text] = {}
    checks: dict[Id, CheckText] = {}


class Change(Card):
    """One accepted change of a likelihood word: where, from what to what, why, and on how many closed calls it rests.

    key: `prior`, or `prior_in.` and the context. at: the day, ISO date.
    """

    id: Id
    at: Annotated[str, StringConstraints(pattern=r"^\d{4}-\d\d-\d\d$")]
    cause: Id
    key: Annotated[str, StringConstraints(pattern=r"^prior(_in\.[a-z0-9-]+)?$")]
    was: PriorWord | Literal["none"]
    now: PriorWord
    confirmed: Annotated[int, Field(ge=0)]
    calls: Annotated[int, Field(ge=0)]
    reason: Text


class Words(Card):
    """The one table that turns words into numbers."""

    strength: dict[StrengthWord, float]
    prior: dict[PriorWord, float]
    cures: dict[EfficacyWord, float]
    default_leak: StrengthWord
    other_complaint: StrengthWord
    liar_complaint: StrengthWord
    total_odds: float
    answer_right: dict[SureWord, dict[Literal["saw", "customer-says", "read"], float]]
    graded_right: dict[SureWord, float]
    both_directions: dict[Literal["neutral", "each-side"], float]
    firm: float
    leaning: float
    conclusive: float
    floor: float
    hazard_minutes: dict[Hazard, float]
    tool_minutes: float
    access_minutes: dict[Id, float]
    hand_over_minutes: dict[
        Literal["electrician", "refrigerant-technician", "technician", "site-operator", "maker"], float
    ]
    verdict: dict[str, float]
    sources: tuple[Id, ...]
