"""The rule book for people: the list of rules, one rule or shape explained, the words of the language."""

from __future__ import annotations

import textwrap
from itertools import groupby

from netcheck.ground.names import did_you_mean, plain
from netcheck.language.types import ListOf, Number, Thing, Type, Word
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.functions import documented
from netcheck.rulebook.nouns import NOUN_ATTRIBUTES, part_attributes
from netcheck.rulebook.rule import Rule
from netcheck.rulebook.shape_load import ShapeSource
from netcheck.rulebook.vocabulary import NOUNS, named_groups

WIDTH = 100
GATHERED = (
    ("any(… for x in list if …)", "yes when one holds; any(x for x in list) when there is one"),
    ("all(…)", "yes when every one holds"),
    ("count(list)", "how many"),
    ("total(…)", "the sum"),
    ("least(…), most(…)", "the smallest, the largest; nothing for an empty list"),
    ("list(… for x in list if …)", "a list; keeps members that only perhaps belong"),
    ("first(list)", "the first; nothing for an empty list"),
    ("known(x)", "whether x is known at all"),
)


def _wrapped(text: str, indent: str = "  ") -> str:
    return textwrap.fill(" ".join(text.split()), WIDTH, initial_indent=indent, subsequent_indent=indent)


def rule_list(book: RuleBook) -> str:
    """All rules by family: name, consequence, what a sound design does."""
    lines: list[str] = []
    for family, rules in groupby(book.rules, key=lambda rule: rule.name.split("/")[0]):
        lines.append(family)
        for rule in rules:
            house = "" if rule.supplied else " (house)"
            lines.append(f"  {rule.name.split('/')[1] + house:<28} {rule.consequence:<12} {rule.title}")
    lines.append(f"{len(book.rules)} rules, {len(book.shapes)} shapes; 'netcheck explain RULE' tells more")
    return "\n".join(lines)


def explain_rule(rule: Rule, book: RuleBook) -> str:
    """One rule: what for, why, remedy, limits with sources, what it looks at, its samples."""
    lines = [f"{rule.name}{'' if rule.supplied else ' (house rule)'}", _wrapped(rule.title), ""]
    lines += ["Why", _wrapped(rule.why), "Remedy", _wrapped(rule.remedy_text)]
    lines += [f"Consequence {rule.consequence}; cure: {rule.cure}", ""]
    if rule.caution:
        lines += ["Caution", _wrapped(book.words.caution(rule.caution)), ""]
    lines.append("Looks at")
    for subject in rule.subjects:
        lines.append(f"  each {subject.name}: {subject.noun or (subject.items.source if subject.items else '')}")
    lines += [f"  where {condition.source}" for condition in rule.where]
    lines += [f"  set aside when {aside.when.source}" for aside in rule.set_aside]
    lines.append("Requires")
    lines += [f"  {requirement.that.source}  [{requirement.consequence}]" for requirement in rule.requirements]
    lines += [f"  {name} = {expression.source}" for name, expression in rule.let.items()]
    if rule.limits:
        lines.append("Limits")
        lines += [f"  {name} = {value}" for name, value in rule.limits.items()]
    lines.append("Sources")
    for source in rule.sources:
        for_limits = f"; for {', '.join(source.limits)}" if source.limits else ""
        lines.append(_wrapped(f"{source.text} ({source.status}{for_limits})"))
    lines.append("Samples")
    lines += [f"  {sample.expect:<20} {sample.title}" for sample in rule.samples]
    lines.append(f"File {rule.file}")
    return "\n".join(lines)


def explain_shape(shape: ShapeSource) -> str:
    """One shape: its title, the names a rule can use, and its text."""
    names = [f"  {name:<16} {type_text(kind)}" for name, kind in shape.types.items()]
    return "\n".join(
        [f"shape {shape.name}: {shape.title}", "Names", *names, "", shape.text.rstrip(), f"File {shape.file}"]
    )


def type_text(kind: Type) -> str:
    """A static type as people read it, with its unit or its words."""
    if isinstance(kind, Number):
        return kind.unit.name
    if isinstance(kind, Word):
        words = sorted(word for word in kind.words if word)
        return f"one of: {', '.join(words)}" if len(words) <= 12 else f"one of {len(words)} words"
    if isinstance(kind, ListOf):
        return f"list of {type_text(kind.item)}"
    if isinstance(kind, Thing) and kind.kinds:
        return " or ".join(sorted(kind.kinds)) if len(kind.kinds) <= 6 else "part"
    return kind.noun if isinstance(kind, Thing) else str(kind)


def explain_words(book: RuleBook) -> str:
    """Every noun with its attributes, every function, every named group of kinds."""
    lines = ["Nouns of 'for each' (and every kind of part, and every shape)"]
    for noun, attributes_of in NOUNS.items():
        attributes = part_attributes(None) if attributes_of == "part" else NOUN_ATTRIBUTES[attributes_of]
        lines.append(noun)
        lines += [f"  .{name:<18} {type_text(found.type)}" for name, found in attributes.items()]
    for noun in NOUN_ATTRIBUTES:
        if noun not in NOUNS.values():
            lines.append(f"{noun} (met on the way)")
            lines += [f"  .{name:<28} {type_text(found.type)}" for name, found in NOUN_ATTRIBUTES[noun].items()]
    lines.append("Functions")
    lines += [f"  {call:<42} {about}" for call, about in (*documented(book.vocabulary.functions), *GATHERED)]
    lines.append("Named groups of kinds")
    lines += [_wrapped(f"{name}: {', '.join(sorted(kinds))}") for name, kinds in named_groups(book.words).items()]
    lines.append("Shapes")
    lines += [f"  {name:<28} {shape.title}" for name, shape in book.shapes.items()]
    return "\n".join(lines)


def unknown_name(name: str, book: RuleBook) -> str:
    """What to say of a name that is no rule, no shape and not 'words'."""
    known = [rule.name for rule in book.rules] + list(book.shapes) + ["words"]
    return f"'{plain(name)}' is no rule or shape{did_you_mean(name, known) or '; see netcheck rules'}"
