"""Facts on supplies that rules ask for: known supply pins, rails that feed rails, ends of volts."""

from __future__ import annotations

from test_judge import facts_of

from netcheck.language.values import Unknown
from netcheck.rulebook.functions import FUNCTIONS
from netcheck.rulebook.nouns import PART_ATTRIBUTES

ONE_RAIL = "U2 7815 in=+20V gnd=GND out=+15V\nF1 fuse IN +20V\nJ1 header 1=IN 2=GND\nC1 100n +15V GND\n"


def called(name: str, facts, net: str, *more: object) -> object:
    from netcheck.language.scope import Trace

    return FUNCTIONS[name].call(facts, Trace(), facts.circuit.nets[f"amp/net/{net}"], *more)


def test_the_rail_furthest_back_comes_first(book) -> None:
    found = called("fed_from", facts_of(ONE_RAIL, book), "+15V", 22.0)
    assert [net.name for net in found.members] == ["+20V", "IN", "+15V"]


def test_volts_carry_the_tolerance_of_the_regulator(book) -> None:
    facts = facts_of(ONE_RAIL, book)
    low, high = called("volts_low", facts, "+15V"), called("volts_high", facts, "+15V")
    assert low < 15.0 < high
    assert called("volts_high", facts, "+20V") == 20.0


def test_volts_that_are_not_known_keep_their_reason(book) -> None:
    facts = facts_of("J1 header 1=VCC 2=GND\nU1 NE5532 4=GND 8=VCC 1=A 2=A 3=GND\n", book)
    found = called("volts_high", facts, "VCC")
    assert isinstance(found, Unknown) and found.reasons == ("the volts of VCC are not known",)


def test_supply_pins_that_go_by_another_name_are_not_known(book) -> None:
    known = PART_ATTRIBUTES["supplies_known"].get
    facts = facts_of("U1 opamp out=O minus=M plus=P terminal=+5V\nU2 opamp out=P minus=M plus=O\n", book)
    parts = facts.circuit.parts
    found = known(facts, parts["amp/U1"])
    assert isinstance(found, Unknown) and found.reasons == ("which pins of U1 are its supply pins is not known",)
    assert known(facts, parts["amp/U2"]) is True
