"""Numbers that others have printed, computed by the functions of the program.

The numbers, their tolerance and where they are printed come from the records of the reference notes, which are read
in place. A record is taken if its source prints the answer and the answer follows from what the source gives; known
slips of print are left out by that. Where a source prints the value of a part, that part is sought with which the
program's own response does what is asked.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import yaml
from circuits_in_print import (
    RAILS,
    C,
    R,
    amplifier,
    corner,
    decibels,
    emitter_stage,
    gain,
    linear,
    pole_pair,
    real_pole,
)
from conftest import SHARED
from scipy.optimize import fsolve

from netcheck.physics.levels import (
    at_power,
    full_power_bandwidth,
    push_pull_efficiency,
    push_pull_heat,
    slew_needed,
    worst_push_pull_heat,
)
from netcheck.physics.network.elements import AmplifierModel, CurrentSource
from netcheck.physics.network.operating import Network, operating_point
from netcheck.physics.network.response import SmallSignal, total_noise
from netcheck.physics.points import current_into

RECORDS_FILE = SHARED / "reference" / "worked_examples.yaml"
RECORDS: dict[str, dict[str, Any]] = {}
if RECORDS_FILE.is_file():
    RECORDS = {
        record["id"]: record
        for record in yaml.safe_load(RECORDS_FILE.read_text(encoding="utf-8"))["examples"]
        if record["match_kind"] == "printed_result" and record["status"] == "read"
        and record["published_agrees_with_calculation"]
    }  # fmt: skip
COMPUTED: dict[str, Callable[..., float]] = {}
# What is in no module of the program: rules of thumb, design recipes, and safety tests that are plain products.
NOT_OURS = {
    "os08": "a recipe for the idle current", "os23": "a recipe for a noise gain", "os26": "a supply lead's inductance",
    "hp10": "a rule of thumb", "hp11": "a rule of thumb", "no04": "a ratio of two printed numbers",
    "ps08": "a diode of fixed volts", "ps09": "ripple is not computed yet", "ps13_15": "a regulator's data sheet table",
    "ps13_12": "a regulator's data sheet table", "ps13_1.8": "a regulator's data sheet table",
    "ms01": "decay of a charge is not computed", "ci11": "a recipe for a least capacitor",
    "tr10": "takes the collector current for the emitter current", "tr11": "as tr10",
}  # fmt: skip


def record(*names: str) -> Callable[[Callable[..., float]], Callable[..., float]]:
    def keep(function: Callable[..., float]) -> Callable[..., float]:
        for name in names:
            assert name not in COMPUTED
            COMPUTED[name] = function
        return function

    return keep


# Output stages


@record("os01")
def largest_class_b_power(VCC: float, RL: float) -> float:
    out = VCC**2 / (2 * RL)
    supplied = out + 2 * push_pull_heat(VCC, RL, VCC)
    return supplied * push_pull_efficiency(VCC, RL, VCC)


@record("os03")
def largest_class_b_heat(VCC: float, RL: float) -> float:
    return worst_push_pull_heat(VCC, RL)[0]


@record("os04", "os05")
def class_b_efficiency(VCC: float, VLp: float) -> float:
    return 100 * push_pull_efficiency(VCC, 8.0, VLp)


@record("os24")
def capacitor_for_a_pole(f: float, RX: float) -> float:
    return 1e-9 * real_pole(_low_pass(RX, 1e-9)) / f


@record("os25")
def zero_of_a_noise_gain(RX: float, R: float, CX: float) -> float:
    return real_pole(_low_pass(RX + R, CX))


@record("os27")
def servo_corner(R: float, C: float) -> float:
    return corner(_high_pass(R, C), "OUT", "low", 0.2)


def _low_pass(ohms: float, farads: float) -> SmallSignal:
    return linear(R("R1", "IN", "OUT", ohms), C("C1", "OUT", "0", farads))


def _high_pass(ohms: float, farads: float) -> SmallSignal:
    return linear(C("C1", "IN", "OUT", farads), R("R1", "OUT", "0", ohms))


# Loads and slew


@record("hp03")
def current_at_power(P: float, R: float) -> float:
    return at_power(P, R).amps / math.sqrt(2)


@record("hp04")
def volts_at_power(P: float, R: float) -> float:
    return at_power(P, R).volts


@record("hp05")
def peak_volts_at_power(P: float, R: float) -> float:
    return at_power(P, R).volts * math.sqrt(2)


@record("hp06")
def peak_current_at_power(P: float, R: float) -> float:
    return at_power(P, R).amps


@record("hp12")
def level_change_with_load(Rs: float, Z1: float, Z2: float) -> float:
    levels = [
        decibels(gain(linear(R("R1", "IN", "OUT", Rs), R("R2", "OUT", "0", load)), "OUT", 1e3)) for load in (Z1, Z2)
    ]
    return levels[1] - levels[0]


@record("oa01")
def slew_for_a_sine(f: float, Vp: float) -> float:
    return slew_needed(Vp, f)


@record("oa03")
def slew_for_a_filter(f: float, Vpp: float) -> float:
    return slew_needed(Vpp / 2, f)


@record("oa04")
def power_bandwidth(SR: float, Vp: float) -> float:
    return full_power_bandwidth(SR, Vp)


@record("ms07")
def drop_over_a_bond(I: float, R: float) -> float:  # noqa: E741  the record's name
    network = Network((CurrentSource("I1", "0", "A", I), _resistor("R1", "A", "0", R)), {"0": 0.0})
    return operating_point(network).volts["A"]


def _resistor(name: str, a: str, b: str, ohms: float, noisy: bool = True) -> Any:
    """For functions in which R is the number of a record."""
    return R(name, a, b, ohms, noisy)


# Amplifiers


@record("oa13")
def three_amplifier_input_stage(R1: float, R2: float) -> float:
    small = linear(
        amplifier("A", "IN", "M1"), amplifier("B", "IN2", "M2", name="U2"), R("R2", "A", "M1", R2),
        R("R1", "M1", "M2", R1), R("R5", "B", "M2", R2), R("R3", "B", "0", 1e6), known=RAILS | {"IN2": 0.0},
    )  # fmt: skip
    # Half of the difference at either input: what comes out between A and B from one volt between the inputs.
    first = gain(small, "A", 1.0) - gain(small, "B", 1.0)
    second = gain(small, "A", 1.0, "IN2") - gain(small, "B", 1.0, "IN2")
    return abs(first - second) / 2


@record("ci26")
def riaa_preamplifier(f: float) -> float:
    small = linear(
        amplifier("OUT", "IN", "M"), R("R1", "M", "F", 390.0), C("C1", "F", "0", 100e-6), R("R2", "OUT", "A", 16e3),
        C("C2", "OUT", "A", 4.7e-9), R("R3", "A", "M", 200e3), C("C3", "A", "M", 15e-9),
    )  # fmt: skip
    return decibels(gain(small, "OUT", f))


@record("ci39")
def tone_control_at_rest() -> float:
    small = linear(
        amplifier("OUT", "0", "M"), R("R1", "IN", "B1", 11e3), R("P1a", "B1", "BW", 50e3), R("P1b", "BW", "B2", 50e3),
        R("R2", "B2", "OUT", 11e3), C("C1", "B1", "BW", 50e-9), C("C2", "BW", "B2", 50e-9), R("R3", "BW", "M", 11e3),
        R("R4", "IN", "T1", 3.6e3), R("P2a", "T1", "TW", 250e3), R("P2b", "TW", "T2", 250e3),
        R("R5", "T2", "OUT", 3.6e3), C("C3", "TW", "M", 5e-9),
    )  # fmt: skip
    return decibels(gain(small, "OUT", 1e3))


@record("cc08")
def feedback_pole(R: float, C: float) -> float:
    return _inverting_pole(R, C)


def _inverting_pole(ohms: float, farads: float) -> float:
    parts = (R("R1", "IN", "M", ohms), R("R2", "M", "OUT", ohms), C("C1", "M", "OUT", farads))
    return corner(linear(amplifier("OUT", "0", "M"), *parts), "OUT", "high", 3e5)


# Filters: the part is sought with which the poles are where they are asked for


def _first_order(hertz: float, farads: float) -> float:
    return 1e3 * real_pole(_low_pass(1e3, farads)) / hertz


COMPUTED["ci06"] = lambda f, C: _first_order(f, C)
COMPUTED["ci07"] = lambda: _first_order(1e3 / 0.756, 47e-9)
COMPUTED["ci10"] = lambda: _first_order(50e3, 1e-9)


def _low_pass_pair(hertz: float, a: float, b: float, c1: float, c2: float) -> tuple[float, float]:
    """R1 and R2 of a Sallen-Key low-pass of gain one from its poles: f0 = f / sqrt(b), Q = sqrt(b) / a."""

    def missed(logs: Any) -> list[float]:
        r1, r2 = np.exp(logs)
        small = linear(
            R("R1", "IN", "A", r1), R("R2", "A", "B", r2), C("C1", "B", "0", c1), C("C2", "A", "OUT", c2),
            amplifier("OUT", "B", "OUT"),
        )  # fmt: skip
        f0, q = pole_pair(small)
        return [math.log(f0 * math.sqrt(b) / hertz), math.log(q * a / math.sqrt(b))]

    geometric = math.sqrt(b / c1 / c2) / (2 * math.pi * hertz)
    found = np.exp(fsolve(missed, [math.log(geometric * 0.6), math.log(geometric / 0.6)], xtol=1e-9))
    return float(found[0]), float(found[1])


COMPUTED["ci12"] = lambda: _low_pass_pair(50e3, 1.618, 1.0, 820e-12, 1.5e-9)[0]
COMPUTED["ci13"] = lambda: _low_pass_pair(50e3, 1.618, 1.0, 820e-12, 1.5e-9)[1]
COMPUTED["ci15"] = lambda: _low_pass_pair(50e3, 0.618, 1.0, 330e-12, 4.7e-9)[0]
COMPUTED["ci16"] = lambda: _low_pass_pair(50e3, 0.618, 1.0, 330e-12, 4.7e-9)[1]


def _high_pass_pair() -> tuple[float, float]:
    """Sallen-Key high-pass, 1 kHz with 100 nF twice, second stage of a third-order Bessel: a 0.9996, b 0.4772."""
    a, b, hertz = 0.9996, 0.4772, 1e3

    def missed(logs: Any) -> list[float]:
        r1, r2 = np.exp(logs)
        small = linear(
            C("C1", "IN", "A", 100e-9), C("C2", "A", "B", 100e-9), R("R1", "B", "0", r1), R("R2", "A", "OUT", r2),
            amplifier("OUT", "B", "OUT"),
        )  # fmt: skip
        f0, q = pole_pair(small)
        return [math.log(f0 / math.sqrt(b) / hertz), math.log(q * a / math.sqrt(b))]

    found = np.exp(fsolve(missed, [math.log(4e3), math.log(1.3e3)], xtol=1e-9))
    return float(found[0]), float(found[1])


COMPUTED["ci20"] = lambda: _high_pass_pair()[0]
COMPUTED["ci21"] = lambda: _high_pass_pair()[1]


@record("ci22")
def band_pass() -> float:
    """Multiple feedback, 1 kHz and Q 10 with 100 nF twice: R2 sets the bandwidth f0 / Q."""
    small = linear(
        amplifier("OUT", "0", "M"), R("R1", "IN", "A", 16e3), R("R3", "A", "0", 80.0), C("C1", "A", "M", 100e-9),
        C("C2", "A", "OUT", 100e-9), R("R2", "M", "OUT", 30e3),
    )  # fmt: skip
    f0, q = pole_pair(small)
    return 30e3 * (f0 / q) / (1000.0 / 10)


# Noise


def _noise(small: SmallSignal, low: float, high: float, kelvin: float) -> float:
    frequencies = np.linspace(low, high, 200)
    return total_noise(small.noise("OUT", frequencies, kelvin), frequencies)


@record("no01")
def resistor_noise(R: float, T: float, B: float) -> float:
    return _noise(linear(_resistor("R1", "OUT", "0", R)), 20.0, 20.0 + B, T)


@record("no06")
def source_noise(R: float, T: float, B: float) -> float:
    return _noise(linear(_resistor("R1", "OUT", "0", R)), 1.0, 1.0 + B, T)


@record("no03")
def amplifier_noise(en: float, B: float) -> float:
    model = AmplifierModel(1e9, None, 1e-2, noise_volts=en)
    return _noise(linear(amplifier("OUT", "IN", "OUT", model), R("R1", "OUT", "0", 1e3)), 20.0, 20.0 + B, 298.0)


@record("no08")
def current_noise(i_n: float, R: float, B: float) -> float:
    quiet = linear(amplifier("OUT", "A", "OUT", AmplifierModel(1e9, None, 1e-2, noise_amps=i_n)), _silent("A", R))
    return _noise(quiet, 1.0, 1.0 + B, 298.0)


def _silent(node: str, ohms: float) -> Any:
    return _resistor("R1", node, "0", ohms, noisy=False)


def _gain_of_100(R1: float = 1e3, R2: float = 99e3) -> float:
    model = AmplifierModel(1e9, None, 1e-2, noise_volts=2.9e-9, noise_amps=6e-15)
    small = linear(amplifier("OUT", "IN", "M", model), R("R1", "M", "0", R1), R("R2", "OUT", "M", R2))
    density = sum(share.density for share in small.noise("OUT", np.array([1e3]), 298.0))
    return math.sqrt(float(density[0]) * 40.7e3)  # over the noise bandwidth that the source gives


COMPUTED["no09"] = lambda R1, R2: _gain_of_100(R1, R2) / 100
COMPUTED["no10"] = lambda: _gain_of_100()


@record("no05")
def noise_bandwidth(f: float) -> float:
    """From the noise of a resistor behind a first-order filter: its mean square over its density."""
    ohms = 1e3
    small = _low_pass(ohms, 1 / (2 * math.pi * f * ohms))
    frequencies = np.concatenate([[1e-2], np.logspace(0, 9, 4001)])
    shares = small.noise("OUT", frequencies, 298.0)
    return total_noise(shares, frequencies) ** 2 / float(sum(share.density[0] for share in shares))


@record("no11b")
def noise_density(R: float, T: float) -> float:
    small = linear(_resistor("R1", "OUT", "0", R))
    return math.sqrt(float(sum(share.density[0] for share in small.noise("OUT", np.array([1e3]), T))))


# Transistors: the examples take base current and thermal volts of 26 mV as round numbers


def _stage(early: float | None = None) -> tuple[Network, Any]:
    return emitter_stage(22.0, 56e3, 8.2e3, 6.8e3, 1.5e3, 1e6, early)


COMPUTED["tr01"] = lambda R1, R2, VCC: _stage()[1].volts["B"]
COMPUTED["tr02"] = lambda: -_stage()[1].currents["Q1"][2]


def _stage_gain(early: float | None) -> float:
    network, point = _stage(early)
    return gain(SmallSignal(network, point), "C", 1e3).real


# 50 kohm at 1.41 mA is an Early voltage of 70.5 V, what the collector has above the base taken off.
EARLY = 50e3 * 1.41e-3 - (22 - 1.41e-3 * 6.8e3 - 2.81)
COMPUTED["tr05"] = lambda: _stage_gain(None)


def _output_ohms() -> float:
    network, point = _stage(EARLY)
    return float(abs(SmallSignal(network, point).impedance("C", np.array([1e3]))[0]))


COMPUTED["tr06"] = COMPUTED["tr08"] = lambda: _stage_gain(EARLY)
COMPUTED["tr07"] = _output_ohms
COMPUTED["tr09"] = lambda RB, VCC, beta: (
    0.026 / -emitter_stage(VCC, RB, None, 3e3, 0.0, beta, None)[1].currents["Q1"][2]
)


def _divider_current() -> float:
    network = Network((R("R1", "OUT", "FB", 1.5e6), R("R2", "FB", "0", 162e3)), {"OUT": -12.0, "0": 0.0})
    return abs(current_into(network.elements[0], "OUT", operating_point(network).volts))


COMPUTED["ps14"] = _divider_current


@pytest.mark.skipif(not RECORDS, reason=f"the records of printed results are not at {RECORDS_FILE}")
def test_each_record_is_computed_or_told_why_not() -> None:
    missing = set(RECORDS) - set(COMPUTED) - set(NOT_OURS)
    assert missing == set()
    assert set(COMPUTED) <= set(RECORDS) and len(COMPUTED) >= 40


@pytest.mark.parametrize("name", sorted(COMPUTED))
def test_the_printed_result_comes_out(name: str) -> None:
    if name not in RECORDS:
        pytest.skip(f"the records of printed results are not at {RECORDS_FILE}")
    one = RECORDS[name]
    found = COMPUTED[name](**one["inputs"])
    tolerance = one["tolerance"]
    near = {"rel": tolerance["value"], "abs": 0.0} if tolerance["kind"] == "relative" else {"abs": tolerance["value"]}
    if tolerance["kind"] == "relative" and tolerance["value"] < 1e-6:
        near = {"rel": 1e-6}  # an exact product in print; here it is found by solving equations
    where = f"{one['source']['title']}, {one['source']['where']}"
    assert found == pytest.approx(one["published"], **near), f"{one['statement']}: {where}"
