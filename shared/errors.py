"""All errors a person may see, drawn as one tree.

    ChillerError                  one clear line: what was given, what is allowed, what to do
    +-- ReadingError              a typed value cannot be read
    |   +-- UnknownUnitError      the unit is not one we know
    |   +-- WrongKindError        gauge for absolute, level for difference, volts for degrees
    |   +-- ImpossibleValueError  outside what the quantity can be on this machine
    +-- CalculatorError           inputs outside a calculator's stated limits
    +-- CaseError                 a case file does not hold together (may carry many problems)
    +-- KnowledgeError            the cards do not hold together (may carry many problems)
    +-- StoreError                a record could not be read or written

Errors carry data; the sentence is built from it.
"""

from __future__ import annotations

from collections.abc import Sequence

SHOWN = 60  # longest piece of what was given that is echoed: a 10 MB paste must not fill the screen


def shorten(text: object, limit: int = SHOWN) -> str:
    """Return ``text`` on one line, cut to ``limit`` characters, control characters replaced."""
    flat = " ".join(str(text).split())
    clean = "".join(c if c.isprintable() else "?" for c in flat)
    return clean if len(clean) <= limit else clean[: limit - 3] + "..."


class ChillerError(ValueError):
    """Base of all errors meant for people.

    given: what came in; allowed: what may come in; do: the next thing to do.
    """

    def __init__(self, what: str, *, given: object = None, allowed: str = "", do: str = "") -> None:
        self.what, self.given, self.allowed, self.do = what, given, allowed, do
        super().__init__(self.line())

    def line(self) -> str:
        """The one line a person sees."""
        parts = [self.what]
        if self.given is not None:
            parts.append(f"given: '{shorten(self.given)}'")
        if self.allowed:
            parts.append(f"allowed: {self.allowed}")
        if self.do:
            parts.append(self.do)
        return "; ".join(parts)


class ReadingError(ChillerError):
    """A typed value cannot be read."""


class UnknownUnitError(ReadingError):
    """The unit is not one we know."""


class WrongKindError(ReadingError):
    """The unit belongs to another kind of quantity."""


class ImpossibleValueError(ReadingError):
    """The value is outside what this quantity can be."""


class CalculatorError(ChillerError):
    """Inputs outside a calculator's stated limits."""


class ManyProblems(ChillerError):
    """Several problems reported together, one line each."""

    def __init__(self, what: str, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__(what)

    def line(self) -> str:
        return "\n".join(self.problems) if self.problems else self.what


class CaseError(ManyProblems):
    """A case does not hold together."""


class KnowledgeError(ManyProblems):
    """The cards do not hold together."""


class StoreError(ChillerError):
    """A record could not be read or written."""
