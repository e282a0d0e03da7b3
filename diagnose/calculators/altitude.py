"""Site atmosphere from altitude.

A dial or vented digital gauge reads zero at the site's own air pressure, so the site's atmosphere is what
must be added to get absolute pressure. A sealed or absolute-referenced gauge must not be corrected a second
time: give its reading as absolute.
"""

from __future__ import annotations

from diagnose.calculators.limits import require_within

SEA_LEVEL_PA = 101325.0


def site_atmosphere_pa(altitude_m: float) -> float:
    """Air pressure [Pa] at an altitude [m]: 101.325 kPa (1 - 2.25577e-5 h)^5.2559.

    Range -500 to 6000 m; CalculatorError outside. Weather moves the true value by about +/-2 %.
    Source: ASHRAE Handbook Fundamentals 2017, chapter 1, equation 3.
    Check value: 5900 ft = 11.82 psia (US government HVAC design guide table).

    >>> round(site_atmosphere_pa(5900 * 0.3048) / 6894.757, 2)
    11.82
    """
    require_within("altitude", altitude_m, -500.0, 6000.0, "m")
    return SEA_LEVEL_PA * float((1.0 - 2.25577e-5 * altitude_m) ** 5.2559)
