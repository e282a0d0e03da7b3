"""What no honest instrument can show, and the looks that settle which one lies.

These bounds have no cause above them: they weigh on the ways instruments may lie, so an impossible reading points to an
instrument and to nothing else. What may be odd without being impossible stands on the causes or in a contradiction rule.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit of a derived quantity.

    sign: +1, it must not lie above ``allowance`` (SI); -1, not below minus ``allowance``. cooling: only while the unit cools,
    else while the pump runs. pure: not for refrigerants with glide, where one saturation temperature says too little.
    settle: checks that show which instrument lies.
    """

    quantity: str
    text: str
    sign: float
    allowance: float
    settle: tuple[str, ...]
    cooling: bool = True
    pure: bool = False


_GAUGES = ("gauges-at-rest-compare", "one-gauge-both-taps")
BOUNDS: tuple[Bound, ...] = (
    Bound(
        "suction_over_fluid",
        "the suction line cannot be warmer than the entering fluid that warms it",
        1.0,
        2.0,
        ("probe-seat-look", "sensor-compare"),
    ),
    Bound(
        "condenser_split",
        "the circuit cannot condense below the temperature of the air that cools it",
        -1.0,
        0.0,
        ("air-figure-ask", "second-refrigerant-gauge"),
    ),
    Bound(
        "liquid_over_air",
        "the liquid line cannot be colder than the entering air without a restriction before it",
        -1.0,
        1.0,
        ("probe-seat-look", "air-figure-ask"),
    ),
    Bound(
        "subcooling",
        "the liquid line cannot be warmer than the refrigerant condenses",
        -1.0,
        1.0,
        ("probe-seat-look", "second-refrigerant-gauge", "gauge-scale-check"),
        pure=True,
    ),
    Bound(
        "fluid_split",
        "the fluid cannot leave warmer than it entered while the unit cools",
        -1.0,
        0.3,
        ("sensor-compare",),
    ),
    Bound(
        "approach",
        "the fluid cannot leave colder than the refrigerant that cools it",
        -1.0,
        0.6,
        ("second-refrigerant-gauge", "sensor-compare"),
        cooling=False,
        pure=True,
    ),
    Bound("pump_rise", "a running pump cannot lower the pressure", -1.0, 7000.0, _GAUGES, cooling=False),
    Bound("strainer_drop", "a strainer cannot add pressure", -1.0, 4000.0, _GAUGES, cooling=False),
)
