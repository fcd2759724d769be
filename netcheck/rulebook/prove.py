"""Prove rules by their own samples: outcome, place and words; then break the rule and see that a sample notices."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from netcheck.circuit.model import Hints
from netcheck.circuit.sampling import read_sample
from netcheck.ground.names import spoken_list
from netcheck.ground.problems import Refused
from netcheck.ground.yamltext import Node
from netcheck.intake.assembly import BoardEntry
from netcheck.intake.assemblycheck import check_against
from netcheck.intake.assemblyreading import parse_node
from netcheck.intake.netlist import Netlist
from netcheck.language.expression import Expression
from netcheck.language.logic import invert
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.judge import Judged, judge_closely
from netcheck.rulebook.knowing import facts_of_assembly, facts_of_boards
from netcheck.rulebook.rule import Rule, Sample

Boards = Mapping[str, tuple[Netlist, Hints]]
BLANK = "TBD"


@dataclass(frozen=True, slots=True)
class Proof:
    """How a rule fared.

    Attributes:
        samples: how many were run. failures: a sentence for each that went wrong. gaps: what no sample looks at.
        unbroken: changes to the rule that no sample noticed (only when it was broken on purpose).
    """

    rule: str
    file: str
    samples: int
    failures: tuple[str, ...] = ()
    gaps: tuple[str, ...] = ()
    unbroken: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether nothing at all is wrong."""
        return not (self.failures or self.gaps or self.unbroken)


@dataclass(frozen=True)
class _Laid:
    """A sample, laid out as boards with their facts."""

    sample: Sample
    boards: Boards
    facts: Facts


def prove(rule: Rule, book: RuleBook, break_it: bool = False) -> Proof:
    """Run the samples of a rule; with break_it also change the rule and the samples on purpose."""
    laid: list[_Laid] = []
    failures: list[str] = []
    for sample in rule.samples:
        try:
            boards = _boards(sample, rule.file)
            laid.append(_Laid(sample, boards, _facts(boards, book, sample.wiring, rule.file)))
        except Refused as refused:
            failures += [str(problem) for problem in refused.problems]
    results = [(one, list(judge_closely(rule, one.facts))) for one in laid]
    for one, judged in results:
        failures += [_at(rule, one.sample, what) for what in compare(one.sample, judged)]
    gaps = tuple(_gaps(rule, [judged for _, judged in results]))
    unbroken: list[str] = []
    if break_it and not failures:
        unbroken += _unbroken(rule, laid)
        unbroken += _blanked(rule, book, results)
    return Proof(rule.name, rule.file, len(rule.samples), tuple(failures), gaps, tuple(unbroken))


def _at(rule: Rule, sample: Sample, what: str) -> str:
    return f"{rule.file}:{sample.line}: sample '{sample.title}': {what}"


def _boards(sample: Sample, file: str) -> Boards:
    return {name: read_sample(text, file, line, name) for name, (text, line) in sample.circuits.items()}


def _facts(boards: Boards, book: RuleBook, wiring: Node | None = None, file: str = "") -> Facts:
    """Facts of boards side by side, or joined as the keys of an assembly file say."""
    if wiring is not None:
        return _joined_facts(boards, book, wiring, file)
    return facts_of_boards(boards, book.words, book.parts, book.bind)


def _joined_facts(boards: Boards, book: RuleBook, wiring: Node, file: str) -> Facts:
    read, problems = parse_node(wiring, file)
    assembly = replace(read, boards=tuple(BoardEntry(name, "") for name in boards))
    netlists = {name: netlist for name, (netlist, _) in boards.items()}
    problems += check_against(assembly, netlists)
    if problems:
        raise Refused(problems)
    return facts_of_assembly(assembly, boards, book.words, book.parts, book.bind)


def compare(sample: Sample, judged: Iterable[Judged]) -> Iterator[str]:
    """What differs between what a sample expects and what came out."""
    found = list(judged)
    if sample.expect == "nothing to look at":
        if found:
            yield f"expects nothing to look at; {_told(found)}"
        return
    matching = [one for one in found if one.verdict.outcome == sample.expect]
    if not matching:
        yield f"expects {sample.expect}; {_told(found) if found else 'there was nothing to look at'}"
        return
    places = {place for one in matching for place in one.places}
    if sample.at and places != set(sample.at):
        yield f"expects {sample.expect} at {spoken_list(sample.at)}; it was at {spoken_list(sorted(places))}"
    for other in found:
        if other.verdict.outcome not in (sample.expect, "clear", "set aside"):
            yield f"{other.verdict.subject} should be clear or set aside; {_told([other])}"
    if sample.says:
        for one in matching:
            if sample.says not in one.verdict.sentence:
                yield f"'{sample.says}' is not in: {one.verdict.sentence}"


def _told(judged: list[Judged]) -> str:
    return "; ".join(f"{one.verdict.subject} is {one.verdict.outcome}: {one.verdict.sentence}" for one in judged[:4])


# What no sample looks at


def _gaps(rule: Rule, results: list[list[Judged]]) -> Iterator[str]:
    everything = [one for judged in results for one in judged]
    failed = {index for one in everything if one.verdict.outcome == "finding" for index in one.failed}
    for index, requirement in enumerate(rule.requirements):
        if index not in failed:
            yield f"{rule.file}:{requirement.line}: no sample breaks this requirement: {requirement.that.source}"
    rows = {row for one in everything for row in one.rows}
    for table in rule.tables.values():
        for index, (condition, word) in enumerate(table.rows):
            if (table.name, index) not in rows:
                test = condition.text if condition is not None else "else"
                yield f"{rule.file}: no sample reaches the row '{test}' ({word}) of the table {table.name}"
    if _uses_values(rule) and not any(sample.expect == "undecided" for sample in rule.samples):
        yield f"{rule.file}: the rule uses values, but no sample expects 'undecided'"


_VALUES = (".ohms", ".farads", ".henries", "resistance(", "main_value(", "volts(", ".rated_", ".volts")


def _uses_values(rule: Rule) -> bool:
    sources = [*(r.that.source for r in rule.requirements), *(let.source for let in rule.let.values())]
    return any(word in source for source in sources for word in _VALUES)


# Breaking


def _changed(rule: Rule) -> Iterator[tuple[str, Rule]]:
    """The rule with each requirement turned into its opposite, each condition left out."""
    for index, requirement in enumerate(rule.requirements):
        opposite = replace(requirement, that=_inverted(requirement.that))
        changed = (*rule.requirements[:index], opposite, *rule.requirements[index + 1 :])
        yield f"the opposite of: {requirement.that.source}", replace(rule, requirements=changed)
        if len(rule.requirements) > 1:
            left = (*rule.requirements[:index], *rule.requirements[index + 1 :])
            yield f"without the requirement: {requirement.that.source}", replace(rule, requirements=left)
    for index, condition in enumerate(rule.where):
        yield (
            f"without the condition: {condition.source}",
            replace(rule, where=(*rule.where[:index], *rule.where[index + 1 :])),
        )
    for index, aside in enumerate(rule.set_aside):
        yield (
            f"without setting aside: {aside.when.source}",
            replace(rule, set_aside=(*rule.set_aside[:index], *rule.set_aside[index + 1 :])),
        )


def _inverted(that: Expression) -> Expression:
    return that.run_by(lambda scope: invert(that.run(scope)))


def _unbroken(rule: Rule, laid: list[_Laid]) -> Iterator[str]:
    for what, changed in _changed(rule):
        noticed = any(any(True for _ in compare(one.sample, judge_closely(changed, one.facts))) for one in laid)
        if not noticed:
            yield f"{rule.file}: no sample notices the rule {what}"


def _blanked(rule: Rule, book: RuleBook, results: list[tuple[_Laid, list[Judged]]]) -> Iterator[str]:
    """A value that cannot be read must never turn a finding into clear."""
    for one, judged in results:
        findings = {j.verdict.identity: j for j in judged if j.verdict.outcome == "finding"}
        if not findings:
            continue
        for board, (netlist, hints) in one.boards.items():
            for reference in _with_numbers(one.facts, board):
                blanked = {**one.boards, board: (_without_value(netlist, reference), hints)}
                for after in judge_closely(rule, _facts(blanked, book, one.sample.wiring, rule.file)):
                    if after.verdict.outcome == "clear" and after.verdict.identity in findings:
                        what = f"with the value of {reference} blanked, {after.verdict.subject} turns clear"
                        yield _at(rule, one.sample, what)


def _with_numbers(facts: Facts, board: str) -> list[str]:
    parts = next(b.parts for b in facts.circuit.boards if b.name == board)
    return [part.ref for part in parts if part.value.number is not None]


def _without_value(netlist: Netlist, reference: str) -> Netlist:
    components = tuple(
        replace(component, value=BLANK) if component.reference == reference else component
        for component in netlist.components
    )
    return replace(netlist, components=components)
