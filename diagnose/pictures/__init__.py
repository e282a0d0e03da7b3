"""Pictures of a call where people look rather than read, each with the same in words.

`pictures_of` gives what the readings of a case allow; `diagnose.pictures.course` and `.chain` draw what an advice says.
"""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.case import Case
from diagnose.pictures.fluid import drop, pump
from diagnose.pictures.picture import Picture
from diagnose.pictures.refrigerant import cycle
from diagnose.pictures.supply import supply_pictures
from diagnose.work import Work, prepare
from knowledge.load import Knowledge

__all__ = ["Picture", "pictures_in", "pictures_of"]


def pictures_in(work: Work, healthy: Mapping[str, float] | None = None) -> tuple[Picture, ...]:
    """All pictures the readings now at hand allow. healthy: figures of this machine today, for the refrigerant cycle."""
    circuits = [p for p in work.places if p.startswith("circuit:")]
    found = [pump(work), drop(work), *(cycle(work, place, healthy) for place in circuits)]
    return tuple(one for one in (*found, *supply_pictures(work)) if one is not None)


def pictures_of(case: Case, knowledge: Knowledge) -> tuple[Picture, ...]:
    """The pictures of a checked case."""
    return pictures_in(prepare(case, knowledge))
