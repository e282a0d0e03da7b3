"""Electrical supply, site and steadiness."""

from __future__ import annotations

import math

from diagnose.calculators import altitude, electrical, steady
from diagnose.calculators.catalogue.common import temperature
from diagnose.calculators.model import Calculator, Input, Output, Results, Spread, Values
from shared.errors import CalculatorError
from shared.quantities import Kind

LOST_LEG_PCT = 10.0
GENERATOR_MODEL_SHARE = 0.2
"""Standard uncertainty of the dip model, as a share of the dip: reactance and load before the start are
guesses.
"""


def _mean(values: tuple[float, ...]) -> float:
    return math.fsum(values) / len(values)


def _voltage_unbalance(v: Values) -> Results:
    volts = v.many("line_voltage")
    percent = electrical.unbalance_pct(volts)
    results = {"voltage_unbalance": percent, "mean_voltage": _mean(volts)}
    if percent <= 5.0:
        results["derating"] = electrical.derating_factor(percent)
        results["extra_temperature_rise"] = electrical.extra_temperature_rise_pct(percent)
    if 2.0 * max(volts) <= sum(volts):
        results["negative_sequence"] = electrical.negative_sequence_pct(volts)
    return results


def _voltage_unbalance_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    notes = []
    if float(results["voltage_unbalance"]) > 5.0:
        notes.append("above 5 %: an open motor is not to be run (NEMA MG 1)")
    if "negative_sequence" not in results:
        notes.append("these three cannot belong to one supply: measure again, line to line")
    notes.append("derating is for open motors; hermetic compressors: 2 % at the compressor, off above it")
    return notes


def _current_unbalance(v: Values) -> Results:
    amps = v.many("line_current")
    return {
        "current_unbalance": electrical.unbalance_pct(amps),
        "mean_current": _mean(amps),
        "lowest_leg": electrical.lowest_leg_pct(amps),
    }


def _current_unbalance_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    if float(results["lowest_leg"]) < LOST_LEG_PCT:
        return ["one line carries almost nothing: a lost phase, an open pole or a clamp on the wrong conductor"]
    return ["move the three leads round together: a high leg that stays with the supply is a supply fault"]


def _derating(v: Values) -> Results:
    percent = v.number("voltage_unbalance")
    return {
        "derating": electrical.derating_factor(percent),
        "extra_temperature_rise": electrical.extra_temperature_rise_pct(percent),
    }


def _deviation(v: Values) -> Results:
    volts = electrical.deviation_pct(_mean(v.many("line_voltage")), v.number("rated_voltage"))
    results = {"voltage_deviation": volts}
    if v.has("frequency"):
        hertz = electrical.deviation_pct(v.number("frequency"), v.number("rated_frequency"))
        results["frequency_deviation"] = hertz
        results["sum_of_deviations"] = abs(volts) + abs(hertz)
    return results


def _phase_loss(v: Values) -> Results:
    running = v.number("line_current")
    low, high = electrical.SINGLE_PHASE_RUNNING
    results = {
        "live_lines": electrical.single_phase_current_a(running),
        "live_lines_low": low * running,
        "live_lines_high": high * running,
    }
    if v.has("locked_rotor_current"):
        results["standstill"] = electrical.single_phase_locked_rotor_a(v.number("locked_rotor_current"))
    return results


def _power(v: Values) -> Results:
    volts, amps = _mean(v.many("line_voltage")), _mean(v.many("line_current"))
    return {
        "power": electrical.three_phase_power_w(volts, amps, v.number("power_factor")),
        "apparent_power": electrical.three_phase_apparent_va(volts, amps),
    }


def _generator(v: Values) -> Results:
    start = electrical.start_step_va(v.number("rated_voltage"), v.number("locked_rotor_current"))
    results = {"start_power": start}
    if v.has("generator_rating"):
        rating = v.number("generator_rating")
        results["step_share"] = 100.0 * start / rating
        results["voltage_dip"] = electrical.generator_dip_pct(start, rating, v.number("reactance"))
    return results


def _generator_model(v: Values, results: Results) -> dict[str, float]:
    dip = results.get("voltage_dip")
    return {"voltage_dip": GENERATOR_MODEL_SHARE * dip} if isinstance(dip, float) else {}


def _generator_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    dip = results.get("voltage_dip")
    notes = ["take the LARGEST step: the last compressor starts on top of those running"]
    if isinstance(dip, float) and dip > 30.0:
        notes.append("above 30 %: starters can drop out")
    elif isinstance(dip, float) and dip > 20.0:
        notes.append("above the 20 % of ISO 8528-5 class G2")
    return notes


def _circuit(v: Values) -> Results:
    largest, others = v.number("largest_motor"), v.many("other_loads")
    return {
        "minimum_circuit_ampacity": electrical.minimum_circuit_ampacity_a(largest, others),
        "maximum_overcurrent_device": float(electrical.maximum_overcurrent_a(largest, others)),
        "first_choice_device": float(electrical.maximum_overcurrent_a(largest, others, 1.75)),
    }


def _line_drop(v: Values) -> Results:
    drop = electrical.line_drop_v(
        v.number("line_current"), v.number("length"), v.number("conductor_area"), v.text("conductor")
    )
    return {"voltage_drop": drop, "drop_percent": 100.0 * drop / v.number("rated_voltage")}


def _line_drop_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    return [
        "resistance only, conductor at 75 C: large cables at low power factor drop more",
        "3 % on the branch, 5 % in total is advice, not code",
    ]


def _site(v: Values) -> Results:
    atmosphere = altitude.site_atmosphere_pa(v.number("altitude"))
    return {"site_pressure": atmosphere, "below_sea_level_pressure": altitude.SEA_LEVEL_PA - atmosphere}


def _site_model(v: Values, results: Results) -> dict[str, float]:
    share = 0.01  # weather: about +/-2 % at most of the time
    return {"site_pressure": share * float(results["site_pressure"])}


def _steady(v: Values) -> Results:
    times, temperatures = v.many("times"), v.many("temperatures")
    if len(times) != len(temperatures):
        raise CalculatorError(
            "times and temperatures differ in number",
            given=f"{len(times)} and {len(temperatures)}",
            allowed="one time for each temperature",
        )
    window = steady.last_window(times, temperatures, v.number("window"))
    gate = _gate(v, window)
    return {
        "steady": "yes" if gate.steady else "not yet",
        "spread": window.spread,
        "slope": window.slope_per_s,
        "standard_deviation": window.sd,
    }


def _gate(v: Values, window: steady.Window) -> steady.SteadyGate:
    return steady.steady_gate(
        stages_unchanged_s=v.maybe("stages_unchanged"),
        temperatures=(("temperature", window),),
        entering_fluid_k=v.maybe("entering_fluid"),
        design_entering_k=v.maybe("design_entering"),
        window_s=v.number("window"),
    )


def _steady_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    window = steady.last_window(v.many("times"), v.many("temperatures"), v.number("window"))
    notes = list(_gate(v, window).reasons)
    if not v.has("stages_unchanged"):
        notes.append("time since the stages changed not given: assumed long enough")
    return notes


_VOLTS = Input(
    "line_voltage",
    Kind.VOLTAGE,
    "three line-to-line voltages, loaded, at the terminals",
    many=3,
    instrument="voltmeter",
)
_AMPS = Input("line_current", Kind.CURRENT, "three line currents", many=3, instrument="clamp-meter")
_RATED_VOLTS = Input("rated_voltage", Kind.VOLTAGE, "voltage on the plate")
_NEMA = "NEMA MG 1, part 14.36"

CALCULATORS = (
    Calculator(
        "voltage-unbalance",
        "Voltage unbalance and what it costs a motor",
        (_VOLTS,),
        (
            Output("voltage_unbalance", Kind.PERCENT, "largest deviation from the mean over the mean"),
            Output("mean_voltage", Kind.VOLTAGE, "mean"),
            Output("derating", Kind.RATIO, "share of rated load for an open motor, up to 5 %"),
            Output("extra_temperature_rise", Kind.PERCENT, "extra winding temperature rise, about 2 u^2"),
            Output("negative_sequence", Kind.PERCENT, "negative over positive sequence voltage"),
        ),
        "line to line, loaded, at the terminals; live work for a qualified person",
        _NEMA,
        _voltage_unbalance,
        _voltage_unbalance_notes,
    ),
    Calculator(
        "current-unbalance",
        "Current unbalance",
        (_AMPS,),
        (
            Output("current_unbalance", Kind.PERCENT, "largest deviation from the mean over the mean"),
            Output("mean_current", Kind.CURRENT, "mean"),
            Output("lowest_leg", Kind.PERCENT, "lowest line over the mean of the other two"),
        ),
        "one motor, loaded; live work for a qualified person",
        f"{_NEMA}, applied to currents",
        _current_unbalance,
        _current_unbalance_notes,
    ),
    Calculator(
        "motor-derating",
        "Derating for voltage unbalance",
        (Input("voltage_unbalance", Kind.PERCENT, "voltage unbalance"),),
        (
            Output("derating", Kind.RATIO, "share of rated load"),
            Output("extra_temperature_rise", Kind.PERCENT, "extra winding temperature rise"),
        ),
        "open motors, 0 to 5 %; above it do not run",
        "NEMA MG 1, figure 14-1",
        _derating,
    ),
    Calculator(
        "supply-deviation",
        "Voltage and frequency against the plate",
        (
            Input("line_voltage", Kind.VOLTAGE, "line voltages, one or three", many=0, instrument="voltmeter"),
            _RATED_VOLTS,
            Input("frequency", Kind.FREQUENCY, "frequency", required=False),
            Input("rated_frequency", Kind.FREQUENCY, "frequency on the plate", required=False, default="60 Hz"),
        ),
        (
            Output("voltage_deviation", Kind.PERCENT, "mean voltage against the plate; +/-10 % allowed"),
            Output("frequency_deviation", Kind.PERCENT, "frequency against the plate; +/-5 % allowed"),
            Output("sum_of_deviations", Kind.PERCENT, "sum of the absolutes; 10 % allowed"),
        ),
        "motors at rated load",
        "NEMA MG 1-2011 (condensed), 12.44",
        _deviation,
    ),
    Calculator(
        "phase-loss",
        "Currents to expect when one phase is lost",
        (
            Input("line_current", Kind.CURRENT, "balanced running current before", instrument="clamp-meter"),
            Input("locked_rotor_current", Kind.CURRENT, "locked rotor current on the plate", required=False),
        ),
        (
            Output("live_lines", Kind.CURRENT, "running on in two lines: sqrt 3 times"),
            Output("live_lines_low", Kind.CURRENT, "1.5 times"),
            Output("live_lines_high", Kind.CURRENT, "2.1 times"),
            Output("standstill", Kind.CURRENT, "at standstill: 0.866 of locked rotor, and it does not start"),
        ),
        "the third line reads zero; behind a drive motor amps stay balanced; back-feed can show over 92 % V",
        "equal power on one phase; start-up manuals: 150 to 175 %",
        _phase_loss,
    ),
    Calculator(
        "three-phase-power",
        "Three-phase power",
        (
            Input(
                "line_voltage",
                Kind.VOLTAGE,
                "line-to-line voltage, one or three",
                many=0,
                instrument="voltmeter",
            ),
            Input("line_current", Kind.CURRENT, "line current, one or three", many=0, instrument="clamp-meter"),
            Input("power_factor", Kind.RATIO, "power factor", required=False, default="0.85"),
        ),
        (
            Output("power", Kind.POWER, "real power"),
            Output("apparent_power", Kind.APPARENT_POWER, "apparent power"),
        ),
        "near balance: means of the three lines; the default power factor 0.85 is common practice",
        "sqrt3 V I pf",
        _power,
    ),
    Calculator(
        "generator-start",
        "Start of a compressor on a generator",
        (
            Input("locked_rotor_current", Kind.CURRENT, "locked rotor current of the largest step"),
            _RATED_VOLTS,
            Input("generator_rating", Kind.APPARENT_POWER, "rating of the generator", required=False),
            Input("reactance", Kind.RATIO, "per unit transient reactance", required=False, default="0.2"),
        ),
        (
            Output("start_power", Kind.APPARENT_POWER, "step of apparent power"),
            Output("step_share", Kind.PERCENT, "step over generator rating"),
            Output("voltage_dip", Kind.PERCENT, "first dip of voltage"),
        ),
        "across-the-line start, no load before; reactance 0.05 to 0.5",
        "sqrt3 V LRA; x s/(1 + x s); ISO 8528-5",
        _generator,
        _generator_notes,
        _generator_model,
    ),
    Calculator(
        "circuit-size",
        "Minimum circuit ampacity and maximum overcurrent device",
        (
            Input("largest_motor", Kind.CURRENT, "rated-load current of the largest compressor"),
            Input("other_loads", Kind.CURRENT, "all others, each one", required=False, many=0),
        ),
        (
            Output("minimum_circuit_ampacity", Kind.CURRENT, "MCA: 1.25 largest + others"),
            Output("maximum_overcurrent_device", Kind.CURRENT, "MOCP: 2.25 largest + others, standard size"),
            Output("first_choice_device", Kind.CURRENT, "1.75 largest + others, standard size"),
        ),
        "the machine's nameplate always wins; local code decides",
        "NEC 440.33, 440.22, 240.6(A)",
        _circuit,
        lambda v, results, spread: ["the nameplate always wins over this figure"],
    ),
    Calculator(
        "line-drop",
        "Voltage drop of a supply cable",
        (
            Input("line_current", Kind.CURRENT, "line current", instrument="clamp-meter"),
            Input("length", Kind.LENGTH, "one way"),
            Input("conductor_area", Kind.AREA, "area of one conductor"),
            _RATED_VOLTS,
            Input(
                "conductor",
                Kind.CHOICE,
                "conductor",
                required=False,
                default="copper",
                choices=tuple(electrical.RESISTIVITY),
            ),
        ),
        (
            Output("voltage_drop", Kind.VOLTAGE, "line to line"),
            Output("drop_percent", Kind.PERCENT, "of rated voltage"),
        ),
        "resistance at 75 C only",
        "sqrt3 I L K/CM, K 12.9 copper, 21.2 aluminium",
        _line_drop,
        _line_drop_notes,
    ),
    Calculator(
        "site-pressure",
        "Air pressure of the site",
        (Input("altitude", Kind.LENGTH, "height above sea level"),),
        (
            Output("site_pressure", Kind.ABSOLUTE_PRESSURE, "what a vented gauge reading needs added"),
            Output("below_sea_level_pressure", Kind.PRESSURE_DIFFERENCE, "less than at sea level"),
        ),
        "-500 to 6000 m; weather +/-2 %",
        "ASHRAE Handbook Fundamentals 2017, chapter 1, equation 3",
        _site,
        model_sd=_site_model,
    ),
    Calculator(
        "steady-state",
        "Steady enough to judge",
        (
            Input("times", Kind.TIME, "times of the readings", many=0),
            Input("temperatures", Kind.TEMPERATURE, "leaving fluid or suction line at those times", many=0),
            Input("window", Kind.TIME, "window looked at", required=False, default="4 min"),
            Input("stages_unchanged", Kind.TIME, "time since a stage or fan step changed", required=False),
            temperature("entering_fluid", "returning fluid", required=False, instrument="well-probe"),
            Input("design_entering", Kind.TEMPERATURE, "its design value", required=False),
        ),
        (
            Output("steady", Kind.CHOICE, "yes, or not yet"),
            Output("spread", Kind.TEMPERATURE_DIFFERENCE, "highest minus lowest in the window"),
            Output("slope", Kind.RATE, "least squares slope"),
            Output("standard_deviation", Kind.TEMPERATURE_DIFFERENCE, "standard deviation in the window"),
        ),
        "stages unchanged 10 min, within 1 F over 4 min, return within 10 F of design: common practice",
        "moving window before diagnosis: NIST SP 1087",
        _steady,
        _steady_notes,
    ),
)
