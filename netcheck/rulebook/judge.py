"""Apply a rule to its subjects: `judge(rule, facts)` yields one verdict a subject."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from netcheck.circuit.model import Part
from netcheck.circuit.shapeparts import BlindSpot, Match
from netcheck.ground.names import spoken_list
from netcheck.ground.units import Quantity
from netcheck.language.expression import Expression
from netcheck.language.logic import conjunction, disjunction
from netcheck.language.scope import Scope, TooManySteps, Trace
from netcheck.language.sentences import shown
from netcheck.language.types import Number
from netcheck.language.values import Lot, Unknown, Words, reasons_of, unite
from netcheck.physics.conductors import GroundLoop
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.identity import identity, keys_of
from netcheck.rulebook.nouns_assembly import Whole
from netcheck.rulebook.rule import Requirement, Rule
from netcheck.rulebook.subjects import Bound, subjects
from netcheck.rulebook.verdicts import CONSEQUENCES, Failure, Verdict
from netcheck.rulebook.vocabulary import members, name_of, named_groups

TOO_LONG = "took too many steps"


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict with what only `prove` wants to know.

    Attributes:
        places: names of the subject's members, as `at:` of a sample lists them, made when they are asked for.
        failed, open: positions of requirements that failed or could not be decided. rows: table rows reached.
    """

    verdict: Verdict
    place: Callable[[], tuple[str, ...]]
    failed: tuple[int, ...] = ()
    open: tuple[int, ...] = ()
    rows: frozenset[tuple[str, int]] = frozenset()

    @property
    def places(self) -> tuple[str, ...]:
        """Names of the subject's members."""
        return self.place()


def judge(rule: Rule, facts: Facts, limits: Mapping[str, Quantity] | None = None) -> Iterator[Verdict]:
    """One verdict for each subject of a rule, then one for each blind spot of its shapes.

    Args:
        limits: those of the rule's limits that the assembly adjusts.
    """
    for judged in judge_closely(rule, facts, limits):
        yield judged.verdict


def judge_closely(rule: Rule, facts: Facts, limits: Mapping[str, Quantity] | None = None) -> Iterator[Judged]:
    """As `judge`, with what `prove` wants to know."""
    fixed = _fixed_names(rule, facts, limits or {})
    let: dict[str, Run] | None = None
    seen: set[str] = set()
    try:
        for bound in subjects(rule, facts, fixed):
            let = _let(rule) if let is None else let
            judged = _judge_one(rule, facts, Scope(facts, {**fixed, **_bound_names(rule, bound)}, let), bound)
            if judged is not None and judged.verdict.identity not in seen:
                seen.add(judged.verdict.identity)
                yield judged
    except TooManySteps:
        yield _undecided_whole(rule, facts)
    for spot in _blind_spots(rule, facts):
        yield _undecided_blind(rule, facts, spot)


Run = Callable[[Scope], object]


def _let(rule: Rule) -> dict[str, Run]:
    """How the names of `let` are evaluated: those that no subject changes once for all subjects."""
    changing = {name for subject in rule.subjects for name in (subject.name, *subject.spread)}
    found: dict[str, Run] = {}
    while True:  # until no further name turns out to hang on one that changes
        more = {name for name, let in rule.let.items() if let.names & changing or _asks_a_table(rule, let)} - changing
        if not more:
            break
        changing |= more
    for name, let in rule.let.items():
        found[name] = let.run if name in changing else _once(let.run)
    return found


def _asks_a_table(rule: Rule, expression: Expression) -> bool:
    """Whether a table is used, whose rows may speak of any name."""
    return any(f"{table}(" in expression.source for table in rule.tables)


def _once(run: Run) -> Run:
    """Evaluates when first asked, then gives the same, with the same evidence, for no work."""
    kept: list[tuple[object, Trace]] = []

    def again(scope: Scope) -> object:
        if not kept:
            kept.append(scope.apart(run))
        value, trace = kept[0]
        scope.trace.recall(trace)
        return value

    return again


def _bound_names(rule: Rule, bound: Bound) -> dict[str, object]:
    """The names of `for each`; of a shape alone, its own names too."""
    names = dict(bound.names)
    for subject in rule.subjects:
        if not subject.spread:
            continue
        match = names[subject.name]
        if isinstance(match, Match):
            names |= {name: match.form if name == "form" else match.names.get(name) for name in subject.spread}
    return names


def _fixed_names(rule: Rule, facts: Facts, limits: Mapping[str, Quantity]) -> dict[str, object]:
    names: dict[str, object] = {name: (limits.get(name) or own).value for name, own in rule.limits.items()}
    names |= {"grounds": Lot(facts.nets_of("ground")), "rails": Lot(facts.nets_of("rail"))}
    names |= {"boards": Lot(facts.boards), "assembly": Whole()}
    names |= {name: Words(tuple(sorted(kinds))) for name, kinds in named_groups(facts.words).items()}
    return names


def _judge_one(rule: Rule, facts: Facts, scope: Scope, bound: Bound) -> Judged | None:
    """The outcome of one subject by the table of outcomes; None when it is no subject."""
    try:
        where = _all_hold(rule.where, scope)
        if where is False:
            return None
        asides: list[object] = []
        for aside in rule.set_aside:
            asides.append(aside.when.run(scope))
            if asides[-1] is True and where is True and not bound.doubt:
                return _set_aside(rule, facts, scope, bound, aside.because.say(scope))
        spared = disjunction(asides) if asides else False
        doubt = unite(bound.doubt, reasons_of(where, spared))
        held = [requirement.that.run(scope) for requirement in rule.requirements]
        return _outcome(rule, facts, scope, bound, doubt, held)
    except TooManySteps:
        held = [Unknown((TOO_LONG,)) for _ in rule.requirements]
        return _outcome(rule, facts, Scope(facts, dict(bound.names)), bound, (TOO_LONG,), held)


def _all_hold(conditions: Sequence[Expression], scope: Scope) -> object:
    """Whether all conditions hold; the first that surely does not ends it, whatever the rest would cost."""
    unsure: list[object] = []
    for condition in conditions:
        held = condition.run(scope)
        if held is False:
            return False
        if held is not True:
            unsure.append(held)
    return conjunction(unsure) if unsure else True


def _outcome(
    rule: Rule, facts: Facts, scope: Scope, bound: Bound, doubt: tuple[str, ...], held: list[object]
) -> Judged:
    failed: tuple[int, ...] = ()
    unknown: tuple[int, ...] = ()
    if not all(held):  # an Unknown counts as true here
        failed = tuple(index for index, value in enumerate(held) if value is False)
    if Unknown in map(type, held):
        unknown = tuple(index for index, value in enumerate(held) if isinstance(value, Unknown))
    if failed and not doubt:
        failures = _failures(rule, scope, failed)
        verdict = _verdict(rule, facts, scope, bound, "finding", failures[0].consequence, failures[0].cure)
        verdict = _with(verdict, failures=failures, remedy=rule.remedy.say(scope))
    elif failed or unknown:
        at = gravest([rule.requirements[index] for index in (*failed, *unknown)])
        reasons = unite(doubt, reasons_of(*(held[index] for index in unknown)))
        verdict = _verdict(rule, facts, scope, bound, "undecided", at.consequence, at.cure)
        verdict = _with(verdict, reasons=reasons)
    else:
        verdict = _verdict(rule, facts, scope, bound, "clear", rule.consequence, rule.cure)
    return Judged(verdict, lambda: _places(facts, rule, bound), failed, unknown, frozenset(scope.trace.rows))


def gravest(requirements: list[Requirement]) -> Requirement:
    """The requirement with the gravest consequence; the first of equals."""
    return min(requirements, key=lambda requirement: CONSEQUENCES.index(requirement.consequence))


def _failures(rule: Rule, scope: Scope, failed: tuple[int, ...]) -> tuple[Failure, ...]:
    found = [
        Failure(requirement.otherwise.say(scope), requirement.consequence, requirement.cure)
        for requirement in (rule.requirements[index] for index in failed)
    ]
    return tuple(sorted(found, key=lambda failure: CONSEQUENCES.index(failure.consequence)))


def _set_aside(rule: Rule, facts: Facts, scope: Scope, bound: Bound, because: str) -> Judged:
    verdict = _verdict(rule, facts, scope, bound, "set aside", rule.consequence, rule.cure)
    verdict = _with(verdict, because=because)
    return Judged(verdict, lambda: _places(facts, rule, bound), rows=frozenset(scope.trace.rows))


def _with(verdict: Verdict, **changes: object) -> Verdict:
    from dataclasses import replace

    return replace(verdict, **changes)  # type: ignore[arg-type]


def _known_things(rule: Rule, bound: Bound) -> list[object]:
    values = dict(bound.names)
    return [values[name] for name in rule.known_by or tuple(values)]


def _places(facts: Facts, rule: Rule, bound: Bound) -> tuple[str, ...]:
    found: list[str] = []
    for thing in _known_things(rule, bound):
        if isinstance(thing, Match):
            found += [name_of(facts, member) for member in members(facts, thing)]
        elif isinstance(thing, GroundLoop):
            found += [name_of(facts, conductor) for conductor in thing.conductors]
        else:
            found.append(name_of(facts, thing))
    return tuple(dict.fromkeys(found))


def _verdict(
    rule: Rule, facts: Facts, scope: Scope, bound: Bound, outcome: str, consequence: str, cure: str
) -> Verdict:
    things = _known_things(rule, bound)
    keys = tuple(dict.fromkeys(key for thing in things for key in keys_of(facts, thing)))
    file, line = _stands_at(facts, keys)
    return Verdict(
        rule=rule.name,
        outcome=outcome,
        subject=spoken_list([name_of(facts, thing) for thing in things]),
        keys=keys,
        identity=identity(rule.name, keys),
        boards=_boards(facts, keys),
        consequence=consequence,
        cure=cure,
        notes=tuple(scope.trace.notes) if outcome == "finding" else (),
        evidence=_evidence(scope.trace, keys) if outcome != "clear" else (),
        file=file,
        line=line,
        names=_named(rule, scope) if outcome in ("finding", "undecided") else (),
    )


def _evidence(trace: Trace, keys: tuple[str, ...], most: int = 40) -> tuple[str, ...]:
    return tuple(key for key in trace.evidence if key not in keys)[:most]


def _named(rule: Rule, scope: Scope) -> tuple[tuple[str, str], ...]:
    """The numbers behind an outcome: those of the rule's own names that were used and are quantities."""
    found: list[tuple[str, str]] = []
    for name, let in rule.let.items():
        if name in scope.names and isinstance(let.type, Number):
            vocabulary = rule.remedy.vocabulary
            found.append((name.replace("_", " "), shown(scope.names[name], let.type, vocabulary, scope.facts)))
    return tuple(found)


def _boards(facts: Facts, keys: tuple[str, ...]) -> tuple[str, ...]:
    names = [board.name for board in facts.circuit.boards]
    if len(names) == 1:  # it can touch no other
        return (names[0],)
    touched = {board for key in keys for board in facts.boards_of(key)}
    found = tuple(name for name in names if name in touched)
    return found or tuple(names if len(names) == 1 else ())


def _stands_at(facts: Facts, keys: tuple[str, ...]) -> tuple[str, int]:
    circuit = facts.circuit
    for key in keys:
        part = circuit.parts.get(key)
        if part is None and (pin := circuit.pins.get(key)) is not None:
            part = circuit.parts[pin.part]
        if part is None and (amplifier := circuit.amplifiers.get(key)) is not None:
            part = circuit.parts[amplifier.part]
        if part is not None:
            return part.file, part.line
        if (net := circuit.nets.get(key)) is not None:
            board = next(board for board in circuit.boards if board.name == net.board)
            return board.netlist.file, net.line
        if (line := facts.line_of(key)) is not None and facts.assembled is not None:
            return facts.assembled.file.file, line
    first = circuit.boards[0].netlist if circuit.boards else None
    return (first.file, 0) if first else ("", 0)


# Blind spots


def _blind_spots(rule: Rule, facts: Facts) -> list[BlindSpot]:
    found: dict[str, BlindSpot] = {}
    for shape in rule.shapes:
        try:
            blind = facts.matches(shape).blind
        except TooManySteps:  # told already: the whole is undecided
            continue
        for spot in blind:
            found.setdefault(spot.part, spot)
    return list(found.values())


def _undecided_blind(rule: Rule, facts: Facts, spot: BlindSpot) -> Judged:
    part = facts.circuit.parts[spot.part]
    verdict = _plain_undecided(rule, facts, part, (spot.reason,))
    return Judged(verdict, lambda: (facts.text_of(part),))


def _plain_undecided(rule: Rule, facts: Facts, part: Part, reasons: tuple[str, ...]) -> Verdict:
    at = gravest(list(rule.requirements))
    return Verdict(
        rule=rule.name,
        outcome="undecided",
        subject=facts.text_of(part),
        keys=(part.key,),
        identity=identity(rule.name, (part.key,)),
        boards=(part.board,),
        consequence=at.consequence,
        cure=at.cure,
        reasons=reasons,
        file=part.file,
        line=part.line,
    )


def _undecided_whole(rule: Rule, facts: Facts) -> Judged:
    at = gravest(list(rule.requirements))
    boards = tuple(board.name for board in facts.circuit.boards)
    verdict = Verdict(
        rule=rule.name,
        outcome="undecided",
        subject="the whole",
        keys=boards,
        identity=identity(rule.name, boards),
        boards=boards,
        consequence=at.consequence,
        cure=at.cure,
        reasons=(TOO_LONG,),
    )
    return Judged(verdict, lambda: ("the whole",))


def conditions(rule: Rule) -> list[Expression]:
    """Every expression that decides an outcome; for `prove`."""
    return [*rule.where, *(aside.when for aside in rule.set_aside), *(r.that for r in rule.requirements)]
