"""Volts that the name of a net states."""

from __future__ import annotations

import pytest
from test_judge import facts_of

from netcheck.language.scope import Trace
from netcheck.rulebook.functions import FUNCTIONS
from netcheck.rulebook.functions_supply import SUPPLY_FUNCTIONS


@pytest.mark.parametrize(("name", "volts"), [("+12V", 12.0), ("-5V", -5.0), ("3V3", 3.3), ("OUT", None), ("GND", None)])
def test_a_name_states_volts_with_their_sign(book, name: str, volts: float | None) -> None:
    facts = facts_of(f"R1 1k {name} X\nR2 1k {name} X\nJ1 header 1={name} 2=X\n", book)
    assert SUPPLY_FUNCTIONS["named_volts"].call(facts, Trace(), facts.circuit.nets[f"amp/net/{name}"]) == volts


@pytest.mark.parametrize(
    ("circuit", "volts"),
    [
        ("U1 LM317 in=RAW out=VOUT adj=A\nR1 240R VOUT A\nR2 2640R A GND\n", 1.25 * (1 + 2640 / 240) + 50e-6 * 2640),
        ("U1 LM337 in=RAW out=VOUT adj=A\nR1 120R VOUT A\nR2 1320R A GND\n", -1.25 * (1 + 1320 / 120)),
    ],
    ids=["positive", "negative"],
)
def test_a_divider_makes_the_volts_that_its_name_is_held_against(book, circuit: str, volts: float) -> None:
    """VO = VREF (1 + R2/R1) + IADJ R2: TI SLVS044Y; VO = -1.25 (1 + R2/R1): Fairchild KA337/LM337."""
    facts = facts_of(circuit + "J1 header 1=VOUT 2=GND 3=RAW\n", book)
    net = facts.circuit.nets["amp/net/VOUT"]
    low, high = (FUNCTIONS[end].call(facts, Trace(), net) for end in ("volts_low", "volts_high"))
    assert low <= volts <= high
    assert FUNCTIONS["volts"].call(facts, Trace(), net) == pytest.approx(volts, rel=0.02)
