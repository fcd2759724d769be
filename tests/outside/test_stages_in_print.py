"""Whole output stages, from their netlists, against formulas in print."""

from __future__ import annotations

import math

import pytest

from netcheck.circuit.sampling import read_sample
from netcheck.physics.stagework import StageWork, Work
from netcheck.review import BoardPlan, Plan, facts_of
from netcheck.rulebook.at_rest import spread_of
from netcheck.rulebook.book import RuleBook

CLASS_B = """
J1 rca T=IN S=GND
R1 100k IN GND
U1 OPA2134 1=M 2=FB 3=IN 4=-{rail}V 5=GND 6=X 7=X 8=+{rail}V
R2 10k OUT FB
R3 1k FB GND
R4 2k2 +{rail}V B1
R5 2k2 B2 -{rail}V
D1 1N4148 A=B1 K=M
D2 1N4148 A=M K=B2
Q3 BD139 c=+{rail}V b=B1 e=C1
Q4 BD140 c=-{rail}V b=B2 e=C2
R8 220R C1 C2
Q1 TIP35C c=+{rail}V b=C1 e=OUT
Q2 TIP36C c=-{rail}V b=C2 e=OUT
J2 screw terminal 1=OUT 2=GND
"""
FOLLOWER = """
J1 rca T=IN S=GND
C1 1u IN B
R1 1k B GND
Q1 BD139 c=+15V b=B e=OUT
R2 150R OUT -15V
C2 2200u OUT PH
R3 10k PH GND
J2 jack T=PH S=GND
"""


def driven(text: str, ohms: float, book: RuleBook) -> Work:
    netlist, hints = read_sample(text, "stage.txt", board="s")
    facts = facts_of(Plan("s", (BoardPlan("s", netlist, hints),), book))
    found = StageWork(facts.at_rest.points, spread_of(facts.words)).driven("s/net/OUT", ohms)
    assert isinstance(found, Work), found
    return found


@pytest.mark.parametrize(("rail", "ohms"), [(30, 16.0), (15, 16.0), (15, 32.0), (15, 64.0), (12, 32.0)])
def test_most_heat_of_each_device_in_class_b(rail: int, ohms: float, book: RuleBook) -> None:
    """VCC^2 / (pi^2 RL), at a peak of 2 VCC / pi: Boylestad and Nashelsky, ch. 12 and example 12.8 (5.7 W), as read."""
    work = driven(CLASS_B.format(rail=rail), ohms, book)
    for one in (work.least, work.most):
        watts, peak = one.worst("s/Q1")
        assert watts == pytest.approx(rail**2 / (math.pi**2 * ohms), rel=0.07)
        assert peak == pytest.approx(2 * rail / math.pi, rel=0.1)


def test_efficiency_of_class_b(book: RuleBook) -> None:
    """pi / 4 of the peak over the rail: Boylestad and Nashelsky, ch. 12, as read. Of all that the pair takes."""
    one = driven(CLASS_B.format(rail=30), 16.0, book).most
    peak = one.level.volts * math.sqrt(2)
    out, lost = peak**2 / (2 * 16.0), one.heat("s/Q1", peak) + one.heat("s/Q2", peak)
    assert out / (out + lost) == pytest.approx(math.pi / 4 * peak / 30, rel=0.03)


def test_a_follower_in_class_a_gives_up_where_its_resistor_does(book: RuleBook) -> None:
    """Downwards the resistor gives what stands across it, less the load's share: VE R_load / (R_load + R_E).

    Source: any text on emitter followers with a resistor; 14.3 V across 150 ohm beside 150 ohm end at half of that.
    """
    work = driven(FOLLOWER, 150.0, book)
    assert work.swing.nominal == pytest.approx(14.3 / 2, rel=0.08)


def test_a_follower_in_class_a_is_hottest_at_rest(book: RuleBook) -> None:
    """The mean current stays as it is, so what the load gets is no longer heat. Source: any text on class A."""
    one = driven(FOLLOWER, 150.0, book).most
    peak = one.level.volts * math.sqrt(2)
    assert one.worst("s/Q1")[1] == 0.0
    assert one.heat("s/Q1", peak) < one.heat("s/Q1", 0.0) - peak**2 / (2 * 150.0)
