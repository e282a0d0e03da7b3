"""How belief went over the steps of a call: the leading suspects after each entry."""

from __future__ import annotations

import math
from collections.abc import Sequence

from diagnose.advice import Advice
from diagnose.chart import Axis, Series
from diagnose.pictures.picture import Picture
from diagnose.wording import likelihood

SHOWN = 4


def course(advices: Sequence[Advice]) -> Picture | None:
    """Belief in the suspects that lead now or led once, from the advice after every entry (the bare call first).

    None for fewer than two. A suspect not among those an advice lists counts as 0 there.
    """
    if len(advices) < 2:
        return None
    last = advices[-1]
    names = list(
        dict.fromkeys(
            [(s.cause, s.title) for s in last.suspects[:2]]
            + [(a.suspects[0].cause, a.suspects[0].title) for a in advices if a.suspects]
        )
    )[:SHOWN]
    series = tuple(
        Series(
            title,
            tuple(
                (float(n), 10.0 * max((s.probability for s in a.suspects if s.cause == cause), default=0.0))
                for n, a in enumerate(advices)
            ),
            "marked",
        )
        for cause, title in names
    )
    said = [
        f"{title}: {likelihood(min(one.points[-1][1] or 0.0, 10.0) / 10.0)}"
        for (_, title), one in zip(names, series, strict=True)
    ]
    return Picture(
        "course",
        "How the suspects went, entry by entry",
        f"after {len(advices) - 1} entries; " + "; ".join(said),
        Axis("entries", 0.0, float(len(advices) - 1), ticks=_whole(len(advices) - 1)),
        Axis("in 10", 0.0, 10.0, ticks=(0, 2, 4, 6, 8, 10)),
        series,
    )


def _whole(last: int) -> tuple[float, ...]:
    step = max(1, math.ceil(last / 8))
    return tuple(float(n) for n in range(0, last + 1, step))
