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


def percent(p: float) -> str:
    """ "about 60 %": steps of five, of one near the ends, and no certainty.

    >>> percent(0.617), percent(0.966), percent(0.004), percent(0.9999)
    ('about 60 %', 'about 97 %', 'less than 1 %', 'more than 99 %')
    """
    if p < 0.01:
        return "less than 1 %"
    if p > 0.99:
        return "more than 99 %"
    whole = round(100 * p)
    return f"about {whole if whole < 5 or whole > 95 else 5 * round(20 * p)} %"


def likelihood(p: float, in_percent: bool = False) -> str:
    """ "likely, about 6 in 10"; "likely, about 60 %" on request."""
    return f"{likelihood_word(p)}, {percent(p) if in_percent else tenths(p)}"


# lower bound of |log10 of a likelihood ratio|, word: how strongly one piece of evidence speaks; common practice, no source
STRENGTH: tuple[tuple[float, str], ...] = (
    (1.5, "very strongly"),
    (0.7, "strongly"),
    (0.3, "clearly"),
    (0.0, "slightly"),
)


def strength(weight: float) -> str:
    """How strongly a piece of evidence speaks, from log10 of its likelihood ratio.

    >>> strength(-1.2), strength(0.1)
    ('strongly', 'slightly')
    """
    return next(word for low, word in STRENGTH if abs(weight) >= low)


def times(log10: float) -> str:
    """A ratio as people say it, from its log10: one significant figure, never below one.

    >>> times(0.31), times(-1.4), times(4.6)
    ('about 2 times', 'about 30 times', 'thousands of times')
    """
    ratio = 10 ** abs(log10)
    if ratio >= 1000:
        return "thousands of times"
    figure = 10 ** int(abs(log10))
    return f"about {round(ratio / figure) * figure} times"
