"""The form of an effect."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from diagnose.plant.health import Health
from diagnose.plant.parameters import Plant

Layer = Literal["loop", "air", "supply", "cycle", "control", "instruments"]


@dataclass(frozen=True, slots=True)
class At:
    """Where and how bad. id: circuit, compressor, fan or pump id, "" for unit and supply; s: severity 0 to 1."""

    plant: Plant
    id: str
    s: float


Apply = Callable[[Health, At], Health]


@dataclass(frozen=True, slots=True)
class Effect:
    """cause: id of the cause card; place: kind of place; meaning: what severity says; needs: what the machine must have for it
    to show ("" = nothing special); switch: severity does not matter beyond being there.
    """

    cause: str
    layer: Layer
    place: str
    meaning: str
    apply: Apply
    needs: str = ""
    switch: bool = False


def between(low: float, high: float, s: float) -> float:
    """``low`` at severity 0, ``high`` at 1."""
    return low + (high - low) * s
