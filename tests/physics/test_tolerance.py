"""Tolerances of a path: the first-order worst case against all corners of the same network, value by value."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from test_judge import facts_of
from test_paths import only

from netcheck.physics.behaviour import PathBehaviour
from netcheck.rulebook.book import RuleBook

SUPPLY = "J9 header 1=+15V 2=GND 3=-15V\n"
STAGE = (
    "J{n}1 jack T=IN{n} S=GND\nC{n}1 {c1} IN{n} P{n}\nR{n}1 {r1} P{n} GND\n"
    "U{n} TL072 1=O{n} 2=M{n} 3=P{n} 4=-15V 5=GND 6=X{n} 7=X{n} 8=+15V\nR{n}2 {r2} O{n} M{n}{stated}\n"
    "R{n}3 {r3} M{n} GND\nR{n}4 100 O{n} OUT{n}\nJ{n}2 jack T=OUT{n} S=GND\n"
)
NOMINAL = {"c1": 100e-9, "r1": 100e3, "r2": 22e3, "r3": 10e3}


def typed(number: int = 1, stated: str = "", **off: float) -> str:
    """A stage with its values off by these factors; `stated`: what stands behind the feedback resistor's nets."""
    values = {name: NOMINAL[name] * off.get(name, 1.0) for name in NOMINAL}
    written = {name: f"{value * 1e9:.9g}n" if name == "c1" else f"{value:.9g}" for name, value in values.items()}
    return STAGE.format(n=number, stated=stated, **written)


def stage(book: RuleBook, stated: str = "", **off: float) -> PathBehaviour:
    return only(SUPPLY + typed(1, stated, **off), book)


def test_the_gain_of_a_pair_of_resistors(book: RuleBook) -> None:
    """1 + R2 / R3 with 5 % either way: the first order is 2 * 5 % * R2 / (R2 + R3) of the gain."""
    found = stage(book)
    assert found.gain_off == pytest.approx(20 / math.log(10) * 0.10 * 22 / 32, rel=0.02)
    assert {part for part, _ in found.loosest[:2]} == {"amp/R12", "amp/R13"}


def test_the_worst_case_is_that_of_all_corners(book: RuleBook) -> None:
    """Sixteen networks with each value at an end: to first order nothing lies beyond what is told, and one nearly."""
    found = stage(book)
    gains, corners, bass = [], [], []
    for ends in product((-1, 1), repeat=4):
        off = {n: 1 + end * (0.2 if n == "c1" else 0.05) for n, end in zip(NOMINAL, ends, strict=True)}
        each = stage(book, **off)
        low = each.corner("low", 3.0)
        assert low is not None and low.hertz is not None
        gains.append(each.gain - found.gain)
        corners.append(low.hertz)
        bass.append((each.decibels[66] - each.gain) - (found.decibels[66] - found.gain))
    assert max(map(abs, gains)) == pytest.approx(found.gain_off, rel=0.06)
    low = found.corner("low", 3.0)
    assert low is not None and low.low is not None and low.high is not None
    assert min(corners) == pytest.approx(low.low, rel=0.05) and max(corners) == pytest.approx(low.high, rel=0.05)
    assert max(map(abs, bass)) == pytest.approx(found.spread[66], rel=0.2)


def test_a_stated_tolerance_counts(book: RuleBook) -> None:
    assert stage(book, " ; tolerance 1%").gain_off < 0.7 * stage(book).gain_off


def test_a_flat_response_is_not_moved_against_its_middle(book: RuleBook) -> None:
    found = stage(book)
    at = int(np.argmin(np.abs(np.array(found.frequencies) - 1000.0)))
    assert found.spread[at] < 0.02 < found.gain_off and found.spread[0] > 0.5


def test_channels_of_other_tolerance_are_not_told_alike(book: RuleBook) -> None:
    text = SUPPLY + typed(1) + typed(2, " ; tolerance 1%")
    one, other = facts_of(text, book).at_rest.numbers("amp").paths
    assert one.gain == pytest.approx(other.gain, abs=1e-6)
    assert other.gain_off < 0.7 * one.gain_off
