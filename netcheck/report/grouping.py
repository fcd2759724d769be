"""What belongs together in a report: findings of one sort, equal channels, what is missing, ways of mating.

Pure functions over verdicts and matings. A reader wants one entry for one cause, not one for each part.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from netcheck.circuit.model import Circuit
from netcheck.ground.names import natural_key
from netcheck.physics.mating import Mating
from netcheck.rulebook.verdicts import CONSEQUENCES, CURES, Verdict

_TOKEN = re.compile(r"[^\s,;()\"'“”]+")
_NUMBER = re.compile(
    r"(?<![\w.])[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?:\s?(?:[fpnµumkMG]?(?:Ω|ohm|V/s|V|A|W|Hz|H|F|s|m)\b|Ω|[fpnµmkMG]Ω"
    r"|dB|K/W|K|EUR|%))?"
)
_LIST = re.compile(r"▢(?:(?:, | and )▢)+")


@dataclass(frozen=True, slots=True)
class Entry:
    """Findings with one cause or on equal parts: the first leads, the others are alike."""

    verdicts: tuple[Verdict, ...]

    @property
    def lead(self) -> Verdict:
        """The one whose sentence is shown."""
        return self.verdicts[0]


@dataclass(frozen=True, slots=True)
class Group:
    """Entries of one rule whose sentences have the same shape."""

    rule: str
    consequence: str
    cure: str
    entries: tuple[Entry, ...]

    @property
    def size(self) -> int:
        """Number of findings, those that are alike counted too."""
        return sum(len(entry.verdicts) for entry in self.entries)


@dataclass(frozen=True, slots=True)
class Question:
    """Something that is missing, and the verdicts that wait for it.

    Attributes:
        reason: the first reason of the shape, as a sentence. others: what else the same is asked of.
        waiting: verdicts that are listed here, each verdict under one question only.
        touches: how many verdicts name it. settles: how many name nothing else.
        consequence: the gravest of those that name it.
    """

    reason: str
    others: tuple[str, ...]
    waiting: tuple[Verdict, ...]
    touches: int
    settles: int
    consequence: str


@dataclass(frozen=True, slots=True)
class Aside:
    """Subjects of one rule that were set aside for one reason."""

    rule: str
    because: str
    verdicts: tuple[Verdict, ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """What a pin meets in one way of mating: a net key or None when left open, the far position, and whether that
    is what it meets the right way."""

    there: str | None
    meets: str
    same: bool


@dataclass(frozen=True, slots=True)
class MatingTable:
    """A connector pair: pins in rows, ways in columns.

    Attributes:
        ways: (label, possible) of each column. rows: (pin key, net key here, a cell a column).
        same_turned: every way in which it can be turned meets the same nets.
    """

    near: str
    far: str | None
    cable: str
    supply_entry: bool
    ways: tuple[tuple[str, bool | None], ...]
    rows: tuple[tuple[str, str, tuple[Cell, ...]], ...]
    same_turned: bool

    @property
    def wrong_ways(self) -> tuple[str, ...]:
        """Labels of the ways other than the right one that can happen or are not known to be impossible."""
        return tuple(label for label, possible in self.ways if label != "right" and possible is not False)


def known_names(circuit: Circuit) -> frozenset[str]:
    """Every word by which a sentence may name a part, an amplifier or a net."""
    names = {(part.board, part.ref) for part in circuit.parts.values()}
    names |= {(net.board, net.name) for net in circuit.nets.values() if net.name}
    for amplifier in circuit.amplifiers.values():
        part = circuit.parts.get(amplifier.part)
        names |= {(amplifier.board, f"{part.ref}{mark}{amplifier.unit}") for mark in ("", ":") if part}
    return frozenset(name for _, name in names) | frozenset(f"{board}.{name}" for board, name in names)


def without_names(sentence: str, names: frozenset[str]) -> tuple[str, tuple[str, ...]]:
    """The sentence with a box for each name, lists of names as one box; and the names, in order.

    >>> without_names("Q1 has C1, C2 and C3.", frozenset({"Q1", "C1", "C2", "C3"}))
    ('▢ has ▢.', ('Q1', 'C1', 'C2', 'C3'))
    """
    found: list[str] = []

    def box(match: re.Match[str]) -> str:
        word = match[0]
        bare = word if word in names else word.rstrip(".:!?")
        if bare not in names:
            return word
        found.append(bare)
        return "▢" + word[len(bare) :]

    return _LIST.sub("▢", _TOKEN.sub(box, sentence)), tuple(found)


def sentence_shape(sentence: str, names: frozenset[str]) -> str:
    """The sentence without names and numbers: equal for findings of one sort.

    >>> sentence_shape("R5 is 4.7 kΩ; 10 Ω is the least.", frozenset({"R5"}))
    '▢ is #; # is the least.'
    """
    boxed, _ = without_names(sentence, names)
    return _LIST.sub("▢", _NUMBER.sub("#", boxed.replace("an open circuit", "#")))


def _looks(verdict: Verdict, circuit: Circuit) -> tuple[tuple[str, str], ...]:
    """Kinds and values of what a verdict is about: equal for the same place in another channel."""
    looks: list[tuple[str, str]] = []
    for key in verdict.keys:
        owner = circuit.pins.get(key) or circuit.amplifiers.get(key)
        part = circuit.parts.get(owner.part if owner else key)
        net = circuit.nets.get(key)
        if part:
            looks.append((part.kind, part.value.text.lower()))
        elif net:
            looks.append(("net", net.role))
    return tuple(sorted(looks))


def _entries(verdicts: Sequence[Verdict], circuit: Circuit, names: frozenset[str]) -> tuple[Entry, ...]:
    """One entry for each cause: one identity, one sentence, or the same said of equal parts."""
    homes: dict[object, list[Verdict]] = {}
    ordered: list[list[Verdict]] = []
    for verdict in verdicts:
        boxed, _ = without_names(verdict.sentence, names)
        sort = (verdict.consequence, verdict.cure)
        marks: list[object] = [("id", verdict.identity), ("said", verdict.sentence, sort)]
        if looks := _looks(verdict, circuit):
            marks.append(("alike", boxed, looks, sort))
        home = next((homes[mark] for mark in marks if mark in homes), None)
        if home is None:
            home = []
            ordered.append(home)
        # One identity is one finding, however often it was met.
        if all(verdict.identity != other.identity for other in home[:1]) and ("id", verdict.identity) not in homes:
            home.append(verdict)
        for mark in marks:
            homes.setdefault(mark, home)
    return tuple(Entry(tuple(home)) for home in ordered)


def findings(verdicts: Iterable[Verdict], circuit: Circuit) -> tuple[Group, ...]:
    """Findings in groups, the gravest first, then by cure (the board first) and in the order of the rule book."""
    names = known_names(circuit)
    sorts: dict[tuple[str, str, str, str], list[Verdict]] = {}
    for verdict in verdicts:
        if verdict.outcome == "finding":
            shape = sentence_shape(verdict.sentence, names)
            sorts.setdefault((verdict.rule, verdict.consequence, verdict.cure, shape), []).append(verdict)
    groups = [
        Group(rule, consequence, cure, _entries(found, circuit, names))
        for (rule, consequence, cure, _), found in sorts.items()
    ]
    return tuple(sorted(groups, key=lambda group: (_gravity(group.consequence), _rank(group.cure, CURES))))


def questions(verdicts: Iterable[Verdict], circuit: Circuit) -> tuple[Question, ...]:
    """What is missing, by shape of the reason; hazards first, then those whose answers settle most."""
    names = known_names(circuit)
    undecided = [verdict for verdict in verdicts if verdict.outcome == "undecided"]
    boxed: dict[str, tuple[str, tuple[str, ...]]] = {}
    shapes_of: list[tuple[str, ...]] = []
    for verdict in undecided:
        reasons = verdict.reasons or ("what is missing is not told",)
        for reason in reasons:
            boxed.setdefault(reason, without_names(reason, names))
        shapes_of.append(tuple(dict.fromkeys(boxed[reason][0] for reason in reasons)))
    grave = Counter(
        shape
        for verdict, shapes in zip(undecided, shapes_of, strict=True)
        for shape in shapes
        if verdict.consequence != "performance"
    )
    touches = Counter(shape for shapes in shapes_of for shape in shapes)
    settles = Counter(shapes[0] for shapes in shapes_of if len(shapes) == 1)
    waiting: dict[str, list[Verdict]] = {}
    gravest: dict[str, str] = {}
    for verdict, shapes in zip(undecided, shapes_of, strict=True):
        home = max(shapes, key=lambda shape: touches[shape])
        waiting.setdefault(home, []).append(verdict)
        for shape in shapes:
            gravest[shape] = min(gravest.get(shape, verdict.consequence), verdict.consequence, key=_gravity)
    reasons_of: dict[str, list[str]] = {}
    for reason, (shape, _) in boxed.items():
        reasons_of.setdefault(shape, []).append(reason)
    made = {
        shape: Question(
            reason=texts[0],
            others=_others([boxed[text][1] for text in texts]),
            waiting=tuple(waiting.get(shape, ())),
            touches=touches[shape],
            settles=settles[shape],
            consequence=gravest[shape],
        )
        for shape, texts in reasons_of.items()
    }
    # A hazard goes first; then those that most answers wait for which may hold a gate.
    first = sorted(
        made, key=lambda shape: (gravest[shape] != "hazard", -grave[shape], -settles[shape], -touches[shape])
    )
    return tuple(made[shape] for shape in first)


def _others(named: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """What reasons of one shape name besides what the first names."""
    first = set(named[0])
    others = dict.fromkeys(name for names in named[1:] for name in names if name not in first)
    return tuple(sorted(others, key=natural_key))


def asides(verdicts: Iterable[Verdict]) -> tuple[Aside, ...]:
    """What was set aside, by rule and reason."""
    found: dict[tuple[str, str], list[Verdict]] = {}
    for verdict in verdicts:
        if verdict.outcome == "set aside":
            found.setdefault((verdict.rule, verdict.because), []).append(verdict)
    return tuple(Aside(rule, because, tuple(group)) for (rule, because), group in found.items())


def mating_tables(matings: Iterable[Mating]) -> tuple[MatingTable, ...]:
    """Connector pairs as tables; those that carry supplies first, then those that can go wrong."""
    pairs: dict[tuple[str, str | None, str], list[Mating]] = {}
    for mating in matings:
        pairs.setdefault((mating.near, mating.far, mating.cable), []).append(mating)
    tables = [_mating_table(found) for found in pairs.values()]
    return tuple(sorted(tables, key=lambda t: (not t.supply_entry, not t.wrong_ways, natural_key(t.near))))


def _mating_table(found: Sequence[Mating]) -> MatingTable:
    ways = sorted(found, key=lambda mating: (("right", "turned", "shifted").index(mating.way), mating.step))
    right = {contact.pin: contact.there for contact in ways[0].contacts} if ways[0].way == "right" else {}
    cells = [{contact.pin: contact for contact in mating.contacts} for mating in ways]
    pins = dict.fromkeys((contact.pin, contact.here) for mating in ways for contact in mating.contacts)
    rows = []
    for pin, here in pins:
        meets = [column.get(pin) for column in cells]
        wanted = right.get(pin, here)
        rows.append(
            (pin, here, tuple(Cell(c.there, c.meets, c.there == wanted) if c else Cell(None, "", False) for c in meets))
        )
    turned = [at for at, mating in enumerate(ways) if mating.way == "turned"]
    return MatingTable(
        near=ways[0].near,
        far=ways[0].far,
        cable=ways[0].cable,
        supply_entry=any(mating.supply_entry for mating in ways),
        ways=tuple((f"{mating.way} {mating.step}".strip(), mating.possible) for mating in ways),
        rows=tuple(rows),
        same_turned=bool(turned) and all(row[2][at].same for row in rows for at in turned),
    )


def _gravity(consequence: str) -> int:
    return _rank(consequence, CONSEQUENCES)


def _rank(word: str, words: Sequence[str]) -> int:
    return words.index(word) if word in words else len(words)
