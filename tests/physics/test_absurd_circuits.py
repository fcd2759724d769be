"""Random small circuits with absurd values: numbers or reasons, never a traceback, no NaN, no long wait."""

from __future__ import annotations

import dataclasses
import math
import re
import time
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_judge import facts_of

from netcheck.physics.behaviour import Behaviour
from netcheck.report.figures import behaviour_text
from netcheck.review import numbers_of
from netcheck.rulebook.book import RuleBook

LONGEST_WAIT = 5.0
NETS = ("IN", "A", "B", "C", "D", "OUT", "+15V", "-15V", "GND")
OHMS = ("0", "0R22", "10k", "1G", "999999G", "TBD", "1e-30", "-5", "4k7")
USUAL = ("100", "1k", "10k", "22k", "100k")
FARADS = ("0", "1p", "100n", "470u", "5000F", "TBD", "1e-30")
HENRIES = ("0", "10u", "9000H", "TBD")
TYPES = {
    "D": ("1N4148 A={} K={}", 2), "Z": ("BZX55C5V1 A={} K={}", 2), "L": ("led red A={} K={}", 2),
    "N": ("BC547 c={} b={} e={}", 3), "P": ("BC557 c={} b={} e={}", 3), "B": ("BD139 c={} b={} e={}", 3),
    "M": ("nmos 2N7000 d={} g={} s={}", 3), "J": ("njfet 2N5457 d={} g={} s={}", 3),
    "O": ("TL072 1={} 2={} 3={} 4=-15V 5=GND 6=X{n} 7=X{n} 8=+15V", 3),
    "W": ("NE5532 1={} 2={} 3={} 4={} 5={} 6={} 7={} 8={}", 8),
    "V": ("potentiometer 10k end1={} w={} end2={}", 3), "S": ("switch 1={} 2={} 3={}", 3),
    "G": ("7805 1={} 2={} 3={}", 3),
}  # fmt: skip
REFERENCES = {"D": "D", "Z": "D", "L": "D", "N": "Q", "P": "Q", "B": "Q", "M": "Q", "J": "Q", "O": "U", "W": "U",
              "V": "RV", "S": "SW", "G": "U"}  # fmt: skip


@st.composite
def circuits(draw: st.DrawFn) -> str:
    """A jack in, a jack out, rails, most often a stage between them, and up to fourteen parts anywhere."""
    lines = ["J1 jack T=IN S=GND", "J2 jack T=OUT S=GND", "J3 header 1=+15V 2=GND 3=-15V"]
    if draw(st.integers(0, 4)):
        usual = st.sampled_from((*USUAL, *USUAL, *OHMS))
        lines += [f"C1 {draw(st.sampled_from(('1u', '1u', *FARADS)))} IN A", f"R1 {draw(usual)} A GND"]
        lines += ["U1 TL072 1=B 2=C 3=A 4=-15V 5=GND 6=Y 7=Y 8=+15V", f"R2 {draw(usual)} B C"]
        lines += [f"R3 {draw(usual)} C GND", f"R4 {draw(usual)} B OUT"]
    for n in range(10, 10 + draw(st.integers(0, 14))):
        net = st.sampled_from(NETS)
        sort = draw(st.sampled_from(("R", "R", "R", "C", "C", "H", *TYPES)))
        if sort == "R":
            lines.append(f"R{n} {draw(st.sampled_from(OHMS))} {draw(net)} {draw(net)}")
        elif sort == "C":
            lines.append(f"C{n} {draw(st.sampled_from(FARADS))} {draw(net)} {draw(net)}")
        elif sort == "H":
            lines.append(f"L{n} {draw(st.sampled_from(HENRIES))} {draw(net)} {draw(net)}")
        else:
            written, pins = TYPES[sort]
            lines.append(f"{REFERENCES[sort]}{n} {written.format(*(draw(net) for _ in range(pins)), n=n)}")
    return "\n".join(lines)


def floats(value: object, path: str = "") -> Iterator[tuple[str, float]]:
    """Every number in nested data, with where it stands."""
    if isinstance(value, float):
        yield path, value
    elif isinstance(value, tuple | list):
        for item in value:
            yield from floats(item, path)
    elif dataclasses.is_dataclass(value):
        for each in dataclasses.fields(value):
            yield from floats(getattr(value, each.name), f"{path}.{each.name}")


def told(text: str, book: RuleBook) -> Behaviour:
    facts = facts_of(text, book)
    begun = time.process_time()
    found = numbers_of(facts, "amp")
    assert time.process_time() - begun < LONGEST_WAIT, text
    shown = behaviour_text(found, facts.circuit)
    assert not re.search(r"\bnan\b|\binf\b|not a number", shown), shown
    for path, value in floats(found):
        assert not math.isnan(value), (path, text)
        assert math.isfinite(value) or path.endswith((".ohms", ".input_ohms")), (path, text)
    for way in found.paths:
        assert way.reasons or len(way.decibels) == 400
    return found


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(text=circuits())
def test_anything_gives_numbers_or_reasons(text: str, book: RuleBook) -> None:
    told(text, book)


@pytest.mark.parametrize(
    "lines",
    [
        "R1 0 +15V -15V\nR2 0 +15V GND",  # shorted sources
        "L1 0 +15V GND\nD1 1N4148 A=+15V K=GND",
        "Q1 BC547 c=+15V b=+15V e=GND",  # a junction across a supply
        "C1 100n IN A\nU1 TL072 1=OUT 2=OUT 3=A 4=-15V 5=GND 6=X 7=X 8=+15V",  # an input in the air
        "U1 TL072 1=OUT 2=GND 3=OUT 4=-15V 5=GND 6=X 7=X 8=+15V\nR1 10k IN OUT",  # latches
        "U1 TL072 1=OUT 2=IN 3=OUT 4=-15V 5=GND 6=X 7=X 8=+15V",
        "U1 TL072 1=OUT 2=B 3=IN 4=-15V 5=GND 6=X 7=X 8=+15V\nR1 1e-30 OUT B\nR2 999999G B GND\nR3 1M IN GND",
        "U1 TL072 1=+15V 2=B 3=IN 4=-15V 5=GND 6=X 7=X 8=+15V",  # an output on a rail
        "RV1 potentiometer 0 end1=IN w=OUT end2=GND\nC1 0 IN OUT",
        "Q1 BC547 c=C b=B e=E\nQ2 BC557 c=B b=C e=+15V\nR1 1k E GND\nR2 10k B GND\nC1 1u IN B\nC2 1u C OUT",
    ],
)  # fmt: skip
def test_the_impossible_is_told_with_its_reason(lines: str, book: RuleBook) -> None:
    told(f"J1 jack T=IN S=GND\nJ2 jack T=OUT S=GND\nJ3 header 1=+15V 2=GND 3=-15V\n{lines}", book)
