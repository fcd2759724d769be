"""Check an expression against its types, once, and make of it something that can be evaluated often."""

from __future__ import annotations

import ast
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from netcheck.ground.names import did_you_mean
from netcheck.ground.units import OHM, PLAIN
from netcheck.ground.yamltext import Text as Scalar
from netcheck.language import logic
from netcheck.language.compare import attribute_of, equality, membership
from netcheck.language.scope import Scope
from netcheck.language.syntax import Mistake, parse, source_of
from netcheck.language.types import (
    Anything,
    ListOf,
    Nothing,
    Number,
    Text,
    Thing,
    Type,
    Vocabulary,
    Word,
    YesNo,
    joined,
    word_set,
)
from netcheck.language.values import Lot, Unknown, Words, reasons_of, unite

Run = Callable[[Scope], object]
Typed = tuple[Type, Run]


Built = tuple[Type, Run, frozenset[str]]  # static type, how to evaluate it, the names it uses


@dataclass(frozen=True, eq=False)
class Expression:
    """A checked expression: its text, and what is made of it, at once or when it is first asked for."""

    source: str
    make: Callable[[], Built] = field(repr=False)

    @cached_property
    def _built(self) -> Built:
        return self.make()

    @cached_property
    def type(self) -> Type:
        """Its static type."""
        return self._built[0]

    @cached_property
    def run(self) -> Run:
        """How it is evaluated."""
        return self._built[1]

    @cached_property
    def names(self) -> frozenset[str]:
        """The names that it uses."""
        return self._built[2]

    def run_by(self, run: Run) -> Expression:
        """The same expression, evaluated in another way."""
        return Expression(self.source, lambda: (self.type, run, self.names))


@dataclass(frozen=True, slots=True)
class WordTable:
    """A table that turns facts into a word: rows of (condition or None for else, word)."""

    name: str
    parameters: tuple[str, ...]
    rows: tuple[tuple[Scalar | None, str], ...]

    @property
    def words(self) -> frozenset[str]:
        """Every word that a row gives."""
        return frozenset(word for _, word in self.rows)


@dataclass(slots=True)
class Environment:
    """What an expression may speak of.

    Attributes:
        type_of: the type of a name, or None when there is no such name (a `let` may be checked by asking).
        known: all names, for the nearest right one. tables: those that may be used, by name.
        mistakes: where mistakes are gathered.
    """

    vocabulary: Vocabulary
    type_of: Callable[[str], Type | None]
    known: Callable[[], frozenset[str]]
    tables: Mapping[str, WordTable] = field(default_factory=dict)
    mistakes: list[Mistake] = field(default_factory=list)
    used_tables: set[str] = field(default_factory=set)


def check(source: Scalar, environment: Environment, text: str | None = None, offset: int = 0) -> Expression:
    """The expression of a scalar (or of a piece of it), checked; mistakes go to the environment.

    An expression with a mistake has the type `Anything` and must not be evaluated.
    """
    shown = source.text if text is None else text
    built = _build(source, environment, shown, offset)
    return Expression(shown.strip(), lambda: built)


def check_later(source: Scalar, environment: Environment, text: str | None = None, offset: int = 0) -> Expression:
    """The same for an expression that is known to be without mistakes: its tree is built when it is first asked for."""
    shown = source.text if text is None else text
    return Expression(shown.strip(), lambda: _build(source, environment, shown, offset))


def _build(source: Scalar, environment: Environment, shown: str, offset: int) -> Built:
    tree = parse(source, shown, offset, environment.mistakes)
    if tree is None:
        return Anything(), _never, frozenset()
    builder = Builder(environment, source, offset + len(shown) - len(shown.lstrip()))
    kind, run = builder.build(tree)
    return kind, run, frozenset(builder.names)


Check = Callable[[Scalar, Environment, str | None, int], Expression]  # `check` or `check_later`


def _never(scope: Scope) -> object:
    raise AssertionError("an expression with a mistake was evaluated")


_ARITHMETIC: dict[type[ast.operator], Callable[[object, object], object]] = {
    ast.Add: logic.add,
    ast.Sub: logic.subtract,
    ast.Mult: logic.multiply,
    ast.Div: logic.divide,
    ast.Mod: logic.remainder,
    ast.Pow: logic.power,
}


class Builder:
    """Walks one tree: each method gives the type of a node and the function that evaluates it."""

    def __init__(self, environment: Environment, source: Scalar, offset: int, local: Mapping[str, Type] | None = None):
        self.environment = environment
        self.source = source
        self.offset = offset
        self.local: dict[str, Type] = dict(local or {})
        self.names: set[str] = set()

    def wrong(self, node: ast.AST, what: str) -> Typed:
        """Note a mistake at a node."""
        at = self.offset + getattr(node, "col_offset", 0)
        self.environment.mistakes.append(Mistake(self.source, at, what))
        return Anything(), _never

    def build(self, node: ast.expr) -> Typed:
        """Type and evaluation of any node."""
        method: Callable[[ast.expr], Typed] = getattr(self, f"_{type(node).__name__.lower()}", self._unexpected)
        return method(node)

    def _unexpected(self, node: ast.expr) -> Typed:
        return self.wrong(node, "this cannot stand here")

    def _constant(self, node: ast.Constant) -> Typed:
        value = node.value
        if isinstance(value, bool) or value is None:
            word = {True: "yes", False: "no", None: "nothing"}[value]
            return self.wrong(node, f"write {word} instead of {value}")
        if isinstance(value, int | float):
            if abs(value) > 1e300:
                return self.wrong(node, "this number is too large")
            number = float(value)
            return Number(PLAIN, literal=True, zero=number == 0), lambda scope: number
        if isinstance(value, str):
            return Text(value), lambda scope: value
        return self.wrong(node, "only numbers and words in single quotes are allowed here")

    def _name(self, node: ast.Name) -> Typed:
        fixed: dict[str, tuple[Type, object]] = {
            "yes": (YesNo(), True),
            "no": (YesNo(), False),
            "nothing": (Nothing(), None),
            "open": (Number(OHM), float("inf")),
        }
        if node.id in fixed:
            kind, value = fixed[node.id]
            return kind, lambda scope: value
        found = self.local.get(node.id) or self.environment.type_of(node.id)
        if found is None:
            known = {*self.environment.known(), *self.local}
            what = f"there is no name '{node.id}'{did_you_mean(node.id, known)}"
            if node.id in self.environment.vocabulary.functions:
                what = f"'{node.id}' is a function and wants its arguments in brackets"
            return self.wrong(node, what)
        self.names.add(node.id)
        name = node.id

        def named(scope: Scope) -> object:
            names = scope.names
            return names[name] if name in names else scope.value(name)

        return found, named

    def _list(self, node: ast.List) -> Typed:
        built = [self.build(element) for element in node.elts]
        item: Type = Nothing()
        for element, (kind, _) in zip(node.elts, built, strict=True):
            common = joined(item, kind)
            if common is None:
                return self.wrong(element, f"a list holds things of one sort; this is {kind}, before it stands {item}")
            item = common
        written = [element.value for element in node.elts if isinstance(element, ast.Constant)]
        if written and len(written) == len(node.elts) and all(isinstance(word, str) for word in written):
            words = Words(tuple(written))
            return ListOf(item), lambda scope: words
        runs = [run for _, run in built]
        return ListOf(item), lambda scope: Lot(tuple(run(scope) for run in runs))

    def _boolop(self, node: ast.BoolOp) -> Typed:
        runs = [self._condition(value) for value in node.values]
        decisive = isinstance(node.op, ast.Or)
        combine, otherwise = (logic.disjunction if decisive else logic.conjunction), not decisive

        def run(scope: Scope) -> object:
            scope.trace.step()
            unsure: list[object] = []
            for part in runs:
                value = part(scope)
                if value is decisive:
                    return decisive
                if value is not otherwise:
                    unsure.append(value)
            return combine(unsure) if unsure else otherwise

        return YesNo(), run

    def _condition(self, node: ast.expr) -> Run:
        kind, run = self.build(node)
        if not isinstance(kind, YesNo | Anything):
            self.wrong(node, f"yes or no is expected here; {source_of(node)} is {kind}")
        return run

    def _unaryop(self, node: ast.UnaryOp) -> Typed:
        if isinstance(node.op, ast.Not):
            inner = self._condition(node.operand)
            return YesNo(), lambda scope: logic.invert(inner(scope))
        kind, run = self.build(node.operand)
        if not isinstance(kind, Number | Anything):
            return self.wrong(node, f"a number is expected after the sign; {source_of(node.operand)} is {kind}")
        run = self._present(node.operand, run)
        return kind, (lambda scope: logic.negate(run(scope))) if isinstance(node.op, ast.USub) else run

    def _present(self, node: ast.expr, run: Run) -> Run:
        """A number made of nothing is unknown: "there is no …"."""
        missing = Unknown((f"there is no {source_of(node)}",))

        def present(scope: Scope) -> object:
            value = run(scope)
            return missing if value is None else value

        return present

    def _binop(self, node: ast.BinOp) -> Typed:
        (left, run_left), (right, run_right) = self.build(node.left), self.build(node.right)
        if isinstance(left, ListOf) and isinstance(right, ListOf) and isinstance(node.op, ast.Add):
            item = joined(left.item, right.item)
            if item is None:
                return self.wrong(node, f"lists of {left.item} and of {right.item} cannot be joined")
            return ListOf(item), lambda scope: _join_lists(run_left(scope), run_right(scope))
        if isinstance(left, Anything) or isinstance(right, Anything):
            return Anything(), _never
        for side, kind in ((node.left, left), (node.right, right)):
            if not isinstance(kind, Number):
                return self.wrong(side, f"a number is expected here; {source_of(side)} is {kind}")
        assert isinstance(left, Number) and isinstance(right, Number)
        result = self._unit_of(node, left, right)
        compute = _ARITHMETIC[type(node.op)]
        run_left, run_right = self._present(node.left, run_left), self._present(node.right, run_right)

        def run(scope: Scope) -> object:
            scope.trace.step()
            return compute(run_left(scope), run_right(scope))

        return result, run

    def _unit_of(self, node: ast.BinOp, left: Number, right: Number) -> Type:
        if isinstance(node.op, ast.Mult):
            return Number(left.unit * right.unit, left.literal and right.literal)
        if isinstance(node.op, ast.Div):
            return Number(left.unit / right.unit, left.literal and right.literal)
        if isinstance(node.op, ast.Pow):
            exponent = node.right
            if left.unit == PLAIN and right.unit == PLAIN and not isinstance(exponent, ast.Constant):
                return Number(PLAIN, left.literal and right.literal)
            if not (isinstance(exponent, ast.Constant) and isinstance(exponent.value, int | float)):
                return self.wrong(node.right, "the exponent must be a number written here")[0]
            if abs(exponent.value) > logic.MOST_EXPONENT:
                return self.wrong(node.right, f"the exponent is larger than {logic.MOST_EXPONENT}")[0]
            return Number(left.unit.to(Fraction(exponent.value).limit_denominator(64)), left.literal)
        common = self._comparable(node, node.left, left, node.right, right, "added or subtracted")
        return Number(common.unit, left.literal and right.literal) if isinstance(common, Number) else common

    def _comparable(
        self, node: ast.expr, a: ast.expr, left: Type, b: ast.expr, right: Type, verb: str = "compared"
    ) -> Type:
        """The common type of two operands, or a mistake that says why there is none."""
        if isinstance(left, Number) and isinstance(right, Number) and left.unit != right.unit:
            for side, one, other in ((a, left, right), (b, right, left)):
                if one.literal and one.unit == PLAIN and not one.zero and other.unit != PLAIN:
                    return self.wrong(side, f"{source_of(side)} has no unit: give it a name under limits")[0]
        common = joined(left, right)
        if common is None:
            what = f"{source_of(a)} is in {left}, {source_of(b)} is in {right}; they cannot be {verb}"
            if not (isinstance(left, Number) and isinstance(right, Number)):
                what = f"{source_of(a)} is {left}, {source_of(b)} is {right}; they cannot be {verb}"
            return self.wrong(node, what)[0]
        return common

    def _compare(self, node: ast.Compare) -> Typed:
        operands = [node.left, *node.comparators]
        built = [self.build(operand) for operand in operands]
        tests: list[Callable[[Scope], object]] = []
        for index, operator in enumerate(node.ops):
            pair = (operands[index], operands[index + 1])
            tests.append(self._one_comparison(node, operator, pair, built[index], built[index + 1]))

        if len(tests) == 1:  # each counts its own step
            return YesNo(), tests[0]

        def run(scope: Scope) -> object:
            return logic.conjunction([test(scope) for test in tests])

        return YesNo(), run

    def _one_comparison(
        self, node: ast.Compare, operator: ast.cmpop, pair: tuple[ast.expr, ast.expr], one: Typed, other: Typed
    ) -> Run:
        (a, b), (left, run_a), (right, run_b) = pair, one, other
        key_of = self.environment.vocabulary.key_of
        if isinstance(operator, ast.Is | ast.IsNot):
            if not isinstance(right, Nothing):
                self.wrong(b, "'is' and 'is not' are only for nothing; use == or !=")
            wanted = isinstance(operator, ast.Is)

            def absent(scope: Scope) -> object:
                scope.trace.step()
                return _is_nothing(run_a(scope), wanted)

            return absent
        if isinstance(operator, ast.In | ast.NotIn):
            self._membership(a, left, b, right)
            return membership(run_a, run_b, isinstance(operator, ast.NotIn), key_of)
        self._comparable(node, a, left, b, right)
        if isinstance(operator, ast.Eq | ast.NotEq):
            self._possible_word(a, left, b, right)
            word = b.value if isinstance(b, ast.Constant) and isinstance(b.value, str) else None
            return equality(run_a, run_b, isinstance(operator, ast.NotEq), key_of, word)
        for side, kind in ((a, left), (b, right)):
            if not isinstance(kind, Number | Anything):
                self.wrong(side, f"only numbers are larger or smaller; {source_of(side)} is {kind}")
        run_a, run_b = self._present(a, run_a), self._present(b, run_b)
        or_equal = isinstance(operator, ast.LtE | ast.GtE)
        if isinstance(operator, ast.Gt | ast.GtE):
            run_a, run_b = run_b, run_a

        def smaller(scope: Scope) -> object:
            scope.trace.step()
            return logic.less(run_a(scope), run_b(scope), or_equal)

        return smaller

    def _possible_word(self, a: ast.expr, left: Type, b: ast.expr, right: Type) -> None:
        """A comparison with a word that can never be is a slip, not a condition."""
        for side, kind, other_side, other in ((a, left, b, right), (b, right, a, left)):
            if isinstance(kind, Word) and isinstance(other, Text | Word):
                words = word_set(other)
                if words is not None and not words & kind.words:
                    said = source_of(other_side)
                    self.wrong(other_side, f"{source_of(side)} is never {said}{did_you_mean(said[1:-1], kind.words)}")
                    return

    def _membership(self, a: ast.expr, left: Type, b: ast.expr, right: Type) -> None:
        if isinstance(right, Anything) or isinstance(left, Anything):
            return
        if not isinstance(right, ListOf):
            self.wrong(b, f"'in' wants a list; {source_of(b)} is {right}")
            return
        if joined(left, right.item) is None:
            self.wrong(a, f"{source_of(a)} is {left}; the list holds {right.item}")
        elif isinstance(left, Word) and isinstance(b, ast.List):
            for element in b.elts:
                if isinstance(element, ast.Constant) and isinstance(element.value, str):
                    self._possible_word(a, left, element, Text(element.value))

    def _ifexp(self, node: ast.IfExp) -> Typed:
        test = self._condition(node.test)
        (yes, run_yes), (no, run_no) = self.build(node.body), self.build(node.orelse)
        kind = self._comparable(node, node.body, yes, node.orelse, no, "the two results of an if-else")
        key_of = self.environment.vocabulary.key_of

        def run(scope: Scope) -> object:
            decided = test(scope)
            if not isinstance(decided, Unknown):
                return run_yes(scope) if decided else run_no(scope)
            one, other = run_yes(scope), run_no(scope)
            if logic.equal(one, other, key_of) is True:
                return one
            return _either(decided, one, other)

        return kind, run

    def _attribute(self, node: ast.Attribute) -> Typed:
        kind, run = self.build(node.value)
        if isinstance(kind, Anything):
            return Anything(), _never
        base = source_of(node.value)
        if not isinstance(kind, Thing):
            hint = "; take its members one by one with 'for'" if isinstance(kind, ListOf) else ""
            return self.wrong(node, f"{base} is {kind} and has no '{node.attr}'{hint}")
        known = self.environment.vocabulary.attributes(kind)
        attribute = known.get(node.attr)
        if attribute is None:
            sort = f"{kind.noun}" if not kind.kinds else " or ".join(sorted(kind.kinds)[:3])
            return self.wrong(node, f"a {sort} has no '{node.attr}'{did_you_mean(node.attr, known)}")
        name = node.value.id if isinstance(node.value, ast.Name) and node.value.id in self.names else None
        return attribute.type, attribute_of(run, name, base, attribute.get, self.environment.vocabulary.key_of)

    def _call(self, node: ast.Call) -> Typed:
        from netcheck.language.calls import build_call

        return build_call(self, node)


def _join_lists(a: object, b: object) -> object:
    if isinstance(a, Lot) and isinstance(b, Lot):
        return Lot(a.members + b.members, a.perhaps + b.perhaps)
    return Unknown(reasons_of(a, b))


def _is_nothing(value: object, wanted: bool) -> object:
    return value if isinstance(value, Unknown) else (value is None) is wanted


def _either(why: Unknown, one: object, other: object) -> object:
    numeric = all(isinstance(v, int | float | Unknown) and not isinstance(v, bool) for v in (one, other))
    reasons = unite(why.reasons, reasons_of(one, other))
    if not numeric:
        return Unknown(reasons)
    (al, ah), (bl, bh) = logic.bounds_of(one), logic.bounds_of(other)
    low = min(al, bl) if al is not None and bl is not None else None
    high = max(ah, bh) if ah is not None and bh is not None else None
    return Unknown(reasons, low, high)
