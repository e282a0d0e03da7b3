"""What technicians type, read right or refused in one clear line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import ImpossibleValueError, ReadingError, UnknownUnitError, WrongKindError
from shared.quantities import QUANTITIES, Kind
from shared.units import ATMOSPHERE_PA, PSI_PA, SHOWN, parse, parse_reading, parse_spread, show, spread_in_unit, to_unit

# expected SI values: exact definitions (BIPM SI Brochure 9th ed.; NIST SP 811 appendix B for psi, inHg, gpm, Btu)
TYPED = [
    ("118 psig", Kind.GAUGE_PRESSURE, 118 * 6894.757293168),
    ("8.1 bar", Kind.GAUGE_PRESSURE, 8.1e5),
    ("8,1 bar", Kind.GAUGE_PRESSURE, 8.1e5),
    ("118 psi g", Kind.GAUGE_PRESSURE, 118 * 6894.757293168),
    ("14.695948775 psia", Kind.GAUGE_PRESSURE, 0.0),
    ("1.01325 bara", Kind.GAUGE_PRESSURE, 0.0),
    ("801.325 kPa abs", Kind.GAUGE_PRESSURE, 700e3),
    ("10 inHg vacuum", Kind.GAUGE_PRESSURE, -33863.89),
    ("-10 inHg", Kind.GAUGE_PRESSURE, -33863.89),
    ("0 psig", Kind.ABSOLUTE_PRESSURE, 101325.0),
    ("50F", Kind.TEMPERATURE, 283.15),
    ("10 °C", Kind.TEMPERATURE, 283.15),
    ("12,5 °C", Kind.TEMPERATURE, 285.65),
    ("−40 C", Kind.TEMPERATURE, 233.15),
    ("-40 F", Kind.TEMPERATURE, 233.15),
    ("10 delta_degF", Kind.TEMPERATURE_DIFFERENCE, 10 / 1.8),
    ("Δ10 K".replace("Δ", ""), Kind.TEMPERATURE_DIFFERENCE, 10.0),
    ("235 gpm", Kind.FLOW, 235 * 6.30901964e-5),
    ("14.8 L/s", Kind.FLOW, 0.0148),
    ("36 m³/h", Kind.FLOW, 0.01),
    ("460 V", Kind.VOLTAGE, 460.0),
    ("42 kPa", Kind.PRESSURE_DIFFERENCE, 42e3),
    ("2.31 ft of water", Kind.PRESSURE_DIFFERENCE, 2.31 * 2989.06692),
    ("5 hp", Kind.POWER, 5 * 745.69987),
    ("40 tons", Kind.POWER, 40 * 3516.8528),
    ("100 megohm", Kind.RESISTANCE, 1e8),
    ("1 torr", Kind.PRESSURE_DIFFERENCE, 133.322368),
    ("12 min", Kind.TIME, 720.0),
    ("about 60 psi", Kind.GAUGE_PRESSURE, 60 * 6894.757293168),
]


@pytest.mark.parametrize(("text", "kind", "want"), TYPED)
def test_typed_values(text: str, kind: Kind, want: float) -> None:
    """Every spelling means its SI value (six digits: what the conversion factors are printed with)."""
    assert parse(text, kind).value == pytest.approx(want, rel=1e-6, abs=1e-3)


REFUSED = [
    ("10 degC", Kind.TEMPERATURE_DIFFERENCE, WrongKindError),
    ("10 V", Kind.TEMPERATURE, WrongKindError),
    ("5 psig", Kind.PRESSURE_DIFFERENCE, WrongKindError),
    ("12 gpm", Kind.CURRENT, WrongKindError),
    ("12 bananas", Kind.FLOW, UnknownUnitError),
    ("12", Kind.VOLTAGE, UnknownUnitError),
    ("-3 psia", Kind.GAUGE_PRESSURE, ImpossibleValueError),
    ("-500 F", Kind.TEMPERATURE, ImpossibleValueError),
    ("nan V", Kind.VOLTAGE, ReadingError),
    ("inf A", Kind.CURRENT, ReadingError),
    ("1e999 V", Kind.VOLTAGE, ReadingError),
    ("1.2.3 V", Kind.VOLTAGE, ReadingError),
    ("1,234 psi", Kind.GAUGE_PRESSURE, ReadingError),
    ("1.234,5 kPa", Kind.PRESSURE_DIFFERENCE, ReadingError),
    ("", Kind.FLOW, ReadingError),
    ("high", Kind.GAUGE_PRESSURE, ReadingError),
    ("9" * 400, Kind.FLOW, ReadingError),
]


@pytest.mark.parametrize(("text", "kind", "error"), REFUSED)
def test_refused_in_one_line(text: str, kind: Kind, error: type[ReadingError]) -> None:
    """What cannot be read is refused with what was given, what is allowed and what to do, on one line."""
    with pytest.raises(error) as caught:
        parse(text, kind)
    line = str(caught.value)
    assert "\n" not in line and len(line) < 400 and "allowed" in line


def test_readings_know_what_they_can_be() -> None:
    """Limits of the machine: a slip of the pen is refused, three legs are three legs."""
    assert [round(p.value) for p in parse_reading("line_voltage", "462 / 460 / 461 V")] == [462, 460, 461]
    assert [p.value for p in parse_reading("line_current", ["3.6 A", "3.7", "3.6 A"])] == pytest.approx([3.6, 3.7, 3.6])
    for quantity, value in (
        ("suction_pressure", "9000 psig"),
        ("line_voltage", "462/460 V"),
        ("suction_line", "1/2/3 F"),
        ("no_such", "1 V"),
        ("entering_air", "900 F"),
        ("frequency", "600 Hz"),
        ("line_voltage", []),
    ):
        with pytest.raises(ReadingError):
            parse_reading(quantity, value)


def test_echo_says_gauge() -> None:
    """A pressure without g or a is taken as gauge, and the echo says so."""
    assert parse_reading("suction_pressure", "8.1 bar")[0].echo == "8.1 bar gauge"
    assert "absolute" in parse_reading("suction_pressure", "8.1 bara")[0].echo


def test_altitude_moves_absolute_readings_only() -> None:
    """Site pressure matters where absolute meets gauge (ASHRAE Fundamentals 2017 ch. 1 eq. 3 gives 83.4 kPa near 1600 m)."""
    assert parse("100 psig", Kind.GAUGE_PRESSURE, atmosphere_pa=83400.0).value == pytest.approx(100 * PSI_PA)
    assert parse("100 psia", Kind.GAUGE_PRESSURE, atmosphere_pa=83400.0).value == pytest.approx(100 * PSI_PA - 83400.0)


@given(st.floats(min_value=-90, max_value=900), st.sampled_from(["psig", "barg", "kPa"]))
def test_pressure_round_trip(number: float, unit: str) -> None:
    """Written, read and shown in its unit again it is the same number."""
    value = parse(f"{number:.4f} {unit}", Kind.GAUGE_PRESSURE).value
    assert to_unit(value, Kind.GAUGE_PRESSURE, unit) == pytest.approx(round(number, 4), abs=1e-6)


@given(st.text(max_size=40))
def test_no_text_breaks_the_parser(text: str) -> None:
    """Any text is a value or one clear error."""
    for kind in (Kind.TEMPERATURE, Kind.GAUGE_PRESSURE, Kind.FLOW):
        try:
            assert parse(text, kind).value == parse(text, kind).value
        except ReadingError as error:
            assert str(error)


def test_spread_has_no_offset() -> None:
    """A width of 2 F is 2 F wide, whatever the level (JCGM 100: an uncertainty is a difference)."""
    assert parse_spread("2 delta_degF", Kind.TEMPERATURE) == pytest.approx(2 / 1.8)
    assert spread_in_unit(1.0, Kind.TEMPERATURE, "degF") == pytest.approx(1.8)


def test_every_kind_can_be_shown() -> None:
    """Each kind has a US and a metric unit that really convert."""
    for kind in Kind:
        if kind is not Kind.CHOICE:
            assert show(ATMOSPHERE_PA if "pressure" in kind else 300.0, kind) and show(300.0, kind, metric=True)
            assert kind in SHOWN


def test_contract_quantities_are_there() -> None:
    """The fixed names of the outside contract."""
    names = [
        "suction_pressure",
        "liquid_pressure",
        "discharge_pressure",
        "suction_line",
        "liquid_line",
        "discharge_line",
        "entering_air",
        "entering_fluid",
        "leaving_fluid",
        "evaporator_in",
        "evaporator_out",
        "evaporator_drop",
        "strainer_in",
        "strainer_out",
        "strainer_drop",
        "pump_suction",
        "pump_discharge",
        "flow",
        "line_voltage",
        "line_current",
        "frequency",
        "overload_setting",
        "motor_plate_current",
        "time_running",
        "leaving_air",
        "weather_air",
        "drier_in",
        "drier_out",
        "control_voltage",
        "fan_current",
        "drive_frequency",
        "sump",
        "glycol_percent",
        "expansion_tank",
        "machine_load",
    ]
    assert set(names) <= set(QUANTITIES)
