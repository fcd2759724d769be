"""Boards and circuits as they were understood. Frozen; everything has one key.

Keys: part `amp/R12`, pin `amp/Q1.2`, amplifier `amp/U1:A`, net `amp/net/+15V`, or for a net without a given name
`amp/net of Q1.2`, after its senior pin.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from netcheck.ground.quantities import PartValue
from netcheck.intake.netlist import Netlist

# Every kind that a part can be of. The first group carries pin roles.
KINDS = frozenset(
    {
        "resistor", "potentiometer", "trimmer", "resistor network", "thermistor", "varistor", "photoresistor",
        "capacitor", "inductor", "ferrite", "fuse", "link", "jumper", "switch", "button", "relay",
        "diode", "led", "zener", "bridge", "surge diode", "optocoupler", "thyristor",
        "npn", "pnp", "nmos", "pmos", "njfet", "pjfet", "transistor array", "valve",
        "opamp", "comparator", "buffer", "power amplifier", "transconductance amplifier",
        "regulator", "reference", "converter", "logic", "microcontroller", "integrated circuit", "module",
        "transformer", "inlet", "connector", "battery", "lamp", "loudspeaker", "microphone", "motor", "crystal",
        "source", "test point", "hole", "mechanical", "unknown",
    }
)  # fmt: skip

# Every role that a pin can have; '' stands for not known.
PIN_ROLES = frozenset(
    {
        "", "end", "wiper", "plus", "minus", "anode", "cathode", "emitter", "base", "collector",
        "gate", "source", "drain", "input", "output", "adjust", "reference", "supply plus", "supply minus",
        "ground", "control", "compensation", "coil", "contact", "winding", "tip", "ring", "sleeve", "switch contact",
        "shield", "terminal", "not connected", "heater", "grid", "plate", "alternating",
    }
)  # fmt: skip

NET_ROLES = frozenset({"signal", "rail", "ground", "chassis", "earth", "mains"})

# Words for a FET's pins where a rule speaks of either sort of transistor.
FET_ALIASES = MappingProxyType({"emitter": "source", "base": "gate", "collector": "drain"})


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin of a part.

    Attributes:
        key: `amp/Q1.2`. part, net: keys. board: the board's name.
        number: as in the file. name: its function as the file has it, or empty. type: electrical type, or empty.
        role: of `PIN_ROLES`; '' when not known. unit: letter of the amplifier it belongs to ('A'), or ''.
        flagged_open: the designer marked it as open on purpose.
        listed: no net of the file lists it when False (its net is one of its own).
    """

    key: str
    part: str
    board: str
    number: str
    net: str
    name: str = ""
    type: str = ""
    role: str = ""
    unit: str = ""
    flagged_open: bool = False
    listed: bool = True


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of the part book: a number in base units, a range, or a word; with source and status."""

    low: float | None = None
    high: float | None = None
    word: str = ""
    source: str = ""
    status: str = ""


@dataclass(frozen=True, slots=True)
class Control:
    """A pin that decides whether a part works at all, or how.

    Attributes:
        name: as the data sheet has it. numbers: package -> pin number. use: 'mute', 'standby', 'enable',
            'shutdown', 'mode', 'sense', 'gain', 'reset', 'bias' or 'synchronise'.
        when_open: 'works', 'stops' or 'undefined'. needs: what the pin must see for the part to work, a clause.
    """

    name: str
    numbers: Mapping[str, str]
    use: str
    when_open: str
    needs: str = ""


@dataclass(frozen=True, slots=True)
class Record:
    """A record of the part book. `figures` has the names of `partbook.FIELDS`; generic ones stand for a kind.

    Attributes:
        name: the type as the book has it ('NE5532', '7815', 'BZX55C5V1'). what: what it is, a few words.
        pinouts: package ('TO-220', or '8 pins' for any package of eight) -> pin number -> (role, unit letter).
        polarity: 'positive' or 'negative' (regulators and references), or ''.
        output: volts of a fixed regulator against its ground pin, with its sign; None when adjustable or none.
        tab: role of the pin that the metal is joined to, 'isolated', or '' when there is none or it is not known.
        controls: pins that must not be forgotten.
        lead_orders: maker -> letters of the leads 1, 2, 3 with the marked face to the reader ('CBE').
        cautions: traps that a reader should know, sentences.
    """

    name: str
    kind: str
    figures: Mapping[str, Figure] = field(default_factory=lambda: MappingProxyType({}))
    generic: bool = False
    source: str = ""
    status: str = ""
    what: str = ""
    pinouts: Mapping[str, Mapping[str, tuple[str, str]]] = field(default_factory=lambda: MappingProxyType({}))
    polarity: str = ""
    output: float | None = None
    tab: str = ""
    controls: tuple[Control, ...] = ()
    lead_orders: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a board.

    Attributes:
        key: `amp/R12`. kind: of `KINDS`. because: the evidence for the kind, a clause.
        conflict: evidence that points to another kind, a clause, or ''.
        value: its reading; number is in ohms, farads or henries. fields: texts of the user by name.
        polarised: None when not known (capacitors only). keyed: None when not known (connectors only).
        family: of a connector, 'header', 'jack', 'xlr', 'rca', 'screw terminal', 'shrouded header', 'wire to
            board', 'barrel', 'usb', 'blade', 'card edge', 'pads', … or ''. rows: 1, 2, or 0 when not known.
        pitch: in metres, or None. positions: contacts as the footprint tells, or None.
        package: 'TO-92', 'SOT-23', … from the footprint, or ''.
        misdrawn: of an amplifier, why its symbol cannot be that of its type, a clause; or ''.
        two_types: the two types that value and maker's type number name, a clause; or ''.
        missing_units: names of units whose pins the library has but the file never places.
        pins: in the order of the file (natural order of numbers).
    """

    key: str
    board: str
    ref: str
    kind: str
    because: str
    value: PartValue
    pins: tuple[Pin, ...]
    record: Record | None = None
    conflict: str = ""
    fitted: bool = True
    on_board: bool = True
    footprint: str = ""
    package: str = ""
    library_part: str = ""
    description: str = ""
    fields: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    sheet: str = "/"
    polarised: bool | None = None
    keyed: bool | None = None
    family: str = ""
    rows: int = 0
    pitch: float | None = None
    positions: int | None = None
    missing_units: tuple[str, ...] = ()
    misdrawn: str = ""
    two_types: str = ""
    file: str = ""
    line: int = 0

    def by_role(self, role: str) -> tuple[Pin, ...]:
        """Pins with a role; on a FET, emitter, base and collector mean source, gate and drain."""
        wanted = (role, FET_ALIASES.get(role, role))
        return tuple(pin for pin in self.pins if pin.role in wanted)


@dataclass(frozen=True, slots=True)
class Net:
    """A net of a board.

    Attributes:
        key: see the module. name: as given by the designer; '' when the editor made it from a pin.
        code: the file's. pins: keys, natural order. role: of `NET_ROLES`.
        low, volts, high: of a rail or ground against the zero of the assembly; None where not known. A rail may
            have a sign without volts.
        sign: 'positive', 'negative' or '' (rails). origin: where role and volts come from, a clause.
        domain: name of the ground domain (grounds only): the key of its senior net.
        oddities: words of the reader on this net ('pin on two nets', …).
        flagged_open: every pin on it is marked open by the designer.
    """

    key: str
    board: str
    name: str
    code: str
    pins: tuple[str, ...]
    role: str = "signal"
    volts: float | None = None
    low: float | None = None
    high: float | None = None
    sign: str = ""
    origin: str = ""
    domain: str = ""
    flagged_open: bool = False
    line: int = 0


@dataclass(frozen=True, slots=True)
class Amplifier:
    """One amplifier of a package: an op-amp, comparator or buffer. Pins by key; None where there is none.

    A pin that the part should have and the file lacks is None as well, and named in `missing`.
    """

    key: str
    part: str
    board: str
    unit: str
    kind: str
    output: str | None = None
    plus: str | None = None
    minus: str | None = None
    supply_plus: str | None = None
    supply_minus: str | None = None
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class Board:
    """One netlist, understood."""

    name: str
    netlist: Netlist
    parts: tuple[Part, ...]
    nets: tuple[Net, ...]
    amplifiers: tuple[Amplifier, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Shared:
    """What a net shares with one of another board that a cable joins it to.

    Attributes:
        origin: a clause: "over the power lead from supply.+15V". low, high, sign: as of a `Net`.
    """

    origin: str
    low: float | None = None
    high: float | None = None
    sign: str = ""


@dataclass(frozen=True)
class Hints:
    """What is told about a board from outside its netlist: by the assembly file or by a sample.

    Attributes:
        kinds: by reference. keyed, polarised: by reference. not_fitted: references.
        net_roles: by net name: (role, volts or None).
        pin_roles: by reference and pin number.
        shared: by net name, of those in `net_roles` whose role comes over a cable.
    """

    kinds: Mapping[str, str] = field(default_factory=dict)
    families: Mapping[str, str] = field(default_factory=dict)
    keyed: Mapping[str, bool] = field(default_factory=dict)
    polarised: Mapping[str, bool] = field(default_factory=dict)
    not_fitted: frozenset[str] = frozenset()
    net_roles: Mapping[str, tuple[str, float | None]] = field(default_factory=dict)
    pin_roles: Mapping[tuple[str, str], str] = field(default_factory=dict)
    shared: Mapping[str, Shared] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Circuit:
    """All boards of an assembly, joined; every lookup by key is a dictionary away.

    Attributes:
        parts, nets, pins, amplifiers: by key, over all boards.
        fitted: parts that are fitted, in natural order of their keys.
    """

    boards: tuple[Board, ...]
    parts: Mapping[str, Part]
    nets: Mapping[str, Net]
    pins: Mapping[str, Pin]
    amplifiers: Mapping[str, Amplifier]

    def part_of(self, pin: Pin) -> Part:
        """The part that a pin belongs to."""
        return self.parts[pin.part]

    def net_of(self, pin: Pin) -> Net:
        """The net that a pin is on."""
        return self.nets[pin.net]

    def pins_on(self, net: Net) -> tuple[Pin, ...]:
        """Pins on a net, those of parts that are not fitted left out."""
        found = (self.pins[key] for key in net.pins)
        return tuple(pin for pin in found if self.parts[pin.part].fitted)


def join(boards: tuple[Board, ...]) -> Circuit:
    """Boards to one circuit, each net still its own (cables are joined by what reads the assembly file)."""
    parts = {part.key: part for board in boards for part in board.parts}
    return Circuit(
        boards=boards,
        parts=MappingProxyType(parts),
        nets=MappingProxyType({net.key: net for board in boards for net in board.nets}),
        pins=MappingProxyType({pin.key: pin for part in parts.values() for pin in part.pins}),
        amplifiers=MappingProxyType({amp.key: amp for board in boards for amp in board.amplifiers}),
    )
