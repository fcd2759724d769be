"""From the YAML of a shape to what the matcher works with; conditions are bound to the facts of a circuit later."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from netcheck.circuit.model import KINDS, NET_ROLES, PIN_ROLES
from netcheck.circuit.shapeparts import Evaluator, Form, NetSlot, PartSlot, Passes, Shape, Tie
from netcheck.circuit.words import Words
from netcheck.ground.names import did_you_mean, plain
from netcheck.ground.units import OHM
from netcheck.ground.yamltext import Load, Node, Reader, Table, Text, load
from netcheck.language.expression import Environment, Expression, check
from netcheck.language.scope import Scope
from netcheck.language.syntax import Mistake
from netcheck.language.types import Anything, Attribute, ListOf, Thing, Type, Word, YesNo, joined
from netcheck.language.values import Lot
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.load import read_file
from netcheck.rulebook.vocabulary import RuleVocabulary, named_groups

KEYS = ("title", "parts", "nets", "ties", "passes", "forms", "offers", "where", "one per", "takes", "known by", "shown")
FORM_KEYS = ("parts", "nets", "ties", "offers")
NET_SIGNS = ("positive", "negative", "not positive")
_TIE = re.compile(r"\s*([\w.]+)\s*([=~])\s*([\w.]+)\s*")
_JOINS = re.compile(r"\s*(\w+)\s+joins\s+(\w+)\s*,\s*(\w+)\s*")


@dataclass(frozen=True, slots=True)
class FormSource:
    """A form with its offers still as expressions (or words)."""

    form: Form
    offers: Mapping[str, Expression | str]


@dataclass(frozen=True)
class ShapeSource:
    """A checked shape. `types` has the type of each of its names, `form` among them."""

    name: str
    title: str
    forms: tuple[FormSource, ...]
    passes: Passes | None
    where: tuple[Expression, ...]
    one_per: tuple[str, ...]
    takes: tuple[str, ...]
    known_by: tuple[str, ...]
    types: Mapping[str, Type] = field(default_factory=dict)
    file: str = ""
    text: str = ""
    shown: bool = True

    def bind(self, facts: Facts, groups: Mapping[str, object]) -> Shape:
        """The shape for one circuit."""

        def evaluator(expression: Expression | str) -> Evaluator:
            if isinstance(expression, str):
                return lambda names: expression
            return lambda names: expression.run(Scope(facts, {**groups, **names}))

        forms = []
        for source in self.forms:
            offers = tuple((name, evaluator(given)) for name, given in source.offers.items())
            form = source.form
            forms.append(Form(form.name, form.parts, form.nets, form.ties, offers))
        where = tuple(evaluator(condition) for condition in self.where)
        return Shape(
            name=self.name,
            title=self.title,
            forms=tuple(forms),
            passes=self.passes,
            where=where,
            one_per=self.one_per,
            takes=self.takes,
            known_by=self.known_by,
            shown=self.shown,
        )


def group_names(words: Words) -> dict[str, object]:
    """The named groups of kinds as lists of the language."""
    return {name: Lot(tuple(sorted(kinds))) for name, kinds in named_groups(words).items()}


def needed_shapes(table: Node) -> tuple[str, ...]:
    """Names of the shapes that a shape is made of or asks for: they must be loaded before it."""
    found: list[str] = []

    def walk(node: Node, key: str) -> None:
        if isinstance(node, Text):
            if key == "shape":
                found.append(node.text)
            found.extend(re.findall(r"matches\(\s*'([^']+)'", node.text))
        elif isinstance(node, Table):
            for name, value in node.entries:
                walk(value, name.text)
        else:
            for item in node.nodes:
                walk(item, key)

    for name, value in table.entries if isinstance(table, Table) else ():
        if name.text != "shape":
            walk(value, name.text)
    return tuple(dict.fromkeys(found))


def load_shape(path: Path, shown: str, words: Words, vocabulary: RuleVocabulary, loaded: Load = load) -> ShapeSource:
    """One shape from its file; shapes that it is made of must be in the vocabulary already.

    Raises:
        Refused: with every mistake of the file.
    """
    node, text = read_file(path, shown, loaded)
    return ShapeReader(shown, words, vocabulary).shape(node, path.stem, text)


class ShapeReader(Reader):
    """Reads one shape."""

    def __init__(self, file: str, words: Words, vocabulary: RuleVocabulary) -> None:
        super().__init__(file)
        self.words = words
        self.vocabulary = vocabulary
        self.mistakes: list[Mistake] = []
        self.types: dict[str, Type] = {}

    def shape(self, node: Node, expected_name: str, text: str) -> ShapeSource:
        """The whole shape."""
        table = self.table(node, ("shape", "title"), KEYS)
        name = self.text(table.get("shape")) or expected_name
        if name != expected_name:
            self.note(
                table.get("shape") or table, f"the shape is called '{plain(name)}' but its file {expected_name}.yaml"
            )
        passes = self._passes(table.get("passes"))
        forms = self._forms(table)
        where = self.list_of(table.get("where"), self._condition)
        one_per = self._names(table, "one per")
        takes = self._names(table, "takes")
        known_by = self._names(table, "known by") or self._single_parts(forms)
        shown = table.get("shown") is None or self.yes_no(table.get("shown")) is not False
        self.problems += [mistake.problem(self.file) for mistake in dict.fromkeys(self.mistakes)]
        self.finish()
        self.types["form"] = Word(frozenset(form.form.name for form in forms))
        return ShapeSource(
            name, self.text(table.get("title")) or "", forms, passes, where, one_per, takes, known_by,
            self.types, self.file, text, shown,
        )  # fmt: skip

    def _single_parts(self, forms: tuple[FormSource, ...]) -> tuple[str, ...]:
        names = [slot.name for form in forms for slot in form.form.parts if not slot.many]
        return tuple(dict.fromkeys(names))

    def _names(self, table: Table, key: str) -> tuple[str, ...]:
        found = self.list_of(table.get(key), self.text)
        for item in self.items(table.get(key)):
            if isinstance(item, Text) and item.text.split(".")[0] not in self.types:
                self.note(
                    item, f"there is no name '{plain(item.text)}' in this shape{did_you_mean(item.text, self.types)}"
                )
        return tuple(found)

    def _passes(self, node: Node | None) -> Passes | None:
        if node is None:
            return None
        table = self.table(node, ("kinds",), ("most",))
        kinds = self._kinds(table.get("kinds"))
        most = self.quantity(table.get("most")) if table.get("most") is not None else None
        if most is not None and most.unit != OHM:
            self.note(table.get("most") or table, "the most that a shape passes is in ohms")
        return Passes(kinds, most.value if most is not None else None)

    def _kinds(self, node: Node | None) -> frozenset[str]:
        found: set[str] = set()
        for item in self.items(node):
            text = self.text(item)
            if text is None:
                continue
            if text in self.words.groups:
                found |= self.words.groups[text].kinds
            elif text in KINDS or text == "amplifier":
                found.add(text)
            else:
                self.note(item, f"'{plain(text)}' is no kind of part{did_you_mean(text, [*KINDS, *self.words.groups])}")
        return frozenset(found)

    def _forms(self, table: Table) -> tuple[FormSource, ...]:
        node = table.get("forms")
        if node is None:
            return (self._form("plain", (table,)),)
        found = []
        for name, body in self.table(node).entries:
            self.table(body, (), FORM_KEYS)
            found.append(self._form(name.text, (table, body) if isinstance(body, Table) else (table,)))
        return tuple(found)

    def _form(self, name: str, tables: tuple[Table, ...]) -> FormSource:
        """One form: what the shape says for all its forms, and what the form adds."""
        parts: list[PartSlot] = []
        nets: list[NetSlot] = []
        ties: list[Tie] = []
        for table in tables:
            for key, body in self.table(table.get("parts")).entries if table.get("parts") else ():
                if (slot := self._part_slot(key, body)) is not None:
                    parts.append(slot)
            for key, body in self.table(table.get("nets")).entries if table.get("nets") else ():
                nets.append(self._net_slot(key, body))
        for table in tables:
            for item in self.items(table.get("ties")):
                if (tie := self._tie(item, {slot.name for slot in parts})) is not None:
                    ties.append(tie)
        offers: dict[str, Expression | str] = {}
        for table in tables:
            for key, body in self.table(table.get("offers")).entries if table.get("offers") else ():
                if (offer := self._offer(key, body)) is not None:
                    offers[key.text] = offer
        return FormSource(Form(name, tuple(parts), tuple(nets), tuple(ties), ()), offers)

    def _learn(self, name: str, kind: Type) -> None:
        before = self.types.get(name)
        common = kind if before is None else joined(before, kind)
        self.types[name] = common if common is not None else Anything()

    def _part_slot(self, key: Text, body: Node) -> PartSlot | None:
        table = self.table(body)
        attributes: Mapping[str, Attribute]
        many = bool(table.get("many") is not None and self.yes_no(table.get("many")))
        shape = self.text(table.get("shape")) if table.get("shape") is not None else None
        if shape is not None and shape not in self.vocabulary.shape_names:
            known = did_you_mean(shape, self.vocabulary.shape_names)
            self.note(table.get("shape") or table, f"there is no shape '{plain(shape)}'{known}")
            return None
        kinds = self._kinds(table.get("kind")) if shape is None else frozenset()
        if shape is None and table.get("kind") is None:
            self.note(body, "a part of a shape has a kind or a shape")
        own: Thing
        if shape is not None:
            own = Thing(f"match {shape}")
        elif kinds == {"amplifier"}:
            own = Thing("amplifier")
        else:
            own = Thing("part", kinds)
        self._learn(key.text, ListOf(own) if many else own)
        equals = tuple(
            (name.text, value.text)
            for name, value in table.entries
            if name.text not in ("kind", "shape", "many") and isinstance(value, Text)
        )
        attributes = self.vocabulary.attributes(own)
        for name, value in equals:
            if name not in attributes:
                self.note(body, f"{own} has no '{plain(name)}'{did_you_mean(name, attributes)}")
            elif isinstance(found := attributes[name].type, Word) and value not in found.words:
                self.note(body, f"{name} is never '{plain(value)}'{did_you_mean(value, found.words)}")
        return PartSlot(name=key.text, kinds=kinds, shape=shape, equals=equals, many=many)

    def _net_slot(self, key: Text, body: Node) -> NetSlot:
        table = self.table(body, (), ("role", "sign"))
        roles = frozenset(self.list_of(table.get("role"), lambda item: self.word(item, NET_ROLES)))
        sign = (self.word(table.get("sign"), NET_SIGNS) or "") if table.get("sign") is not None else ""
        self._learn(key.text, Thing("net"))
        return NetSlot(name=key.text, roles=roles, sign=sign)

    def _tie(self, node: Node, parts: set[str]) -> Tie | None:
        text = self.text(node)
        if text is None:
            return None
        if joins := _JOINS.fullmatch(text):
            for name in joins.groups()[1:]:
                self._learn(name, Thing("net"))
            if joins[1] not in parts:
                self.note(node, f"there is no part '{joins[1]}' in this shape{did_you_mean(joins[1], parts)}")
            return Tie("joins", (joins[2], joins[3]), joins[1])
        found = _TIE.fullmatch(text)
        if found is None:
            self.note(node, f"'{plain(text)}' is no tie; write part.role = net, part.role ~ net or part joins net, net")
            return None
        left, sign, right = found.groups()
        if "." in right and "." not in left:
            left, right = right, left
        if "." in right:
            self.note(node, "a tie has a net on one side; give it a name: part.role = net")
            return None
        self._learn(right, Thing("net"))
        owner, _, role = left.partition(".")
        if not role:
            self._learn(left, Thing("net"))
            return Tie(sign, (left, right))
        if owner not in parts:
            self.note(node, f"there is no part '{plain(owner)}' in this shape{did_you_mean(owner, parts)}")
            return None
        self._check_role(node, owner, role)
        return Tie(sign, (right,), owner, role.replace("_", " ") if self._is_part(owner) else role)

    def _is_part(self, owner: str) -> bool:
        kind = self.types.get(owner)
        kind = kind.item if isinstance(kind, ListOf) else kind
        return isinstance(kind, Thing) and kind.noun == "part"

    def _check_role(self, node: Node, owner: str, role: str) -> None:
        kind = self.types.get(owner)
        kind = kind.item if isinstance(kind, ListOf) else kind
        if self._is_part(owner):
            if role.replace("_", " ") not in PIN_ROLES:
                self.note(node, f"no pin has the role '{plain(role)}'{did_you_mean(role, PIN_ROLES - {''})}")
        elif isinstance(kind, Thing):
            known = self.vocabulary.attributes(kind)
            if role not in known:
                self.note(node, f"{kind} has no '{plain(role)}'{did_you_mean(role, known)}")

    def _environment(self) -> Environment:
        types: dict[str, Type] = {name: ListOf(Word(kinds)) for name, kinds in named_groups(self.words).items()}
        types |= self.types
        return Environment(self.vocabulary, types.get, lambda: frozenset(types), {}, self.mistakes)

    def _offer(self, key: Text, node: Node) -> Expression | str | None:
        if not isinstance(node, Text):
            self.text(node)
            return None
        is_word = node.text.isidentifier() and node.text not in self.types and node.text not in self.words.groups
        if is_word:
            self._learn(key.text, Word(frozenset({node.text})))
            return node.text
        found = check(node, self._environment())
        self._learn(key.text, found.type)
        return found

    def _condition(self, node: Node) -> Expression | None:
        if not isinstance(node, Text):
            self.text(node)
            return None
        found = check(node, self._environment())
        if not isinstance(found.type, YesNo | Anything):
            self.note(node, f"yes or no is expected here; this gives {found.type}")
        return found


Bind = Callable[[Facts], Mapping[str, Shape]]
