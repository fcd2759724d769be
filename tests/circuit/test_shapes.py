"""What is taken for an output stage or an amplifier, and what is not, on circuits that people draw."""

from __future__ import annotations

import random

import networkx as nx
import pytest
from example_shapes import REVERSED_FORMS, SOFT, SOUND_FORMS, Looked
from networkx.algorithms.isomorphism import GraphMatcher
from test_walk import shuffled
from typed_circuits import circuit

from netcheck.circuit.model import Amplifier, Circuit, Net, Part
from netcheck.circuit.shapes import Form, Found, Match, PartSlot, Shape, Tie, find_matches
from netcheck.circuit.walk import Walks
from netcheck.language.values import Lot, Unknown

PAIR = """
    Q1 npn c=+15V b=B1 e=E1
    Q2 pnp c=-15V b=B2 e=E2
    R1 1R E1 OUT
    R2 1R E2 OUT
    J1 jack T=OUT S=GND
"""


def told(match: Match) -> dict[str, object]:
    """A match as names of parts and nets."""

    def short(value: object) -> object:
        if isinstance(value, Part):
            return value.ref
        if isinstance(value, Amplifier):
            return value.key.rpartition("/")[2]
        if isinstance(value, Net):
            return value.name
        if isinstance(value, Lot):
            return [short(member) for member in value.members]
        if isinstance(value, Match):
            return short(value.names["device"])
        return value

    return {name: short(value) for name, value in match.names.items()}


def stages(text: str, forms: tuple[Form, ...] = SOUND_FORMS) -> list[tuple[object, object, object]]:
    """Output, sources and sinks of every output stage in a circuit."""
    found = Looked(circuit(text), forms)("output-stage")
    assert not any(match.unsure for match in found.matches)
    return [tuple(told(match)[name] for name in ("output", "sources", "sinks")) for match in found.matches]  # type: ignore[misc]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        pytest.param(PAIR, [("OUT", ["Q1"], ["Q2"])], id="follower pair"),
        pytest.param(
            "Q1 npn c=+15V b=B1 e=OUT\nQ2 pnp c=-15V b=B2 e=OUT\nR3 47R OUT TIP\nJ1 jack T=TIP S=GND",
            [("OUT", ["Q1"], ["Q2"])],
            id="emitters joined",
        ),
        pytest.param(
            "Q1 npn c=+15V b=B1 e=E1\nQ2 pnp c=-15V b=B2 e=OUT\nR1 1R E1 OUT\nR3 47R OUT TIP\nJ1 jack T=TIP S=GND",
            [("OUT", ["Q1"], ["Q2"])],
            id="only the lower one lacks its resistor",
        ),
        pytest.param(PAIR.replace("R1 1R", "R1 TBD"), [("OUT", ["Q1"], ["Q2"])], id="a value that cannot be read"),
        pytest.param(PAIR.replace("1R", "220R"), [("OUT", ["Q1"], ["Q2"])], id="a slip of the decimal mark"),
        pytest.param(
            """
            Q1 npn c=+15V b=B1 e=D1
            Q2 pnp c=-15V b=B2 e=D2
            R9 220R D1 D2
            Q3 npn c=+15V b=D1 e=E3
            Q4 pnp c=-15V b=D2 e=E4
            R3 0R22 E3 OUT
            R4 0R22 E4 OUT
            J1 jack T=OUT S=GND
            """,
            [("OUT", ["Q3"], ["Q4"])],
            id="Darlington, drivers with one resistor between their emitters",
        ),
        pytest.param(
            """
            Q1 npn c=+30V b=B1 e=D1
            Q2 pnp c=-30V b=B2 e=D2
            R8 1k D1 D2
            Q3 npn c=+30V b=D1 e=D3
            Q4 pnp c=-30V b=D2 e=D4
            R9 100R D3 D4
            Q5 npn c=+30V b=D3 e=E5
            Q6 pnp c=-30V b=D4 e=E6
            Q7 npn c=+30V b=D3 e=E7
            Q8 pnp c=-30V b=D4 e=E8
            R5 0R22 E5 OUT
            R6 0R22 E6 OUT
            R7 0R22 E7 OUT
            R10 0R22 E8 OUT
            J1 jack T=OUT S=GND
            """,
            [("OUT", ["Q5", "Q7"], ["Q6", "Q8"])],
            id="triple with two in parallel",
        ),
        pytest.param(
            """
            Q1 npn c=C1 b=B1 e=E1
            Q3 pnp e=+30V b=C1 c=E1
            R3 100R C1 +30V
            R1 0R22 E1 OUT
            Q2 pnp c=C2 b=B2 e=E2
            Q4 npn e=-30V b=C2 c=E2
            R4 100R C2 -30V
            R2 0R22 E2 OUT
            J1 jack T=OUT S=GND
            """,
            [("OUT", ["Q3"], ["Q4"])],
            id="complementary feedback",
        ),
        pytest.param(
            """
            Q1 npn c=C1 b=B1 e=OUT
            Q3 pnp e=+30V b=C1 c=OUT
            R3 100R C1 +30V
            Q2 pnp c=C2 b=B2 e=OUT
            Q4 npn e=-30V b=C2 c=OUT
            R4 100R C2 -30V
            J1 jack T=OUT S=GND
            """,
            [("OUT", ["Q3"], ["Q4"])],
            id="complementary feedback joined at the output",
        ),
        pytest.param(
            """
            Q1 npn c=+30V b=B1 e=D1
            R1 220R D1 OUT
            Q3 npn c=+30V b=D1 e=E3
            R3 0R47 E3 OUT
            Q2 pnp c=D2 b=B2 e=E2
            R2 27R E2 OUT
            R5 220R D2 GND
            Q4 npn c=OUT b=D2 e=E4
            R4 0R47 E4 GND
            C1 polarised 2200u plus=OUT minus=SPK
            J1 jack T=SPK S=GND
            """,
            [("OUT", ["Q3"], ["Q4"])],
            id="quasi-complementary on one supply",
        ),
        pytest.param(
            """
            Q1 npn c=+15V b=B1 e=E1
            Q2 pnp c=-15V b=B2 e=E2
            Q3 npn c=+15V b=B1 e=OUT
            Q4 pnp c=-15V b=B2 e=E4
            R1 1R E1 OUT
            R2 1R E2 OUT
            R4 1R E4 OUT
            J1 jack T=OUT S=GND
            """,
            [("OUT", ["Q1", "Q3"], ["Q2", "Q4"])],
            id="two in parallel, one lacks its resistor",
        ),
        pytest.param(
            """
            Q1 nmos d=+15V g=B1 s=E1
            Q2 pmos d=-15V g=B2 s=E2
            R1 0R22 E1 OUT
            R2 0R22 E2 OUT
            J1 jack T=OUT S=GND
            """,
            [("OUT", ["Q1"], ["Q2"])],
            id="MOSFET followers",
        ),
        pytest.param(
            """
            Q1 pnp c=-15V b=IN e=A
            Q2 npn c=+15V b=IN e=B
            R1 2k A +15V
            R2 2k B -15V
            Q3 npn c=+15V b=A e=E3
            Q4 pnp c=-15V b=B e=E4
            R3 10R E3 OUT
            R4 10R E4 OUT
            J1 jack T=OUT S=GND
            """,
            [("OUT", ["Q3"], ["Q4"])],
            id="diamond buffer",
        ),
        pytest.param(
            """
            Q1 npn c=+15V b=B1 e=E1
            Q2 pnp c=-15V b=B2 e=E2
            R1 1R E1 OUT
            R2 1R E2 OUT
            Q5 npn c=B1 b=L1 e=OUT
            Q6 pnp c=B2 b=L2 e=OUT
            R5 220R E1 L1
            R6 220R E2 L2
            R7 2k B1 +15V
            R8 2k B2 -15V
            J1 jack T=OUT S=GND
            """,
            [("OUT", ["Q1"], ["Q2"])],
            id="current limiters with both emitters on the output",
        ),
        pytest.param(
            """
            Q1 npn c=VC b=B1 e=E1
            R1 130R VC +15V
            D1 diode E1 OUT
            Q2 npn c=OUT b=B2 e=GND
            J1 header 1=OUT 2=GND
            """,
            [],
            id="totem pole with its diode",
        ),
        pytest.param(PAIR.replace("J1 jack T=OUT S=GND", "R9 10k OUT GND"), [], id="no load"),
        pytest.param(
            "Q1 npn c=+15V b=B1 e=E1\nQ2 pnp c=-15V b=B2 e=E2\nR1 100R E1 E2\nJ1 jack T=E1 S=GND\nQ3 npn b=E2 c=X e=Y",
            [],
            id="a driver pair with one resistor is no stage of its own",
        ),
        pytest.param(PAIR + PAIR.replace("Q", "Q2").replace("R1 ", "R21 ").replace("R2 ", "R22 ").replace("J1", "J2")
                     .replace("E1", "E21").replace("E2 ", "E22 ").replace("E2\n", "E22\n").replace("OUT", "OUT2"),
                     [("OUT", ["Q1"], ["Q2"]), ("OUT2", ["Q21"], ["Q22"])], id="two channels"),
    ],
)  # fmt: skip
def test_output_stages(text: str, expected: list[object]) -> None:
    assert stages(text) == expected


def test_a_transistor_the_wrong_way_round_stays_in_the_stage_if_the_shape_has_a_form_for_it() -> None:
    exchanged = PAIR.replace("c=+15V b=B1 e=E1", "e=+15V b=B1 c=E1").replace("c=-15V b=B2 e=E2", "e=-15V b=B2 c=E2")
    assert stages(exchanged) == []
    assert stages(exchanged, SOUND_FORMS + REVERSED_FORMS) == [("OUT", ["Q1"], ["Q2"])]
    assert stages(PAIR, SOUND_FORMS + REVERSED_FORMS) == [("OUT", ["Q1"], ["Q2"])]


def test_what_a_stage_offers_and_is_known_by() -> None:
    (stage,) = Looked(circuit(PAIR))("output-stage").matches
    arms = stage.names["arms"]
    assert isinstance(arms, Lot)
    feeds = [(arm.names["feed"].key, arm.form, arm.names["sends"]) for arm in arms.members]  # type: ignore[attr-defined]
    assert feeds == [("b/Q1.E", "npn follower", "out"), ("b/Q2.E", "pnp follower", "back")]
    assert stage.key == "b/Q1 + b/Q2"
    assert stage.shape_known_by == ("sources", "sinks")
    assert [part.ref for part in stage.passed] == ["R1", "R2"]
    assert [thing.key for thing in stage.things] == ["b/Q1", "b/Q2"]


def test_a_device_by_itself_is_looked_at_from_its_own_pin() -> None:
    found = Looked(circuit(PAIR))("output-device")
    assert [(told(match)["device"], told(match)["output"]) for match in found.matches] == [("Q1", "E1"), ("Q2", "E2")]
    assert {(told(match)["device"], told(match)["output"]) for match in found.ways} >= {("Q1", "OUT"), ("Q2", "OUT")}


def test_a_part_that_is_not_fitted_has_no_place_and_passes_nothing() -> None:
    assert stages(PAIR.replace("Q1 npn", "Q1 not fitted npn")) == []
    assert stages(PAIR.replace("R1 1R", "R1 not fitted 1R")) == []


def test_a_rail_of_unknown_sign_makes_the_match_unsure() -> None:
    text = PAIR.replace("+15V", "VCC") + "\nnet VCC rail"
    (stage,) = Looked(circuit(text))("output-stage").matches
    assert stage.unsure == ("whether VCC is a positive or a negative rail is not known",)
    sources = stage.names["sources"]
    assert isinstance(sources, Lot) and not sources.members
    assert [told(one.member)["device"] for one in sources.perhaps if isinstance(one.member, Match)] == ["Q1"]
    sure = PAIR.replace("+15V", "VCC") + "Q3 npn c=+15V b=B1 e=OUT\nnet VCC rail"
    (stage,) = Looked(circuit(sure))("output-stage").matches
    assert not stage.unsure
    sources = stage.names["sources"]
    assert isinstance(sources, Lot)
    assert len(sources.members) == len(sources.perhaps) == 1


def test_a_condition_that_is_unknown_counts_as_yes_and_makes_unsure() -> None:
    text = PAIR.replace("J1 jack T=OUT", "SW1 switch OUT TIP\nJ1 jack T=TIP")
    found = Looked(circuit(text))
    doubtful = find_matches(replace_where(found, "the position of SW1 is not given"), found.walks, found)
    assert [match.unsure for match in doubtful.matches] == [("the position of SW1 is not given",)]


def replace_where(found: Looked, reason: str) -> Shape:
    shape = found.shapes["output-stage"]
    conditions = (lambda names: Unknown((reason,)) if names["output"].name == "OUT" else False,)  # type: ignore[attr-defined]
    return Shape(
        shape.name, shape.title, shape.forms, shape.passes, conditions, shape.one_per, shape.takes, shape.known_by
    )


def test_pins_that_are_not_known_are_a_blind_spot() -> None:
    found = Looked(circuit(PAIR + "Q9 npn 1=+15V 2=B1 3=OUT\nQ8 not fitted npn 1=A 2=B 3=C"))
    reason = "the pins of Q9 are not known: which is its collector?"
    for shape in ("output-device", "output-stage"):
        assert [(spot.part, spot.reason) for spot in found(shape).blind] == [("b/Q9", reason)]
    resistors = "\nR1 10k X Y\nR2 10k Y Z"
    amplifiers = Looked(circuit("U1 opamp PA1=A PA2=B" + resistors))("non-inverting-amplifier")
    assert [(spot.part, spot.role) for spot in amplifiers.blind] == [("b/U1", "output")]
    assert not Looked(circuit("U1 opamp 1=A 2=B 3=C" + resistors))("non-inverting-amplifier").blind
    bridged = circuit("U1 power amplifier plus=A minus=B v+=+15V gnd=GND 9=X 10=Y" + resistors)
    assert not Looked(bridged)("non-inverting-amplifier").blind


def test_a_part_alone_whose_pins_are_not_known_can_be_no_stage() -> None:
    alone = Looked(circuit("Q9 npn 1=+15V 2=B1 3=OUT"))
    assert [spot.part for spot in alone("output-device").blind] == ["b/Q9"]
    assert not alone("output-stage").blind
    assert not Looked(circuit("U1 opamp PA1=A PA2=B"))("non-inverting-amplifier").blind


# The example amplifiers

AMPLIFIER = "U1 opamp 1=OUT 2=TAP 3=IN 4=-15V 5=GND 6=O2 7=O2 8=+15V\nR1 10k OUT TAP\nR2 1k TAP {}\n"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (AMPLIFIER.format("GND"), [("U1:A", "R1", "R2", "GND", "GND")]),
        (AMPLIFIER.format("X") + "C1 100u X GND", [("U1:A", "R1", "R2", "X", "GND")]),
        (AMPLIFIER.format("X") + "R3 1k X GND", []),
        (AMPLIFIER.format("X") + "C1 10u X Y\nC2 10u Y GND", []),
        (AMPLIFIER.format("GND") + "R9 10k TAP OUT", [("U1:A", "R1", "R2", "GND", "GND")]),
        (AMPLIFIER.format("GND") + "R9 10k TAP +15V\nR10 1k GND X", [("U1:A", "R1", "R2", "GND", "GND")]),
    ],
)
def test_non_inverting_amplifiers(text: str, expected: list[object]) -> None:
    matches = Looked(circuit(text))("non-inverting-amplifier").matches
    names = ("amp", "upper", "lower", "foot", "reference")
    assert [tuple(told(match)[name] for name in names) for match in matches] == expected
    assert not any(match.unsure for match in matches)


def test_equally_good_ways_are_told_with_both_nets() -> None:
    text = AMPLIFIER.format("GNDA").replace("5=GND", "5=IN") + "R3 1k TAP GNDD\nR4 1k GNDA GNDD"
    (match,) = Looked(circuit(text))("non-inverting-amplifier").matches
    assert match.unsure == (
        "whether the foot of R1, R2, U1A is GNDA or GNDD cannot be told",
        "whether the reference of R1, R2, U1A is GNDA or GNDD cannot be told",
    )


def test_exchanged_places_are_no_ambiguity() -> None:
    emitters = Form(
        "",
        (PartSlot("left", frozenset({"npn"})), PartSlot("right", frozenset({"npn"}))),
        ties=(
            Tie("=", ("tail",), "left", "emitter"),
            Tie("=", ("tail",), "right", "emitter"),
            Tie("=", ("one",), "left", "collector"),
            Tie("=", ("two",), "right", "collector"),
        ),
    )
    walks = Walks(circuit("Q1 npn c=A b=B e=T\nQ2 npn c=C b=D e=T\nR1 1k A X\nR2 1k C X"))
    (match,) = find_matches(Shape("pair", "", (emitters,)), walks, nothing).matches
    assert (told(match)["left"], told(match)["right"], match.unsure) == ("Q1", "Q2", ())


def test_a_named_part_is_not_passed_as_well() -> None:
    form = Form(
        "",
        (PartSlot("device", frozenset({"npn"})), PartSlot("own", frozenset({"resistor"}))),
        ties=(Tie("~", ("output",), "device", "emitter"), Tie("joins", ("foot", "output"), "own")),
    )
    walks = Walks(circuit("Q1 npn c=+15V b=B e=E\nR1 1R E OUT"))
    found = find_matches(Shape("x", "", (form,), SOFT), walks, nothing).ways
    assert {(told(match)["output"], told(match)["foot"]) for match in found} == {("E", "OUT")}


def test_lists_keep_nets_of_their_own() -> None:
    form = Form(
        "",
        (PartSlot("amp", frozenset({"amplifier"})), PartSlot("loads", frozenset({"resistor"}), many=True)),
        ties=(Tie("=", ("out",), "amp", "output"), Tie("joins", ("out", "far"), "loads")),
    )
    walks = Walks(circuit("U1 opamp 1=OUT 2=M 3=P\nR1 1k OUT A\nR10 1k B OUT\nR2 1k OUT A\nR3 1k A B"))
    (match,) = find_matches(Shape("x", "", (form,), one_per=("amp",)), walks, nothing).matches
    assert (told(match)["loads"], told(match)["far"]) == (["R1", "R2", "R10"], ["A", "B"])


def test_a_package_is_not_in_two_places() -> None:
    form = Form("", (PartSlot("amp", frozenset({"amplifier"})), PartSlot("chip", frozenset({"opamp"}))))
    walks = Walks(circuit("U1 opamp 1=A 2=B 3=C\nU2 opamp 1=A 2=B 3=C"))
    found = find_matches(Shape("x", "", (form,)), walks, nothing).ways
    assert {(told(match)["amp"], told(match)["chip"]) for match in found} == {("U1:A", "U2"), ("U2:A", "U1")}
    two = Form("", (PartSlot("one", frozenset({"amplifier"})), PartSlot("two", frozenset({"amplifier"}))))
    dual = Walks(circuit("U1 opamp 1=A 2=B 3=C 5=D 6=E 7=F"))
    assert len(find_matches(Shape("x", "", (two,)), dual, nothing).ways) == 2


def test_the_order_of_listing_does_not_matter() -> None:
    text = PAIR + AMPLIFIER.format("GND").replace("R1 ", "R11 ").replace("R2 ", "R12 ").replace("OUT", "O1")
    text += "Q3 npn c=+15V b=B1 e=OUT\nQ4 npn c=+15V b=B1 e=E4\nR4 1R E4 OUT\nR9 1k TAP -15V"
    made = circuit(text)
    first = Looked(made)
    for seed in range(10):
        other = Looked(shuffled(made, seed))
        for shape in first.shapes:
            mine, theirs = first(shape), other(shape)
            assert mine.matches == theirs.matches and mine.ways == theirs.ways and mine.blind == theirs.blind
            assert [told(match) for match in mine.matches] == [told(match) for match in theirs.matches]
            assert [match.unsure for match in mine.matches] == [match.unsure for match in theirs.matches]


# An oracle: subgraph isomorphism on the graph of pins


def nothing(name: str) -> Found:
    raise AssertionError(f"no shape {name} here")


CHAIN = Form(
    "",
    (
        PartSlot("device", frozenset({"npn"})),
        PartSlot("load", frozenset({"resistor"})),
        PartSlot("coupling", frozenset({"capacitor"})),
    ),
    ties=(
        Tie("=", ("out",), "device", "collector"),
        Tie("=", ("in",), "device", "base"),
        Tie("joins", ("out", "top"), "load"),
        Tie("joins", ("out", "next"), "coupling"),
    ),
)


def pin_graph(made: Circuit) -> nx.Graph:
    graph = nx.Graph()
    for part in made.parts.values():
        graph.add_node(part.key, what=part.kind)
        for one in part.pins:
            graph.add_node(one.key, what=one.role or "end")
            graph.add_node(one.net, what="net")
            graph.add_edge(part.key, one.key)
            graph.add_edge(one.key, one.net)
    return graph


def pattern_of(form: Form) -> nx.Graph:
    graph = nx.Graph()
    for slot in form.parts:
        graph.add_node(slot.name, what=next(iter(slot.kinds)))
    for at, tie in enumerate(form.ties):
        for side, net in enumerate(tie.nets):
            graph.add_node(f"pin {at} {side}", what=tie.role or "end")
            graph.add_node(net, what="net")
            graph.add_edge(tie.part, f"pin {at} {side}")
            graph.add_edge(f"pin {at} {side}", net)
    return graph


@pytest.mark.parametrize("seed", range(8))
def test_ways_are_those_of_subgraph_isomorphism(seed: int) -> None:
    order = random.Random(seed)
    lines, nets = [], [f"N{at}" for at in range(14)]
    for at in range(1, 8):
        c, b, e = order.sample(nets, 3)
        lines.append(f"Q{at} npn c={c} b={b} e={e}")
    for letter, value, count in (("R", "1k", 25), ("C", "1u", 20)):
        lines += ["{}{} {} {} {}".format(letter, at, value, *order.sample(nets, 2)) for at in range(1, count)]
    made = circuit("\n".join(lines))
    found = find_matches(Shape("chain", "", (CHAIN,)), Walks(made), nothing).ways
    places = ("device", "load", "coupling", "out", "in", "top", "next")
    mine = {tuple(getattr(match.names[name], "key", "") for name in places) for match in found}
    assert len(mine) == len(found) > 10
    matcher = GraphMatcher(pin_graph(made), pattern_of(CHAIN), node_match=lambda a, b: a["what"] == b["what"])
    oracle = set()
    for mapping in matcher.subgraph_monomorphisms_iter():
        back = {name: key for key, name in mapping.items()}
        oracle.add(tuple(back[name] for name in places))
    # An isomorphism gives different names different nets; a shape may let two names stand for one.
    assert {way for way in mine if len(set(way[3:])) == 4} == oracle
