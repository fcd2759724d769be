"""Newton's method with junctions held back: it settles where long steps overshoot, and to the same volts."""

from __future__ import annotations

import numpy as np
import pytest

from netcheck.physics.network.elements import Bipolar, BipolarModel, Diode, DiodeModel, Resistor
from netcheck.physics.network.junctions import begun, held_back
from netcheck.physics.network.operating import Network, _Solver, operating_point

NPN, PNP = (
    BipolarModel(saturation=1e-14, gain=200.0, early=80.0),
    BipolarModel(saturation=2e-14, gain=150.0, early=60.0),
)


def amplifier(tail: float, collector: float, multiplier: float) -> Network:
    """Three stages on 35 V: differential pair, gain stage on a source of current, drivers and output pair."""
    resistors = {
        "R1 P 0": 22e3,
        "R3 TAIL +": tail,
        "R4 LC -": collector,
        "R5 E4 +": 120.0,
        "R6 REF 0": 15e3,
        "R7 VB1 VBM": multiplier,
        "R8 VBM VB2": 750.0,
        "R9 DE1 DE2": 220.0,
        "R10 E8 OUT": 0.22,
        "R11 E9 OUT": 0.22,
        "R12 OUT FB": 22e3,
        "R13 OUT 0": 8.0,
    }
    made = [Resistor(*name.split(), ohms=ohms) for name, ohms in resistors.items()]
    diodes = [Diode("D1", "+", "DM", DiodeModel(2e-9, 1.8)), Diode("D2", "DM", "REF", DiodeModel(2e-9, 1.8))]
    transistors = [
        Bipolar("Q1", "LC", "P", "TAIL", PNP, pnp=True),
        Bipolar("Q2", "-", "FB", "TAIL", PNP, pnp=True),
        Bipolar("Q3", "VB2", "LC", "-", NPN),
        Bipolar("Q4", "VB1", "REF", "E4", PNP, pnp=True),
        Bipolar("Q5", "VB1", "VBM", "VB2", NPN),
        Bipolar("Q6", "+", "VB1", "DE1", NPN),
        Bipolar("Q7", "-", "VB2", "DE2", PNP, pnp=True),
        Bipolar("Q8", "+", "DE1", "E8", NPN),
        Bipolar("Q9", "-", "DE2", "E9", PNP, pnp=True),
    ]
    return Network((*made, *diodes, *transistors), {"0": 0.0, "+": 35.0, "-": -35.0})


@pytest.mark.parametrize("tail", [6.8e3, 15e3, 22e3])
@pytest.mark.parametrize("collector", [560.0, 1000.0])
@pytest.mark.parametrize("multiplier", [1.8e3, 2.2e3])
def test_an_amplifier_of_nine_transistors_settles_near_zero(tail: float, collector: float, multiplier: float) -> None:
    point = operating_point(amplifier(tail, collector, multiplier), effort=20_000)
    assert abs(point.volts["OUT"]) < 1.0
    assert sum(currents[0] for name, currents in point.currents.items() if name in ("R13", "R12")) == pytest.approx(
        point.volts["OUT"] / 8 + (point.volts["OUT"] - point.volts["FB"]) / 22e3, abs=1e-6
    )


def test_long_and_short_steps_lead_to_the_same_volts() -> None:
    network = Network(
        (
            Resistor("R1", "+", "B", 100e3),
            Resistor("R2", "B", "0", 22e3),
            Resistor("R3", "+", "C", 4.7e3),
            Resistor("R4", "E", "0", 1e3),
            Bipolar("Q1", "C", "B", "E", NPN),
            Diode("D1", "C", "0", DiodeModel(1e-9, 1.8, breakdown=5.1)),
        ),
        {"0": 0.0, "+": 12.0},
    )
    solver = _Solver(network)
    cold = np.zeros(len(solver.nodes))
    long, short = solver.held_back(cold), solver.solve(cold, 1.0, 0.0)
    assert long is not None
    assert short is not None
    assert long == pytest.approx(short, abs=1e-6)
    warm = solver.held_back(long)
    assert warm == pytest.approx(long, abs=1e-6)


def test_a_junction_that_would_conduct_amperes_is_held_near_its_knee() -> None:
    diode = Diode("D1", "A", "K", DiodeModel(1e-14, 1.0))
    (anode, cathode), last = held_back(diode, (10.0, 0.0), (0.6,))
    assert 0.6 < anode - cathode < 0.8
    assert last == pytest.approx((anode - cathode,))
    assert held_back(diode, (-5.0, 0.0), (0.6,)) == ((-5.0, 0.0), (-5.0,))


def test_what_is_known_of_the_terminals_is_taken_as_far_as_it_can_be() -> None:
    transistor = Bipolar("Q1", "C", "B", "E", PNP, pnp=True)
    assert begun(transistor, (0.0, 4.4, 5.0)) == pytest.approx((0.6, -4.4))
    assert begun(transistor, (0.0, 0.0, 5.0))[0] < 1.0
