"""The solver against closed forms, an independent library of filters, and a table of the record replay curve."""

from __future__ import annotations

import math

import numpy as np
import pytest
import yaml
from circuits_in_print import C, R, amplifier, linear
from conftest import SHARED
from scipy import signal

from netcheck.physics.network.elements import BOLTZMANN, Inductor
from netcheck.physics.network.response import SmallSignal, total_noise
from netcheck.physics.paths import a_weighting

CURVE = SHARED / "reference" / "riaa.yaml"
FREQUENCIES = np.logspace(0, 6, 241)


def replay(subsonic: bool) -> SmallSignal:
    """Passive replay network with the time constants 3180, 318 and 75 us (IEC 60098), each behind a buffer.

    The zero at 318 us: a divider of R2 + C2 below R1, whose pole is at (R1 + R2) C2 = 3180 us.
    """
    parts = [
        R("R1", "IN", "A", 9e3), R("R2", "A", "B", 1e3), C("C1", "B", "0", 318e-9), amplifier("D", "A", "D"),
        R("R3", "D", "E", 1e3), C("C2", "E", "0", 75e-9), amplifier("F", "E", "F", name="U2"),
    ]  # fmt: skip
    if subsonic:
        parts += [C("C3", "F", "OUT", 795e-9), R("R4", "OUT", "0", 10e3)]
    else:
        parts += [R("R4", "F", "OUT", 1.0), R("R5", "OUT", "0", 1e9)]
    return linear(*parts)


@pytest.mark.skipif(not CURVE.is_file(), reason=f"the table of the replay curve is not at {CURVE}")
@pytest.mark.parametrize("subsonic", [False, True])
def test_the_replay_curve_to_a_hundredth_of_a_decibel(subsonic: bool) -> None:
    rows = yaml.safe_load(CURVE.read_text(encoding="utf-8"))["rows"]
    column = "replay_with_iec_7950us_db" if subsonic else "replay_db"
    rows = [row for row in rows if row.get(column) is not None]
    assert len(rows) > 20
    hertz = np.array([float(row["hz"]) for row in rows])
    found = replay(subsonic).transfer("IN", "OUT", np.append(hertz, 1e3)).decibels
    # Both columns have 0 dB where the plain curve has it, at 1 kHz.
    zero = replay(False).transfer("IN", "OUT", np.array([1e3])).decibels[0]
    assert found[:-1] - zero == pytest.approx([row[column] for row in rows], abs=0.01)


def sallen_key(first: float, second: float) -> SmallSignal:
    return linear(
        R("R1", "IN", "A", 10e3), R("R2", "A", "B", 10e3), C("C1", "A", "OUT", first), C("C2", "B", "0", second),
        amplifier("OUT", "B", "OUT"),
    )  # fmt: skip


FILTERS = {
    "first order low": (linear(R("R1", "IN", "OUT", 1e3), C("C1", "OUT", "0", 1e-7)), [1.0], [1e-4, 1.0]),
    "first order high": (linear(C("C1", "IN", "OUT", 1e-7), R("R1", "OUT", "0", 1e4)), [1e-3, 0.0], [1e-3, 1.0]),
    "second order low": (sallen_key(22e-9, 11e-9), [1.0], [22e-9 * 11e-9 * 1e8, 2 * 1e4 * 11e-9, 1.0]),
    "series resonance": (
        linear(Inductor("L1", "IN", "A", 1e-3, 0.0), C("C1", "A", "OUT", 1e-6), R("R1", "OUT", "0", 50.0)),
        [50 * 1e-6, 0.0],
        [1e-9, 50e-6, 1.0],
    ),
}


@pytest.mark.parametrize("name", FILTERS)
def test_filters_are_those_of_scipy(name: str) -> None:
    small, numerator, denominator = FILTERS[name]
    _, theirs = signal.freqs(numerator, denominator, 2 * math.pi * FREQUENCIES)
    ours = small.transfer("IN", "OUT", FREQUENCIES)
    assert ours.decibels == pytest.approx(20 * np.log10(np.abs(theirs)), abs=0.001)
    assert np.max(np.abs(np.degrees(np.angle(ours.values / theirs)))) < 0.01


@pytest.mark.parametrize("hertz", [1.0, 25.0, 1e3])
def test_group_delay_of_a_high_pass(hertz: float) -> None:
    """tau / (1 + (omega tau)^2), of a first-order section; closed form."""
    ohms, farads = 10e3, 636.6e-9
    small = linear(C("C1", "IN", "OUT", farads), R("R1", "OUT", "0", ohms))
    tau, omega = ohms * farads, 2 * math.pi * hertz
    found = small.transfer("IN", "OUT", np.array([hertz])).group_delay[0]
    assert found == pytest.approx(tau / (1 + (omega * tau) ** 2), rel=1e-6)


def test_noise_of_a_resistor_behind_a_capacitor_is_kt_over_c() -> None:
    """sqrt(kT/C), whatever the resistor; any text on noise."""
    farads, kelvin = 100e-12, 300.0
    small = linear(R("R1", "OUT", "0", 1e6), C("C1", "OUT", "0", farads))
    frequencies = np.concatenate([[1e-3], np.logspace(-2, 10, 6001)])
    found = total_noise(small.noise("OUT", frequencies, kelvin), frequencies)
    assert found == pytest.approx(math.sqrt(BOLTZMANN * kelvin / farads), rel=1e-3)


def test_a_weighting_at_its_tabled_frequencies() -> None:
    """IEC 61672-1, table of the A-weighting to a tenth of a decibel, at ten to n tenths; from memory."""
    table = {13: -50.5, 17: -30.2, 20: -19.1, 27: -3.2, 30: 0.0, 33: 1.2, 37: 0.5, 43: -9.3}
    found = 20 * np.log10(a_weighting(10 ** (np.array(list(table)) / 10)))
    assert found == pytest.approx(list(table.values()), abs=0.06)
