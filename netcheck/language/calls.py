"""Calls in expressions: functions of the vocabulary, tables of the rule, and the gathering ones with `for`."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from netcheck.ground.names import did_you_mean
from netcheck.ground.units import PLAIN
from netcheck.language.expression import Builder, Environment, Run, Typed, WordTable, check
from netcheck.language.gather import DECISIVE, GATHER, Drawn, all_of, any_of, count_of, drawn_from, holds
from netcheck.language.memory import LONG, Memory
from netcheck.language.scope import MOST_ITEMS, Scope, TooManySteps
from netcheck.language.syntax import source_of
from netcheck.language.types import Anything, Function, ListOf, Nothing, Number, Thing, Type, Word, YesNo
from netcheck.language.values import Kept, Lot, Unknown, reasons_of, unite

MOST_FORS = 2


def build_call(builder: Builder, node: ast.Call) -> Typed:
    """Type and evaluation of a call."""
    if not isinstance(node.func, ast.Name):
        return builder.wrong(node, "only the listed functions can be called, by their plain name")
    name = node.func.id
    if name in GATHER:
        return _gathering(builder, node, name)
    if name == "known":
        return _known(builder, node)
    if name in builder.environment.tables:
        return _table(builder, node, builder.environment.tables[name])
    function = builder.environment.vocabulary.functions.get(name)
    if function is None:
        choices = {*GATHER, "known", *builder.environment.tables, *builder.environment.vocabulary.functions}
        return builder.wrong(node, f"'{name}' is not a function{did_you_mean(name, choices)}")
    return _function(builder, node, function)


def _known(builder: Builder, node: ast.Call) -> Typed:
    if len(node.args) != 1 or node.keywords:
        return builder.wrong(node, "known(…) takes one expression")
    _, run = builder.build(node.args[0])
    return YesNo(), lambda scope: not isinstance(run(scope), Unknown)


# Lists


def _gathering(builder: Builder, node: ast.Call, name: str) -> Typed:
    if len(node.args) != 1 or node.keywords:
        return builder.wrong(node, f"{name}(…) takes one list, or an expression with 'for'")
    argument = node.args[0]
    if isinstance(argument, ast.GeneratorExp):
        item, draw = _drawing(builder, argument, DECISIVE.get(name))
    else:
        kind, run = builder.build(argument)
        if isinstance(kind, Anything):
            return Anything(), run
        if not isinstance(kind, ListOf):
            return builder.wrong(argument, f"{name} wants a list; {source_of(argument)} is {kind}")
        if name == "count" and not isinstance(kind.item, Anything):
            return Number(PLAIN), _counted(run)
        item, draw = kind.item, _draw_all(run)
    result = _gathered_type(builder, node, name, item)
    combine, numbers = GATHER[name], name in ("total", "least", "most")

    def gathered(scope: Scope) -> object:
        items = draw(scope)
        if isinstance(items, Unknown):
            return items
        if numbers:
            items = [Drawn(_number(one.value), one.doubt) for one in items]
        return combine(items)

    return result, gathered


def _number(value: object) -> object:
    return Unknown(("a number of the list is missing",)) if value is None else value


def _gathered_type(builder: Builder, node: ast.Call, name: str, item: Type) -> Type:
    if isinstance(item, Anything):
        return Anything()
    if name in ("any", "all"):
        if not isinstance(item, YesNo | Thing | Nothing):
            return builder.wrong(node.args[0], f"{name} asks for yes or no of each; this gives {item}")[0]
        return YesNo()
    if name == "count":
        return Number(PLAIN)
    if name in ("total", "least", "most"):
        if isinstance(item, Nothing):
            return Number(PLAIN, zero=True)
        if not isinstance(item, Number):
            return builder.wrong(node.args[0], f"{name} wants numbers; this gives {item}")[0]
        return Number(item.unit)
    return ListOf(item) if name == "list" else item


Draw = Callable[[Scope], "list[Drawn] | Unknown"]


def _draw_all(run: Run) -> Draw:
    def draw(scope: Scope) -> list[Drawn] | Unknown:
        items = _items(scope, run(scope))
        return items if isinstance(items, Unknown) else [Drawn(*one) for one in items]

    return draw


def _counted(run: Run) -> Run:
    """How many a list holds."""

    def count(scope: Scope) -> object:
        lot = run(scope)
        items = _items(scope, lot)
        if isinstance(items, Unknown):
            return items
        assert isinstance(lot, Lot)
        return count_of([Drawn(*one) for one in items]) if lot.perhaps else float(len(lot.members))

    return count


def _items(scope: Scope, lot: object) -> Iterator[tuple[object, tuple[str, ...]]] | Unknown:
    """The items of a list, counted as work."""
    if not isinstance(lot, Lot):
        return lot if isinstance(lot, Unknown) else Unknown(("there is no such list",))
    number = len(lot.members) + len(lot.perhaps)
    if number > MOST_ITEMS:
        raise TooManySteps
    scope.trace.step(number)
    return drawn_from(lot)


class _Decided(Exception):
    """A sure item decides; no further one is drawn."""


def _drawing(builder: Builder, node: ast.GeneratorExp, decisive: bool | None = None) -> tuple[Type, Draw]:
    """`… for x in list if …`, up to two of them.

    Args:
        decisive: what a sure item must hold for the rest not to matter; None when all are wanted.
    """
    if len(node.generators) > MOST_FORS:
        builder.wrong(node, f"at most {MOST_FORS} 'for' in one list")
    before = dict(builder.local)
    stages: list[Stage] = []
    for generator in node.generators:
        stages.append(_stage(builder, generator))
    item, value = builder.build(node.elt)
    builder.local = before
    wanted = Wanted(value, decisive, Memory.of(builder.environment, node))

    def draw(scope: Scope) -> list[Drawn] | Unknown:
        found: list[Drawn] = []
        try:
            reasons = _walk(scope, stages, 0, (), wanted, found)
        except _Decided:
            return found[-1:]
        return Unknown(reasons) if reasons else found

    return item, draw


Stage = tuple[str, Run, list[Run]]  # the name after 'for', the list, the conditions


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is made of each item, what decides, and what is remembered of long lists (None: nothing)."""

    value: Run
    decisive: bool | None
    memory: Memory | None


def _stage(builder: Builder, generator: ast.comprehension) -> Stage:
    kind, run = builder.build(generator.iter)
    item: Type = Anything()
    if isinstance(kind, ListOf):
        item = kind.item
    elif not isinstance(kind, Anything):
        builder.wrong(generator.iter, f"'for' wants a list; {source_of(generator.iter)} is {kind}")
    name = generator.target.id if isinstance(generator.target, ast.Name) else ""
    if not name:
        builder.wrong(generator.target, "'for' takes one plain name")
    elif name in builder.local or builder.environment.type_of(name) is not None:
        builder.wrong(generator.target, f"the name '{name}' is taken; choose another one after 'for'")
    builder.local[name] = item
    conditions = [builder._condition(test) for test in generator.ifs]
    return name, run, conditions


def _walk(
    scope: Scope, stages: Sequence[Stage], at: int, doubt: tuple[str, ...], wanted: Wanted, found: list[Drawn]
) -> tuple[str, ...]:
    """Draw the items of one `for`, inner ones first to last; gives the reasons when a list is unknown.

    Raises:
        _Decided: when the item that was drawn last decides.
    """
    name, run, conditions = stages[at]
    innermost = at + 1 == len(stages)
    lot = run(scope)
    if innermost and wanted.memory is not None and isinstance(lot, Kept) and len(lot.members) >= LONG:
        fresh = replace(wanted, memory=None)
        again = wanted.memory.recall(scope, lot, lambda: _whole(scope, (name, lambda scope: lot, conditions), fresh))
        for drawn in again:
            _found(Drawn(drawn.value, unite(doubt, drawn.doubt)), wanted.decisive, found)
        return ()
    items = _items(scope, lot)
    if isinstance(items, Unknown):
        return unite(items.reasons, doubt)
    names = scope.names
    # A name of `let` that is evaluated in the middle of this may use the same word after its own 'for'.
    outer = {name: names[name]} if name in names else {}
    try:
        for value, unsure in items:
            names[name] = value
            kept = unite(doubt, unsure) if unsure else doubt
            for condition in conditions:
                decided = condition(scope)
                if decided is False:
                    break
                if decided is not True:
                    kept = unite(kept, reasons_of(decided))
            else:
                if innermost:
                    _found(Drawn(wanted.value(scope), kept), wanted.decisive, found)
                elif reasons := _walk(scope, stages, at + 1, kept, wanted, found):
                    return reasons
    finally:
        names.pop(name, None)
        names.update(outer)
    return ()


def _found(drawn: Drawn, decisive: bool | None, found: list[Drawn]) -> None:
    """Keep an item.

    Raises:
        _Decided: when it decides. TooManySteps: when there are too many.
    """
    found.append(drawn)
    if decisive is not None and not drawn.doubt and holds(drawn.value) is decisive:
        raise _Decided
    if len(found) > MOST_ITEMS:
        raise TooManySteps


def _whole(scope: Scope, stage: Stage, wanted: Wanted) -> Sequence[Drawn]:
    """What one whole list gives: for any and all one item that stands for all of them."""
    found: list[Drawn] = []
    try:
        _walk(scope, [stage], 0, (), wanted, found)
    except _Decided:
        return found[-1:]
    if wanted.decisive is None or not found:
        return found
    return [Drawn((any_of if wanted.decisive else all_of)(found))]


# Tables


def _table(builder: Builder, node: ast.Call, table: WordTable) -> Typed:
    if len(node.args) != len(table.parameters) or node.keywords:
        return builder.wrong(node, f"{table.name} takes {len(table.parameters)}: {', '.join(table.parameters)}")
    built = [builder.build(argument) for argument in node.args]
    types = dict(zip(table.parameters, (kind for kind, _ in built), strict=True))
    outer = builder.environment
    outer.used_tables.add(table.name)
    above = {}
    for name, other in outer.tables.items():
        if name == table.name:
            break
        above[name] = other
    inner = Environment(
        outer.vocabulary,
        lambda name: types.get(name) or outer.type_of(name),
        lambda: frozenset({*types, *outer.known()}),
        above,
        outer.mistakes,
        outer.used_tables,
    )
    rows: list[tuple[Run | None, str]] = []
    for source, word in table.rows:
        if source is None:
            rows.append((None, word))
            continue
        row = check(source, inner)
        if not isinstance(row.type, YesNo | Anything):
            builder.wrong(node, f"the rows of {table.name} want yes or no; {row.source} is {row.type}")
        rows.append((row.run, word))
    return Word(table.words), _evaluate_table(table, rows, [run for _, run in built])


def _evaluate_table(table: WordTable, rows: list[tuple[Run | None, str]], arguments: list[Run]) -> Run:
    def run(scope: Scope) -> object:
        values = [argument(scope) for argument in arguments]
        if reasons := reasons_of(*values):
            return Unknown(reasons)
        hidden = {name: scope.names[name] for name in table.parameters if name in scope.names}
        scope.names.update(zip(table.parameters, values, strict=True))
        try:
            return _first_row(scope, table, rows)
        finally:
            for name in table.parameters:
                scope.names.pop(name, None)
            scope.names.update(hidden)

    return run


def _first_row(scope: Scope, table: WordTable, rows: list[tuple[Run | None, str]]) -> object:
    doubts: tuple[str, ...] = ()
    words: set[str] = set()
    for index, (condition, word) in enumerate(rows):
        decided = True if condition is None else condition(scope)
        if decided is False:
            continue
        scope.trace.rows.add((table.name, index))
        words.add(word)
        if decided is True:
            return Unknown(doubts) if len(words) > 1 else word
        doubts = unite(doubts, reasons_of(decided))
    return Unknown(doubts)


# Functions of the vocabulary


def _function(builder: Builder, node: ast.Call, function: Function) -> Typed:
    arguments = _arranged(builder, node, function)
    if arguments is None:
        return Anything(), lambda scope: None
    built = [(argument, *builder.build(argument)) if argument is not None else None for argument in arguments]
    keywords = {
        keyword.arg: builder.build(keyword.value)
        for keyword in node.keywords
        if function.keywords and keyword.arg and keyword.arg not in {p.name for p in function.parameters}
    }
    fine = True
    parameters = list(function.parameters) + [function.parameters[-1]] * (len(built) - len(function.parameters))
    for parameter, entry in zip(parameters, built, strict=True):
        if entry is not None and not isinstance(entry[1], Anything) and not parameter.accepts(entry[1]):
            hint = _word_hint(entry[1], parameter.expected)
            builder.wrong(
                entry[0], f"{function.name} wants {parameter.expected} here; {source_of(entry[0])} is {entry[1]}{hint}"
            )
            fine = False
    if not fine or any(entry is not None and isinstance(entry[1], Anything) for entry in built):
        return Anything(), lambda scope: None
    result = function.result(
        [entry[1] if entry is not None else Nothing() for entry in built],
        {name: kind for name, (kind, _) in keywords.items()},
    )
    if isinstance(result, str):
        return builder.wrong(node, result)
    runs = [(entry[2], source_of(entry[0])) if entry is not None else None for entry in built]
    allowed = [parameter.unknown_allowed for parameter in parameters]
    return result, _evaluate(function, runs, allowed, {name: run for name, (_, run) in keywords.items()})


def _word_hint(kind: Type, expected: str) -> str:
    return " with a word that is not on the list" if isinstance(kind, ListOf | Word) and "kinds" in expected else ""


def _arranged(builder: Builder, node: ast.Call, function: Function) -> list[ast.expr | None] | None:
    """Arguments by position, None for those left out; None altogether after a mistake."""
    names = [parameter.name for parameter in function.parameters]
    arranged: list[ast.expr | None] = list(node.args)
    if len(arranged) > len(names) and not function.many:
        builder.wrong(node, f"{function.name} takes at most {len(names)}: {', '.join(names)}")
        return None
    arranged += [None] * (len(names) - len(arranged))
    for keyword in node.keywords:
        if keyword.arg in names:
            arranged[names.index(keyword.arg)] = keyword.value
        elif not function.keywords:
            known = did_you_mean(keyword.arg or "", names)
            builder.wrong(keyword.value, f"{function.name} has no '{keyword.arg}'{known}")
            return None
    for parameter, argument in zip(function.parameters, arranged, strict=False):
        if argument is None and parameter.needed:
            builder.wrong(node, f"{function.name} also wants '{parameter.name}': {parameter.expected}")
            return None
    return arranged


def _evaluate(
    function: Function,
    runs: list[tuple[Run, str] | None],
    unknown_allowed: list[bool],
    keywords: dict[str, Run],
) -> Run:
    call = function.call
    if not keywords and len(runs) == 1 and runs[0] is not None and not unknown_allowed[0]:
        only, missing = runs[0][0], Unknown((f"there is no {runs[0][1]}",))

        def of_one(scope: Scope) -> object:
            scope.trace.step()
            value = only(scope)
            if value is None:
                return missing
            if isinstance(value, Unknown):
                return Unknown(value.reasons)
            return call(scope.facts, scope.trace, value)

        return of_one

    entries = [
        (None, True, None) if entry is None else (entry[0], allowed, Unknown((f"there is no {entry[1]}",)))
        for entry, allowed in zip(runs, unknown_allowed, strict=True)
    ]

    def run(scope: Scope) -> object:
        scope.trace.step()
        values: list[object] = []
        for get, allowed, missing in entries:
            value = get(scope) if get is not None else None
            if not allowed:
                if value is None:
                    return missing
                if isinstance(value, Unknown):
                    return Unknown(value.reasons)  # its bounds are those of the argument, not of what comes out
            values.append(value)
        if not keywords:
            return call(scope.facts, scope.trace, *values)
        named = {name: keyword(scope) for name, keyword in keywords.items()}
        if reasons := reasons_of(*named.values()):
            return Unknown(reasons)
        return call(scope.facts, scope.trace, *values, **named)

    return run
