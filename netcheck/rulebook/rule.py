"""Rules and shapes as they are once loaded and checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from netcheck.ground.units import Quantity
from netcheck.ground.yamltext import Node
from netcheck.language.expression import Expression, WordTable
from netcheck.language.sentences import Sentence
from netcheck.language.types import Type


@dataclass(frozen=True, slots=True)
class RuleSource:
    """Where a rule comes from: text, status ('read', 'memory', 'common practice'), the limits it is for."""

    text: str
    status: str
    limits: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Subject:
    """A name of `for each`: bound to a noun, or to an expression that gives a list.

    `spread`: names of the shape that stand for themselves, when a shape alone is named.
    """

    name: str
    type: Type
    noun: str = ""
    items: Expression | None = None
    spread: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Requirement:
    """What must hold, what is said when it does not, and what that leads to."""

    that: Expression
    otherwise: Sentence
    consequence: str
    cure: str
    line: int = 0


@dataclass(frozen=True, slots=True)
class SetAside:
    """A subject that looks like the fault and is sound."""

    when: Expression
    because: Sentence


@dataclass(frozen=True, slots=True)
class Sample:
    """A tiny circuit with the outcome that its rule must give.

    Attributes:
        expect: an outcome, or 'nothing to look at'. at: the subjects with that outcome. says: words of the sentence.
        circuits: board name -> (text, line where it begins). wiring: keys of an assembly file that join the boards.
    """

    title: str
    expect: str
    at: tuple[str, ...]
    says: str
    circuits: Mapping[str, tuple[str, int]]
    line: int = 0
    wiring: Node | None = None


@dataclass(frozen=True)
class Rule:
    """One rule, loaded and checked. See the guide for what each key means."""

    name: str
    title: str
    consequence: str
    cure: str
    why: str
    remedy: Sentence
    remedy_text: str
    sources: tuple[RuleSource, ...]
    subjects: tuple[Subject, ...]
    requirements: tuple[Requirement, ...]
    file: str
    caution: str = ""
    where: tuple[Expression, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    limits: Mapping[str, Quantity] = field(default_factory=dict)
    tables: Mapping[str, WordTable] = field(default_factory=dict)
    let: Mapping[str, Expression] = field(default_factory=dict)
    known_by: tuple[str, ...] = ()
    samples: tuple[Sample, ...] = ()
    shapes: tuple[str, ...] = ()
    instead_of: str = ""
    supplied: bool = True
    text: str = ""
