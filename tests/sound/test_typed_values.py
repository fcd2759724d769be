"""The values that were typed in give the figures that the sources print: a slip of the pen would not."""

from __future__ import annotations

from cmath import polar
from math import log10, pi, sqrt

import pytest
from sound_circuits import sound_circuits

from netcheck.ground.quantities import read_part_value


def values(name: str) -> dict[str, float]:
    """The values of resistors and capacitors of a circuit in ohms and farads, by reference."""
    circuit = next(circuit for circuit in sound_circuits() if circuit.name == name)
    kinds = {"R": "resistor", "C": "capacitor"}
    found = {}
    for component in circuit.netlist.components:
        kind = kinds.get(component.reference.rstrip("0123456789"))
        number = read_part_value(component.value or "", kind).number if kind else None
        if number is not None:
            found[component.reference] = number
    return found


def capacitor(farads: float, hertz: float) -> complex:
    return 1 / (2j * pi * hertz * farads)


def parallel(*impedances: complex) -> complex:
    return 1 / sum(1 / each for each in impedances)


def decibels(gain: complex) -> float:
    return 20 * log10(polar(gain)[0])


def unity_low_pass(first: float, second: float, to_output: float, to_ground: float, hertz: float) -> complex:
    """Sallen-Key low-pass with a follower: 1 / (1 + s C2 (R1 + R2) + s^2 R1 R2 C1 C2); any circuit text."""
    s = 2j * pi * hertz
    return 1 / (1 + s * to_ground * (first + second) + s**2 * first * second * to_output * to_ground)


def test_low_pass_of_1_khz() -> None:
    v = values("sallen-key-low-pass")
    assert decibels(unity_low_pass(v["R1"], v["R2"], v["C1"], v["C2"], 1e3)) == pytest.approx(-2.817, abs=0.01)


def test_high_pass_of_1_khz() -> None:
    v = values("sallen-key-high-pass")
    corner = 1 / (2 * pi * sqrt(v["R1"] * v["R2"] * v["C1"] * v["C2"]))
    quality = sqrt(v["R2"] / v["R1"]) / 2
    assert corner == pytest.approx(1023.1, abs=0.5)
    assert quality == pytest.approx(0.7071, abs=0.0005)


@pytest.mark.parametrize(("hertz", "expected"), [(50e3, -3.05), (100e3, -30.28)])
def test_fifth_order_butterworth(hertz: float, expected: float) -> None:
    v = values("butterworth-fifth-order")
    first = 1 / (1 + v["R1"] / capacitor(v["C1"], hertz))
    second = unity_low_pass(v["R2"], v["R3"], v["C2"], v["C3"], hertz)
    third = unity_low_pass(v["R4"], v["R5"], v["C4"], v["C5"], hertz)
    assert decibels(first * second * third) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(
    ("name", "below", "above", "expected"),
    [
        ("riaa-active-lm4562", ("R3", "C2"), (("R4", "C3"), ("R5", "C4")), 34.97),
        ("riaa-active-opa1656", ("R3", "C3"), (("R4", "C4"), ("R5", "C5")), 40.20),
        ("riaa-active-opa1656", ("R6", "C6"), (("R7", "C7"), ("R8", "C8")), 40.20),
    ],
)
def test_active_riaa_at_1_khz(
    name: str, below: tuple[str, str], above: tuple[tuple[str, str], ...], expected: float
) -> None:
    v = values(name)
    leg = v[below[0]] + capacitor(v[below[1]], 1e3)
    feedback = sum(parallel(v[resistor], capacitor(v[farads], 1e3)) for resistor, farads in above)
    assert decibels(1 + feedback / leg) == pytest.approx(expected, abs=0.01)


def test_passive_riaa_at_1_khz() -> None:
    v = values("riaa-passive")
    leg = parallel(v["R6"] + capacitor(v["C2"], 1e3), capacitor(v["C3"], 1e3))
    assert decibels(leg / (v["R5"] + leg)) == pytest.approx(-19.90, abs=0.01)


def test_common_emitter_stage() -> None:
    v = values("common-emitter-stage")
    base = 22 * v["R2"] / (v["R1"] + v["R2"])
    emitter = (base - 0.7) / v["R4"]
    assert base == pytest.approx(2.81, abs=0.005)
    assert emitter == pytest.approx(1.41e-3, abs=0.005e-3)
    assert v["R3"] / (26e-3 / emitter) == pytest.approx(368.76, rel=0.005)


def test_tone_control_corners() -> None:
    v = values("baxandall-tone-control")
    assert 1 / (2 * pi * 100e3 * v["C1"]) == pytest.approx(31.83, abs=0.01)
    assert 1 / (2 * pi * v["R4"] * v["C3"]) == pytest.approx(8842, abs=1)
    assert decibels(1 + 100e3 / v["R1"]) == pytest.approx(20.08, abs=0.01)


def test_input_filter() -> None:
    """Two sections in series, the second loading the first: 20 ohm with 1.476 nF, 100 ohm with 3.3 nF."""
    v = values("input-filter-and-buffer")
    far = v["R2"] + capacitor(v["C2"], 400e3)
    node = parallel(far, capacitor(v["C1"], 400e3))
    gain = node / (v["R1"] + node) * capacitor(v["C2"], 400e3) / far
    assert decibels(gain) == pytest.approx(-3.06, abs=0.05)


def test_adjustable_regulators_give_15_volts() -> None:
    v = values("adjustable-supply")
    for upper, lower in (("R1", "R2"), ("R3", "R4")):
        assert 1.25 * (1 + v[lower] / v[upper]) + 50e-6 * v[lower] == pytest.approx(15, rel=0.05)
