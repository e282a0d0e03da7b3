"""The supply: voltages and currents of the three phases as bars, and as phasors.

The three voltages between lines close a triangle; its corners are where the phases stand. With the angles unknown, that is
all that three magnitudes tell, and it is enough to see a lost or a weak phase.
"""

from __future__ import annotations

import math

from diagnose.calculators.electrical import unbalance_pct
from diagnose.chart import Axis, Series
from diagnose.pictures.picture import Picture
from diagnose.places import spell
from diagnose.readings import Reading
from diagnose.work import Work

NAMES = {"line_voltage": ("L1-L2", "L2-L3", "L3-L1"), "line_current": ("L1", "L2", "L3")}


def _three(reading: Reading | None) -> tuple[float, float, float] | None:
    if reading is None or len(reading.values) != 3 or sum(reading.values) <= 0:
        return None
    a, b, c = reading.values
    return a, b, c


def bars(reading: Reading | None, title: str, unit: str, plate: float | None) -> Picture | None:
    """Three bars with their mean and the plate's value; None without three values."""
    three = _three(reading)
    if three is None or reading is None:
        return None
    names = NAMES[reading.quantity]
    mean = sum(three) / 3.0
    off = unbalance_pct(three)
    series = (Series("", tuple((float(n), value) for n, value in enumerate(three, 1)), "bars"),)
    said = ", ".join(f"{name} {value:.4g} {unit}" for name, value in zip(names, three, strict=True))
    limits = [("mean", mean)]
    if plate:
        limits.append(("plate", plate))
    return Picture(
        f"bars-{reading.quantity}-{reading.place.replace(':', '-')}",
        title,
        f"{said}; mean {mean:.4g} {unit}; largest deviation from the mean {off:.1f} %",
        Axis("", 0.4, 3.6, ticks=(1, 2, 3), names=names),
        Axis(f"[{unit}]", 0.0, 1.2 * max(*three, plate or 0.0)),
        series,
        limits=tuple(limits),
        notes=tuple((n - 0.3, value, f"{value:.4g}") for n, value in enumerate(three, 1)),
    )


def triangle(a: float, b: float, c: float) -> tuple[tuple[float, float], ...] | None:
    """Corners L1, L2, L3 of the triangle with sides L1-L2 = a, L2-L3 = b, L3-L1 = c; None where they cannot close."""
    if not a > 0.0 or a > b + c or b > a + c or c > a + b:
        return None
    # L1 at the origin, L2 on the axis, L3 by the law of cosines
    x = (a * a + c * c - b * b) / (2.0 * a)
    y = math.sqrt(max(c * c - x * x, 0.0))
    return (0.0, 0.0), (a, 0.0), (x, y)


def phasors(reading: Reading | None) -> Picture | None:
    """The voltages between lines as a triangle beside an even one; None without three that close."""
    three = _three(reading)
    corners = triangle(*three) if three is not None else None
    if three is None or corners is None:
        return None
    mean = sum(three) / 3.0
    even = triangle(mean, mean, mean)
    assert even is not None
    rows = []
    for points in (even, corners):  # both about their middle
        middle = (sum(p[0] for p in points) / 3.0, sum(p[1] for p in points) / 3.0)
        rows.append(tuple((p[0] - middle[0], p[1] - middle[1]) for p in points))
    fair, real = rows
    reach = 0.75 * max(mean, *three)
    angles = _inside(three)
    return Picture(
        "phasors",
        "Voltages between lines as phasors",
        "angles inside the triangle "
        + ", ".join(f"{name} {angle:.0f}°" for name, angle in zip(("at L1", "at L2", "at L3"), angles, strict=True))
        + "; 60° each is even",
        Axis("[V]", -reach, reach),
        Axis("[V]", -reach, reach),
        (
            Series("even supply of the same mean", (*fair, fair[0]), style=4),
            Series("as measured", (*real, real[0]), "marked", style=0),
        ),
        notes=tuple((x, y, name) for (x, y), name in zip(real, ("L1", "L2", "L3"), strict=True)),
        square=True,
    )


def _inside(sides: tuple[float, float, float]) -> tuple[float, float, float]:
    a, b, c = sides

    def angle(opposite: float, one: float, other: float) -> float:
        if one * other <= 0:
            return 0.0
        return math.degrees(
            math.acos(min(max((one * one + other * other - opposite * opposite) / (2 * one * other), -1.0), 1.0))
        )

    return angle(b, a, c), angle(c, a, b), angle(a, b, c)


def supply_pictures(work: Work) -> list[Picture]:
    """All that the readings allow: volts, phasors, amps of every motor read on three lines."""
    derivation, machine = work.derivation, work.machine
    volts = derivation.any("line_voltage", "supply")
    found = [bars(volts, "Voltages between lines", "V", machine.get("voltage")), phasors(volts)]
    plates = {"pump": "pump_plate_current", "compressor": "compressor_plate_current", "fan": "fan_plate_current"}
    for place in work.readings.places_of("line_current"):
        plate = machine.get(plates.get(place.split(":")[0], ""))
        found.append(bars(derivation.any("line_current", place), f"Currents, {spell(place)}", "A", plate))
    return [one for one in found if one is not None]
