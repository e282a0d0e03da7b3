"""Likelihood in words with whole tenths, from one table: a word alone is read very differently by different people."""

from __future__ import annotations

# lower bound of the probability, word: fixed; tests hold word and tenths together
LIKELIHOOD: tuple[tuple[float, str], ...] = (
    (0.95, "almost certain"),
    (0.75, "very likely"),
    (0.55, "likely"),
    (0.35, "about even"),
    (0.15, "possible"),
    (0.05, "less likely"),
    (0.0, "unlikely"),
)


def likelihood_word(p: float) -> str:
    """The word for a probability (0 to 1)."""
    return next(word for low, word in LIKELIHOOD if round(p, 6) >= low or low == 0.0)


def tenths(p: float) -> str:
    """ "about 6 in 10"; below one half in ten and above nine and a half it says so without false precision."""
    number = round(p * 10)
    if number <= 0:
        return "less than 1 in 10"
    if number >= 10:
        return "more than 9 in 10"
    return f"about {number} in 10"


def likelihood(p: float) -> str:
    """ "likely, about 6 in 10"."""
    return f"{likelihood_word(p)}, {tenths(p)}"
