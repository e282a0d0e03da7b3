"""Electrical calculators against phasor arithmetic and printed traps; the steady-state gate against closed
forms.
"""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.calculators import electrical, steady
from shared.errors import CalculatorError

QUICK = settings(max_examples=60, deadline=None, derandomize=True)
volts = st.floats(380.0, 500.0)
A = cmath.exp(2j * math.pi / 3)


@pytest.mark.parametrize("legs", [(462.0, 468.0, 450.0), (452.0, 464.0, 455.0), (429.0, 415.0, 419.0)])
def test_trap_maximum_minus_mean(legs: tuple[float, ...]) -> None:
    """The largest deviation counts on either side; maximum minus mean or the spread give another number."""
    mean = sum(legs) / 3.0
    right = electrical.unbalance_pct(legs)
    assert right == pytest.approx(100.0 * max(max(legs) - mean, mean - min(legs)) / mean)
    assert right < 100.0 * (max(legs) - min(legs)) / mean
    assert right >= 100.0 * (max(legs) - mean) / mean
    low_leg = (480.0, 480.0, 450.0)
    assert electrical.unbalance_pct(low_leg) == pytest.approx(4.26, abs=0.005)  # maximum minus mean says 2.13


def test_trap_rounding_the_mean_first() -> None:
    """A heat-pump manual prints 1.8 % for 220/216/213 V: it rounded the mean to 216 first. The true value
    is 1.69.
    """
    assert electrical.unbalance_pct((220.0, 216.0, 213.0)) == pytest.approx(1.695, abs=0.001)


@given(a=volts, b=volts, c=volts)
@QUICK
def test_unbalance_knows_no_order(a: float, b: float, c: float) -> None:
    """Any order of the legs and any scale give the same percent; negative sequence likewise."""
    for function in (electrical.unbalance_pct, electrical.negative_sequence_pct):
        first = function((a, b, c))
        assert function((c, a, b)) == pytest.approx(first, abs=1e-5)
        assert function((2 * a, 2 * b, 2 * c)) == pytest.approx(first, abs=1e-5)


@given(v1=st.floats(200.0, 300.0), share=st.floats(0.0, 0.1), angle=st.floats(0.0, 6.28))
@QUICK
def test_negative_sequence_against_phasors(v1: float, share: float, angle: float) -> None:
    """Line voltages built from a positive and a negative sequence phasor give their ratio back."""
    v2 = share * v1 * cmath.exp(1j * angle)
    phases = [v1 + v2, v1 * A**2 + v2 * A, v1 * A + v2 * A**2]
    lines = [abs(phases[i] - phases[(i + 1) % 3]) for i in range(3)]
    assert electrical.negative_sequence_pct(lines) == pytest.approx(100.0 * share, abs=2e-3)


def test_nema_and_sequence_percent_differ_little() -> None:
    """One leg low against one high and one low: the same NEMA percent, 15 % apart at most in negative
    sequence.
    """
    low = electrical.negative_sequence_pct((460.0, 460.0, 446.0))
    assert low == pytest.approx(electrical.unbalance_pct((460.0, 460.0, 446.0)), rel=0.2)


def test_single_phasing_currents_against_ohms_law() -> None:
    """Two phase impedances in series over a line voltage against a star: 0.866; same power on one phase:
    1.732.
    """
    z, v = 0.4 + 1.1j, 460.0
    locked = v / math.sqrt(3.0) / abs(z)
    assert electrical.single_phase_locked_rotor_a(locked) == pytest.approx(v / abs(2 * z))
    power = electrical.three_phase_power_w(v, 10.0, 0.8)
    assert v * electrical.single_phase_current_a(10.0) * 0.8 == pytest.approx(power)
    low, high = electrical.SINGLE_PHASE_RUNNING
    assert low < math.sqrt(3.0) < high


def test_three_phase_power_against_phasors() -> None:
    """Sum of three phase powers of a balanced star load."""
    v_phase, current, angle = 265.6, 52.0, 0.6
    total = sum((v_phase * A**k * (current * A**k * cmath.exp(-1j * angle)).conjugate() for k in range(3)), 0j)
    line = v_phase * math.sqrt(3.0)
    assert electrical.three_phase_power_w(line, current, math.cos(angle)) == pytest.approx(total.real)
    assert electrical.three_phase_apparent_va(line, current) == pytest.approx(abs(total))


@given(share=st.floats(0.05, 5.0), x=st.floats(0.05, 0.5))
@QUICK
def test_generator_dip_against_its_circuit(share: float, x: float) -> None:
    """A source of 1 behind reactance x on a reactance of 1/share: dip of the terminal voltage."""
    terminal = (1j / share) / (1j / share + 1j * x)
    assert electrical.generator_dip_pct(share, 1.0, x) == pytest.approx(100.0 * (1.0 - abs(terminal)))


@pytest.mark.parametrize(("step", "low", "high"), [(1.0, 13.0, 20.0), (2.0, 23.0, 33.3)])
def test_generator_dip_band(step: float, low: float, high: float) -> None:
    """s = 1 gives 13 to 20 %, s = 2 gives 23 to 33 % over X'd 0.15 to 0.25."""
    assert electrical.generator_dip_pct(step, 1.0, 0.15) == pytest.approx(low, abs=0.1)
    assert electrical.generator_dip_pct(step, 1.0, 0.25) == pytest.approx(high, abs=0.1)


def test_trap_125_percent_on_every_motor() -> None:
    """Only the largest motor carries 1.25: two 20 A compressors and four 2 A fans need 53 A, not 60."""
    others = (20.0, 2.0, 2.0, 2.0, 2.0)
    assert electrical.minimum_circuit_ampacity_a(20.0, others) == pytest.approx(53.0)
    assert electrical.minimum_circuit_ampacity_a(20.0, others) < 1.25 * (20.0 + sum(others))


def test_overcurrent_device_never_below_the_ampacity() -> None:
    """Rounded down unless that falls below the MCA, then the next standard size (a chiller guide's note)."""
    others = (24.0,) * 8
    needed = electrical.minimum_circuit_ampacity_a(25.0, others)
    assert electrical.maximum_overcurrent_a(25.0, others, 1.25) == min(
        s for s in electrical.STANDARD_DEVICES_A if s >= needed
    )
    assert electrical.standard_device_down_a(47.5) == 45
    assert electrical.standard_device_down_a(3.0) == 15


@given(largest=st.floats(5.0, 300.0), share=st.floats(0.1, 1.0), count=st.integers(0, 6))
@QUICK
def test_circuit_sizes_hold_together(largest: float, share: float, count: int) -> None:
    """MOCP is a standard size, at least the MCA, and at most 2.25 largest plus others unless the MCA asks
    for more.
    """
    others = (share * largest,) * count
    mca = electrical.minimum_circuit_ampacity_a(largest, others)
    device = electrical.maximum_overcurrent_a(largest, others)
    assert device in electrical.STANDARD_DEVICES_A and (device >= mca or device == 15)
    assert (
        device <= 2.25 * largest + sum(others)
        or electrical.standard_device_down_a(2.25 * largest + sum(others)) < mca
        or device == 15
    )


def test_extra_temperature_rise() -> None:
    """About 2 u^2: 3.5 % gives 25 % (NEMA commentary, from memory)."""
    assert electrical.extra_temperature_rise_pct(3.5) == pytest.approx(24.5)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: electrical.unbalance_pct((460.0, 460.0)), "needs three phases"),
        (lambda: electrical.unbalance_pct((0.0, 0.0, 0.0)), "all three phases read zero"),
        (lambda: electrical.unbalance_pct((460.0, -460.0, 460.0)), "below zero"),
        (lambda: electrical.unbalance_pct((460.0, math.nan, 460.0)), "not a number"),
        (lambda: electrical.negative_sequence_pct((460.0, 200.0, 200.0)), "cannot belong together"),
        (lambda: electrical.derating_factor(5.1), "0 to 5 %"),
        (lambda: electrical.three_phase_power_w(460.0, 10.0, 85.0), "power factor"),
        (lambda: electrical.minimum_circuit_ampacity_a(10.0, (20.0,)), "the largest motor first"),
        (lambda: electrical.line_drop_v(10.0, 10.0, 1e-5, "iron"), "unknown conductor"),
        (lambda: electrical.lowest_leg_pct((0.0, 0.0, 0.0)), "no current"),
        (lambda: electrical.generator_dip_pct(1e5, 0.0), "generator_va must be above zero"),
        (lambda: steady.last_window((0.0, 1.0), (1.0,)), "differ in number"),
        (lambda: steady.last_window((0.0, 0.0), (1.0, 1.0)), "do not rise"),
        (lambda: steady.last_window((0.0, 1000.0), (1.0, 1.0)), "too few readings"),
        (lambda: steady.last_window((0.0, 1.0), (1.0, math.inf)), "not a number"),
    ],
)
def test_bad_input_gets_one_clear_line(call: object, text: str) -> None:
    """Each limit is enforced and named."""
    with pytest.raises(CalculatorError, match=text) as caught:
        call()  # type: ignore[operator]
    assert "\n" not in caught.value.line()


def settling(tau_s: float, start_k: float, until_s: float) -> tuple[list[float], list[float]]:
    """A first-order approach to 280 K, read every 30 s."""
    times = [30.0 * i for i in range(int(until_s / 30.0) + 1)]
    return times, [280.0 + start_k * math.exp(-t / tau_s) for t in times]


@pytest.mark.parametrize("tau_s", [120.0, 200.0, 400.0])
def test_gate_opens_when_a_first_order_lag_has_settled(tau_s: float) -> None:
    """Closed form: the spread over a window w ending at t is A e^(-t/tau)(e^(w/tau) - 1); the gate opens
    there.
    """
    w, start = steady.WINDOW_S, 6.0
    opens = tau_s * math.log(start * (math.exp(w / tau_s) - 1.0) / steady.TEMPERATURE_BAND_K)
    for until, expected in ((opens - 60.0, False), (opens + 60.0, True)):
        window = steady.last_window(*settling(tau_s, start, until))
        assert steady.steady_gate(temperatures=[("leaving fluid", window)]).steady is expected


def test_window_statistics_against_scipy() -> None:
    """Slope and standard deviation of an uneven trend: scipy.stats.linregress and numpy."""
    numpy, stats = pytest.importorskip("numpy"), pytest.importorskip("scipy.stats")
    times, values = [0.0, 20.0, 65.0, 130.0, 200.0, 238.0], [280.1, 280.4, 280.2, 280.9, 280.8, 281.3]
    window = steady.last_window(times, values)
    assert window.slope_per_s == pytest.approx(stats.linregress(times, values).slope, rel=1e-9)
    assert window.sd == pytest.approx(numpy.std(values, ddof=1), rel=1e-9)
    assert window.spread == pytest.approx(1.2)


def test_gate_names_every_reason() -> None:
    """Stages, temperature, pressure, a short series and a warm loop are all told at once."""
    moving = steady.last_window((0.0, 60.0, 120.0), (280.0, 281.0, 282.0))
    gate = steady.steady_gate(
        stages_unchanged_s=120.0,
        temperatures=[("suction line", moving)],
        pressures=[("suction", moving)],
        entering_fluid_k=300.0,
        design_entering_k=285.0,
    )
    assert not gate.steady
    text = " | ".join(gate.reasons)
    for word in (
        "stages changed 2 min ago",
        "suction line: readings span",
        "suction line moved 3.6 F",
        "27 F from design",
    ):
        assert word in text
    assert steady.steady_gate().steady  # nothing known: nothing against it
