"""Functions of numbers that are not certain: bounds go through them; those of other arguments do not."""

from __future__ import annotations

import math

import pytest

from netcheck.language.scope import Trace
from netcheck.language.values import Unknown
from netcheck.rulebook.functions import FUNCTIONS

WHY = ("the volts lie between two ends",)


def bounds(name: str, low: float | None, high: float | None) -> tuple[float | None, float | None]:
    found = FUNCTIONS[name].call(None, Trace(), Unknown(WHY, low, high))
    assert isinstance(found, Unknown) and found.reasons == WHY
    return found.low, found.high


@pytest.mark.parametrize(
    ("ends", "wanted"),
    [
        ((-3.0, -1.0), (1.0, 3.0)), ((1.0, 3.0), (1.0, 3.0)), ((-1.0, 3.0), (0.0, 3.0)), ((-5.0, 3.0), (0.0, 5.0)),
        ((None, -2.0), (2.0, None)), ((2.0, None), (2.0, None)), ((None, 2.0), (0.0, None)),
        ((None, None), (0.0, None)),
    ],
)  # fmt: skip
def test_the_size_of_a_number_that_is_not_certain(
    ends: tuple[float | None, float | None], wanted: tuple[float | None, float | None]
) -> None:
    assert bounds("abs", *ends) == wanted


def test_a_root_and_a_logarithm_rise_with_their_number() -> None:
    assert bounds("sqrt", 4.0, 9.0) == (2.0, 3.0)
    assert bounds("ln", 1.0, None) == (0.0, None)
    assert bounds("exp", None, 0.0) == (None, 1.0)
    low, high = bounds("sqrt", -1.0, math.inf)
    assert low is None and high == math.inf
