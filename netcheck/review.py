"""The review of one assembly, as one readable use case, and what comes out of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from netcheck.circuit.model import Circuit
from netcheck.circuit.understanding import Understanding
from netcheck.gates import Gate
from netcheck.physics.mating import Mating
from netcheck.rulebook.verdicts import Verdict


@dataclass(frozen=True, slots=True)
class Source:
    """A source of a rule: its text, 'read', 'memory' or 'common practice', and the limits it is for."""

    text: str
    status: str
    limits: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RuleAccount:
    """A rule and how it came out: every rule has one, also one that met no subject.

    Attributes:
        limits: (name, value as shown, reason when the assembly adjusted it).
        caution: text that goes with every finding, or ''. supplied: False for a house rule.
        counts: by outcome. left_out: the reason why the assembly leaves the rule out, or ''.
        replaces: name of the supplied rule that a house rule stands in for, or ''.
    """

    name: str
    title: str
    why: str
    remedy: str
    consequence: str
    cure: str
    sources: tuple[Source, ...]
    limits: tuple[tuple[str, str, str], ...]
    caution: str
    file: str
    supplied: bool
    counts: Mapping[str, int]
    left_out: str = ""
    replaces: str = ""


@dataclass(frozen=True)
class Review:
    """Everything that a report shows.

    Attributes:
        name: of the assembly, or of the one board. assembly_given: False when boards stand side by side only.
        gates: for the whole, by gate name; board_gates: board name -> gate name -> Gate.
        verdicts: all of them, in the order of the rule book and of natural order of subjects.
        understandings: per board name, what it was taken for. cautions: to be shown in the head.
        versions: of the program and of the rule book's contents (a digest), for the foot of the page.
    """

    name: str
    assembly_given: bool
    circuit: Circuit
    gates: Mapping[str, Gate]
    board_gates: Mapping[str, Mapping[str, Gate]]
    verdicts: tuple[Verdict, ...]
    accounts: tuple[RuleAccount, ...]
    understandings: Mapping[str, Understanding]
    matings: tuple[Mating, ...] = ()
    cautions: tuple[str, ...] = ()
    versions: Mapping[str, str] = field(default_factory=dict)
