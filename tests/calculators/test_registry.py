"""The registry: documentation of every calculator, propagation of uncertainty, and refused input."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping

import pytest

from diagnose.calculators import instruments
from diagnose.calculators.model import Calculator, Given, Input, Output, Results, Values
from diagnose.calculators.propagate import standard_uncertainty, values_of
from diagnose.calculators.registry import CALCULATORS, calculator, complete, evaluate, example
from shared.errors import CalculatorError, ChillerError, ImpossibleValueError, WrongKindError
from shared.quantities import QUANTITIES, Kind
from shared.readings import Measured
from shared.units import PSI_PA

F = 1.0 / 1.8


def kelvin(f: float) -> float:
    return (f - 32.0) / 1.8 + 273.15


def gauge(psig: float, sd_psi: float = 0.0) -> Measured:
    return Measured(psig * PSI_PA, Kind.GAUGE_PRESSURE, sd_psi * PSI_PA)


def line(f: float, sd_f: float = 0.0) -> Measured:
    return Measured(kelvin(f), Kind.TEMPERATURE, sd_f * F)


@pytest.mark.parametrize("one", CALCULATORS.values(), ids=list(CALCULATORS))
def test_every_calculator_is_documented(one: Calculator) -> None:
    """Title, limits, source, help of every input and output; unique keys; defaults that can be read."""
    assert one.title and len(one.limits) > 10 and len(one.source) > 5
    for part in (*one.inputs, *one.outputs):
        assert part.help, f"{one.name}: {part.key}"
    for parts in (one.inputs, one.outputs):
        keys = [part.key for part in parts]
        assert len(keys) == len(set(keys))
    given = {i.key: i.choices[0] if i.kind is Kind.CHOICE else Measured(1.0, i.kind) for i in one.inputs if i.required}
    typed: dict[str, Given] = {
        i.key: (Measured(300.0 if i.kind is Kind.TEMPERATURE else 1.0, i.kind),) * (i.many or 2)
        if i.many != 1
        else given[i.key]
        for i in one.inputs
        if i.required
    }
    for key, value in typed.items():
        quantity = QUANTITIES.get(key)
        if quantity and isinstance(value, Measured):
            typed[key] = Measured(0.5 * (quantity.low + quantity.high), value.kind)
    filled = complete(one, typed)
    assert all(i.key in filled for i in one.inputs if i.default)
    assert all(i.instrument in instruments.INSTRUMENTS for i in one.inputs if i.instrument)


def test_contract_quantities_keep_their_kind() -> None:
    """An input that carries a quantity's name is of that quantity's kind."""
    for one in CALCULATORS.values():
        for i in one.inputs:
            if i.key in QUANTITIES:
                assert i.kind is QUANTITIES[i.key].kind, f"{one.name}: {i.key}"


def test_uncertainty_of_a_sum_is_exact() -> None:
    """Known answer: f = 3a - 4b with sd 1 and 1 has sd 5; the same reading twice counts once."""

    def compute(v: Values) -> Results:
        return {"sum": 3.0 * v.number("a") - 4.0 * v.number("b"), "same": v.number("a") - v.number("a")}

    inputs = (Input("a", Kind.RATIO, "a"), Input("b", Kind.RATIO, "b"))
    one = Calculator(
        "x", "x", inputs, (Output("sum", Kind.RATIO, "s"), Output("same", Kind.RATIO, "s")), "", "", compute
    )
    given = {"a": Measured(1.0, Kind.RATIO, 1.0), "b": Measured(2.0, Kind.RATIO, 1.0)}
    values = values_of(one, given)
    spread = standard_uncertainty(one, given, values, compute(values))
    assert spread["sum"] == pytest.approx(5.0)
    assert spread["same"] == 0.0


MONTE_CARLO: list[tuple[str, dict[str, Given], str]] = [
    (
        "superheat",
        {"refrigerant": "R-410A", "suction_pressure": gauge(118, 4.6), "suction_line": line(50, 1.15)},
        "superheat",
    ),
    (
        "subcooling",
        {
            "refrigerant": "R-407C",
            "liquid_pressure": gauge(240, 7.4),
            "liquid_line": line(95, 1.15),
            "altitude": Measured(1500.0, Kind.LENGTH, 100.0),
        },
        "subcooling",
    ),
    (
        "compression-ratio",
        {"suction_pressure": gauge(118, 4.6), "discharge_pressure": gauge(365, 7.4)},
        "compression_ratio",
    ),
    (
        "capacity",
        {
            "flow": Measured(0.009, Kind.FLOW, 0.0002),
            "entering_fluid": line(54, 0.58),
            "leaving_fluid": line(44, 0.58),
        },
        "capacity",
    ),
    (
        "discharge-temperature",
        {
            "refrigerant": "R-32",
            "suction_pressure": gauge(123, 4.0),
            "suction_line": line(55, 1.0),
            "discharge_pressure": gauge(450, 7.0),
            "efficiency": Measured(0.7, Kind.RATIO, 0.03),
        },
        "discharge_temperature",
    ),
    (
        "flow-from-drop",
        {
            "evaporator_drop": Measured(6.5 * PSI_PA, Kind.PRESSURE_DIFFERENCE, 0.5 * PSI_PA),
            "rated_flow": Measured(0.006, Kind.FLOW),
            "rated_drop": Measured(7 * PSI_PA, Kind.PRESSURE_DIFFERENCE),
        },
        "flow",
    ),
]


@pytest.mark.parametrize(("name", "inputs", "output"), MONTE_CARLO, ids=[case[0] for case in MONTE_CARLO])
def test_uncertainty_against_monte_carlo(name: str, inputs: dict[str, Given], output: str) -> None:
    """Standard uncertainty within 6 % of 4,000 random draws (JCGM 101), whose own scatter is 1.1 %."""
    random.seed(7)
    chosen = calculator(name)
    filled = complete(chosen, inputs)
    draws = []
    for _ in range(4000):
        drawn: dict[str, Given] = {
            key: Measured(random.gauss(one.value, one.sd), one.kind) if isinstance(one, Measured) else one
            for key, one in filled.items()
        }
        draws.append(float(chosen.compute(values_of(chosen, drawn))[output]))
    mean = math.fsum(draws) / len(draws)
    scatter = math.sqrt(math.fsum((d - mean) ** 2 for d in draws) / (len(draws) - 1))
    assert evaluate(name, inputs).sd(output) == pytest.approx(scatter, rel=0.06)


def test_printed_capacity_uncertainty() -> None:
    """10 F difference with two +/-1 F sensors is +/-14 % (read; both taken as one standard uncertainty)."""
    found = evaluate(
        "capacity",
        {"flow": Measured(0.009, Kind.FLOW), "entering_fluid": line(54, 1.0), "leaving_fluid": line(44, 1.0)},
    )
    assert found.sd("capacity") == pytest.approx(0.141 * found.value("capacity"), rel=0.01)


def test_printed_dial_uncertainty() -> None:
    """500 psi class 1.6 on R-410A suction is +/-3.5 F of saturation (read)."""
    reading = instruments.measured(118.0 * PSI_PA, Kind.GAUGE_PRESSURE, "dial-500-psi")
    found = evaluate("saturation", {"refrigerant": "R-410A", "pressure": reading})
    sd = found.sd("dew")
    assert sd is not None
    assert sd * math.sqrt(3.0) * 1.8 == pytest.approx(3.5, abs=0.1)


def test_altitude_moves_gauge_readings_only() -> None:
    """5000 ft: 118 psig moves by 1.1 F, an absolute reading not at all: it is not corrected twice."""

    def dew(reading: Measured, metres: float) -> float:
        return evaluate(
            "saturation",
            {"refrigerant": "R-410A", "pressure": reading, "altitude": Measured(metres, Kind.LENGTH)},
        ).value("dew")

    absolute = Measured(9.15e5, Kind.ABSOLUTE_PRESSURE)
    assert (dew(gauge(118), 0.0) - dew(gauge(118), 1524.0)) * 1.8 == pytest.approx(1.09, abs=0.03)
    assert dew(absolute, 0.0) == dew(absolute, 1524.0)


def test_trap_gauge_pressures_in_a_ratio() -> None:
    """145/5 psig is 8.1, not 29."""
    found = evaluate("compression-ratio", {"suction_pressure": gauge(5), "discharge_pressure": gauge(145)})
    assert found.value("compression_ratio") == pytest.approx(8.1, abs=0.02)


NOTES: list[tuple[str, Mapping[str, Given], str]] = [
    (
        "subcooling",
        {"refrigerant": "R-410A", "liquid_pressure": gauge(365), "liquid_line": line(109.5)},
        "within 1 F of zero proves nothing",
    ),
    (
        "subcooling",
        {"refrigerant": "R-407C", "liquid_pressure": gauge(260.2), "liquid_line": line(108.5)},
        "within 2 F of zero proves nothing",
    ),
    (
        "superheat",
        {"refrigerant": "R-410A", "suction_pressure": gauge(118), "suction_line": line(30)},
        "below zero: liquid",
    ),
    (
        "superheat",
        {"refrigerant": "R-410A", "suction_pressure": gauge(118, 5), "suction_line": line(39, 1)},
        "below zero within its uncertainty",
    ),
    (
        "discharge-superheat",
        {
            "refrigerant": "R-410A",
            "discharge_pressure": gauge(365),
            "discharge_line": line(130),
            "suction_pressure": gauge(118),
            "suction_line": line(50),
        },
        "wet compression",
    ),
    (
        "approach",
        {
            "refrigerant": "R-410A",
            "suction_pressure": gauge(118),
            "leaving_fluid": line(37),
            "liquid_line": line(95),
        },
        "impossible, one reading is wrong",
    ),
    ("evaporator-drop", {"evaporator_in": gauge(25, 0.92), "evaporator_out": gauge(20, 0.92)}, "not judged"),
    (
        "flow-from-drop",
        {
            "evaporator_drop": Measured(5 * PSI_PA, Kind.PRESSURE_DIFFERENCE, 1.3 * PSI_PA),
            "rated_flow": Measured(0.006, Kind.FLOW),
            "rated_drop": Measured(7 * PSI_PA, Kind.PRESSURE_DIFFERENCE),
        },
        "not judged",
    ),
    (
        "current-unbalance",
        {"line_current": tuple(Measured(a, Kind.CURRENT) for a in (10.4, 10.5, 0.0))},
        "one line carries almost nothing",
    ),
    (
        "voltage-unbalance",
        {"line_voltage": tuple(Measured(v, Kind.VOLTAGE) for v in (460.0, 460.0, 380.0))},
        "not to be run",
    ),
    ("meter-correction", {"meter": "ultrasonic", "flow": Measured(0.006, Kind.FLOW)}, "sound speed"),
    (
        "freeze-point",
        {"fluid": "ethylene-glycol", "glycol_percent": Measured(30.0, Kind.PERCENT)},
        "volume percent",
    ),
    ("circuit-size", {"largest_motor": Measured(20.0, Kind.CURRENT)}, "nameplate always wins"),
]


@pytest.mark.parametrize(("name", "inputs", "text"), NOTES, ids=[f"{case[0]}-{i}" for i, case in enumerate(NOTES)])
def test_notes_say_what_a_result_cannot_prove(name: str, inputs: dict[str, Given], text: str) -> None:
    """The limits of a result travel with it."""
    assert any(text in note for note in evaluate(name, inputs).notes)


def test_quiet_where_there_is_nothing_to_say() -> None:
    """A sound superheat, one gauge moved between the taps, and a healthy subcooling carry no note."""
    assert evaluate("superheat", MONTE_CARLO[0][1]).notes == ()
    small = instruments.instrument("same-dial-100-psi").sd(0.0) / PSI_PA
    assert (
        evaluate(
            "evaporator-drop",
            {"evaporator_in": gauge(25, small), "evaporator_out": gauge(20, small), "gauges": "one"},
        ).notes
        == ()
    )


REFUSED: list[tuple[str, dict[str, Given], type[ChillerError], str]] = [
    ("superheet", {}, CalculatorError, "superheat"),
    ("superheat", {"refrigerant": "R-410A"}, CalculatorError, "also suction_pressure, suction_line"),
    ("superheat", {"refrigerent": "R-410A"}, CalculatorError, "did you mean refrigerant"),
    (
        "superheat",
        {"refrigerant": "R-12", "suction_pressure": gauge(118), "suction_line": line(50)},
        CalculatorError,
        "unknown refrigerant",
    ),
    (
        "superheat",
        {
            "refrigerant": "R-410A",
            "suction_pressure": Measured(8e5, Kind.PRESSURE_DIFFERENCE),
            "suction_line": line(50),
        },
        WrongKindError,
        "suction_pressure is a gauge-pressure",
    ),
    (
        "superheat",
        {
            "refrigerant": "R-410A",
            "suction_pressure": gauge(118),
            "suction_line": Measured(10.0, Kind.TEMPERATURE_DIFFERENCE),
        },
        WrongKindError,
        "suction_line",
    ),
    (
        "superheat",
        {"refrigerant": "R-410A", "suction_pressure": gauge(math.nan), "suction_line": line(50)},
        ImpossibleValueError,
        "not a number",
    ),
    (
        "superheat",
        {"refrigerant": "R-410A", "suction_pressure": gauge(1180), "suction_line": line(50)},
        ImpossibleValueError,
        "cannot be that",
    ),
    ("saturation", {"refrigerant": "R-410A", "pressure": gauge(-20)}, CalculatorError, "below a full vacuum"),
    (
        "saturation",
        {"refrigerant": Measured(1.0, Kind.RATIO), "pressure": gauge(10)},
        WrongKindError,
        "is a word",
    ),
    ("saturation", {"refrigerant": "R-410A", "pressure": "high"}, WrongKindError, "a measured value"),
    (
        "voltage-unbalance",
        {"line_voltage": (Measured(460.0, Kind.VOLTAGE),) * 2},
        CalculatorError,
        "needs 3 values",
    ),
    (
        "compression-ratio",
        {"suction_pressure": gauge(200), "discharge_pressure": gauge(100)},
        CalculatorError,
        "exchanged",
    ),
    (
        "condenser-split",
        {"refrigerant": "R-22", "entering_air": line(95)},
        CalculatorError,
        "one condensing pressure",
    ),
    (
        "discharge-superheat",
        {
            "refrigerant": "R-22",
            "discharge_pressure": gauge(250),
            "discharge_line": line(160),
            "suction_pressure": gauge(70),
        },
        CalculatorError,
        "half of the suction state",
    ),
    (
        "flow-from-drop",
        {"evaporator_drop": Measured(1e4, Kind.PRESSURE_DIFFERENCE)},
        CalculatorError,
        "no rated point",
    ),
    (
        "evaporator-inlet",
        {"refrigerant": "R-22", "suction_pressure": gauge(100), "liquid_line": line(40)},
        CalculatorError,
        "liquid line colder",
    ),
]


@pytest.mark.parametrize(
    ("name", "inputs", "error", "text"), REFUSED, ids=[f"{c[0]}-{i}" for i, c in enumerate(REFUSED)]
)
def test_refused_input(name: str, inputs: dict[str, Given], error: type[ChillerError], text: str) -> None:
    """One clear line each: what was given, what is allowed."""
    with pytest.raises(error) as caught:
        evaluate(name, inputs)
    assert text in caught.value.line() and "\n" not in caught.value.line()


def test_one_sided_at_the_edge_of_the_range() -> None:
    """A drop of zero with an uncertain gauge: flow zero, with the uncertainty of the possible side."""
    found = evaluate(
        "flow-from-drop",
        {
            "evaporator_drop": Measured(0.0, Kind.PRESSURE_DIFFERENCE, 0.5 * PSI_PA),
            "rated_flow": Measured(0.006, Kind.FLOW),
            "rated_drop": Measured(7 * PSI_PA, Kind.PRESSURE_DIFFERENCE),
        },
    )
    assert found.value("flow") == 0.0
    assert found.sd("flow") == pytest.approx(0.006 * math.sqrt(0.5 / 7))


def test_instruments_follow_jcgm_100() -> None:
    """Accuracy +/-a is a standard uncertainty a/sqrt 3 (JCGM 100, 4.3.7); class 1.6 of 500 psi is 8 psi."""
    dial = instruments.instrument("dial-500-psi")
    assert dial.accuracy(0.0) / PSI_PA == pytest.approx(8.0)
    assert dial.sd(1e6) * math.sqrt(3.0) == pytest.approx(dial.accuracy(1e6))
    with pytest.raises(CalculatorError, match="unknown instrument"):
        instruments.instrument("thumb")


def test_examples_can_be_typed() -> None:
    """The example shown for each input is one the command line reads."""
    from diagnose.calculators.command import typed_input

    for one in CALCULATORS.values():
        for i in one.inputs:
            key, _, text = example(i).partition("=")
            assert key == i.key and typed_input(i, text, "").given
