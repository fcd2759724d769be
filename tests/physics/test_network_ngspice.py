"""Operating point and response against ngspice 39 or newer, with the same device models written for both."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from ngspice import Deck, needs_ngspice

from netcheck.physics.network.elements import (
    AmplifierModel,
    Bipolar,
    BipolarModel,
    Capacitor,
    Diode,
    DiodeModel,
    Fet,
    FetModel,
    Inductor,
    OperationalAmplifier,
    Resistor,
)
from netcheck.physics.network.operating import Network, operating_point
from netcheck.physics.network.response import SmallSignal

RAILS = {"V+": 15.0, "V-": -15.0, "0": 0.0, "IN": 0.0}
SMALL_NPN = BipolarModel(6.7e-15, 300.0, 0.74, 74.0, 4.5e-12, 3.6e-12, 3e-10)
SMALL_PNP = BipolarModel(1.4e-15, 180.0, 5.0, 19.0, 8e-12, 9.7e-12, 1.8e-10)
POWER_NPN = BipolarModel(2e-13, 100.0, 1.0, 100.0, 2e-10, 3e-11, 1e-9)
SWITCHING = DiodeModel(2.5e-9, 1.75)
AUDIO = AmplifierModel(1e5, 10e6, 60.0, 2.0, 2.0, 2e-7, 0.0)

NETWORKS: dict[str, tuple[Network, str]] = {}


def network(name: str, output: str, *elements: object, known: dict[str, float] | None = None) -> None:
    NETWORKS[name] = (Network(tuple(elements), known or RAILS), output)  # type: ignore[arg-type]


R, C = Resistor, Capacitor

network("high-pass", "OUT", C("C1", "IN", "OUT", 636.6e-9), R("R1", "OUT", "0", 10e3))
network(
    "resonant", "OUT", R("R1", "IN", "A", 50.0), Inductor("L1", "A", "OUT", 1e-3, 2.0), C("C1", "OUT", "0", 1e-6),
    R("R2", "OUT", "0", 470.0),
)  # fmt: skip
network(
    "Sallen-Key", "OUT", R("R1", "IN", "A", 10e3), R("R2", "A", "B", 10e3), C("C1", "A", "OUT", 22e-9),
    C("C2", "B", "0", 11e-9), OperationalAmplifier("U1", "OUT", "B", "OUT", "V+", "V-", AUDIO),
)  # fmt: skip
network(
    "non-inverting", "OUT", C("C1", "IN", "P", 1e-6), R("R1", "P", "0", 47e3), R("R2", "OUT", "M", 10e3),
    C("C2", "OUT", "M", 47e-12), R("R3", "M", "F", 1e3), C("C3", "F", "0", 47e-6),
    OperationalAmplifier("U1", "OUT", "P", "M", "V+", "V-", AUDIO),
)  # fmt: skip
network(
    "common emitter", "OUT", C("C1", "IN", "B", 10e-6), R("R1", "V22", "B", 56e3), R("R2", "B", "0", 8.2e3),
    R("R3", "V22", "OUT", 6.8e3), R("R4", "E", "0", 1.5e3), C("C2", "E", "0", 20e-6),
    Bipolar("Q1", "OUT", "B", "E", SMALL_NPN), known={"V22": 22.0, "0": 0.0, "IN": 0.0},
)  # fmt: skip
network(
    "feedback pair", "OUT", C("C1", "IN", "B", 1e-6), R("R1", "V+", "B", 100e3), R("R2", "B", "V-", 100e3),
    Bipolar("Q1", "C", "B", "OUT", SMALL_NPN), Bipolar("Q2", "OUT", "C", "V+", SMALL_PNP, pnp=True),
    R("R3", "V+", "C", 680.0), R("R4", "OUT", "V-", 2.2e3),
)  # fmt: skip


def push_pull(channel: str) -> list[object]:
    """A follower pair with diode bias inside the loop of an op-amp: gain 3.3, 33 ohm load."""
    n = lambda name: f"{name}{channel}"  # noqa: E731
    return [
        C(n("C1"), "IN", n("P"), 2.2e-6), R(n("R1"), n("P"), "0", 47e3), R(n("R2"), n("OUT"), n("M"), 10e3),
        R(n("R3"), n("M"), "0", 4.3e3), C(n("C2"), n("OUT"), n("M"), 22e-12),
        OperationalAmplifier(n("U1"), n("A"), n("P"), n("M"), "V+", "V-", AUDIO),
        R(n("R4"), "V+", n("BT"), 3.3e3), R(n("R5"), n("BB"), "V-", 3.3e3),
        Diode(n("D1"), n("BT"), n("A"), SWITCHING), Diode(n("D2"), n("A"), n("BB"), SWITCHING),
        R(n("R6"), n("BT"), n("GT"), 22.0), R(n("R7"), n("BB"), n("GB"), 22.0),
        Bipolar(n("Q1"), "V+", n("GT"), n("ET"), POWER_NPN),
        Bipolar(n("Q2"), "V-", n("GB"), n("EB"), POWER_NPN, pnp=True),
        R(n("R8"), n("ET"), n("OUT"), 4.7), R(n("R9"), n("EB"), n("OUT"), 4.7), R(n("RL"), n("OUT"), "0", 33.0),
    ]  # fmt: skip


network("push-pull in a loop", "OUTl", *push_pull("l"))
network("two channels", "OUTr", *push_pull("l"), *push_pull("r"))
network(
    "MOSFET follower", "OUT", C("C1", "IN", "G", 1e-6), R("R1", "V+", "G", 1e6), R("R2", "G", "0", 1e6),
    Fet("M1", "V+", "G", "OUT", FetModel(2.0, 0.5, 0.01, gate_source=1e-9, gate_drain=1e-10)),
    R("R3", "OUT", "V-", 150.0),
)  # fmt: skip
network(
    "JFET source amplifier", "OUT", C("C1", "IN", "G", 100e-9), R("R1", "G", "0", 1e6),
    Fet("J1", "OUT", "G", "S", FetModel(-2.0, 1e-3, 0.01, junction=True)), R("R2", "V+", "OUT", 4.7e3),
    R("R3", "S", "0", 1e3), C("C2", "S", "0", 22e-6),
)  # fmt: skip
network(
    "zener and follower", "OUT", R("R1", "V+", "Z", 1e3), Diode("D1", "0", "Z", DiodeModel(1e-14, 1.0, 6.2, 1e-3)),
    C("C1", "IN", "Z", 1e-8), Bipolar("Q1", "V+", "Z", "OUT", SMALL_NPN), R("R2", "OUT", "0", 1e3),
)  # fmt: skip
network(
    "long-tailed pair", "OUT", R("R1", "IN", "B1", 1e3), R("R2", "B2", "0", 1e3),
    Bipolar("Q1", "C1", "B1", "E", SMALL_NPN),
    Bipolar("Q2", "OUT", "B2", "E", SMALL_NPN), R("R3", "V+", "C1", 10e3), R("R4", "V+", "OUT", 10e3),
    Bipolar("Q3", "E", "B3", "E3", SMALL_NPN), R("R5", "E3", "V-", 1.2e3), R("R6", "0", "B3", 10e3),
    R("R7", "B3", "V-", 2.2e3),
)  # fmt: skip
network("ladder of 150 nodes", "N149", R("Rin", "IN", "N0", 100.0), *(
    element for k in range(149)
    for element in (
        R(f"R{k}", f"N{k}", f"N{k + 1}", 10.0 + k), C(f"C{k}", f"N{k + 1}", "0", 1e-9),
        R(f"S{k}", f"N{k + 1}", "0", 1e5)
    )
))  # fmt: skip

FREQUENCIES = np.logspace(0, 6, 121)


@needs_ngspice
@pytest.mark.parametrize("name", NETWORKS)
def test_the_operating_point_is_that_of_ngspice(name: str, tmp_path: Path) -> None:
    """Within 1 % or 5 mV; found far closer."""
    given, _ = NETWORKS[name]
    found = operating_point(given).volts
    for node, volts in Deck(given).volts(tmp_path).items():
        assert found[node] == pytest.approx(volts, rel=1e-4, abs=5e-4), node


@needs_ngspice
@pytest.mark.parametrize("name", NETWORKS)
def test_the_response_is_that_of_ngspice(name: str, tmp_path: Path) -> None:
    """Magnitude within 0.01 dB, phase within 0.1 degrees, 1 Hz to 1 MHz; group delay within 0.5 %."""
    given, output = NETWORKS[name]
    ours = SmallSignal(given, operating_point(given)).transfer("IN", output, FREQUENCIES)
    theirs = Deck(given, "IN").response(output, FREQUENCIES, tmp_path)
    large = np.abs(theirs) > 1e-7
    assert np.max(np.abs(ours.decibels - 20 * np.log10(np.abs(theirs)))[large]) < 0.01
    turned = np.degrees(np.angle(ours.values / theirs))
    assert np.max(np.abs(turned)[large]) < 0.1


@pytest.mark.parametrize("name", NETWORKS)
def test_group_delay_is_the_slope_of_the_phase(name: str) -> None:
    """Against a fine difference of the phase: within 0.5 % or a nanosecond."""
    given, output = NETWORKS[name]
    small = SmallSignal(given, operating_point(given))
    frequencies = np.logspace(1, 5, 41)
    step = 1e-4
    delay = small.transfer("IN", output, frequencies).group_delay
    above = small.transfer("IN", output, frequencies * (1 + step))
    below = small.transfer("IN", output, frequencies * (1 - step))
    slope = -np.angle(above.values / below.values) / (2 * np.pi * frequencies * 2 * step)
    assert delay == pytest.approx(slope, rel=5e-3, abs=2e-9)


@needs_ngspice
@pytest.mark.parametrize("name", NETWORKS)
def test_the_noise_is_that_of_ngspice(name: str, tmp_path: Path) -> None:
    """Density within 1 %, 10 Hz to 100 kHz."""
    given, output = NETWORKS[name]
    frequencies = np.logspace(1, 5, 41)
    shares = SmallSignal(given, operating_point(given)).noise(output, frequencies, kelvin=300.15)
    ours = np.sqrt(np.sum([share.density for share in shares], axis=0))
    assert ours == pytest.approx(Deck(given, "IN").noise(output, "IN", frequencies, tmp_path), rel=0.01)
