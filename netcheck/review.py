"""The review of one assembly, as one readable use case, and what comes out of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from netcheck import __version__
from netcheck.circuit.account import account
from netcheck.circuit.model import Board, Circuit, Hints
from netcheck.circuit.understanding import Understanding
from netcheck.gates import GATES, HELD, NOT_KNOWN, RELEASED, Gate, answer
from netcheck.ground.names import did_you_mean, plain
from netcheck.ground.problems import Problem, Refused
from netcheck.ground.units import Quantity
from netcheck.intake.assembly import AssemblyFile, LimitChange, Spot, Targets
from netcheck.intake.netlist import Netlist
from netcheck.physics.behaviour import Behaviour, RatingRow
from netcheck.physics.conductors import Conductor, GroundLoop, conductors
from netcheck.physics.mating import Mating
from netcheck.rulebook.alarming import loudest, warmest
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.doing import numbers_of
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.judge import judge
from netcheck.rulebook.knowing import facts_of_assembly, facts_of_boards
from netcheck.rulebook.ratings import ratings_of
from netcheck.rulebook.rule import Rule
from netcheck.rulebook.stages import stage_rows
from netcheck.rulebook.twins import told_once
from netcheck.rulebook.verdicts import OUTCOMES, Verdict


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
        behaviour: what each board will do, by board name; empty where no numbers were asked for.
        ratings: least ratings of parts that state none; as `behaviour`.
        conductors, ground_loops: what joins grounds, and the rings that it forms.
        targets: what the team wants of the signal; None where no assembly tells.
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
    behaviour: Mapping[str, Behaviour] = field(default_factory=dict)
    ratings: tuple[RatingRow, ...] = ()
    conductors: tuple[Conductor, ...] = ()
    ground_loops: tuple[GroundLoop, ...] = ()
    targets: Targets | None = None


@dataclass(frozen=True)
class BoardPlan:
    """A board to be reviewed: its name in keys, its netlist, and what is told about it from outside."""

    name: str
    netlist: Netlist
    hints: Hints = field(default_factory=Hints)


@dataclass(frozen=True)
class Plan:
    """What is to be reviewed, by which rules.

    Attributes:
        limits: rule -> limit -> (value, reason), where the assembly adjusts one. left_out: rule -> reason.
        assembly: the file, held against its netlists already; None for boards that stand side by side.
    """

    name: str
    boards: tuple[BoardPlan, ...]
    book: RuleBook
    assembly_given: bool = False
    limits: Mapping[str, Mapping[str, tuple[Quantity, str]]] = field(default_factory=dict)
    left_out: Mapping[str, str] = field(default_factory=dict)
    assembly: AssemblyFile | None = None


def plan_of(assembly: AssemblyFile, netlists: Mapping[str, Netlist], book: RuleBook) -> Plan:
    """The plan that an assembly file makes.

    Args:
        netlists: by name of board. book: with the house rules that the file names.

    Raises:
        Refused: when it adjusts or leaves out what the rule book does not have.
    """
    problems = [*_limit_problems(assembly, book), *_rule_problems(assembly, book)]
    if problems:
        raise Refused(problems)
    limits: dict[str, dict[str, tuple[Quantity, str]]] = {}
    for change in assembly.limits:
        limits.setdefault(change.rule.text, {})[_limit_name(change)] = (change.value, change.because)
    return Plan(
        name=assembly.name,
        boards=tuple(BoardPlan(name, netlist) for name, netlist in netlists.items()),
        book=book,
        assembly_given=True,
        limits=limits,
        left_out={left.rule.text: left.because for left in assembly.left_out},
        assembly=assembly,
    )


def _limit_name(change: LimitChange) -> str:
    return change.limit.text.replace(" ", "_")


def _rule_problems(assembly: AssemblyFile, book: RuleBook) -> Iterable[Problem]:
    """Rules that the file names and that there are not."""
    named = {spot.text: spot for spot in (*(c.rule for c in assembly.limits), *(o.rule for o in assembly.left_out))}
    for text, spot in named.items():
        if book.rule(text) is None:
            what = f"there is no rule '{plain(text)}'{did_you_mean(text, [rule.name for rule in book.rules])}"
            yield _problem(assembly, spot, what)


def _limit_problems(assembly: AssemblyFile, book: RuleBook) -> Iterable[Problem]:
    """Limits that a rule does not have, or that are given in another unit."""
    for change in assembly.limits:
        rule = book.rule(change.rule.text)
        if rule is None:
            continue
        own = rule.limits.get(_limit_name(change))
        if own is None:
            names = [name.replace("_", " ") for name in rule.limits]
            what = f"{rule.name} has no limit '{plain(change.limit.text)}'{did_you_mean(change.limit.text, names)}"
            yield _problem(assembly, change.limit, what)
        elif own.unit != change.value.unit:
            what = f"{change.value} is in {change.value.unit.name}; '{change.limit.text}' is in {own.unit.name}"
            yield _problem(assembly, change.limit, what)


def _problem(assembly: AssemblyFile, spot: Spot, what: str) -> Problem:
    return Problem(assembly.file, spot.line, spot.column, what)


def review(plan: Plan, tell: Callable[[str], None] = lambda said: None, numbers: bool = False) -> Review:
    """Understand the boards, judge them by every rule, answer the two questions.

    Args:
        tell: is told what is being done, a clause each, for a progress line.
        numbers: also compute what each board will do.
    """
    tell("recognising parts, rails and stages")
    facts = facts_of(plan)
    tell("judging")
    twins = facts.assembled.twins if facts.assembled is not None else {}
    verdicts = told_once(
        (
            verdict
            for rule in plan.book.rules
            if rule.name not in plan.left_out
            for verdict in judge(rule, facts, _adjusted(plan, rule))
        ),
        twins,
    )
    names = [board.name for board in facts.circuit.boards]  # the chassis is one of them
    behaviour = {}
    if numbers:
        tell("computing what the circuit will do")
        behaviour = {name: numbers_of(facts, name) for name in names}
    return Review(
        name=plan.name,
        assembly_given=plan.assembly_given,
        circuit=facts.circuit,
        gates=_gates(verdicts),
        board_gates={name: _gates(v for v in verdicts if name in v.boards) for name in names},
        verdicts=verdicts,
        accounts=_accounts(plan, verdicts),
        understandings={board.name: understood(facts, board) for board in facts.circuit.boards},
        matings=facts.matings,
        cautions=_cautions(facts, verdicts, plan.book, behaviour),
        versions={"netcheck": __version__, "rule book": plan.book.digest[:12]},
        behaviour=behaviour,
        ratings=ratings_of(facts, behaviour.values()) if behaviour else (),
        conductors=conductors(facts.circuit, facts.extra_conductors),
        ground_loops=facts.ground_loops,
        targets=plan.assembly.targets if plan.assembly is not None else None,
    )


def facts_of(plan: Plan) -> Facts:
    """The boards of a plan, understood and joined, with their facts still to be asked for."""
    words, parts, bind = plan.book.words, plan.book.parts, plan.book.bind
    boards = {board.name: (board.netlist, board.hints) for board in plan.boards}
    if plan.assembly is not None:
        return facts_of_assembly(plan.assembly, boards, words, parts, bind)
    return facts_of_boards(boards, words, parts, bind, plan.assembly_given)


def understood(facts: Facts, board: Board) -> Understanding:
    """What a board was taken for, its stages by the shapes of the rule book."""
    return replace(account(board, facts.circuit), stages=stage_rows(facts, board.name))


def _adjusted(plan: Plan, rule: Rule) -> dict[str, Quantity]:
    return {name: value for name, (value, _) in plan.limits.get(rule.name, {}).items()}


def _gates(verdicts: Iterable[Verdict]) -> dict[str, Gate]:
    seen = tuple(verdicts)
    return {name: answer(name, seen) for name in GATES}


def _cautions(
    facts: Facts, verdicts: Sequence[Verdict], book: RuleBook, behaviour: Mapping[str, Behaviour]
) -> tuple[str, ...]:
    """Cautions for the head of the report: that on mains wherever mains appears, on heat where heatsinks are told or
    something gets hot, on hearing where it gets loud, with the loudest.
    """
    mains = bool(facts.nets_of("mains")) or any(part.kind == "inlet" for part in facts.parts)
    by_rule = {rule.name: rule.caution for rule in book.rules}
    names = ["mains"] if mains else []
    names += [by_rule[v.rule] for v in verdicts if v.outcome == "finding" and by_rule.get(v.rule)]
    warm, loud = warmest(facts, behaviour.values()), loudest(facts, behaviour.values())
    names += [name for name, why in (("heat", warm), ("hearing", loud)) if why is not None]
    more = {"heat": warm or "", "hearing": loud or ""}
    return tuple(f"{book.words.caution(name)} {more.get(name, '')}".strip() for name in dict.fromkeys(names))


def _accounts(plan: Plan, verdicts: Iterable[Verdict]) -> tuple[RuleAccount, ...]:
    counted = Counter((verdict.rule, verdict.outcome) for verdict in verdicts)
    return tuple(_account(plan, rule, counted) for rule in plan.book.rules)


def _account(plan: Plan, rule: Rule, counted: Mapping[tuple[str, str], int]) -> RuleAccount:
    adjusted = plan.limits.get(rule.name, {})
    limits = []
    for name, value in rule.limits.items():
        given, because = adjusted.get(name, (value, ""))
        limits.append((name.replace("_", " "), str(given), because))
    replaced = [name for name, file in plan.book.replaced.items() if file == rule.file]
    return RuleAccount(
        name=rule.name,
        title=rule.title,
        why=rule.why,
        remedy=rule.remedy_text,
        consequence=rule.consequence,
        cure=rule.cure,
        sources=tuple(Source(source.text, source.status, source.limits) for source in rule.sources),
        limits=tuple(limits),
        caution=plan.book.words.caution(rule.caution) if rule.caution else "",
        file=rule.file,
        supplied=rule.supplied,
        counts={outcome: counted.get((rule.name, outcome), 0) for outcome in OUTCOMES},
        left_out=plan.left_out.get(rule.name, ""),
        replaces=replaced[0] if replaced else "",
    )


def exit_code(review: Review, gate: str | None = None) -> int:
    """0 released, 1 held, 3 not enough known; of one gate, or of the worse of both."""
    states = [review.gates[name].state for name in GATES if gate in (None, name)]
    if HELD in states:
        return 1
    return 3 if NOT_KNOWN in states else 0


__all__ = [
    "RELEASED",
    "BoardPlan",
    "Plan",
    "Review",
    "RuleAccount",
    "Source",
    "exit_code",
    "facts_of",
    "numbers_of",
    "plan_of",
    "ratings_of",
    "review",
    "understood",
]
