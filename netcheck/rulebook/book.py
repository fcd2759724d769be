"""The whole rule book: words, part book, shapes and rules, supplied and of the house."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from netcheck.circuit.partbook import PartBook, load_part_book
from netcheck.circuit.shapeparts import Shape
from netcheck.circuit.words import Words, load_words
from netcheck.ground.names import did_you_mean, natural_key
from netcheck.ground.problems import Problem, Refused
from netcheck.ground.yamlkept import KeptDocuments
from netcheck.ground.yamltext import Load, load
from netcheck.language.types import Type
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.load import load_rule, read_file
from netcheck.rulebook.rule import Rule
from netcheck.rulebook.shape_load import ShapeSource, group_names, load_shape, needed_shapes
from netcheck.rulebook.vocabulary import RuleVocabulary

NO_FAMILIES = ("shapes", "parts")
MOST_FILES = 2000


@dataclass(frozen=True)
class RuleBook:
    """Everything that YAML says.

    Attributes:
        rules: in the order of families and names. replaced: name of a supplied rule -> file that stands in for it.
        digest: of all its files, to be told in reports.
    """

    words: Words
    parts: PartBook
    shapes: Mapping[str, ShapeSource]
    rules: tuple[Rule, ...]
    vocabulary: RuleVocabulary
    replaced: Mapping[str, str] = field(default_factory=dict)
    digest: str = ""

    def bind(self, facts: Facts) -> Mapping[str, Shape]:
        """All shapes for one circuit."""
        groups = group_names(self.words)
        return {name: source.bind(facts, groups) for name, source in self.shapes.items()}

    def rule(self, name: str) -> Rule | None:
        """A rule by its name, or None."""
        return next((rule for rule in self.rules if rule.name == name), None)


def supplied_folder() -> Path:
    """Where the supplied rules are: beside the package in a checkout, inside it when installed."""
    package = Path(__file__).resolve().parent.parent
    checkout = package.parent / "rules"
    return checkout if (checkout / "words.yaml").is_file() else package / "rules"


def load_rule_book(folder: Path | None = None, house: Sequence[Path] = (), with_samples: bool = True) -> RuleBook:
    """The supplied rule book and the rules of any number of house folders.

    Args:
        with_samples: no for who only judges: a book that was found sound before is then loaded without its samples,
            and each expression is built when it is first asked for.

    Raises:
        Refused: with every mistake of every file.
    """
    folder = folder or supplied_folder()
    name = hashlib.sha256("\n".join(str(path) for path in (folder, *house)).encode()).hexdigest()[:16]
    kept = KeptDocuments(name, _stamp((folder, *house)), without="samples")
    sound = kept.sound and not with_samples
    loaded = kept.load if sound or not kept.sound else load
    words = load_words(folder / "words.yaml", loaded)
    parts = load_part_book(folder / "parts", loaded)
    problems: list[Problem] = []
    shapes = _load_shapes([folder, *house], words, problems, loaded)
    names: dict[str, Mapping[str, Type]] = {name: shape.types for name, shape in shapes.items()}
    vocabulary = RuleVocabulary(names)
    rules: dict[str, Rule] = {}
    replaced: dict[str, str] = {}
    for base in (folder, *house):
        supplied = base == folder
        if not base.is_dir():
            problems.append(Problem(str(base), 0, 0, "there is no such folder of rules"))
            continue
        for path in rule_files(base):
            try:
                rule = load_rule(path, shown_name(path, base), words, vocabulary, supplied, loaded, sound)
            except Refused as refused:
                problems += refused.problems
                continue
            _place(rule, rules, replaced, problems)
    if problems:
        raise Refused(problems)
    kept.keep()
    ordered = tuple(sorted(rules.values(), key=lambda rule: natural_key(rule.name)))
    return RuleBook(words, parts, shapes, ordered, vocabulary, replaced, _digest(folder, ordered))


def _stamp(folders: Sequence[Path]) -> str:
    """A hash over all files of some folders of rules and over the program that checks them."""
    found = hashlib.sha256()
    package = Path(__file__).resolve().parent.parent
    for base, pattern in ((package, "*/*.py"), *((folder, "**/*.yaml") for folder in folders)):
        for path in sorted(base.glob(pattern))[:MOST_FILES]:
            with contextlib.suppress(OSError):
                found.update(str(path).encode() + b"\0" + path.read_bytes() + b"\0")
    return found.hexdigest()


def _place(rule: Rule, rules: dict[str, Rule], replaced: dict[str, str], problems: list[Problem]) -> None:
    if rule.instead_of:
        if rule.instead_of not in rules:
            known = did_you_mean(rule.instead_of, rules)
            problems.append(Problem(rule.file, 0, 0, f"instead of: there is no rule '{rule.instead_of}'{known}"))
            return
        del rules[rule.instead_of]
        replaced[rule.instead_of] = rule.file
    if rule.name in rules:
        other = rules[rule.name].file
        what = f"the name {rule.name} is taken by {other}; say 'instead of: {rule.name}' to stand in for it"
        problems.append(Problem(rule.file, 1, 1, what))
        return
    rules[rule.name] = rule


def shown_name(path: Path, base: Path) -> str:
    """A rule file as it is named: from the folder of its rule book on."""
    return str(Path(base.name) / path.relative_to(base))


def rule_files(base: Path) -> list[Path]:
    """The rule files of a folder, FAMILY/NAME.yaml, in natural order."""
    found = [path for path in base.glob("*/*.yaml") if path.parent.name not in NO_FAMILIES]
    return sorted(found, key=lambda path: natural_key(str(path.relative_to(base))))[:MOST_FILES]


def _load_shapes(
    bases: Sequence[Path], words: Words, problems: list[Problem], loaded_by: Load
) -> dict[str, ShapeSource]:
    """Shapes in an order in which each comes after those it is made of."""
    waiting: dict[str, tuple[Path, str, tuple[str, ...]]] = {}
    for base in bases:
        for path in sorted((base / "shapes").glob("*.yaml"))[:MOST_FILES]:
            shown = shown_name(path, base)
            try:
                node, _ = read_file(path, shown, loaded_by)
            except Refused as refused:
                problems += refused.problems
                continue
            if path.stem in waiting:
                problems.append(Problem(shown, 1, 1, f"the shape '{path.stem}' is there already"))
                continue
            waiting[path.stem] = (path, shown, needed_shapes(node))
    loaded: dict[str, ShapeSource] = {}
    failed: set[str] = set()
    while waiting:
        ready = [n for n, (_, _, needs) in waiting.items() if not any(need in waiting for need in needs)]
        if not ready:
            for _, shown, needs in waiting.values():
                what = f"the shape is made of itself, by way of {', '.join(n for n in needs if n in waiting)}"
                problems.append(Problem(shown, 1, 1, what))
            break
        for name in ready:
            path, shown, needs = waiting.pop(name)
            if failed & set(needs):
                failed.add(name)
                continue
            try:
                vocabulary = RuleVocabulary({n: shape.types for n, shape in loaded.items()})
                loaded[name] = load_shape(path, shown, words, vocabulary, loaded_by)
            except Refused as refused:
                problems += refused.problems
                failed.add(name)
    return loaded


def _digest(folder: Path, rules: Sequence[Rule]) -> str:
    found = hashlib.sha256()
    for rule in rules:
        found.update(rule.name.encode() + b"\0" + rule.text.encode("utf-8", "surrogatepass") + b"\0")
    for path in sorted([*folder.glob("*.yaml"), *folder.glob("shapes/*.yaml"), *folder.glob("parts/*.yaml")]):
        found.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return found.hexdigest()
