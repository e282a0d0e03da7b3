"""Accuracy of the instruments a technician usually has, as a default when a reading says nothing else.

An accuracy of +/-a is taken as equally likely anywhere inside, so its standard uncertainty is a/sqrt 3
(JCGM 100:2008, 4.3.7). The figures are for instruments in order: a drifted or dropped gauge is a lying
instrument, which the belief treats, not this table. Editable data; where no source is named it is common
practice.
"""

from __future__ import annotations

from dataclasses import dataclass

from shared.errors import CalculatorError
from shared.quantities import Kind
from shared.readings import RECTANGULAR, Measured
from shared.units import PSI_PA

_F = 1.0 / 1.8


@dataclass(frozen=True, slots=True)
class Instrument:
    """Accuracy +/-(absolute + share x reading). absolute: SI of the reading's kind; share: of the reading."""

    id: str
    title: str
    absolute: float
    share: float
    source: str

    def accuracy(self, value: float) -> float:
        """+/-a at a reading, SI."""
        return self.absolute + self.share * abs(value)

    def sd(self, value: float) -> float:
        """Standard uncertainty at a reading, SI."""
        return self.accuracy(value) / RECTANGULAR


def dial_accuracy_pa(full_scale_pa: float, accuracy_class: float = 1.6) -> float:
    """+/-a [Pa] of a dial gauge anywhere on its scale: class per cent of FULL scale (EN 837-1).

    >>> round(dial_accuracy_pa(500 * PSI_PA) / PSI_PA, 1)
    8.0
    """
    return accuracy_class / 100.0 * full_scale_pa


_CLASS = "EN 837-1 class 1.6: 1.6 % of full scale"
_PRACTICE = "common practice, no source"

_ALL = (
    Instrument("dial-500-psi", "500 psi dial, class 1.6", dial_accuracy_pa(500 * PSI_PA), 0.0, _CLASS),
    Instrument("dial-800-psi", "800 psi dial, class 1.6", dial_accuracy_pa(800 * PSI_PA), 0.0, _CLASS),
    Instrument("dial-100-psi", "100 psi dial, class 1.6", dial_accuracy_pa(100 * PSI_PA), 0.0, _CLASS),
    Instrument(
        "same-dial-100-psi",
        "one 100 psi dial moved between the taps: its error cancels, reading it does not",
        0.3 * PSI_PA,
        0.0,
        _PRACTICE,
    ),
    Instrument("digital-gauge", "digital refrigerant gauge", 1.0 * PSI_PA, 0.01, _PRACTICE),
    Instrument("differential-meter", "differential pressure meter", 0.05 * PSI_PA, 0.02, _PRACTICE),
    Instrument("pipe-clamp", "type K pipe clamp, insulated", 2.0 * _F, 0.0, _PRACTICE),
    Instrument("well-probe", "thermometer in a well", 1.0 * _F, 0.0, _PRACTICE),
    Instrument("air-probe", "air thermometer, shaded", 1.0 * _F, 0.0, _PRACTICE),
    Instrument("flow-meter", "installed flow meter", 0.0, 0.03, _PRACTICE),
    Instrument("voltmeter", "voltmeter, one meter for all legs (its common error cancels)", 0.0, 0.003, _PRACTICE),
    Instrument("clamp-meter", "clamp meter", 0.1, 0.02, _PRACTICE),
    Instrument("refractometer", "glycol refractometer, its own scale", 1.0, 0.0, _PRACTICE),
    Instrument("exact", "taken as exact", 0.0, 0.0, "by definition"),
)

INSTRUMENTS = {one.id: one for one in _ALL}
"""All instruments by id."""


def instrument(instrument_id: str) -> Instrument:
    """The instrument of an id; CalculatorError for an unknown one."""
    if instrument_id not in INSTRUMENTS:
        raise CalculatorError("unknown instrument", given=instrument_id, allowed=", ".join(INSTRUMENTS))
    return INSTRUMENTS[instrument_id]


def measured(value: float, kind: Kind, instrument_id: str) -> Measured:
    """A reading with the standard uncertainty of its instrument."""
    return Measured(value, kind, instrument(instrument_id).sd(value))
