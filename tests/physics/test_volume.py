"""Volume controls and what is none; what loads a net."""

from __future__ import annotations

import math

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import join
from netcheck.circuit.sampling import read_sample
from netcheck.circuit.walk import Walks
from netcheck.language.values import Unknown
from netcheck.physics.loading import Loading
from netcheck.physics.places import PlaceMap
from netcheck.physics.volume import VolumeControl, volume_controls
from netcheck.rulebook.book import load_rule_book

BOOK = load_rule_book()
AROUND = """
J1 jack T=IN S=GND
C1 10u IN A
U1 NE5532 1=O 2=O 3=P 4=-15V 5=GND 6=X 7=X 8=+15V
J2 jack T=O S=GND
"""


def walks_of(text: str) -> Walks:
    netlist, hints = read_sample(text, "volume.txt", board="amp")
    return Walks(join((understand(netlist, "amp", BOOK.parts, BOOK.words, hints),)))


def controls(text: str) -> tuple[VolumeControl, ...]:
    return volume_controls(walks_of(text), BOOK.words)


def load_at(text: str, net: str) -> float | Unknown:
    return Loading(PlaceMap(walks_of(text))).at(f"amp/net/{net}")


@pytest.mark.parametrize(
    ("more", "foot_first"),
    [
        ("RV1 potentiometer 10k 1=GND 2=P 3=A", True),
        ("RV1 potentiometer 10k 1=A 2=P 3=GND", False),
        ("RV1 potentiometer 10k 1=F 2=P 3=A\nR1 220R F GND", True),
        ("RV1 potentiometer 10k 1=VREF 2=P 3=A\nR1 10k VREF +15V\nR2 10k VREF GND\nC2 47u VREF GND", True),
        ("RV1 potentiometer 10k 1=GND 2=W 3=A\nC2 1u W P\nR1 100k P GND", True),
        ("RV1 potentiometer 10k end1=GND w=P end2=A", None),
    ],
    ids=["usual", "backwards", "a small foot", "half supply", "coupled", "letters"],
)
def test_a_track_from_a_signal_to_ground_is_a_volume_control(more: str, foot_first: bool | None) -> None:
    (control,) = controls(AROUND + more)
    assert control.foot_first is foot_first
    assert control.part == "amp/RV1"
    assert control.coupled


@pytest.mark.parametrize(
    "more",
    [
        "RV1 trimmer 10k 1=GND 2=P 3=A",
        "RV1 potentiometer 10k 1=A 2=A 3=P\nR1 10k P GND",
        "RV1 potentiometer 10k 1=A 2=GND 3=P",
        "RV1 potentiometer 10k 1=+15V 2=P 3=GND",
        "RV1 potentiometer 10k 1=+15V 2=P 3=-15V",
        "RV1 potentiometer 10k 1=F 2=P 3=A\nR1 10k F GND",
        "RV1 potentiometer 10k 1=GND 2=O 3=A\nR1 10k P GND",
        "RV1 potentiometer 10k 1=GND 2=CV_IN 3=A\nR1 10k CV_IN P",
        "RV1 potentiometer 10k 1=GND 2=W 3=A\nU2 microcontroller 1=W 2=+5V 3=GND",
    ],
    ids=[
        "trimmer", "variable resistor", "wiper on ground", "steers", "from rail to rail", "large foot",
        "wiper driven", "control voltage", "read by a program",
    ],
)  # fmt: skip
def test_other_controls_are_none(more: str) -> None:
    assert controls(AROUND + more) == ()


def test_each_gang_is_one() -> None:
    text = "J1 jack T=L R=R S=GND\nRV1 potentiometer 10k 1=GND 2=WL 3=L 4=R 5=WR 6=GND\n"
    text += "U1 NE5532 1=OL 2=OL 3=WL 4=-15V 5=WR 6=OR 7=OR 8=+15V\nJ2 jack T=OL R=OR S=GND"
    assert [(c.wiper, c.foot, c.foot_first) for c in controls(text)] == [
        ("amp/RV1.2", "amp/RV1.1", True),
        ("amp/RV1.5", "amp/RV1.6", False),
    ]


@pytest.mark.parametrize(
    ("text", "ohms"),
    [
        ("R1 10k N GND\nR2 10k N GND", 5e3),
        ("R1 10k N M\nR2 5k M GND", 15e3),
        ("R1 10k N M\nR2 22k M O\nU1 NE5532 1=O 2=M 3=GND 4=-15V 5=GND 6=X 7=X 8=+15V", 10e3),
        ("R1 10k N M\nU1 NE5532 1=M 2=M 3=GND 4=-15V 5=GND 6=X 7=X 8=+15V", 10e3),
        ("R1 1M N GND\nU1 NE5532 1=O 2=O 3=N 4=-15V 5=GND 6=X 7=X 8=+15V", 1e6),
        ("C1 1u N GND", 1 / (2 * math.pi * 1000 * 1e-6)),
        ("C1 1u N M\nR1 1k M GND", math.hypot(1e3, 1 / (2 * math.pi * 1000 * 1e-6))),
        ("SW1 switch N GND\nR1 10k N GND", 10e3),
        ("R1 10k N M", math.inf),
        ("R1 10k N A\nR2 10k A B\nR3 10k A B\nR4 10k B GND", 25e3),
    ],
)
def test_loads_add_up(text: str, ohms: float) -> None:
    found = load_at(text, "N")
    assert isinstance(found, float)
    assert math.isclose(found, ohms, rel_tol=0.01) or found == ohms


@pytest.mark.parametrize(
    ("text", "reason", "at_most"),
    [
        ("R1 TBD N GND\nR2 10k N GND", "R1 has the value 'TBD'", 10e3),
        ("J1 header 1=N 2=GND\nR2 10k N GND", "what J1 is joined to is not given", 10e3),
        ("SW1 switch N B\nR1 1k B GND", "what SW1 joins is not known", None),
        ("T1 transformer winding1=N winding2=GND", "what T1 takes is not known", None),
    ],
)
def test_what_is_not_known_bounds_a_load_from_above(text: str, reason: str, at_most: float | None) -> None:
    found = load_at(text, "N")
    assert isinstance(found, Unknown)
    assert found.reasons == (reason,)
    assert found.high == (None if at_most is None else pytest.approx(at_most))
