"""Loops of amplifiers against data sheets, scipy.signal and ngspice.

Sources stand beside each number. What one function gives for several is held against a different way to work it out.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from conftest import ROOT
from ngspice import Deck, needs_ngspice
from scipy import optimize, signal
from test_judge import facts_of

from netcheck.intake.reading import read_netlist
from netcheck.physics.devices import NOMINAL
from netcheck.physics.loops import LoopNetwork, Loops, Span, load_at
from netcheck.physics.margins import OpenLoop, crossings, crossover, phase_margin, second_pole
from netcheck.physics.network.elements import Capacitor, Resistor
from netcheck.physics.network.operating import Network, terminals
from netcheck.physics.stagegain import feedback_loss
from netcheck.review import BoardPlan, Plan
from netcheck.review import facts_of as facts_of_plan

FOLLOWER = "U1 {} 1=OUT 2=OUT 3=GND 4=-15V 5=GND 6=O2 7=O2 8=+15V\n"
RATED = "U1 {} 1=OUT 2=M 3=GND 4=-15V 5=GND 6=O2 7=O2 8=+15V\nR1 10k OUT M\nR2 {} M GND\n"


def loops_of(text: str, book) -> tuple[Loops, list]:
    facts = facts_of(text, book)
    return Loops(facts.at_rest.points), list(facts.amplifiers)


def least(found: object) -> float:
    assert isinstance(found, Span), found
    return found.low


def test_closed_loop_bandwidth_of_a_data_sheet_op_amp(book) -> None:
    """NE5532: 10 MHz of gain times bandwidth (TI SLOS075J, 7.6); a noise gain of 11 leaves 909 kHz."""
    loops, amps = loops_of(RATED.format("NE5532", "1k"), book)
    assert least(crossover(loops, amps[0])) == pytest.approx(909e3, rel=0.01)


@pytest.mark.parametrize(("farads", "printed"), [(0.0, 55.0), (100e-12, 40.0)])
def test_margins_that_the_mc33078_sheet_prints(book, farads: float, printed: float) -> None:
    """Phase margin 55 degrees at 0 pF and 40 degrees at 100 pF. Source: onsemi MC33078/D rev 9, p. 4, read.

    The first goes into the model as its second pole; the second comes out of it with the output impedance of 37 ohm.
    """
    loops, amps = loops_of(FOLLOWER.format("MC33078"), book)
    found = phase_margin(loops, amps[0], ["amp/net/OUT"] if farads else [], [farads])
    assert least(found) == pytest.approx(printed, abs=4)


def test_margin_that_the_tl072_tables_print(book) -> None:
    """45 degrees with 2 kohm and 100 pF. Source: ST TL072, electrical characteristics, read."""
    loops, amps = loops_of(FOLLOWER.format("TL072") + "R1 2k OUT GND\n", book)
    assert least(phase_margin(loops, amps[0], ["amp/net/OUT"], [100e-12])) == pytest.approx(45, abs=3)


def test_noise_gain_of_an_inverting_stage_of_gain_one(book) -> None:
    """1 + Rf/Rg = 2. Source: standard circuit theory."""
    loops, amps = loops_of(RATED.format("NE5532", "10k"), book)
    assert least(loops.noise_gain(amps[0], 1e3)) == pytest.approx(2.0, rel=1e-4)


def test_feedback_capacitor_for_200_khz(book) -> None:
    """10 kohm and 79.6 pF: 3.01 dB down at 200 kHz. Source: 1/(2 pi R C), standard circuit theory."""
    loops, amps = loops_of(RATED.format("OPA1656", "10k") + "C1 79.6p OUT M\n", book)
    assert least(feedback_loss(loops, amps[0], 200e3, True)) == pytest.approx(3.01, abs=0.05)


def test_pole_of_the_input_capacitance(book) -> None:
    """10 kohm beside 10 kohm with 12 pF (MC33078/D, read): what comes back is 3.01 dB down at 2.65 MHz."""
    loops, amps = loops_of(RATED.format("MC33078", "10k"), book)
    loop = loops.network(amps[0])
    assert isinstance(loop, LoopNetwork)
    opened = loops.opened(loop, NOMINAL, 1e-3, (Capacitor("input", loop.own.plus, loop.own.minus, 12e-12),))
    low, corner = np.abs(opened.feedback(np.array([1e3, 2.652582e6])))
    assert 20 * math.log10(low / corner) == pytest.approx(3.01, abs=0.01)


@pytest.mark.parametrize("noise_gain", [1.25, 2.0, 11.0])
@pytest.mark.parametrize("farads", [0.0, 220e-12, 1e-9])
@pytest.mark.parametrize("margin", [45.0, 60.0, 80.0])
def test_margins_against_scipy(book, noise_gain: float, farads: float, margin: float) -> None:
    """The loop gain as a fraction of polynomials, its crossing sought by scipy."""
    gain, bandwidth, ohms = 1e5, 10e6, 40.0
    second = second_pole(bandwidth, margin)
    upper, lower = 10e3, 10e3 / (noise_gain - 1)
    text = RATED.format("NE5532", f"{lower:g}")
    loops, amps = loops_of(text, book)
    loop = loops.network(amps[0], loads=True)
    assert isinstance(loop, LoopNetwork)
    more = (load_at("amp/net/OUT", farads),) if farads else ()
    (found,) = crossings(loops.opened(loop, NOMINAL, ohms, more), OpenLoop(gain, bandwidth, second))

    load = upper + lower
    share = lower / load * load / (load + ohms)
    tau = farads * (ohms * load / (ohms + load))
    poles = np.polymul([gain / (2 * math.pi * bandwidth), 1], [1 / (2 * math.pi * second), 1])
    system = signal.TransferFunction([gain * share], np.polymul(poles, [tau, 1]))

    def level(exponent: float) -> float:
        return math.log(abs(signal.freqresp(system, [2 * math.pi * 10**exponent])[1][0]))

    hertz = 10 ** optimize.brentq(level, 2, 9)
    grid = np.logspace(0, math.log10(2 * math.pi * hertz), 400)
    phase = np.unwrap(np.angle(signal.freqresp(system, grid)[1]))[-1]
    assert found.hertz == pytest.approx(hertz, rel=2e-3)
    assert found.margin == pytest.approx(180 + math.degrees(phase), abs=0.1)


@pytest.mark.parametrize(("ratio", "degrees"), [(0.5, 63.43495), (1.0, 45.0)])
def test_two_pole_margins_of_the_notes(ratio: float, degrees: float) -> None:
    """Margin 90 - atan(fc/f2): 63.4 degrees for f2 = 2 fc, 45 for f2 = fc. Source: standard circuit theory."""

    class Whole:
        def feedback(self, frequencies: np.ndarray) -> np.ndarray:
            return np.ones(len(frequencies), dtype=complex)

    crossing = 1e6
    bandwidth = crossing * math.hypot(1, ratio)
    (found,) = crossings(Whole(), OpenLoop(1e6, bandwidth, crossing / ratio))  # type: ignore[arg-type]
    assert found.hertz == pytest.approx(crossing, rel=2e-3)
    assert found.margin == pytest.approx(degrees, abs=0.1)


@needs_ngspice
def test_the_loop_of_the_demo_amplifier_is_that_of_ngspice(book, tmp_path: Path) -> None:
    """Op-amp, biased transistor stage and feedback, opened behind the op-amp: within 0.05 dB and 0.5 degrees."""
    path = ROOT / "fixtures" / "bandroom" / "revision-b" / "amp.net"
    facts = facts_of_plan(Plan("amp", (BoardPlan("amp", read_netlist(path, cache=False)),), book))
    loops = Loops(facts.at_rest.points)
    made = [loops.network(amp, loads=True) for amp in facts.amplifiers]
    loop = next(one for one in made if isinstance(one, LoopNetwork) and one.transistors)
    ohms, frequencies = 10.0, np.logspace(1, 7, 61)
    ours = loops.opened(loop, NOMINAL, ohms).feedback(frequencies)

    out = loop.own.output
    elements = [*loops.elements(loop, NOMINAL), Resistor("source", out, "drive", ohms, noisy=False)]
    inside = set(loop.nodes)
    touched = dict.fromkeys(node for element in elements for node in terminals(element))
    known = {node: loop.volts.get(node, 0.0) for node in touched if node not in inside}
    deck = Deck(Network(tuple(elements), known | {"drive": loop.volts[out]}), "drive")
    ends = [
        deck.response(node, frequencies, tmp_path) if node in inside else 0 for node in (loop.own.minus, loop.own.plus)
    ]
    theirs = ends[0] - ends[1]
    assert np.max(np.abs(20 * np.log10(np.abs(ours / theirs)))) < 0.05
    assert np.max(np.abs(np.degrees(np.angle(ours / theirs)))) < 0.5
