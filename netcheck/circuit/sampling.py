"""A sample: a small circuit typed into a rule file, read into the same `Netlist` as a real export.

One part or net a line; a blank line and whatever follows a `#` (at the start or after a blank) are left out.

    line     = part | net
    part     = REFERENCE word* [value] (net net | pin+) tail*
    pin      = NUMBER=net | LETTERS=net
    tail     = "; rating" VOLTS | "; dielectric" WORD | "; taper" WORD | "; tolerance" PERCENT
             | "; footprint" NAME | "; library" PART | "; description" TEXT | "; sheet" PATH | "; field" NAME=TEXT
    net      = "net" NAME ROLE [VOLTS]

REFERENCE   letters and digits: R1, +VIN1, J1A. Its letters tell the kind when nothing else does.
word        a kind (resistor, npn, opamp, test point …), a family of connector (header, jack, xlr, screw terminal …),
            or one of: keyed, unkeyed, polarised, unpolarised, not fitted. A family makes the part a connector; a
            header is unkeyed and a shrouded header is keyed unless told otherwise.
value       100n, 2k2, TBD, NE5532, BC547. In double quotes when it holds blanks or is also a word: "10k log".
            Resistors, capacitors, inductors and potentiometers need one.
net net     the two ends of a two-ended part. On a diode the first is the anode, on a polarised capacitor the
            positive end.
NUMBER      a pin as the netlist numbers it; anything that holds a digit: 1, 14, A3, or ~1 where letters would clash.
LETTERS     a pin by what it is for: c b e (transistor), g d s (FET), a k (diode), w (wiper), plus minus, in out adj
            gnd ref v+ v-, t r s tn rn sn (jack), l n pe (inlet), or the name of any pin role; a digit behind a name
            of three or more letters tells equal ones apart: end1 end2, coil1 coil2, contact1.
            `5=open` is a pin that the designer marked as open on purpose, `5=~` one that no net lists.
ROLE        rail, ground, chassis, earth, mains, signal. VOLTS of a rail: +15 V, -15V, 5.

    Q1 npn  c=+15V b=B1 e=E1
    R1 1R   E1 OUT           # value, then the two nets
    C1 polarised 100u plus=OUT minus=SPK ; rating 25V
    J1 header keyed 1=+15V 2=GND
    net VP rail +15 V

The lines become components with a `Kind` field where a kind is told; ratings go behind the value, where designers
write them. What a netlist cannot hold (keyed, roles of pins and nets) becomes `Hints`. At most 20 000 letters,
400 lines and 2000 pins.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from netcheck.circuit.model import KINDS, NET_ROLES, PIN_ROLES, Hints
from netcheck.ground.names import did_you_mean, nearest, plain
from netcheck.ground.problems import Problem, Refused
from netcheck.ground.units import VOLT, read_quantity
from netcheck.intake.netlist import Component, LibraryPin, Netlist, NetlistNet, Node, Oddity

MOST_LETTERS, MOST_LINES, MOST_PINS, MOST_NAME = 20_000, 400, 2000, 80

# Families of connectors, each with what it says of the housing: keyed, not keyed, or nothing.
FAMILIES: Mapping[str, bool | None] = MappingProxyType(
    {
        "header": False,
        "shrouded header": True,
        "wire to board": None,
        "jack": None,
        "xlr": None,
        "rca": None,
        "screw terminal": None,
        "barrel": None,
        "usb": None,
        "blade": None,
        "card edge": None,
        "pads": None,
    }
)
_MARKS = ("keyed", "unkeyed", "polarised", "unpolarised", "not fitted")
WORDS: frozenset[str] = (KINDS - {"unknown"}) | frozenset(FAMILIES) | frozenset(_MARKS) | {"unknown kind"}
_NEED_A_VALUE = frozenset({"resistor", "capacitor", "inductor", "potentiometer", "trimmer"})
_NEED_BY_LETTERS = frozenset({"R", "C", "L", "RV"})

_TRANSISTOR = {"c": "collector", "b": "base", "e": "emitter", "g": "gate", "d": "drain", "s": "source"}
_JACK = {"t": "tip", "r": "ring", "s": "sleeve", "tn": "switch contact", "rn": "switch contact", "sn": "switch contact"}
_INLET = {"l": "alternating", "n": "alternating", "pe": "ground"}
_COMMON = {
    "a": "anode",
    "k": "cathode",
    "w": "wiper",
    "in": "input",
    "out": "output",
    "adj": "adjust",
    "gnd": "ground",
    "ref": "reference",
    "v+": "supply plus",
    "v-": "supply minus",
    "+": "plus",
    "-": "minus",
} | {role.replace(" ", "_"): role for role in PIN_ROLES if role}
_TAILS = ("rating", "dielectric", "taper", "tolerance", "footprint", "library", "description", "sheet", "field")
_BEHIND_THE_VALUE = ("rating", "dielectric", "taper", "tolerance")

_TOKEN = re.compile(r'"[^"]*"|[^\s"]+')
_REFERENCE = re.compile(r"[^\s=;\"]{0,20}[0-9?][A-Za-z]{0,2}")
_ROLE_NUMBERED = re.compile(r"([a-z_]{3,})(\d{1,2})")


@dataclass
class _Draft:
    """What has been read so far of one sample."""

    file: str
    problems: list[Problem] = field(default_factory=list)
    components: dict[str, Component] = field(default_factory=dict)
    nodes: dict[str, list[Node]] = field(default_factory=dict)
    places: dict[tuple[str, str], list[str]] = field(default_factory=dict)
    lines: dict[str, int] = field(default_factory=dict)
    oddities: list[tuple[str, str, str, tuple[str, ...], int]] = field(default_factory=list)
    families: dict[str, str] = field(default_factory=dict)
    keyed: dict[str, bool] = field(default_factory=dict)
    polarised: dict[str, bool] = field(default_factory=dict)
    net_roles: dict[str, tuple[str, float | None]] = field(default_factory=dict)
    pin_roles: dict[tuple[str, str], str] = field(default_factory=dict)
    pins: int = 0

    def note(self, line: int, what: str) -> None:
        self.problems.append(Problem(self.file, line, 0, what))


@dataclass(frozen=True)
class _Words:
    """The words of a line before its value."""

    kind: str = ""
    family: str = ""
    keyed: bool | None = None
    polarised: bool | None = None
    fitted: bool = True


def read_sample(text: str, file: str, line: int = 1, board: str = "sample") -> tuple[Netlist, Hints]:
    """The netlist of a sample, and what a netlist cannot hold.

    Args:
        text: lines as described in the module. file, line: where the text begins, for messages and evidence.
        board: name of the board, kept as the netlist's source.

    Raises:
        Refused: with every line that could not be read.

    >>> netlist, hints = read_sample("Q1 npn c=+15V b=B1 e=OUT", "led.yaml", 7)
    >>> [net.name for net in netlist.nets], netlist.components[0].line, hints.pin_roles["Q1", "C"]
    (['+15V', 'B1', 'OUT'], 7, 'collector')
    >>> read_sample("C1 polarized 100u A B", "led.yaml", 7)
    Traceback (most recent call last):
    ...
    netcheck.ground.problems.Refused: led.yaml:7: 'polarized' stands before the value; did you mean 'polarised'?
    """
    lines = text.split("\n")
    if len(text) > MOST_LETTERS or len(lines) > MOST_LINES:
        what = f"the sample is longer than {MOST_LETTERS} letters or {MOST_LINES} lines"
        raise Refused(Problem(file, line, 0, what))
    draft = _Draft(file)
    for number, row in enumerate(lines, start=line):
        content = re.sub(r"(^|\s)#.*", "", row).strip()
        if content:
            _read_line(draft, content, number)
        if draft.pins > MOST_PINS:
            draft.note(number, f"the sample has more than {MOST_PINS} pins")
            break
    if not draft.components and not draft.problems:
        draft.note(line, "the sample has no part; a line such as R1 10k A B is expected")
    for name in draft.net_roles:
        if name not in draft.nodes and not draft.problems:
            draft.note(draft.lines[f"net {name}"], f"no part is on the net '{name}'{did_you_mean(name, draft.nodes)}")
    if draft.problems:
        raise Refused(draft.problems)
    return _netlist(draft, text, board), _hints(draft)


def _netlist(draft: _Draft, text: str, board: str) -> Netlist:
    codes = {name: str(code) for code, name in enumerate(draft.nodes, start=1)}
    nets = tuple(
        NetlistNet(codes[name], name, tuple(nodes), line=min(node.line for node in nodes))
        for name, nodes in draft.nodes.items()
    )
    oddities = tuple(
        Oddity(what, reference, pin, tuple(codes[name] for name in names), line)
        for what, reference, pin, names, line in draft.oddities
    )
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    return Netlist(draft.file, digest, tuple(draft.components.values()), nets, oddities, source=board)


def _hints(draft: _Draft) -> Hints:
    return Hints(
        families=MappingProxyType(draft.families),
        keyed=MappingProxyType(draft.keyed),
        polarised=MappingProxyType(draft.polarised),
        net_roles=MappingProxyType(draft.net_roles),
        pin_roles=MappingProxyType(draft.pin_roles),
    )


def _read_line(draft: _Draft, content: str, line: int) -> None:
    head, *tails = _split_tails(content)
    tokens = _TOKEN.findall(head)
    if head.count('"') % 2:
        draft.note(line, 'a " is never closed')
    elif not tokens:
        draft.note(line, "the line begins with a semicolon; a part or a net is expected before it")
    elif tokens[0] == "net":
        _read_net(draft, tokens[1:], line)
    elif not _REFERENCE.fullmatch(tokens[0]):
        draft.note(line, f"'{plain(tokens[0])}' begins the line; a reference such as R1, or the word net, is expected")
    elif tokens[0] in draft.components:
        draft.note(line, f"{plain(tokens[0])} stands here again; it is in line {draft.lines[tokens[0]]} already")
    else:
        _read_part(draft, tokens[0], tokens[1:], tails, line)


def _split_tails(content: str) -> list[str]:
    """The text before the first semicolon and each piece behind one; those in quotes do not count.

    >>> _split_tails('R1 "1;2" A B ; rating 25V')
    ['R1 "1;2" A B', 'rating 25V']
    """
    pieces = re.split(r';(?=(?:[^"]*"[^"]*")*[^"]*$)', content)
    return [piece.strip() for piece in pieces]


def _read_net(draft: _Draft, tokens: list[str], line: int) -> None:
    if len(tokens) < 2:
        draft.note(line, "a net line has a name and a role: net VP rail +15 V")
        return
    name, role, *volts = tokens
    if role not in NET_ROLES:
        draft.note(line, f"'{plain(role)}' is not a role of a net{did_you_mean(role, NET_ROLES)}")
        return
    level: float | None = None
    if volts:
        written = " ".join(volts)
        try:
            quantity = read_quantity(written if re.search("[A-Za-z]", written) else f"{written} V")
        except ValueError as error:
            draft.note(line, str(error))
            return
        if quantity.unit != VOLT:
            draft.note(line, f"{plain(written)} is no voltage; +15 V is expected")
            return
        level = quantity.value
    if name in draft.net_roles:
        draft.note(line, f"the role of the net '{plain(name)}' is given twice")
    draft.net_roles[name] = (role, level)
    draft.lines[f"net {name}"] = line


def _read_part(draft: _Draft, reference: str, tokens: list[str], tails: list[str], line: int) -> None:
    words, tokens = _take_words(tokens)
    at = next((i for i, token in enumerate(tokens) if "=" in token and not token.startswith('"')), len(tokens))
    before, pins = tokens[:at], tokens[at:]
    ends: list[str] = []
    if not pins:
        before, ends = before[:-2], before[-2:]
    needs = words.kind in _NEED_A_VALUE or (not words.kind and reference.rstrip("0123456789?") in _NEED_BY_LETTERS)
    expected = f"{plain(reference)} needs {'a value and ' if needs else ''}two nets, or pins such as 1=A 2=B"
    if (not pins and len(ends) < 2) or (needs and not before):
        draft.note(line, f"{expected}; found: {plain(' '.join(tokens)) or 'nothing'}")
        return
    if not _value_is_fine(draft, before, line):
        return
    value = before[0].strip('"') if before else ""
    draft.lines[reference] = line
    listed = _ends(reference, words, ends) if ends else _pins(draft, reference, words, pins, line)
    told = _read_tails(draft, tails, line)
    text = " ".join([value, *(told[name] for name in _BEHIND_THE_VALUE if name in told)]).strip()
    fields = ((("Kind", words.kind),) if words.kind else ()) + tuple(
        (name.removeprefix("field "), content) for name, content in told.items() if name.startswith("field ")
    )
    for pin, role, net in listed:
        _place(draft, reference, pin, role, net, line)
    draft.components[reference] = Component(
        reference,
        text or None,
        footprint=told.get("footprint", ""),
        library="sample" if "library" in told else "",
        library_part=told.get("library", ""),
        description=told.get("description", ""),
        fields=fields,
        flags=frozenset() if words.fitted else frozenset({"not fitted"}),
        sheet=told.get("sheet", "/"),
        library_pins=tuple(dict.fromkeys(LibraryPin(pin) for pin, _, _ in listed)),
        line=line,
    )
    _keep_words(draft, reference, words)


def _keep_words(draft: _Draft, reference: str, words: _Words) -> None:
    if words.family:
        draft.families[reference] = words.family
    if words.keyed is not None:
        draft.keyed[reference] = words.keyed
    if words.polarised is not None:
        draft.polarised[reference] = words.polarised


def _take_words(tokens: list[str]) -> tuple[_Words, list[str]]:
    """The plain words at the front of a line, longest first, and what is left."""
    kind = family = ""
    keyed: bool | None = None
    polarised: bool | None = None
    fitted, at = True, 0
    while at < len(tokens):
        for length in (3, 2, 1):
            word = " ".join(tokens[at : at + length]).lower()
            if word in WORDS and at + length <= len(tokens):
                break
        else:
            break
        at += length
        if word in FAMILIES:
            kind, family = "connector", word
            keyed = FAMILIES[word] if keyed is None else keyed
        elif word in ("keyed", "unkeyed"):
            keyed = word == "keyed"
        elif word in ("polarised", "unpolarised"):
            polarised = word == "polarised"
        elif word == "not fitted":
            fitted = False
        else:
            kind = "unknown" if word == "unknown kind" else word
    return _Words(kind, family, keyed, polarised, fitted), tokens[at:]


def _value_is_fine(draft: _Draft, before: list[str], line: int) -> bool:
    if len(before) > 1:
        wrong = next((token for token in before if nearest(token, WORDS)), before[0])
        near = nearest(wrong, WORDS)
        better = f"; did you mean '{near}'?" if near else "; a value that holds blanks stands in double quotes"
        draft.note(line, f"'{plain(wrong)}' stands before the value{better}")
        return False
    if before and not before[0].startswith('"') and len(before[0]) > 3 and before[0].isalpha():
        near = nearest(before[0].lower(), WORDS)
        if near and abs(len(near) - len(before[0])) <= 2:
            quoted = f'write "{plain(before[0])}" if it is the value'
            draft.note(line, f"'{plain(before[0])}' is not a word for a part; did you mean '{near}'? ({quoted})")
            return False
    return True


def _ends(reference: str, words: _Words, ends: list[str]) -> list[tuple[str, str, str]]:
    """Pins of a two-ended part from its two nets."""
    letters = reference.rstrip("0123456789?")
    if words.kind in ("diode", "led", "zener", "surge diode") or (not words.kind and letters in ("D", "LED", "ZD")):
        roles = (("A", "anode"), ("K", "cathode"))
    elif words.polarised:
        roles = (("1", "plus"), ("2", "minus"))
    else:
        roles = (("1", ""), ("2", ""))
    return [(pin, role, net.strip('"')) for (pin, role), net in zip(roles, ends, strict=True)]


def _pins(draft: _Draft, reference: str, words: _Words, tokens: list[str], line: int) -> list[tuple[str, str, str]]:
    letters: dict[str, str] = {**_COMMON, **_TRANSISTOR}
    if words.family or words.kind == "connector" or (not words.kind and reference.startswith(("J", "P", "X"))):
        letters = {**letters, **_JACK}
    if words.kind == "inlet":
        letters = {**letters, **_INLET}
    found = []
    for token in tokens:
        pin, equals, net = token.partition("=")
        net = net.strip('"')
        if not equals or not pin or not net:
            draft.note(line, f"'{plain(token)}' stands among the pins; PIN=NET is expected, for example 1=GND")
            continue
        known = _role_of(pin, letters)
        if known is None:
            wrong = f"'{plain(pin)}' is no pin number (it holds no digit) and no letter of a pin"
            draft.note(line, f"{wrong}{did_you_mean(pin.lower(), letters)}")
            continue
        found.append((*known, net))
    return found


def _role_of(pin: str, letters: Mapping[str, str]) -> tuple[str, str] | None:
    """Number and role of a pin as written; the letters of a pin are its number, as in many libraries.

    >>> _role_of("c", {"c": "collector"}), _role_of("14", {}), _role_of("coil2", {"coil": "coil"}), _role_of("x", {})
    (('C', 'collector'), ('14', ''), ('COIL2', 'coil'), None)
    """
    lower = pin.lower()
    numbered = _ROLE_NUMBERED.fullmatch(lower)
    if lower in letters:
        return pin.upper(), letters[lower]
    if numbered and numbered[1] in letters:
        return pin.upper(), letters[numbered[1]]
    number = pin.removeprefix("~")
    if any(letter.isdigit() for letter in number) or (number and number != pin):
        return number, ""
    return None


def _read_tails(draft: _Draft, tails: Iterable[str], line: int) -> dict[str, str]:
    told: dict[str, str] = {}
    for tail in tails:
        word, _, rest = tail.partition(" ")
        rest = rest.strip().strip('"')
        if word not in _TAILS:
            draft.note(line, f"'{plain(word)}' stands behind a semicolon{did_you_mean(word, _TAILS)}")
        elif not rest:
            draft.note(line, f"nothing stands behind '; {word}'")
        elif word == "field":
            name, equals, content = rest.partition("=")
            if not equals or not name.strip():
                draft.note(line, f"'{plain(rest)}' is no field; '; field Name=Text' is expected")
            told[f"field {name.strip()}"] = content.strip().strip('"')
        else:
            told[word] = rest
    return told


def _place(draft: _Draft, reference: str, pin: str, role: str, net: str, line: int) -> None:
    """Put a pin on its net, keeping what is odd about it as the reader of netlists does."""
    draft.pins += 1
    if len(net) > MOST_NAME or len(pin) > MOST_NAME:
        draft.note(line, f"a name is longer than {MOST_NAME} letters")
        return
    if role:
        draft.pin_roles[reference, pin] = role
    if net == "~":
        return
    flagged = net == "open"
    name = f"unconnected-({reference}-Pad{pin})" if flagged else net
    others = draft.places.setdefault((reference, pin), [])
    if others:
        what = "pin listed twice" if name in others else "pin on two nets"
        draft.oddities.append((what, reference, pin, tuple(dict.fromkeys([*others, name])), line))
        if name in others:
            return
    others.append(name)
    draft.nodes.setdefault(name, []).append(Node(reference, pin, flagged_open=flagged, line=line))
