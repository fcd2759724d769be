"""From the YAML of a rule to a checked `Rule`; all mistakes of a file together, with their places."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from netcheck.circuit.model import KINDS
from netcheck.circuit.words import Words
from netcheck.ground.names import did_you_mean, plain
from netcheck.ground.problems import Problem, Refused
from netcheck.ground.units import Quantity
from netcheck.ground.yamltext import (
    MOST_BYTES,
    Items,
    Load,
    Node,
    Reader,
    Table,
    Text,
    load,
    looks_like_split_expression,
)
from netcheck.intake.assemblyreading import parse_node
from netcheck.language.expression import Built, Check, Environment, Expression, WordTable, check, check_later
from netcheck.language.sentences import Sentence, check_sentence
from netcheck.language.syntax import Mistake
from netcheck.language.types import Anything, ListOf, Number, Thing, Type, Word, YesNo
from netcheck.rulebook.rule import Requirement, Rule, RuleSource, Sample, SetAside, Subject
from netcheck.rulebook.verdicts import CONSEQUENCES, CURES
from netcheck.rulebook.vocabulary import NOUNS, RuleVocabulary, named_groups

NEEDED = ("rule", "title", "consequence", "cure", "why", "remedy", "sources", "for each", "require", "samples")
ALLOWED = ("caution", "where", "set aside", "limits", "tables", "let", "known by", "instead of")
STATUSES = ("read", "memory", "common practice")
EXPECTED = ("finding", "clear", "undecided", "set aside", "nothing to look at")


@dataclass(slots=True)
class Names:
    """The names of one rule: where each was given, its type, and those of `let` that are checked when asked for."""

    types: dict[str, Type]
    let: dict[str, Text] = field(default_factory=dict)
    checked: dict[str, Expression] = field(default_factory=dict)
    checking: list[str] = field(default_factory=list)


def read_file(path: Path, shown: str, loaded: Load = load) -> tuple[Node, str]:
    """The nodes and the text of a YAML file. loaded: how YAML becomes nodes.

    Raises:
        Refused: when it cannot be read, is too large, or is no YAML.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise Refused(Problem(shown, 0, 0, "the file is larger than 1 MB"))
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise Refused(Problem(shown, 0, 0, f"cannot be read: {error.strerror or error}")) from None
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        raise Refused(Problem(shown, line, 0, "this is not UTF-8 text")) from None
    try:
        return loaded(text, shown), text
    except Refused as refused:
        raise Refused([_explained(problem, text) for problem in refused.problems]) from None


def _explained(problem: Problem, text: str) -> Problem:
    """A YAML mistake that comes from an expression written without quotes says so."""
    lines = text.splitlines()
    line = lines[problem.line - 1].strip() if 0 < problem.line <= len(lines) else ""
    _, _, value = line.partition(": ")
    value = value.strip() or line.removeprefix("- ")
    if value[:1] in ("'", '"') and value.count(value[0]) >= 2 and not value.endswith(value[0]):
        what = "the expression begins with a quotation mark; put the whole of it in double quotes"
        return Problem(problem.file, problem.line, problem.column, what)
    if value[:1] in "[{>|!%&*@-" and value[:1]:
        what = f"{problem.what}; if this is an expression or a sentence, put the whole of it in double quotes"
        return Problem(problem.file, problem.line, problem.column, what)
    if ": " in value or " #" in value:
        return Problem(
            problem.file, problem.line, problem.column, f"{problem.what}; text with ': ' needs double quotes"
        )
    return problem


def load_rule(
    path: Path,
    shown: str,
    words: Words,
    vocabulary: RuleVocabulary,
    supplied: bool,
    loaded: Load = load,
    sound: bool = False,
) -> Rule:
    """One rule from its file.

    Args:
        shown: the file's name as it is to be named. supplied: False for a house rule. loaded: how YAML becomes nodes.
        sound: whether it is known to be without mistakes: its expressions are then built when they are asked for.

    Raises:
        Refused: with every mistake of the file.
    """
    node, text = read_file(path, shown, loaded)
    return RuleReader(shown, words, vocabulary, supplied, sound).rule(node, f"{path.parent.name}/{path.stem}", text)


class RuleReader(Reader):
    """Reads one rule; `rule()` gives it or raises with all that is wrong."""

    def __init__(
        self, file: str, words: Words, vocabulary: RuleVocabulary, supplied: bool, sound: bool = False
    ) -> None:
        super().__init__(file)
        self.words = words
        self.sound = sound
        self.vocabulary = vocabulary
        self.supplied = supplied
        self.mistakes: list[Mistake] = []
        self.checked: Check = check_later if sound else check
        self.names = Names({})
        self.tables: dict[str, WordTable] = {}
        self.used_tables: set[str] = set()

    # Names and expressions

    def environment(self) -> Environment:
        """What the rule's expressions may speak of."""
        return Environment(
            self.vocabulary,
            self.type_of,
            lambda: frozenset({*self.names.types, *self.names.let}),
            self.tables,
            self.mistakes,
            self.used_tables,
        )

    def type_of(self, name: str) -> Type | None:
        """The type of a name; a `let` is checked when first asked for."""
        if name in self.names.types:
            return self.names.types[name]
        if name not in self.names.let:
            return None
        if name in self.names.checking:
            self.note(self.names.let[name], f"'{name}' is defined by itself")
            return Anything()
        if name not in self.names.checked:
            self.names.checking.append(name)
            self.names.checked[name] = check(self.names.let[name], self.environment())
            self.names.checking.pop()
        return self.names.checked[name].type

    def expression(self, node: Node | None, wanted: type | None = YesNo) -> Expression | None:
        """A checked expression that must give yes or no (or another sort, or anything)."""
        if isinstance(node, Table) and looks_like_split_expression(node):
            self.note(node, "YAML took this apart; put the expression in quotes or on a line of its own")
            return None
        if not isinstance(node, Text):
            self.text(node)
            return None
        found = self.checked(node, self.environment(), None, 0)
        if wanted is not None and not self.sound and not isinstance(found.type, wanted | Anything):
            self.note(node, f"yes or no is expected here; this gives {found.type}")
        return found

    def sentence(self, node: Node | None) -> Sentence | None:
        """A checked sentence."""
        if isinstance(node, Text):
            return check_sentence(node, self.environment(), self.checked)
        if node is not None:
            self.note(node, "a sentence is expected here; one with ': ' in it or '{{' at its start needs double quotes")
        return None

    def take(self, name: Text, kind: Type) -> None:
        """Give a name its type; the same name twice is an error."""
        if not name.text.isidentifier() or not name.text.isascii():
            self.note(name, f"'{plain(name.text)}' is no name: letters, digits and underscores, a letter first")
        elif name.text in self.names.types or name.text in self.names.let:
            self.note(name, f"the name '{name.text}' is taken already")
        elif name.text in ("yes", "no", "nothing", "open") or name.text in self.vocabulary.functions:
            self.note(name, f"the name '{name.text}' means something in the language; choose another one")
        else:
            self.names.types[name.text] = kind

    # The parts of a rule

    def rule(self, node: Node, expected_name: str, text: str) -> Rule:
        """The whole rule."""
        needed = tuple(key for key in NEEDED if key != "samples" or not self.sound)
        table = self.table(node, needed, (*ALLOWED, "samples"))
        if not isinstance(node, Table):
            self.finish()
        name = self.text(table.get("rule")) or expected_name
        if table.get("rule") is not None and name != expected_name:
            self.note(
                table.get("rule") or table, f"the rule is called '{plain(name)}' but its file {expected_name}.yaml"
            )
        self.names = Names(
            {
                **{group: ListOf(Word(kinds)) for group, kinds in named_groups(self.words).items()},
                "grounds": ListOf(Thing("net")),
                "rails": ListOf(Thing("net")),
                "boards": ListOf(Thing("board")),
                "assembly": Thing("assembly"),
            }
        )
        limits = self._limits(table.get("limits"))
        self._tables(table.get("tables"))
        subjects = self._subjects(table)
        consequence = self.word(table.get("consequence"), CONSEQUENCES) or "damage"
        cure = self.word(table.get("cure"), CURES) or "board"
        where = self.list_of(table.get("where"), self.expression)
        set_aside = self.list_of(table.get("set aside"), self._set_aside)
        require = tuple(
            found
            for item in self.items(table.get("require"))
            if (found := self._requirement(item, consequence, cure)) is not None
        )
        remedy_node = table.get("remedy")
        remedy = self.sentence(remedy_node)
        let = self._all_let()
        sources = self._sources(table, limits)
        samples = self._samples(table)
        caution = self._caution(table)
        known_by = self._known_by(table, subjects)
        self._never_used()
        self.problems += [mistake.problem(self.file) for mistake in dict.fromkeys(self.mistakes)]
        self.finish()
        assert remedy is not None and isinstance(remedy_node, Text)
        return Rule(
            name=name,
            title=self._said(table, "title"),
            consequence=consequence,
            cure=cure,
            why=self._said(table, "why"),
            remedy=remedy,
            remedy_text=" ".join(remedy_node.text.split()),
            sources=sources,
            subjects=subjects,
            requirements=require,
            file=self.file,
            caution=caution,
            where=where,
            set_aside=set_aside,
            limits=limits,
            tables=self.tables,
            let=let,
            known_by=known_by,
            samples=samples,
            shapes=self._shapes(subjects),
            instead_of=self.text(table.get("instead of")) or "",
            supplied=self.supplied,
            text=text,
        )

    def _said(self, table: Table, key: str) -> str:
        return " ".join((self.text(table.get(key)) or "").split())

    def _caution(self, table: Table) -> str:
        node = table.get("caution")
        return (self.word(node, self.words.cautions) or "") if node is not None else ""

    def _limits(self, node: Node | None) -> dict[str, Quantity]:
        found: dict[str, Quantity] = {}
        for name, value in self.table(node).entries if node is not None else ():
            quantity = self.quantity(value)
            if quantity is not None:
                found[name.text] = quantity
                self.take(name, Number(quantity.unit))
        return found

    def _tables(self, node: Node | None) -> None:
        for head, rows in self.table(node).entries if node is not None else ():
            name, _, rest = head.text.partition("(")
            parameters = tuple(part.strip() for part in rest.rstrip(") ").split(",") if part.strip())
            if not name.strip().isidentifier() or not rest.rstrip().endswith(")") or not parameters:
                self.note(head, "a table is named with its arguments: outcome(here, there)")
                continue
            found: list[tuple[Text | None, str]] = []
            for position, row in enumerate(self.items(rows)):
                self._row(row, found, last=position == len(self.items(rows)) - 1)
            self.tables[name.strip()] = WordTable(name.strip(), parameters, tuple(found))

    def _row(self, node: Node, found: list[tuple[Text | None, str]], last: bool) -> None:
        if isinstance(node, Table) and node.keys() != ("else",) and looks_like_split_expression(node):
            self.note(node, "YAML took this apart; put the expression in quotes or on a line of its own")
            return
        table = self.table(node)
        if table.keys() == ("else",):
            found.append((None, self.text(table.get("else")) or ""))
            if not last:
                self.note(node, "'else' is the last row of a table")
            return
        self.table(node, ("if", "then"), ())
        test = table.get("if")
        found.append((test if isinstance(test, Text) else None, self.text(table.get("then")) or ""))
        if last:
            self.note(node, "the last row of a table is 'else'")

    def _subjects(self, table: Table) -> tuple[Subject, ...]:
        node = table.get("for each")
        found: list[Subject] = []
        if isinstance(node, Text):
            name = Text(node.text.replace(" ", "_").replace("-", "_"), node.line, node.column)
            if (subject := self._noun(name, node)) is not None:
                found.append(self._spread(subject, node))
        elif node is not None:
            for name, value in self.table(node).entries:
                if (subject := self._subject(name, value)) is not None:
                    found.append(subject)
        for name, value in self._let_entries(table):
            if name.text in self.names.types or name.text in self.names.let:
                self.note(name, f"the name '{name.text}' is taken already")
            else:
                self.names.let[name.text] = value
        return tuple(found)

    def _let_entries(self, table: Table) -> list[tuple[Text, Text]]:
        node = table.get("let")
        entries = self.table(node).entries if node is not None else ()
        for _, value in entries:
            if not isinstance(value, Text):
                self.note(value, "an expression is expected here")
        return [(name, value) for name, value in entries if isinstance(value, Text)]

    def _subject(self, name: Text, node: Node) -> Subject | None:
        if not isinstance(node, Text):
            self.note(node, "a noun, a shape or an expression that gives a list is expected here")
            return None
        if node.text in NOUNS or node.text in KINDS or node.text in self.vocabulary.shape_names:
            return self._noun(name, node)
        looks_like_noun = node.text.replace(" ", "").replace("-", "").isalpha()
        if looks_like_noun and not any(sign in node.text for sign in ".([") and self.type_of(node.text) is None:
            return self._noun(name, node)
        expression = self.expression(node, None)
        if expression is None:
            return None
        kind = expression.type
        if isinstance(kind, ListOf):
            self.take(name, kind.item)
            return Subject(name.text, kind.item, items=expression)
        if not isinstance(kind, Anything):
            self.note(node, f"'for each' wants a list here; {node.text} is {kind}")
        self.take(name, Anything())
        return None

    def _noun(self, name: Text, node: Text) -> Subject | None:
        noun = node.text
        if noun in self.vocabulary.shape_names:
            kind: Type = Thing(f"match {noun}")
        elif noun in NOUNS:
            kind = Thing(NOUNS[noun])
        elif noun in KINDS:
            kind = Thing("part", frozenset({noun}))
        else:
            choices = {*NOUNS, *KINDS, *self.vocabulary.shape_names}
            self.note(node, f"'{plain(noun)}' is no noun, kind or shape{did_you_mean(noun, choices)}")
            self.take(name, Anything())
            return None
        if name.text != "assembly" or noun != "assembly":  # that name is always there and means the same
            self.take(name, kind)
        return Subject(name.text, kind, noun=noun)

    def _spread(self, subject: Subject, node: Text) -> Subject:
        """`for each: SHAPE` alone binds the names of the shape too."""
        names = self.vocabulary.shape_names.get(subject.noun, {})
        for name, kind in names.items():
            if name != subject.name:
                self.take(Text(name, node.line, node.column), kind)
        return replace(subject, spread=tuple(names)) if names else subject

    def _set_aside(self, node: Node) -> SetAside | None:
        table = self.table(node, ("when", "because"), ())
        when, because = self.expression(table.get("when")), self.sentence(table.get("because"))
        return SetAside(when, because) if when is not None and because is not None else None

    def _requirement(self, node: Node, consequence: str, cure: str) -> Requirement | None:
        if isinstance(node, Table) and looks_like_split_expression(node):
            self.note(node, "YAML took this apart; put the expression in quotes or on a line of its own")
            return None
        table = self.table(node, ("that", "else"), ("consequence", "cure"))
        that, otherwise = self.expression(table.get("that")), self.sentence(table.get("else"))
        own = self.word(table.get("consequence"), CONSEQUENCES) if table.get("consequence") else consequence
        own_cure = self.word(table.get("cure"), CURES) if table.get("cure") else cure
        if that is None or otherwise is None:
            return None
        return Requirement(that, otherwise, own or consequence, own_cure or cure, node.line)

    def _all_let(self) -> dict[str, Expression]:
        if self.sound:
            return {name: self._let_later(node, name) for name, node in self.names.let.items()}
        for name in self.names.let:
            self.type_of(name)
        return {name: self.names.checked[name] for name in self.names.let if name in self.names.checked}

    def _let_later(self, node: Text, name: str) -> Expression:
        def built() -> Built:
            self.type_of(name)
            found = self.names.checked[name]
            return found.type, found.run, found.names

        return Expression(node.text.strip(), built)

    def _sources(self, table: Table, limits: Mapping[str, Quantity]) -> tuple[RuleSource, ...]:
        node = table.get("sources")
        found: list[RuleSource] = []
        named: set[str] = set()
        for item in self.items(node):
            entry = self.table(item, ("text", "status"), ("for",))
            text, status = self.text(entry.get("text")), self.word(entry.get("status"), STATUSES)
            for name in self.items(entry.get("for")):
                if isinstance(name, Text) and name.text not in limits:
                    self.note(name, f"there is no limit '{plain(name.text)}'{did_you_mean(name.text, limits)}")
            names = tuple(self.list_of(entry.get("for"), self.text))
            named.update(names)
            found.append(RuleSource(" ".join((text or "").split()), status or "", names))
        limit_table = table.get("limits")
        for name, _ in limit_table.entries if isinstance(limit_table, Table) else ():
            if name.text not in named:
                self.note(name, f"limit '{name.text}' has no source; add it to the for: of one")
        if isinstance(node, Items) and not node.nodes:
            self.note(node, "at least one source is needed")
        return tuple(found)

    def _known_by(self, table: Table, subjects: tuple[Subject, ...]) -> tuple[str, ...]:
        names = tuple(subject.name for subject in subjects)
        for item in self.items(table.get("known by")):
            if isinstance(item, Text) and item.text not in names:
                self.note(item, f"'{plain(item.text)}' is no name of 'for each'{did_you_mean(item.text, names)}")
        return tuple(name for name in self.list_of(table.get("known by"), self.text) if name in names)

    def _shapes(self, subjects: tuple[Subject, ...]) -> tuple[str, ...]:
        # members of a subject's own lists have their blind spots in the shape that the subject is of
        own = [s for s in subjects if s.items is None or "matches(" in s.items.source]
        found = [s.type.noun for s in own if isinstance(s.type, Thing) and s.type.noun.startswith("match ")]
        return tuple(dict.fromkeys(noun.removeprefix("match ") for noun in found))

    def _never_used(self) -> None:
        for name in self.tables if not self.sound else ():
            if name not in self.used_tables:
                self.problems.append(Problem(self.file, 0, 0, f"the table '{name}' is never used"))

    # Samples

    def _samples(self, table: Table) -> tuple[Sample, ...]:
        if self.sound:
            return ()
        node = table.get("samples")
        found = self.list_of(node, self._sample) if node is not None else ()
        outcomes = {sample.expect for sample in found}
        for needed in ("finding", "clear"):
            if node is not None and needed not in outcomes:
                self.problems.append(
                    Problem(self.file, 1, 1, f"no sample expects '{needed}'; a rule needs one of each")
                )
        return tuple(found)

    def _sample(self, node: Node) -> Sample | None:
        table = self.table(node, ("title", "expect"), ("at", "says", "circuit", "boards", "assembly"))
        expect = self.word(table.get("expect"), EXPECTED)
        title = self.text(table.get("title"))
        circuits: dict[str, tuple[str, int]] = {}
        if isinstance(circuit := table.get("circuit"), Text):
            circuits["sample"] = (circuit.text, circuit.line + (1 if circuit.style == "block" else 0))
        for name, board in self.table(table.get("boards")).entries if table.get("boards") else ():
            if isinstance(board, Text):
                circuits[name.text] = (board.text, board.line + 1)
        if not circuits:
            self.note(node, "a sample needs a circuit")
        if expect in ("finding", "undecided", "set aside") and table.get("at") is None:
            self.note(node, f"a sample that expects '{expect}' needs at: which subjects")
        if expect in ("finding", "undecided") and table.get("says") is None:
            self.note(node, f"a sample that expects '{expect}' needs says: some words of the sentence")
        at = tuple(self.list_of(table.get("at"), self.text))
        says = self.text(table.get("says")) or ""
        wiring = table.get("assembly")
        if wiring is not None:
            self.problems += parse_node(wiring, self.file)[1]
        return Sample(title or "", expect, at, says, circuits, node.line, wiring) if expect else None
