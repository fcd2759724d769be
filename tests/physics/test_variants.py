"""Loads and positions of controls against networks that are solved anew; equal channels against each other."""

from __future__ import annotations

import math
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest
from test_judge import facts_of

from netcheck.physics.devices import Setting
from netcheck.physics.drives import drive_once
from netcheck.physics.levels import Driven, drive
from netcheck.physics.modelling import ZERO
from netcheck.physics.network.elements import Resistor
from netcheck.physics.network.operating import Network
from netcheck.physics.network.response import SmallSignal
from netcheck.physics.pathmodel import FREQUENCIES, PathModel, path_model
from netcheck.physics.paths import behaviour_of
from netcheck.physics.points import Points
from netcheck.physics.ports import signal_paths
from netcheck.physics.variants import Variants, controls_of
from netcheck.rulebook.book import RuleBook

CHANNEL = (
    "J{n}1 jack T=IN{n} S=GND\nC{n}1 1u IN{n} TOP{n}\nRV{n} potentiometer 10k end1=GND w=W{n} end2=TOP{n}\n"
    "C{n}2 100n W{n} P{n}\nR{n}1 100k P{n} GND\nU{n} TL072 1=O{n} 2=M{n} 3=P{n} 4=-15V 5=GND 6=X{n} 7=X{n} 8=+15V\n"
    "R{n}2 {feedback} O{n} M{n}\nR{n}3 10k M{n} GND\nC{n}3 220p O{n} M{n}\nC{n}4 220u O{n} OUT{n}\n"
    "R{n}4 10k OUT{n} GND\nR{n}5 47 OUT{n} PHONES{n}\nJ{n}2 jack T=PHONES{n} S=GND"
)
SUPPLY = "J9 header 1=+15V 2=GND 3=-15V\nC91 100n +15V GND\nC92 100n -15V GND\n"


def points_of(book: RuleBook, *feedback: str) -> Points:
    channels = [CHANNEL.format(n=n, feedback=ohms) for n, ohms in enumerate(feedback, 1)]
    return facts_of("\n".join([SUPPLY, *channels]), book).at_rest.points


def only(points: Points, number: int = 0) -> PathModel:
    made = path_model(points, signal_paths(points)[number])
    assert isinstance(made, PathModel)
    return made


@pytest.mark.parametrize("position", [0.0, 0.31, 0.5, 1.0])
@pytest.mark.parametrize("ohms", [math.inf, 300.0, 32.0])
def test_a_variant_is_what_a_network_solved_anew_gives(ohms: float, position: float, book: RuleBook) -> None:
    points = points_of(book, "22k")
    made = only(points)
    (control,) = controls_of(points, made)
    asked = Variants(points, made, [control])
    found = asked.values(ohms, {control: position})
    turned = path_model(points, made.path, Setting(positions=MappingProxyType({control: position})))
    assert isinstance(turned, PathModel)
    load = () if math.isinf(ohms) else (Resistor("load", turned.output, ZERO, ohms),)
    known = dict(turned.network.known) | {ZERO: 0.0}
    point = replace(turned.point, volts=dict(turned.point.volts) | {ZERO: 0.0})
    direct = SmallSignal(Network((*turned.network.elements, *load), known), point)
    expected = direct.transfer(made.path.input.node, made.output, FREQUENCIES).values
    assert np.max(np.abs(found - expected)) < 1e-9 * np.max(np.abs(asked.transfer.values))


def test_a_load_takes_level_and_bass(book: RuleBook) -> None:
    """220 uF, 10 kohm to ground behind it, 47 ohm, then 32 ohm: a divider with a capacitor, worked out by hand."""
    points = points_of(book, "22k")
    found = behaviour_of(points, signal_paths(points)[0])
    loaded = next(one for one in found.variants if one.ohms == 32.0 and not one.control)
    alone = next(one for one in found.variants if math.isinf(one.ohms) and not one.control)
    for at in (0, 100, 200):
        series = 1 / (2j * math.pi * found.frequencies[at] * 220e-6)
        shunt = 1 / (1 / 10e3 + 1 / 79)
        by_hand = (shunt / (shunt + series) * 32 / 79) / (10e3 / (10e3 + series))
        assert loaded.decibels[at] - alone.decibels[at] == pytest.approx(20 * math.log10(abs(by_hand)), abs=0.02)
    assert loaded.low is not None and alone.low is not None and loaded.low > alone.low


def test_a_control_turned_down_is_quiet(book: RuleBook) -> None:
    points = points_of(book, "22k")
    (effect,) = behaviour_of(points, signal_paths(points)[0]).controls
    assert max(effect.gains) - min(effect.gains) > 60 and effect.gains[1] < max(effect.gains) - 5


def test_equal_channels_are_worked_out_once_and_told_of_their_own_parts(book: RuleBook) -> None:
    points = points_of(book, "22k", "22k")
    left, right = (behaviour_of(points, path) for path in signal_paths(points))
    assert left.decibels is right.decibels
    assert {part.replace("1", "2", 1) for part in left.parts} == set(right.parts)
    assert [c.hertz for c in left.corners] == [c.hertz for c in right.corners]
    assert right.corners[0].parts and all("2" in part.split("/")[1][:3] for part in right.corners[0].parts)
    driven = [drive_once(points, only(points, number), 300.0) for number in (0, 1)]
    assert all(isinstance(one, Driven) for one in driven)
    assert "U1" in driven[0].level.limit and "U2" in driven[1].level.limit  # type: ignore[union-attr]


def test_what_is_kept_is_what_is_worked_out_anew(book: RuleBook) -> None:
    points = points_of(book, "22k", "22k")
    signal_paths(points)
    drive_once(points, only(points, 0), 300.0)
    kept, anew = drive_once(points, only(points, 1), 300.0), drive(points, only(points, 1), 300.0)
    assert isinstance(kept, Driven) and isinstance(anew, Driven)
    assert kept.level == anew.level and kept.watts.keys() == anew.watts.keys()
    assert np.allclose(kept.outputs, anew.outputs, atol=1e-6)


def test_channels_that_differ_in_one_value_are_not_taken_for_equal(book: RuleBook) -> None:
    points = points_of(book, "22k", "27k")
    left, right = (behaviour_of(points, path) for path in signal_paths(points))
    assert right.gain - left.gain == pytest.approx(20 * math.log10(3.7 / 3.2), abs=0.05)


def test_a_net_at_a_certain_voltage_is_still_moved_by_a_signal(book: RuleBook) -> None:
    """Between two capacitors no direct current flows in a divider: it is at 0 V, and passes half of the signal."""
    divider = (
        "J1 jack T=IN S=GND\nC1 10u IN A\nR1 10k A B\nR2 10k B GND\nC2 10u B P\nR3 1M P GND\n"
        "U1 TL072 1=O 2=O 3=P 4=-15V 5=GND 6=X 7=X 8=+15V\nR4 100 O OUT\nJ2 jack T=OUT S=GND"
    )
    points = facts_of(SUPPLY + divider, book).at_rest.points
    assert behaviour_of(points, signal_paths(points)[0]).gain == pytest.approx(-6.06, abs=0.05)
