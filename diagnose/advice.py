"""What the tool answers: one Advice for one case. Plain data; every desk draws the same.

JSON units come from one fixed list: degF, degC, delta_degF, delta_degC, psig, psi, psia, barg, bar, kPa, gpm, L/s, V, A, Hz,
%, kW, min (and "1" for ratios).
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

ADVICE_FORMAT = 1


class Part(BaseModel):
    """Strict, immutable part of an advice."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class Stop(Part):
    """Stop now. protects: people or the machine. ends: the call ends here with a hand-over; otherwise the call goes on
    in the safe state that make_safe names."""

    reason: str
    make_safe: str
    hand_over_to: str
    protects: Literal["people", "machine"]
    ends: bool
    rule: str


class Verdict(Part):
    """What the tool holds: one-cause, two-causes, inseparable (one remedy serves), normal, cannot-tell, hand-over."""

    kind: Literal["one-cause", "two-causes", "normal", "inseparable", "cannot-tell", "hand-over"]
    causes: tuple[str, ...]
    places: tuple[str, ...]
    title: str
    remedy: str
    remedy_id: str
    proof: str
    who: str
    minutes: float
    cautions: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    would_tell: str = ""


class Reason(Part):
    """One finding beside a suspect: its plain text, and how strongly it speaks (log10 of the likelihood ratio)."""

    finding: str
    place: str
    text: str
    weight: float
    sources: tuple[str, ...] = ()


class Suspect(Part):
    """One possible cause. probability is a marginal over all hypotheses; they need not sum to 1."""

    cause: str
    place: str
    title: str
    kind: Literal["fault", "normal", "nothing-wrong", "instrument", "unknown"]
    probability: float = Field(ge=0, le=1)
    for_: tuple[Reason, ...] = Field(default=(), alias="for")
    against: tuple[Reason, ...] = ()
    not_checked: tuple[str, ...] = ()
    chain: tuple[str, ...] = ()
    shows: str = ""
    wrong_when: str = ""


class Lead(Part):
    """A suspect that leads, or would lead if something were otherwise, and how likely it is then."""

    cause: str
    place: str
    title: str
    probability: float = Field(ge=0, le=1)


class Choice(Part):
    """One possible answer to a check, and what it would do to the leading suspect.

    leads: who leads once this answer is given; only where explanations were asked for.
    """

    id: str
    text: str
    probability: float = 0.0
    leads: Lead | None = None


class Step(Part):
    """One next step. ask: what to do (technician) or read out (customer); reads: quantities to enter instead of answers.

    kind reconfigure: the set-up is changed (answers: what may come of it) or put back (one answer: "undone"); both are told as
    actions.

    instrument: what its readings are taken from, told with each of them ("" = the usual gauge or thermometer).
    again: the same look once more, with nothing changed meanwhile; the answer is told with ``again`` too.
    tells: for readings, the words of the most telling finding and who would lead then; only where explanations were asked for.
    """

    id: str
    kind: Literal["observe", "repair", "reconfigure", "hand-over"]
    title: str
    ask: str
    answers: tuple[Choice, ...] = ()
    reads: tuple[str, ...] = ()
    place: str = "unit"
    minutes: float
    expected_cost_minutes: float
    who: str
    needs_qualified: tuple[str, ...] = ()
    hazards: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    state: str = "any"
    why: str
    listen_for: str = ""
    telephone: str = ""
    tells: tuple[Choice, ...] = ()
    again: bool = False
    instrument: str = ""

    def instrument_at(self, place: str) -> str:
        """Name of what a reading at a place is taken from: each circuit has a sensor of its own behind the display."""
        name = self.instrument
        return f"{name} {place.partition(':')[2]}" if name and place.startswith("circuit:") else name

    @property
    def asks(self) -> bool:
        """Whether it has an answer that tells something: a look, or a change of set-up."""
        return self.kind == "observe" or self.kind == "reconfigure" and not self.puts_back

    @property
    def puts_back(self) -> bool:
        """Whether a changed set-up is put back by it."""
        return self.kind == "reconfigure" and any(a.id == "undone" for a in self.answers)


class Turn(Part):
    """One piece of evidence on which the leading suspect hangs.

    text: the evidence as known; instead: what it would have to be ("" = not known at all); leads: who leads then;
    leader_then: how likely today's leader is then.
    """

    finding: str
    place: str
    text: str
    instead: str
    leads: Lead
    leader_then: float = Field(ge=0, le=1)


class NotJudged(Part):
    """A finding whose conditions are not met: the value stays visible, the word is not used."""

    finding: str
    place: str
    why: str
    until: str


class Derived(Part):
    """A value computed from readings, with its standard uncertainty."""

    quantity: str
    place: str
    value: float
    unit: str
    uncertainty: float
    text: str
    from_: tuple[str, ...] = Field(default=(), alias="from")
    word: str = ""


class Fired(Part):
    """One rule that spoke."""

    rule: str
    kind: str
    title: str
    because: str
    place: str
    from_: tuple[str, ...] = Field(default=(), alias="from")
    hold_point: str = ""


class LeftChanged(Part):
    """A set-up that was changed and not put back. outcome: what came of it ("" = nobody could tell); undo: how it is put back, ""
    where the person at the machine may not do it."""

    setup: str
    place: str
    title: str
    outcome: str
    undo: str


class Together(Part):
    """Three causes that would be there at once, and the chance of it."""

    causes: tuple[str, str, str]
    places: tuple[str, str, str]
    titles: tuple[str, str, str]
    probability: float


class ThreeCauses(Part):
    """Only when asked for: the chance that three causes are there at once (a lower bound), and the likeliest of these."""

    probability: float
    likeliest: tuple[Together, ...] = ()


class Advice(Part):
    """Everything that follows from a case. suspects are in order of probability, next in order of expected cost."""

    format: int = ADVICE_FORMAT
    knowledge: str
    complaint: str
    state: str
    steadiness: str
    stop: Stop | None = None
    verdict: Verdict | None = None
    suspects: tuple[Suspect, ...] = ()
    next: tuple[Step, ...] = ()
    doubts: tuple[str, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()
    derived: tuple[Derived, ...] = ()
    fired: tuple[Fired, ...] = ()
    contradictions: tuple[str, ...] = ()
    checks_done: int = 0
    minutes_spent: float = 0.0
    episode: int = 1
    used_expected: bool = False
    turns: tuple[Turn, ...] = ()
    three: ThreeCauses | None = None
    left_changed: tuple[LeftChanged, ...] = ()
