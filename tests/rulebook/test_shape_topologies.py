"""Output stages and their look-alikes, typed in: which stages are found, and what each rule of the family says.

Half of them are sound, half have a fault; some are no output stages at all. A circuit stands once, with all that is to
be told of it, so that a change to a shape or a rule shows everywhere it matters.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import join
from netcheck.circuit.sampling import read_sample
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.judge import judge

FAMILY = "output-stage/"
# Those that go by topology; the others of the family want figures that these circuits do not state.
JUDGED = frozenset(
    f"{FAMILY}{name}" for name in (
        "bias-spread", "emitter-resistors", "emitter-resistors-alike", "feedback-outside", "gate-stoppers",
        "output-isolation", "paralleled-amplifiers-share", "paralleled-devices-share",
    )
)  # fmt: skip


@dataclass(frozen=True)
class Topology:
    """A circuit and what is to be told of it.

    Attributes:
        stage: net of the output -> reference -> form of each arm. told: rule -> subject -> outcome, clear ones left
            out. clear: rules that looked at something and found it clear.
    """

    name: str
    circuit: str
    stage: dict[str, dict[str, str]] = field(default_factory=dict)
    told: dict[str, dict[str, str]] = field(default_factory=dict)
    clear: set[str] = field(default_factory=set)


TOPOLOGIES = (
    Topology(
        "follower pair",
        """Q1 BD139 c=+15V b=B1 e=E1
Q2 BD140 c=-15V b=B2 e=E2
D1 diode B1 IN
D2 diode IN B2
R3 2k2 +15V B1
R4 2k2 B2 -15V
R1 2R2 E1 OUT
R2 2R2 E2 OUT
J1 jack T=OUT S=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "follower pair without resistors",
        """Q1 BD139 c=+15V b=B1 e=OUT
Q2 BD140 c=-15V b=B2 e=OUT
D1 diode B1 IN
D2 diode IN B2
R3 2k2 +15V B1
R4 2k2 B2 -15V
J1 jack T=OUT S=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        told={"emitter-resistors": {"Q1": "finding", "Q2": "finding"}},
        clear={"bias-spread"},
    ),
    Topology(
        "Darlington",
        """Q5 npn c=B3 b=T e=B4
R5 3k3 B3 T
R6 1k T B4
Q3 npn c=+30V b=B3 e=B1
Q4 pnp c=-30V b=B4 e=B2
R3 100R B1 B2
Q1 npn c=+30V b=B1 e=E1
Q2 pnp c=-30V b=B2 e=E2
R1 0R22 E1 OUT
R2 0R22 E2 OUT
L1 2u OUT SPK
R9 4R7 OUT SPK
J1 screw terminal 1=SPK 2=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "triple with base stoppers",
        """Q9 npn c=A1 b=T e=A2
R7 5k6 A1 T
R8 1k T A2
Q5 npn c=+40V b=A1 e=B1
Q6 pnp c=-40V b=A2 e=B2
R5 220R B1 B2
Q3 npn c=+40V b=B1 e=C1
Q4 pnp c=-40V b=B2 e=C2
R6 47R C1 C2
R11 2R2 C1 D1
R12 2R2 C2 D2
Q1 npn c=+40V b=D1 e=E1
Q2 pnp c=-40V b=D2 e=E2
R1 0R22 E1 OUT
R2 0R22 E2 OUT
K1 relay coil1=RC coil2=GND contact1=OUT contact2=SPK
J1 screw terminal 1=SPK 2=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "complementary feedback",
        """D1 diode B1 M
D2 diode M B2
Q1 npn c=C1 b=B1 e=E1
Q3 pnp e=+30V b=C1 c=E1
R3 100R C1 +30V
R1 0R22 E1 OUT
Q2 pnp c=C2 b=B2 e=E2
Q4 npn e=-30V b=C2 c=E2
R4 100R C2 -30V
R2 0R22 E2 OUT
J1 jack T=OUT S=GND""",
        stage={"OUT": {"Q3": "pnp from the supply", "Q4": "npn from the supply"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "quasi-complementary",
        """D1 diode B1 M1
D2 diode M1 M2
D3 diode M2 B2
Q1 npn c=+30V b=B1 e=D1N
R1 220R D1N OUT
Q3 npn c=+30V b=D1N e=E3
R3 0R47 E3 OUT
Q2 pnp c=D2N b=B2 e=E2
R2 27R E2 OUT
R5 220R D2N GND
Q4 npn c=OUT b=D2N e=E4
R4 0R47 E4 GND
C1 polarised 2200u plus=OUT minus=SPK
J1 jack T=SPK S=GND""",
        stage={"OUT": {"Q3": "npn follower", "Q4": "npn from the supply"}},
        clear={"bias-spread", "emitter-resistors"},
    ),
    Topology(
        "quasi-complementary without resistors",
        """D1 diode B1 M1
D2 diode M1 M2
D3 diode M2 B2
Q1 npn c=+30V b=B1 e=D1N
R1 220R D1N OUT
Q3 npn c=+30V b=D1N e=OUT
Q2 pnp c=D2N b=B2 e=E2
R2 27R E2 OUT
R5 220R D2N GND
Q4 npn c=OUT b=D2N e=GND
C1 polarised 2200u plus=OUT minus=SPK
J1 jack T=SPK S=GND""",
        stage={"OUT": {"Q3": "npn follower", "Q4": "npn from the supply"}},
        told={"emitter-resistors": {"Q3": "finding", "Q4": "finding"}},
        clear={"bias-spread"},
    ),
    Topology(
        "paralleled, each its own",
        """Q5 npn c=B1 b=T e=B2
R7 1k1 B1 T
R8 1k T B2
Q1 npn c=+30V b=B1 e=E1
Q3 npn c=+30V b=B1 e=E3
Q2 pnp c=-30V b=B2 e=E2
Q4 pnp c=-30V b=B2 e=E4
R1 0R33 E1 OUT
R3 0R33 E3 OUT
R2 0R33 E2 OUT
R4 0R33 E4 OUT
J1 screw terminal 1=OUT 2=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q3": "npn follower", "Q2": "pnp follower", "Q4": "pnp follower"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "paralleled, one resistor for two",
        """Q5 npn c=B1 b=T e=B2
R7 1k1 B1 T
R8 1k T B2
Q1 npn c=+30V b=B1 e=E1
Q3 npn c=+30V b=B1 e=E1
Q2 pnp c=-30V b=B2 e=E2
Q4 pnp c=-30V b=B2 e=E2
R1 0R33 E1 OUT
R2 0R33 E2 OUT
J1 screw terminal 1=OUT 2=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q3": "npn follower", "Q2": "pnp follower", "Q4": "pnp follower"}},
        told={"paralleled-devices-share": {"Q1 and Q3": "finding", "Q2 and Q4": "finding"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "lateral MOSFETs",
        """Q1 2SK1058 d=+50V g=G1 s=OUT
Q2 2SJ162 d=-50V g=G2 s=OUT
R3 220R B1 G1
R4 220R B2 G2
J1 screw terminal 1=OUT 2=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        told={"emitter-resistors": {"Q1": "set aside", "Q2": "set aside"}},
        clear={"gate-stoppers"},
    ),
    Topology(
        "vertical MOSFETs",
        """Q1 IRFP240 d=+50V g=G1 s=S1
Q2 IRFP9240 d=-50V g=G2 s=S2
R1 0R22 S1 OUT
R2 0R22 S2 OUT
R3 220R B1 G1
R4 220R B2 G2
J1 screw terminal 1=OUT 2=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        clear={"emitter-resistors", "emitter-resistors-alike", "gate-stoppers"},
    ),
    Topology(
        "vertical MOSFETs without resistors or stoppers",
        """Q3 npn c=+50V b=B1 e=G1
Q4 pnp c=-50V b=B2 e=G2
R3 470R G1 G2
Q1 IRFP240 d=+50V g=G1 s=OUT
Q2 IRFP9240 d=-50V g=G2 s=OUT
J1 screw terminal 1=OUT 2=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        told={
            "emitter-resistors": {"Q1": "finding", "Q2": "finding"},
            "gate-stoppers": {"Q1": "finding", "Q2": "finding"},
        },
    ),
    Topology(
        "diamond buffer",
        """Q1 pnp c=-15V b=IN e=B3
Q2 npn c=+15V b=IN e=B4
R1 4k7 +15V B3
R2 4k7 -15V B4
Q3 npn c=+15V b=B3 e=E3
Q4 pnp c=-15V b=B4 e=E4
R3 10R E3 OUT
R4 10R E4 OUT
J1 jack T=OUT S=GND""",
        stage={"OUT": {"Q3": "npn follower", "Q4": "pnp follower"}},
        clear={"emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "driver pair with one resistor",
        """D1 diode A1 M1
D2 diode M1 M2
D3 diode M2 M3
D4 diode M3 A2
Q1 npn c=+15V b=A1 e=E1
Q2 pnp c=-15V b=A2 e=E2
R1 100R E1 E2
Q3 npn c=+15V b=E1 e=F1
Q4 pnp c=-15V b=E2 e=F2
R3 0R22 F1 OUT
R4 0R22 F2 OUT
J1 jack T=OUT S=GND""",
        stage={"OUT": {"Q3": "npn follower", "Q4": "pnp follower"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "current limiter on the output net",
        """D1 diode B1 M
D2 diode M B2
Q1 npn c=+30V b=B1 e=E1
Q2 pnp c=-30V b=B2 e=E2
R1 0R47 E1 OUT
R2 0R47 E2 OUT
Q5 npn c=B1 b=L1 e=OUT
Q6 pnp c=B2 b=L2 e=OUT
R5 220R E1 L1
R6 220R E2 L2
J1 jack T=OUT S=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "current limiter straight on the emitters",
        """D1 diode A1 M1
D2 diode M1 M2
D3 diode M2 M3
D4 diode M3 A2
Q3 npn c=+30V b=A1 e=B1
Q4 pnp c=-30V b=A2 e=B2
R3 220R B1 OUT
R4 220R B2 OUT
Q1 npn c=+30V b=B1 e=E1
Q2 pnp c=-30V b=B2 e=E2
R1 0R47 E1 OUT
R2 0R47 E2 OUT
Q5 npn c=A1 b=E1 e=OUT
Q6 pnp c=A2 b=E2 e=OUT
J1 jack T=OUT S=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "totem pole that drives a gate",
        """R3 100R LOGIC B
Q1 npn c=+15V b=B e=T
Q2 pnp c=GND b=B e=T
R1 10R T G
Q3 nmos d=DRAIN g=G s=GND
J1 header 1=DRAIN 2=LOGIC""",
    ),
    Topology(
        "totem pole that drives a relay",
        """Q1 npn c=+15V b=B e=T
Q2 pnp c=GND b=B e=T
R3 1k LOGIC B
K1 relay coil1=T coil2=GND contact1=A contact2=C
J1 header 1=A 2=C 3=LOGIC""",
    ),
    Topology(
        "discrete op-amp",
        """Q1 npn c=D1N b=PLUS e=TAIL
Q2 npn c=D2N b=MINUS e=TAIL
R1 10k TAIL -15V
R2 2k2 +15V D1N
R3 2k2 +15V D2N
Q3 pnp e=+15V b=D2N c=B1
D1 diode B1 M
D2 diode M B2
R4 10k B2 -15V
Q4 BC547 c=+15V b=B1 e=E1
Q5 BC557 c=-15V b=B2 e=E2
R5 47R E1 OUT
R6 47R E2 OUT
J1 header 1=PLUS 2=MINUS 3=OUT 4=GND""",
        stage={"OUT": {"Q4": "npn follower", "Q5": "pnp follower"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "gain stage with a current source as load",
        """Q1 npn c=OUT b=IN e=E1
R1 100R E1 GND
Q2 pnp c=OUT b=REF e=E2
R2 68R E2 +15V
D1 led +15V REF
R3 10k REF GND
C1 10u OUT SOCKET
J1 jack T=SOCKET S=GND""",
    ),
    Topology(
        "class A follower on a current source",
        """Q1 npn c=+15V b=IN e=OUT
Q2 npn c=OUT b=REF e=E2
R2 10R E2 -15V
D1 led REF -15V
R3 4k7 +15V REF
J1 jack T=OUT S=GND""",
    ),
    Topology(
        "follower pair drawn with emitter and collector exchanged",
        """D1 diode B1 M
D2 diode M B2
Q1 npn e=+15V b=B1 c=E1
Q2 pnp e=-15V b=B2 c=E2
R1 1R E1 OUT
R2 1R E2 OUT
J1 jack T=OUT S=GND""",
        stage={"OUT": {"Q1": "npn drawn backwards", "Q2": "pnp drawn backwards"}},
        clear={"bias-spread", "emitter-resistors"},
    ),
    Topology(
        "pair inside a loop with a resistor from op-amp to load",
        """U1 NE5532 1=B 2=FB 3=IN 4=-15V 5=GND 6=X 7=X 8=+15V
R5 470R B OUT
Q1 BD139 c=+15V b=B e=OUT
Q2 BD140 c=-15V b=B e=OUT
R1 10k OUT FB
R2 1k FB GND
J1 jack T=OUT S=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        told={"bias-spread": {"Q1 and Q2": "set aside"}, "emitter-resistors": {"Q1": "set aside", "Q2": "set aside"}},
        clear={"feedback-outside", "output-isolation"},
    ),
    Topology(
        "buffer circuit in a loop",
        """U1 NE5532 1=B 2=FB 3=IN 4=-15V 5=GND 6=X 7=X 8=+15V
U2 buffer in=B out=OUT v+=+15V v-=-15V
R1 10k OUT FB
R2 1k FB GND
J1 jack T=OUT S=GND""",
    ),
    Topology(
        "op-amp whose pair stands outside the loop",
        """U1 NE5532 1=O 2=FB 3=IN 4=-15V 5=GND 6=X 7=X 8=+15V
R1 10k O FB
R2 1k FB GND
D1 diode B1 O
D2 diode O B2
R3 2k2 +15V B1
R4 2k2 B2 -15V
Q1 BD139 c=+15V b=B1 e=E1
Q2 BD140 c=-15V b=B2 e=E2
R5 2R2 E1 OUT
R6 2R2 E2 OUT
J1 jack Headphones T=OUT S=GND""",
        stage={"OUT": {"Q1": "npn follower", "Q2": "pnp follower"}},
        told={"feedback-outside": {"U1A, Q1 and Q2": "finding"}},
        clear={"bias-spread", "emitter-resistors", "emitter-resistors-alike"},
    ),
    Topology(
        "switches to either supply",
        """Q1 pmos s=+15V g=G1 d=OUT
Q2 nmos s=GND g=G2 d=OUT
J1 header 1=OUT 2=G1 3=G2""",
    ),
)


def facts_of(circuit: str, book: RuleBook) -> Facts:
    netlist, hints = read_sample(circuit, "topology", 1, "b")
    board = understand(netlist, "b", book.parts, book.words, hints)
    return Facts(join((board,)), book.words, book.parts, book.bind)


@pytest.mark.parametrize("topology", TOPOLOGIES, ids=lambda topology: topology.name.replace(" ", "-"))
def test_stages_and_verdicts(topology: Topology, book: RuleBook) -> None:
    facts = facts_of(topology.circuit, book)
    stages = facts.matches("output-stage").matches
    found = {
        facts.net_text(m.names["output"]): {a.names["device"].ref: a.form for a in m.names["arms"].members}
        for m in stages
    }
    assert found == topology.stage
    assert not any(match.unsure for match in stages)
    told: dict[str, dict[str, str]] = {}
    clear: set[str] = set()
    for rule in (rule for rule in book.rules if rule.name in JUDGED):
        for verdict in judge(rule, facts):
            name = rule.name.removeprefix(FAMILY)
            if verdict.outcome == "clear":
                clear.add(name)
            else:
                told.setdefault(name, {})[verdict.subject] = verdict.outcome
    assert told == topology.told
    assert clear == topology.clear


def test_half_of_the_topologies_are_no_fault() -> None:
    sound = [t for t in TOPOLOGIES if not any("finding" in by.values() for by in t.told.values())]
    assert len(TOPOLOGIES) >= 16
    assert len(sound) >= len(TOPOLOGIES) / 2


def test_a_value_that_cannot_be_read_never_clears_a_finding(book: RuleBook) -> None:
    for topology in TOPOLOGIES:
        for line in topology.circuit.splitlines():
            words = line.split()
            if words[0].startswith("R"):
                blanked = topology.circuit.replace(line, " ".join([words[0], "TBD", *words[2:]]))
                facts = facts_of(blanked, book)
                for rule in (rule for rule in book.rules if rule.name in JUDGED):
                    before = topology.told.get(rule.name.removeprefix(FAMILY), {})
                    after = {verdict.subject: verdict.outcome for verdict in judge(rule, facts)}
                    lost = [s for s, outcome in before.items() if outcome == "finding" and after.get(s) == "clear"]
                    assert not lost, (topology.name, line, rule.name, lost)
