"""Watch cards: what is followed from round to round while a machine stays, when it is worth a word, and what to do then.

A watch compares one figure, round by round, with the baseline of the placement through what the machine should show under the
conditions of either moment. It holds every number of the early word: how much a healthy machine repeats, how far it may sit off
its baseline in other weather, which drift is worth a word, how rarely a healthy machine may give one, and the limit ahead.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal, get_args

from pydantic import Field

from knowledge.facts import MACHINE_FACTS
from knowledge.models import Card, Id, Text, Title
from shared.errors import ReadingError
from shared.quantities import Kind
from shared.units import parse_spread

if TYPE_CHECKING:
    from knowledge.load import Problem, RawCards

Figure = Literal[
    "strainer_resistance", "flow_by_drop", "fluid_split", "condenser_split", "subcooling", "superheat", "approach",
    "pump_current", "compressor_current",
]  # fmt: skip
# figure -> (what it is, how it is compared, kind of place). A ratio is compared by its logarithm, so that twice and half weigh alike
FIGURES: dict[str, tuple[str, Literal["ratio", "difference"], str]] = {
    "strainer_resistance": ("resistance of the strainer", "ratio", "unit"),
    "flow_by_drop": ("flow by the evaporator drop", "ratio", "unit"),
    "fluid_split": ("fluid temperature difference", "ratio", "unit"),
    "condenser_split": ("condensing over entering air", "ratio", "circuit"),
    "subcooling": ("subcooling", "difference", "circuit"),
    "superheat": ("superheat", "difference", "circuit"),
    "approach": ("evaporator approach", "difference", "circuit"),
    "pump_current": ("pump current", "ratio", "pump"),
    "compressor_current": ("compressor current", "ratio", "compressor"),
}
Size = Literal["noise", "allowance", "reference", "act_at", "act_left"]
SIZES: tuple[Size, ...] = get_args(Size)
ROUNDS = (100, 10_000_000)


class Watch(Card):
    """One figure that is followed.

    way: direction of the drift. noise: standard deviation of one round of a machine that stays as it is. allowance: how far such a
    machine may sit off its baseline, for the baseline's own error and the weather. reference: drift above which a round speaks for
    the word, below which it speaks against it; more than the allowance. in_control_rounds: mean number of rounds between false
    words at the allowance. fault: cause the simulated machine is asked about: at which severity it trips. act_at: drift at which it is
    due whatever trips (a ratio, or a temperature difference); act_left: value of the figure itself at which it is due. without_card:
    compared also where the machine card is too poor to expect anything. when: facts of the machines it is for. goes_with: watches of
    which this one is a consequence where both have a word at the same part of the machine.
    """

    id: Id
    title: Title
    figure: Figure
    way: Literal["up", "down"]
    noise: Text
    allowance: Text
    reference: Text
    in_control_rounds: Annotated[int, Field(ge=ROUNDS[0], le=ROUNDS[1])]
    fault: str = ""
    act_at: str = ""
    act_left: str = ""
    word: Text
    why: Text
    action: Text
    check: str = ""
    without_card: bool = False
    when: dict[str, tuple[str, ...]] = {}
    goes_with: tuple[Id, ...] = ()
    sources: tuple[Id, ...] = Field(min_length=1)

    def size(self, key: Size) -> float | None:
        """A number of the card: natural logarithm of a ratio ("1.2"; a noise of "4 %" is 0.04), or kelvin; None where not given.

        Raises ReadingError.
        """
        text = getattr(self, key)
        return _size(text, FIGURES[self.figure][1], key) if text else None


def _size(text: str, compare: str, key: str) -> float:
    if compare == "difference":
        return parse_spread(text, Kind.TEMPERATURE_DIFFERENCE)
    try:
        value = float(text.rstrip("% ")) / 100.0 if text.endswith("%") else float("nan")
    except ValueError:
        value = float("nan")
    if not 0.0 < value < 20.0:
        raise ReadingError("size of a drift", given=text, allowed="a share such as 12 %", do=f"correct {key}")
    return value


def watch_problems(raw: RawCards) -> list[Problem]:
    """Everything wrong with the watch cards: sizes that cannot be read or contradict each other, causes and checks nobody knows."""
    out: list[Problem] = []
    for name, card in raw.cards["watches"].items():
        if not isinstance(card, Watch):
            continue

        def say(key: str, text: str, name: str = name) -> None:
            out.append(raw.problem("watches", name, key, text))

        sizes: dict[str, float] = {}
        for key in SIZES:
            try:
                size = card.size(key)
            except ReadingError as error:
                say(key, error.line())
                continue
            if size is not None:
                sizes[key] = size
        if sizes.get("noise", 1.0) <= 0.0:
            say("noise", "a reading that repeats without any scatter is none; give its standard deviation")
        if sizes.get("reference", 1.0) <= sizes.get("allowance", 0.0):
            say("reference", "not above the allowance: a healthy machine would give the word by its weather alone")
        if sizes.get("act_at", 9e9) <= sizes.get("reference", 0.0):
            say("act_at", "not above the reference: it would be due before there is a word")
        for where, given, kind in (("fault", card.fault, "causes"), ("check", card.check, "checks")):
            if given and given not in raw.cards[kind]:
                say(where, f"no such {kind[:-1]}: {given}")
        if not (card.fault or card.act_at or card.act_left):
            say("act_at", "no limit: give fault, act_at or act_left")
        for fact, words in card.when.items():
            for word in words:
                if word not in MACHINE_FACTS.get(fact, ()):
                    say(f"when.{fact}", f"no such machine fact or word: {fact}: {word}")
        for other in card.goes_with:
            if other not in raw.cards["watches"] or other == name:
                say("goes_with", f"no such other watch: {other}")
        for source in card.sources:
            if source not in raw.cards["sources"]:
                say("sources", f"no such source: {source}")
    return out
