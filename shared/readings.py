"""A number with its kind and its standard uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shared.quantities import Kind

RECTANGULAR = math.sqrt(3.0)  # an accuracy of +/-a means a standard uncertainty a/sqrt 3 (JCGM 100:2008, 4.3.7)


@dataclass(frozen=True, slots=True)
class Measured:
    """value: SI base unit of ``kind``; sd: standard uncertainty, same unit, 0 = taken as exact."""

    value: float
    kind: Kind
    sd: float = 0.0
