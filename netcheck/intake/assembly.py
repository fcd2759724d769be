"""The contents of an assembly file: boards, what is in no netlist, cables, the case, and what the team wants of it.

Plain data, in base units, each entry with its place in the file. `assemblyreading` reads it from YAML,
`assemblycheck` holds it against the netlists.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from netcheck.ground.units import Quantity

# The board that the parts of the chassis form, and the places of it that need no part: the earth stud, the case.
CHASSIS = "chassis"
STUD, CASE = "stud", "case"
POINTS = (STUD, CASE)


@dataclass(frozen=True, slots=True)
class Spot:
    """A thing named in the file: 'amp.J1', 'amp.J1.3', 'switch.1', 'stud'; and where the name stands."""

    text: str
    line: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True)
class BoardEntry:
    """A board and its netlist.

    Attributes:
        netlist: path as written, from the folder of the assembly file. sheets, parts: of a netlist that holds several
            boards, what belongs to this one; both empty for the whole netlist or for what is left of it.
    """

    name: str
    netlist: str
    sheets: tuple[Spot, ...] = ()
    parts: tuple[Spot, ...] = ()
    line: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True)
class ChassisWire:
    """A wire from a pin of a chassis part to a pin or a point."""

    pin: Spot
    to: Spot


@dataclass(frozen=True, slots=True)
class ChassisPart:
    """A part that is in no netlist.

    Attributes:
        sort: of `chassisparts.SORTS`. value: as a designer writes it. fused: of an inlet, the fuse in it ("T500mA").
        primary, secondaries: volts (rms) of the windings of a transformer. power: volt-amperes. regulation: rise of
            the secondary volts without load, as a fraction. volts, amps: of an adapter or a battery.
        poles, throws: of a switch. gangs: of a potentiometer. length, area: of its wires, metres and square metres.
    """

    name: str
    sort: str
    wires: tuple[ChassisWire, ...] = ()
    value: str = ""
    fused: str = ""
    primary: tuple[float, ...] = ()
    secondaries: tuple[float, ...] = ()
    power: float | None = None
    regulation: float | None = None
    volts: float | None = None
    amps: float | None = None
    poles: int = 1
    throws: int = 1
    gangs: int = 1
    length: float | None = None
    area: float | None = None
    description: str = ""
    line: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True)
class Screen:
    """A screen of a cable and the ends at which it is joined to something.

    Attributes:
        ends: names of boards. pins: where one of these joins a pin that is named, else the grounds of the connector.
    """

    ends: tuple[Spot, ...]
    pins: tuple[Spot, ...] = ()


@dataclass(frozen=True, slots=True)
class Cable:
    """A lead between two connectors.

    Attributes:
        wires: (pin at the near end, pin at the far end); None for number to same number.
        keyed: None when not told. direct: one board is plugged onto the other. length, area: of each wire, metres and
            square metres. balanced: signals in it are measured wire against wire, not against its ground. bundled:
            names of cables that run side by side with it.
    """

    name: str
    near: Spot
    far: Spot
    wires: tuple[tuple[Spot, Spot], ...] | None = None
    keyed: bool | None = None
    direct: bool = False
    length: float | None = None
    area: float | None = None
    screen: Screen | None = None
    balanced: bool = False
    bundled: tuple[Spot, ...] = ()
    line: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True)
class Case:
    """The case. material: 'metal', 'plastic', 'wood' or ''. touched_by: parts and pins in contact with it."""

    material: str = ""
    touched_by: tuple[Spot, ...] = ()
    line: int = 0


@dataclass(frozen=True, slots=True)
class Position:
    """Where a switch, jumper or control stands.

    Attributes:
        at: the part. word: 'open', 'closed', or ''. number: of a selector, from 1; or None. share: of a turn, 0 to 1,
            or None. joins: groups of pin numbers that are joined.
    """

    at: Spot
    word: str = ""
    number: int | None = None
    share: float | None = None
    joins: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Heatsink:
    """Parts on one heatsink, its thermal resistance to air in K/W, and which of them are insulated from it."""

    parts: tuple[Spot, ...]
    to_air: float | None = None
    insulated: tuple[Spot, ...] = ()


@dataclass(frozen=True, slots=True)
class SignalInput:
    """Where a signal comes in: ohms of its source, largest level in volts (rms)."""

    at: Spot
    back: Spot | None = None
    source_ohms: float | None = None
    largest_volts: float | None = None


@dataclass(frozen=True, slots=True)
class SignalOutput:
    """Where a signal goes out.

    Attributes:
        loads: ohms. sensitivity: quantity in dB/mW or dB/V, or None. cable_farads: of the lead behind it.
        largest_volts: level wanted, volts (rms).
    """

    at: Spot
    back: Spot | None = None
    loads: tuple[float, ...] = ()
    sensitivity: Quantity | None = None
    cable_farads: float | None = None
    largest_volts: float | None = None


@dataclass(frozen=True, slots=True)
class Outside:
    """What hangs on a socket: whether it is joined to the earth of the house; None when not known."""

    at: Spot
    earthed: bool | None = None


@dataclass(frozen=True, slots=True)
class Span:
    """A target over a range of frequencies, in hertz; how far the response may vary there, in dB or seconds."""

    low: float
    high: float
    most: float | None = None


@dataclass(frozen=True, slots=True)
class Targets:
    """What the team wants: passband (dB), spread of the group delay (seconds), noise (volts)."""

    passband: Span | None = None
    group_delay: Span | None = None
    noise: float | None = None


@dataclass(frozen=True, slots=True)
class ToldNet:
    """Role and volts of a net, by its name on a board."""

    board: Spot
    net: Spot
    role: str
    volts: float | None


@dataclass(frozen=True, slots=True)
class LimitChange:
    """A limit of a rule that this assembly adjusts, with the reason."""

    rule: Spot
    limit: Spot
    value: Quantity
    because: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A rule that this assembly leaves out, with the reason."""

    rule: Spot
    because: str


@dataclass(frozen=True, slots=True)
class Budget:
    """What the parts may cost, in euro, per 'set' or for all of the 'build'."""

    parts: float
    per: str = "set"


@dataclass(frozen=True)
class AssemblyFile:
    """One assembly file. `build`: how many sets are made. `ambient`: degrees Celsius. `points`: further places that
    wires meet at (a star ground). `unused`: connectors that nothing is plugged into. `kinds`, `families`, `keyed`,
    `not_fitted`: what parts of the netlists are, where these do not tell. `house`: folders of house rules, as written.
    """

    file: str
    digest: str
    name: str
    boards: tuple[BoardEntry, ...]
    revision: str = ""
    build: int = 1
    chassis: tuple[ChassisPart, ...] = ()
    points: tuple[str, ...] = POINTS
    cables: tuple[Cable, ...] = ()
    case: Case | None = None
    positions: tuple[Position, ...] = ()
    heatsinks: tuple[Heatsink, ...] = ()
    ambient: float | None = None
    inputs: tuple[SignalInput, ...] = ()
    outputs: tuple[SignalOutput, ...] = ()
    outside: tuple[Outside, ...] = ()
    unused: tuple[Spot, ...] = ()
    targets: Targets = field(default_factory=Targets)
    volts: tuple[ToldNet, ...] = ()
    limits: tuple[LimitChange, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    house: tuple[Spot, ...] = ()
    budget: Budget | None = None
    kinds: tuple[tuple[Spot, Spot], ...] = ()
    families: tuple[tuple[Spot, Spot], ...] = ()
    keyed: tuple[tuple[Spot, bool], ...] = ()
    not_fitted: tuple[Spot, ...] = ()
    text: str = ""

    @property
    def chassis_parts(self) -> Mapping[str, ChassisPart]:
        """Chassis parts by name."""
        return MappingProxyType({part.name: part for part in self.chassis})
