"""Junctions that hold the bases of an output stage apart, counted on circuits typed in."""

from __future__ import annotations

import math

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import join
from netcheck.circuit.sampling import read_sample
from netcheck.circuit.walk import Walks
from netcheck.language.values import Unknown
from netcheck.physics.bias import junctions, multipliers


def walks_of(circuit: str, book) -> Walks:
    netlist, hints = read_sample(circuit, "bias", 1, "b")
    return Walks(join((understand(netlist, "b", book.parts, book.words, hints),)))


def count(circuit: str, book, around: frozenset[str] = frozenset()) -> float | Unknown:
    return junctions(walks_of(circuit, book), "b/net/A", "b/net/B", (0.55, 0.75), around)


@pytest.mark.parametrize(
    ("circuit", "expected"),
    [
        ("D1 diode A M\nD2 diode M B", 2.0),
        ("D1 diode B M\nD2 diode M A", 2.0),
        ("D1 diode A M\nD2 diode B M", math.inf),
        ("Q1 npn c=A b=A e=B", 1.0),
        ("Q1 npn c=A b=T e=B\nR1 2k A T\nR2 1k T B", 3.0),
        ("Q1 pnp e=A b=T c=B\nR1 1k A T\nR2 2k T B", 3.0),
        ("Q1 npn c=C b=T e=B\nR1 2k A T\nR2 1k T B\nR3 22R A C", 3.0),
        ("Q1 npn c=A b=T e=B\nR1 1k A X\nR3 1k X T\nR2 1k T B", 3.0),
        ("D1 diode A B\nR1 10k A B", 1.0),
        ("NT1 link A B", 0.0),
        ("R1 47R X A\nR2 47R X B\nQ1 npn c=+15V b=A e=O\nQ2 pnp c=-15V b=B e=O", 0.0),
    ],
)
def test_counted(circuit: str, expected: float, book) -> None:
    around = frozenset({"b/Q1", "b/Q2"}) if "Q2" in circuit else frozenset()
    assert count(circuit, book, around) == expected


def test_one_net_is_not_apart(book) -> None:
    assert junctions(walks_of("R1 1k A B", book), "b/net/A", "b/net/A", (0.55, 0.75)) == 0.0


def test_a_trimmer_gives_bounds(book) -> None:
    found = count("Q1 npn c=A b=T e=B\nR1 2k A T\nR2 1k T X\nRV1 trimmer 1k end1=X w=B end2=B", book)
    assert isinstance(found, Unknown)
    assert (found.low, found.high) == (2.0, 3.0)
    assert found.reasons == ("the setting of RV1 is not given",)


def test_a_value_that_cannot_be_read_is_named(book) -> None:
    found = count("Q1 npn c=A b=T e=B\nR1 TBD A T\nR2 1k T B", book)
    assert isinstance(found, Unknown)
    assert found.reasons == ("R1 has the value 'TBD'",)
    assert found.low == 1.0


def test_an_led_is_worth_several(book) -> None:
    found = count("D1 led A B", book)
    assert isinstance(found, Unknown)
    assert found.low is not None and 1.5 < found.low < 3
    assert found.high is not None and 4 < found.high < 10


def test_a_resistor_in_series_adds_what_is_not_known(book) -> None:
    found = count("D1 diode A M\nR1 100R M B", book)
    assert found == Unknown(("what R1 drops is not computed yet",), 1.0, None)


def test_a_transistor_controlled_from_elsewhere_counts_only_alone(book) -> None:
    limiter = "Q1 npn c=A b=S e=B"
    found = count(limiter, book)
    assert isinstance(found, Unknown) and found.low == 0.0
    assert count(f"{limiter}\nD1 diode A M\nD2 diode M B", book) == 2.0


def test_what_is_not_seen_is_not_known(book) -> None:
    assert count("C1 100n A B\nR1 10k A +15V\nR2 10k B -15V", book) == Unknown(
        ("what holds the bases apart is not seen",)
    )


def test_multipliers_are_listed_with_their_factor(book) -> None:
    found = multipliers(walks_of("Q1 npn c=A b=T e=B\nR1 2k A T\nR2 1k T B\nQ2 npn c=+15V b=A e=O", book))
    assert [(one.device.ref, one.low, one.high) for one in found] == [("Q1", 3.0, 3.0)]
    assert (found[0].top, found[0].bottom) == ("b/net/A", "b/net/B")
