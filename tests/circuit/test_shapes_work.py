"""Shapes cost work in proportion to what might have them, and never more than a bound."""

from __future__ import annotations

import time

import pytest
from example_shapes import NON_INVERTING, Looked, output_device, output_stage
from test_shapes import AMPLIFIER, PAIR, nothing, told
from typed_circuits import circuit, with_array, with_resistors

from netcheck.circuit.shapes import Form, PartSlot, Shape, find_matches
from netcheck.circuit.walk import Walks
from netcheck.language.scope import TooManySteps


@pytest.mark.parametrize(("common", "expected"), [("GND", 1), ("-15V", 1), ("COM", 1), ("OUT", 1)])
def test_an_array_on_one_common_net_stays_one_stage_at_most(common: str, expected: int) -> None:
    made = with_array(circuit(PAIR), 400, common)
    began = time.perf_counter()
    found = Looked(made)("output-stage")
    assert time.perf_counter() - began < 3
    assert len(found.matches) == expected
    assert told(found.matches[0])["output"] == "OUT"


def test_work_is_bounded() -> None:
    walks = Walks(with_array(circuit(PAIR), 400, "COM"))
    form = Form("", tuple(PartSlot(name, frozenset({"npn"})) for name in "abc"), ties=())
    with pytest.raises(TooManySteps):
        find_matches(Shape("x", "", (form,)), walks, nothing)
    with pytest.raises(TooManySteps):
        find_matches(NON_INVERTING, Walks(circuit(AMPLIFIER.format("GND"))), nothing, most_steps=2)


@pytest.mark.bench
def test_a_board_of_twenty_thousand_parts_takes_a_moment() -> None:
    made = with_resistors(with_array(circuit(PAIR), 400, "GND"), 19_600, "GND", "+15V", "-15V", "OUT")
    looked = Looked(made)
    for kinds in ("first, with the index", "once more"):
        began = time.perf_counter()
        found = looked("output-stage")
        took = time.perf_counter() - began
        print(f"one stage among {len(made.parts)} parts, {kinds}: {took * 1e3:.0f} ms")
        assert [told(match)["output"] for match in found.matches] == ["OUT"]
        assert took < 3
        walks = looked.walks
        looked = Looked(made)
        looked.walks = walks
        looked.shapes = {shape.name: shape for shape in (output_device(walks), output_stage(walks))}
