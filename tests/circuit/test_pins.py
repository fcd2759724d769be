"""Roles and units of pins, missing units, amplifiers, symbols that are not the part."""

from __future__ import annotations

import pytest
from recognition import board_of, component, part_of

from netcheck.circuit.model import PIN_ROLES, Hints, Part
from netcheck.intake.netlist import Unit

EIGHT = "1 2 3 4 5 6 7 8"
DIP8, DIP14 = "Package_DIP:DIP-8_W7.62mm", "Package_DIP:DIP-14_W7.62mm"


def roles(part: Part) -> dict[str, str]:
    return {pin.number: pin.role + (f" {pin.unit}" if pin.unit else "") for pin in part.pins}


# OPA1612 data sheet SBOS450C section 5: 1 OUT A, 2 -IN A, 3 +IN A, 4 V-, 5 +IN B, 6 -IN B, 7 OUT B, 8 V+.
DUAL = {
    "1": "output A", "2": "minus A", "3": "plus A", "4": "supply minus",
    "5": "plus B", "6": "minus B", "7": "output B", "8": "supply plus",
}  # fmt: skip


@pytest.mark.parametrize(
    "pins", [EIGHT, "1 2=- 3=+ 4=V- 5=+ 6=- 7 8=V+", "1=OUT1 2=IN1- 3=IN1+ 4=VSS 5=IN2+ 6=IN2- 7=OUT2 8=VDD"]
)
@pytest.mark.parametrize("value", ["OPA1612", "my dual amplifier"])
def test_a_dual_opamp_by_names_or_by_the_pin_out_that_all_share(value: str, pins: str) -> None:
    assert roles(part_of(component("U1", value, "Opamp_Dual_Generic", DIP8, pins))) == DUAL


def test_a_quad_and_a_single() -> None:
    quad = roles(part_of(component("U1", "TL074", "TL074", DIP14, " ".join(str(n) for n in range(1, 15)))))
    assert (quad["4"], quad["11"], quad["8"], quad["12"]) == ("supply plus", "supply minus", "output C", "plus D")
    single = roles(part_of(component("U1", "TL071", "TL071", DIP8, "1 2=- 3=+ 4=V- 5 6 7=V+ 8=NC")))
    assert (single["6"], single["7"], single["4"]) == ("output A", "supply plus", "supply minus")


def test_a_unit_that_was_never_placed() -> None:
    nets = {"A": "U1.1 U1.2", "B": "U1.3", "+15V": "U1.8", "-15V": "U1.4"}
    board = board_of([component("U1", "NE5532", "NE5532", DIP8, EIGHT)], nets)
    part = board.parts[0]
    assert part.missing_units == ("B",)
    assert [pin.number for pin in part.pins if not pin.listed] == ["5", "6", "7"]
    first, second = board.amplifiers
    assert (first.key, first.output, first.plus, first.minus) == ("amp/U1:A", "amp/U1.1", "amp/U1.3", "amp/U1.2")
    assert (first.supply_plus, first.supply_minus, first.missing) == ("amp/U1.8", "amp/U1.4", ())
    assert (second.output, second.plus, second.minus, second.missing) == (None, None, None, ("output", "plus", "minus"))


def test_beside_an_input_called_lin_a_pin_called_l_is_a_supply() -> None:
    pins = "1=L- 2=LOUT 3=L+ 4=LIN+ 5=LIN- 6=RIN- 7=RIN+ 8=R+ 9=ROUT 10=R-"
    found = roles(part_of(component("U1", "stereo driver", "opamp", "", pins)))
    assert [found[n] for n in "1345"] == ["supply minus", "supply plus", "plus A", "minus A"]
    assert (found["8"], found["10"]) == ("supply plus", "supply minus")


def test_a_power_unit_that_was_never_placed() -> None:
    nets = {"A": "U1.1 U1.2", "B": "U1.3", "C": "U1.5", "D": "U1.6 U1.7"}
    board = board_of([component("U1", "NE5532", "NE5532", DIP8, EIGHT)], nets)
    assert board.parts[0].missing_units == ("power",)
    assert {each.missing for each in board.amplifiers} == {("supply plus", "supply minus")}


def test_units_that_the_file_lists() -> None:
    units = (Unit("A", ("11", "12", "13")), Unit("B", ("21", "22", "23")), Unit("C", ("30", "31")))
    pins = "11 12=- 13=+ 21 22=- 23=+ 30=V+ 31=V-"
    names = {"11": "OUT", "21": "OUT"}
    each = component("U1", "odd amplifier", "OPAMP_ODD", "", pins, units=units)
    nets = {f"#{number}": f"U1.{number}" for number in ("11", "12", "13", "30", "31")}
    part = board_of([each], nets, Hints(pin_roles={("U1", number): "output" for number in names})).parts[0]
    assert roles(part)["12"] == "minus A" and roles(part)["23"] == "plus B"
    assert part.missing_units == ("B",)


def test_a_negative_regulator_drawn_as_a_positive_one() -> None:
    part = part_of(component("U1", "MC7915", "LM7805_TO220", "Package_TO_SOT_THT:TO-220-3_Vertical", "1=VI 2=GND 3=VO"))
    assert part.kind == "regulator"
    assert part.record is not None and part.record.output == -15
    # Contek LM79XX data sheet: 1 GND, 2 IN, 3 OUT.
    assert roles(part) == {"1": "ground", "2": "input", "3": "output"}
    assert [pin.name for pin in part.pins] == ["VI", "GND", "VO"]
    assert "negative" in part.conflict and "pin 1" in part.conflict


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("LM7812", {"1": "input", "2": "ground", "3": "output"}),
        ("LM7915", {"1": "ground", "2": "input", "3": "output"}),
        ("LM317", {"1": "adjust", "2": "output", "3": "input"}),
        ("LM337", {"1": "adjust", "2": "input", "3": "output"}),
    ],
)
def test_regulators_in_to220_without_pin_names(value: str, expected: dict[str, str]) -> None:
    assert roles(part_of(component("U1", value, "thing", "Package_TO_SOT_THT:TO-220-3_Vertical", "1 2 3"))) == expected


def test_pins_that_are_numbered_by_letters() -> None:
    assert roles(part_of(component("Q1", "2N7002", "Q_NMOS", pins="D G S"))) == {
        "D": "drain",
        "G": "gate",
        "S": "source",
    }
    regulator = roles(part_of(component("U1", "7805", "7805", pins="VI VO GND")))
    assert regulator == {"VI": "input", "VO": "output", "GND": "ground"}


def test_a_transistor_whose_leads_nobody_names_is_a_blind_spot() -> None:
    part = part_of(component("Q1", "NPN", "NPN", pins="1 2 3"))
    assert part.kind == "npn"
    assert {pin.role for pin in part.pins} == {""}


def test_symbol_names_of_a_transistor_win_over_a_package_order() -> None:
    part = part_of(component("Q1", "2N3904", "Q_NPN_CBE", "Package_TO_SOT_THT:TO-92_Inline", "1=C 2=B 3=E"))
    assert roles(part) == {"1": "collector", "2": "base", "3": "emitter"}


@pytest.mark.parametrize(
    ("part", "pins", "expected"),
    [
        ("R_POT", "1=1 2=2 3=3", "end wiper end"),
        ("R_POT", "1 3 W", "end end wiper"),
        ("R_POT_Dual", "1 2 3 4 5 6", "end A wiper A end A end B wiper B end B"),
        ("D", "1=K 2=A", "cathode anode"),
        ("DIODE", "1=A 2=K", "anode cathode"),
        ("D_Bridge_+-AA", "1=+ 2=- 3=~ 4=~", "plus minus alternating alternating"),
        ("AudioJack3_SwitchTR", "R RN S T TN", "ring switch contact sleeve tip switch contact"),
        ("Barrel_Jack", "1 2", "tip sleeve"),
        ("PC817", "1 2 3 4", "anode cathode emitter collector"),
        ("Transformer_1P_SS", "1=AA 2=AB 3=SA 4=SC 5=SB", "winding winding winding winding winding"),
        ("Conn_01x02", "1=Pin_1 2=Pin_2", "terminal terminal"),
        ("R", "1 2", "end end"),
        ("BC846BS", "1=E1 2=B1 3=C2 4=E2 5=B2 6=C1", "emitter A base A collector B emitter B base B collector A"),
    ],
)
def test_roles_of_other_parts(part: str, pins: str, expected: str) -> None:
    assert " ".join(roles(part_of(component("X1", part, part, pins=pins))).values()) == expected


def test_hints_of_roles_win() -> None:
    part = part_of(component("Q1", "NPN", "NPN", pins="1 2 3"), Hints(pin_roles={("Q1", "1"): "emitter"}))
    assert roles(part)["1"] == "emitter"


def test_ground_or_adjust_by_the_type() -> None:
    def role(value: str) -> str:
        return roles(part_of(component("U1", value, "REG1117X", "Package_TO_SOT_SMD:SOT-223", "1=GND/ADJ 2=VO 3=VI")))[
            "1"
        ]

    assert role("AMS1117-3.3") == "ground"
    assert role("AMS1117-ADJ") == "adjust"


def test_every_role_is_a_word_of_the_model() -> None:
    parts = board_of([component("U1", "NE5532", "NE5532", DIP8, EIGHT), component("R1", "1k", "R", pins="1 2")]).parts
    assert {pin.role for part in parts for pin in part.pins} <= PIN_ROLES


def test_a_single_amplifier_in_a_symbol_of_two_is_told() -> None:
    both = "1 2=- 3=+ 4=V- 5=+ 6=- 7 8=V+"
    for symbol in ("OPA2134", "Opamp_Dual_Generic"):
        told = part_of(component("U1", "NE5534", symbol, DIP8, both))
        assert told.misdrawn.startswith("one NE5534 has 1 amplifier, its symbol has the pins of 2 (pin 6 is output")
        assert told.misdrawn in told.conflict
    assert part_of(component("U1", "NE5532", "OPA2134", DIP8, both)).misdrawn == ""
    single = part_of(component("U1", "NE5534", "NE5534", DIP8, "1 2=- 3=+ 4=V- 5 6 7=V+ 8"))
    assert single.misdrawn == "" and single.conflict == ""


def test_a_dual_amplifier_in_the_symbol_of_a_single_one_is_told() -> None:
    told = part_of(component("U1", "NE5532", "NE5534", DIP8, "1=BAL 2=- 3=+ 4=V- 5=COMP 6=OUT 7=V+ 8=BAL"))
    assert told.misdrawn.startswith("on a NE5532 pin 6 is minus, on the symbol output and pin 7 is output")
