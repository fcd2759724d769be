"""The part book: what is known of real components, from the YAML of rules/parts.

A file of the part book is a table with these keys, each optional:

    about: a text for the reader.
    pinouts:                              # shared by all files of the folder; names are unique in it
      dual opamp: {packages: [8 pins], pins: {1: output A, 2: minus A, 4: supply minus}, source: …, status: read}
    parts:                                # records by type
      NE5532:
        kind: opamp                       # of the kinds of parts
        what: dual op-amp                 # a few words for a reader
        also: [SA5532, NJM5532]           # other type numbers of the same part
        prefixes: [LM, MC]                # letters that makers put before the type
        suffix: any                       # any (letters first), none, or a list of those that may follow
        family: yes                       # several types in one record; it goes by the spelling that was found
        like: TL072                       # takes what it does not give itself from that record (one level); its own
                                          # figures come from memory unless it has a status
        source: "TI SLOS075J"             # where the figures were read
        status: mixed                     # read, memory, mixed or common practice
        memory: [noise_current]           # figures of a mixed record that come from memory (or read: [...])
        figures:                          # names and units as in FIELDS
          supply_total_most: 44 V
          short_circuit_current: 10 mA to 60 mA
          input_clamp: yes
          bias_current: {is: 200 nA, source: …, status: memory}
        grades: {B: {gain_least: 200}}    # figures that the start of the suffix changes
        pinouts: [dual opamp]
        controls:
          - {name: MUTE, numbers: {TO-220-11: 8}, use: mute, when open: stops, needs: 0.5 mA out of the pin}
        lead orders: {onsemi: CBE}
        cautions: [a sentence]
    generic:                              # what any part of a kind is like; without `like` it fills gaps of records
      - {kind: npn, like: small, figures: {…}}

In a type, `#` stands for one digit and `{volts}` for volts as part numbers have them (05, 12, 5V1, 3.3); the record
then lists `volts: [5, 12]` and `volts tolerance: 5 %`, and the volts become output_volts, zener_volts of a
zener, or reverse_volts_most of a surge diode (its stand-off).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

from netcheck.circuit.model import KINDS, PIN_ROLES, Control, Figure, Record
from netcheck.circuit.partfields import FIELDS, WORDS
from netcheck.circuit.partfinding import Entry, PartBook, Pattern, pattern, pinout_for
from netcheck.ground.names import did_you_mean, plain
from netcheck.ground.problems import Problem, Refused
from netcheck.ground.units import PLAIN, VOLT, Quantity, Unit, read_quantity
from netcheck.ground.yamltext import Load, Node, Reader, Table, Text, load

__all__ = ["FIELDS", "WORDS", "PartBook", "load_part_book", "pinout_for"]

MOST_RECORDS = 5000
MOST_FILES = 100

_STATUSES = ("read", "memory", "mixed", "common practice")
_FIGURE_STATUSES = ("read", "memory", "common practice")
_USES = ("mute", "standby", "enable", "shutdown", "mode", "sense", "gain", "reset", "bias", "synchronise")
_WHEN_OPEN = ("works", "stops", "undefined")
_RECORD_KEYS = (
    "kind", "what", "also", "prefixes", "suffix", "like", "source", "status", "memory", "read", "figures", "grades",
    "pinouts", "controls", "lead orders", "cautions", "volts", "volts tolerance", "family",
)  # fmt: skip
_TYPE = re.compile(r"(?=.{2,32}$)[A-Z0-9#][A-Z0-9#.+-]*(?:\{volts\}[A-Z0-9#.+-]*)?")


def load_part_book(folder: Path, loaded: Load = load) -> PartBook:
    """Read all `*.yaml` of a folder. loaded: how YAML becomes nodes.

    Raises:
        Refused: with every mistake of every file at once.
    """
    paths = sorted(folder.glob("*.yaml"))
    if not paths:
        raise Refused(Problem(str(folder), 0, 0, "there is no part book here; files that end in .yaml are expected"))
    if len(paths) > MOST_FILES:
        raise Refused(Problem(str(folder), 0, 0, f"more than {MOST_FILES} files in one part book"))
    problems: list[Problem] = []
    files: list[tuple[Reader, Table]] = []
    for path in paths:
        try:
            text = path.read_bytes().decode("utf-8")
            reader = Reader(str(path))
            table = reader.table(loaded(text, str(path)), allowed=("about", "pinouts", "parts", "generic"))
            files.append((reader, table))
        except UnicodeDecodeError as error:
            problems.append(Problem(str(path), 0, 0, f"the file is not UTF-8 (byte {error.start})"))
        except OSError as error:
            problems.append(Problem(str(path), 0, 0, f"the file cannot be read: {error.strerror}"))
        except Refused as refused:
            problems.extend(refused.problems)
    book = _Loader().load(files)
    problems.extend(problem for reader, _ in files for problem in reader.problems)
    if problems:
        raise Refused(problems)
    return book


@dataclass
class _Draft:
    """A record while it is read: the node, its reader and what it leads to."""

    name: str
    reader: Reader
    key: Text
    table: Table
    entry: Entry | None = None


class _Loader:
    """Builds the book of all files: pin-outs first, then records, then those that are like another."""

    def __init__(self) -> None:
        self.pinouts: dict[str, tuple[tuple[str, ...], Mapping[str, tuple[str, str]]]] = {}
        self.drafts: dict[str, _Draft] = {}
        self.patterns: dict[str, tuple[Pattern, str]] = {}

    def load(self, files: list[tuple[Reader, Table]]) -> PartBook:
        for reader, table in files:
            for key, node in reader.table(table.get("pinouts")).entries:
                self._pinout(reader, key, node)
        for reader, table in files:
            for key, node in reader.table(table.get("parts")).entries:
                self._announce(reader, key, node)
        for draft in self.drafts.values():
            if draft.table.get("like") is None:
                draft.entry = self._entry(draft, None)
        for draft in self.drafts.values():
            if draft.table.get("like") is not None:
                draft.entry = self._entry(draft, self._model(draft))
        generics = [g for reader, table in files for g in self._generics(reader, table)]
        entries: list[Entry] = []
        for draft in self.drafts.values():
            if draft.entry is not None:
                self._spell(draft, draft.entry, len(entries))
                entries.append(_filled(draft.entry, generics))
        index: dict[str, list[Pattern]] = {}
        for spelling, (ready, _) in self.patterns.items():
            start = spelling[:2]
            index.setdefault("" if "#" in start or "{" in start else start, []).append(ready)
        return PartBook(
            records=tuple(entry.record for entry in entries),
            generics=tuple(generics),
            entries=tuple(entries),
            index=MappingProxyType({start: tuple(found) for start, found in index.items()}),
        )

    def _pinout(self, reader: Reader, key: Text, node: Node) -> None:
        if key.text in self.pinouts:
            reader.note(key, f"the pin-out '{plain(key.text)}' stands twice in the part book")
        table = reader.table(node, needed=("packages", "pins"), allowed=("source", "status", "note"))
        reader.word(table.get("status") or Text("read", 0, 0), _STATUSES)
        packages = reader.list_of(table.get("packages"), reader.text)
        pins: dict[str, tuple[str, str]] = {}
        for number, role_node in reader.table(table.get("pins")).entries:
            role = reader.text(role_node)
            if role is None:
                continue
            word, unit = (role[:-2], role[-1]) if re.search(r" [A-Z]$", role) else (role, "")
            if word not in PIN_ROLES or not word:
                reader.note(role_node, f"'{plain(word)}' is not a role of a pin{did_you_mean(word, PIN_ROLES)}")
            pins[number.text] = (word, unit)
        self.pinouts[key.text] = (packages, MappingProxyType(pins))

    def _announce(self, reader: Reader, key: Text, node: Node) -> None:
        if key.text in self.drafts:
            first = self.drafts[key.text]
            where = f"{first.reader.file}:{first.key.line}"
            reader.note(key, f"the type '{plain(key.text)}' stands twice in the part book, first at {where}")
        elif len(self.drafts) >= MOST_RECORDS:
            reader.note(key, f"more than {MOST_RECORDS} records")
        else:
            table = reader.table(node, allowed=_RECORD_KEYS)
            self.drafts[key.text] = _Draft(key.text, reader, key, table)

    def _model(self, draft: _Draft) -> Entry | None:
        node = draft.table.get("like")
        like = draft.reader.text(node)
        if like is None or node is None:
            return None
        model = self.drafts.get(like)
        if model is None:
            draft.reader.note(node, f"there is no record '{plain(like)}'{did_you_mean(like, self.drafts)}")
            return None
        if model.table.get("like") is not None:
            draft.reader.note(node, f"'{plain(like)}' is like another record itself; name that one")
            return None
        return model.entry

    def _entry(self, draft: _Draft, model: Entry | None) -> Entry | None:
        reader, table = draft.reader, draft.table
        old = model.record if model else Record(draft.name, "")
        kind = old.kind
        if table.get("kind") is not None or not kind:
            if table.get("kind") is None and table.get("like") is None:
                reader.note(table, f"'{plain(draft.name)}' has no kind")
            kind = reader.word(table.get("kind"), KINDS) or ""
        source = reader.text(table.get("source")) if table.get("source") else old.source
        status = reader.word(table.get("status"), _STATUSES) if table.get("status") else old.status
        if not status and not (table.get("like") and model is None):
            reader.note(table, f"'{plain(draft.name)}' has no status; it is one of: {', '.join(_STATUSES)}")
        # What a record adds to the one that it is like was not read with it, unless it says so itself.
        own_status = status if table.get("status") or not model else "memory"
        figures = dict(old.figures) | self._figures(reader, table, source or "", own_status or "")
        record = Record(
            name=draft.name,
            kind=kind,
            figures=MappingProxyType(figures),
            source=source or "",
            status=status or "",
            what=(reader.text(table.get("what")) or "") if table.get("what") else old.what,
            pinouts=self._chosen_pinouts(reader, table.get("pinouts")) or old.pinouts,
            polarity=figures["polarity"].word if "polarity" in figures else "",
            output=_signed_output(figures),
            tab=figures["tab"].word if "tab" in figures else "",
            controls=reader.list_of(table.get("controls"), lambda node: _control(reader, node)) or old.controls,
            lead_orders=_texts(reader, table.get("lead orders")) or old.lead_orders,
            cautions=reader.list_of(table.get("cautions"), reader.text) or old.cautions,
        )
        return self._recognition(draft, record, model)

    def _recognition(self, draft: _Draft, record: Record, model: Entry | None) -> Entry:
        reader, table = draft.reader, draft.table
        usual = "memory" if record.status == "mixed" else record.status
        grades: Mapping[str, Mapping[str, Figure]] = {
            grade.text: self._figure_table(reader, reader.table(node), record.source, usual, {})
            for grade, node in reader.table(table.get("grades")).entries
        }
        volts = reader.list_of(table.get("volts"), lambda node: _number(reader, node))
        tolerance = reader.quantity(table.get("volts tolerance"))
        suffixes: tuple[str, ...] | None = None
        if (node := table.get("suffix")) is not None:
            words = reader.list_of(node, reader.text)
            suffixes = None if words == ("any",) else () if words == ("none",) else words
        spread = tolerance.value if tolerance else model.tolerance if model else 0.0
        if not grades and model is not None:
            grades = dict(model.grades)
        listed = volts or (model.volts if model else ())
        family = "#" in draft.name or (table.get("family") is not None and reader.yes_no(table.get("family")) is True)
        return Entry(record, MappingProxyType(grades), listed, spread, suffixes, family)

    def _figures(self, reader: Reader, table: Table, source: str, status: str) -> dict[str, Figure]:
        own: dict[str, str] = {}
        for key, word in (("memory", "memory"), ("read", "read")):
            for node in reader.items(table.get(key)):
                name = reader.text(node)
                if name is not None and name not in FIELDS:
                    reader.note(node, f"'{plain(name)}' is no figure of the part book{did_you_mean(name, FIELDS)}")
                elif name is not None:
                    own[name] = word
        return self._figure_table(reader, reader.table(table.get("figures")), source, status, own)

    def _figure_table(
        self, reader: Reader, table: Table, source: str, status: str, own: Mapping[str, str]
    ) -> dict[str, Figure]:
        # A mixed record lists the exceptions: what is not listed has the other status.
        usual = status if status != "mixed" else "memory" if "read" in own.values() else "read"
        found: dict[str, Figure] = {}
        for key, node in table.entries:
            if key.text not in FIELDS:
                reader.note(key, f"'{plain(key.text)}' is no figure of the part book{did_you_mean(key.text, FIELDS)}")
                continue
            figure = _figure(reader, key.text, node)
            if figure is not None:
                found[key.text] = replace(
                    figure, source=figure.source or source, status=figure.status or own.get(key.text, usual)
                )
        return found

    def _chosen_pinouts(self, reader: Reader, node: Node | None) -> Mapping[str, Mapping[str, tuple[str, str]]]:
        chosen: dict[str, Mapping[str, tuple[str, str]]] = {}
        for item in reader.items(node):
            name = reader.text(item)
            if name is None:
                continue
            if name not in self.pinouts:
                reader.note(item, f"there is no pin-out '{plain(name)}'{did_you_mean(name, self.pinouts)}")
                continue
            packages, pins = self.pinouts[name]
            for package in packages:
                if package in chosen:
                    reader.note(item, f"two pin-outs are given for the package '{plain(package)}'")
                chosen[package] = pins
        return MappingProxyType(chosen)

    def _generics(self, reader: Reader, table: Table) -> Iterable[tuple[str, str, Record]]:
        for node in reader.items(table.get("generic")):
            entry = reader.table(node, needed=("kind", "figures", "status"), allowed=("like", "source"))
            kind = reader.word(entry.get("kind"), KINDS)
            like = (reader.text(entry.get("like")) or "") if entry.get("like") else ""
            source = (reader.text(entry.get("source")) or "") if entry.get("source") else ""
            status = reader.word(entry.get("status"), _STATUSES) or ""
            figures = self._figures(reader, entry, source, status)
            if kind is not None:
                name = f"any {like} {kind}" if like else f"any {kind}"
                yield kind, like, Record(name, kind, MappingProxyType(figures), True, source, status)

    def _spell(self, draft: _Draft, entry: Entry, number: int) -> None:
        reader, table = draft.reader, draft.table
        prefixes = ("", *reader.list_of(table.get("prefixes"), reader.text))
        spellings: list[tuple[Node, str]] = [(draft.key, prefix + draft.name) for prefix in prefixes]
        spellings += [(node, node.text) for node in reader.items(table.get("also")) if isinstance(node, Text)]
        for node, text in spellings:
            if not _TYPE.fullmatch(text):
                wanted = "2 to 32 capitals, digits, '#' for a digit, '{volts}' for volts"
                reader.note(node, f"'{plain(text)}' is not a type number; {wanted}")
            elif "{volts}" in text and not entry.volts:
                reader.note(node, f"'{plain(text)}' has volts in it; list them under 'volts'")
            elif text in self.patterns:
                other = self.patterns[text][1]
                reader.note(node, f"the spelling '{plain(text)}' belongs to the record '{plain(other)}' already")
            else:
                self.patterns[text] = (pattern(text, number), draft.name)


def _filled(entry: Entry, generics: list[tuple[str, str, Record]]) -> Entry:
    """The record with what is true of any part of its kind where it gives no figure itself."""
    record = entry.record
    wide = next((any_part.figures for kind, like, any_part in generics if kind == record.kind and not like), None)
    if wide is None:
        return entry
    source = f"any {record.kind}"
    known = {name: replace(figure, source=figure.source or source) for name, figure in wide.items()}
    return replace(entry, record=replace(record, figures=MappingProxyType(known | dict(record.figures))))


def _figure(reader: Reader, name: str, node: Node) -> Figure | None:
    """One figure: '44 V', '10 mA to 60 mA', a word, or a table {is:, source:, status:}."""
    if isinstance(node, Table):
        table = reader.table(node, needed=("is",), allowed=("source", "status"))
        inner = table.get("is")
        figure = _figure(reader, name, inner) if isinstance(inner, Text) else None
        source = (reader.text(table.get("source")) or "") if table.get("source") else ""
        status = (reader.word(table.get("status"), _FIGURE_STATUSES) or "") if table.get("status") else ""
        return replace(figure, source=source, status=status) if figure else None
    text = reader.text(node)
    if text is None:
        return None
    unit, _ = FIELDS[name]
    if unit is None:
        word = reader.word(node, WORDS[name])
        return None if word is None else Figure(word=word)
    low, _, high = text.partition(" to ")
    ends = [_end(reader, node, part, unit) for part in ((low, high) if high else (low, low))]
    if ends[0] is None or ends[1] is None:
        return None
    if ends[0].value > ends[1].value:
        reader.note(node, f"'{plain(text)}' runs from more to less")
        return None
    return Figure(ends[0].value, ends[1].value)


def _end(reader: Reader, node: Node, text: str, unit: Unit) -> Quantity | None:
    try:
        found = read_quantity(text)
    except ValueError as error:
        reader.note(node, str(error))
        return None
    if found.unit != unit:
        wanted = unit.name if unit != PLAIN else "a plain number"
        reader.note(node, f"'{plain(text)}' is in {found.unit.name}; {wanted} is expected")
        return None
    return found


def _number(reader: Reader, node: Node) -> float | None:
    """A count of volts, written plain or with its unit."""
    found = reader.quantity(node)
    if found is not None and found.unit not in (PLAIN, VOLT):
        reader.note(node, f"{found} stands here; volts are expected")
        return None
    return None if found is None else found.value


def _texts(reader: Reader, node: Node | None) -> Mapping[str, str]:
    """A table of texts."""
    pairs = ((key.text, reader.text(value)) for key, value in reader.table(node).entries)
    return MappingProxyType({key: text for key, text in pairs if text is not None})


def _control(reader: Reader, node: Node) -> Control | None:
    table = reader.table(node, needed=("name", "numbers", "use", "when open"), allowed=("needs",))
    name = reader.text(table.get("name"))
    use = reader.word(table.get("use"), _USES)
    when_open = reader.word(table.get("when open"), _WHEN_OPEN)
    needs = (reader.text(table.get("needs")) or "") if table.get("needs") else ""
    if name is None or use is None or when_open is None:
        return None
    return Control(name, _texts(reader, table.get("numbers")), use, when_open, needs)


def _signed_output(figures: Mapping[str, Figure]) -> float | None:
    """Middle of output_volts with the sign of the polarity, or None."""
    found = figures.get("output_volts")
    if found is None or found.low is None or found.high is None:
        return None
    middle = (found.low + found.high) / 2
    return -middle if "polarity" in figures and figures["polarity"].word == "negative" else middle
