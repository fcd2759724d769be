"""What the circuit will do, as numbers: plain data for the report and for `netcheck read --numbers`.

SI units throughout: hertz, volts rms where not said otherwise, ohms, watts, seconds. What could not be computed is told
with its reason, never left out silently.
"""

from __future__ import annotations

from dataclasses import dataclass, field

# What a largest level is told to be limited by when nothing limits it.
NO_LIMIT = "no limit was met with an input as large as the supply"


@dataclass(frozen=True, slots=True)
class Corner:
    """Where a response has fallen by so many decibels from what it is at 1 kHz.

    Attributes:
        side: 'low' or 'high'. drop: in dB, positive. hertz: None where it lies beyond `beyond`.
        beyond: the end of the frequencies looked at. parts: keys of the capacitors, then resistors, that set it, the
            one with most say first. shares: how much of the corner each sets: an RC by itself has 1 and 1.
        low, high: its ends over the tolerances of resistors and capacitors; None where it is not within sight.
    """

    side: str
    drop: float
    hertz: float | None
    beyond: float
    parts: tuple[str, ...] = ()
    shares: tuple[float, ...] = ()
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class LoadLevel:
    """What comes out into one load before something limits it, all that closes the path fully open.

    Attributes:
        ohms: the load, infinite for none. volts: largest sine, rms; where no limit was met, the largest that was tried.
        amps: its peak current. watts: into the load.
        limit: what acts first, a clause ("the output of U1A reaches its supply"). gain: in dB with this load.
        loudness: the most dB SPL of what is plugged in, over the spread of an output stage; None where its sensitivity
            is not told.
        told: volts rms that the largest input told makes with the controls as told, None where no largest is told.
        told_loudness: dB SPL of these.
    """

    ohms: float
    volts: float
    amps: float
    watts: float
    limit: str
    gain: float
    loudness: float | None = None
    told: float | None = None
    told_loudness: float | None = None

    @property
    def ends(self) -> bool:
        """Whether the volts are an end: something limits them."""
        return self.limit != NO_LIMIT


@dataclass(frozen=True, slots=True)
class ControlEffect:
    """What a potentiometer does: gain in dB at 1 kHz with it at its first end, in the middle, at its last end."""

    part: str
    gains: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Variant:
    """What a load, and a control at a position, make of a response.

    Attributes:
        ohms: the load, infinite for none. control: key of the potentiometer that is turned, '' for none; the others
            stay as they are. position: of it, 0 to 1. gain: in dB at 1 kHz. low, high: where the response is 3 dB
            below that, Hz; None where it is not within the frequencies looked at. decibels: at the path's frequencies.
    """

    ohms: float
    control: str
    position: float
    gain: float
    low: float | None
    high: float | None
    decibels: tuple[float, ...] = ()


@dataclass(frozen=True)
class PathBehaviour:
    """One way of a signal from an input to an output.

    Attributes:
        key: 'INPUT NODE > OUTPUT NODE'. board: name. input, output: keys of nets. input_pin, output_pin: keys of the
            connector pins, '' where the path ends before a switch or relay, which `ends_at` then names (a part's key).
        parts: keys of the parts that have a say. reasons: why nothing was computed, empty when it was.
        frequencies, decibels, degrees, delays: the response, from the source's volts to the output's, no load.
        gain: in dB at 1 kHz. corners: -3 dB and -0.5 dB on both sides. flatness: largest deviation from the gain at
            1 kHz between `band` ends, dB.
        input_ohms: at 1 kHz. output_ohms: at each frequency, the magnitude. noise: V rms, 20 Hz to 20 kHz, input
            shorted. noise_weighted: the same, A-weighted. loudest: parts with most noise and their share of its power.
        variants: with each load, then each control at both ends and in the middle.
        gain_off: how far the gain at 1 kHz may be off, dB either way, over the tolerances of resistors and capacitors.
        spread: how far the response may be off against that at 1 kHz, dB either way, at each frequency.
        loosest: parts whose tolerance moves the gain at 1 kHz most, with the dB that each does.
    """

    key: str
    board: str
    input: str
    output: str
    input_pin: str = ""
    output_pin: str = ""
    ends_at: str = ""
    parts: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    frequencies: tuple[float, ...] = ()
    decibels: tuple[float, ...] = ()
    degrees: tuple[float, ...] = ()
    delays: tuple[float, ...] = ()
    gain: float = 0.0
    corners: tuple[Corner, ...] = ()
    band: tuple[float, float] = (20.0, 20e3)
    flatness: float = 0.0
    input_ohms: float = 0.0
    output_ohms: tuple[float, ...] = ()
    noise: float = 0.0
    noise_weighted: float = 0.0
    loudest: tuple[tuple[str, float], ...] = ()
    loads: tuple[LoadLevel, ...] = ()
    controls: tuple[ControlEffect, ...] = ()
    variants: tuple[Variant, ...] = ()
    gain_off: float = 0.0
    spread: tuple[float, ...] = ()
    loosest: tuple[tuple[str, float], ...] = ()

    def corner(self, side: str, drop: float) -> Corner | None:
        """The corner of a side at a drop, or None."""
        return next((one for one in self.corners if one.side == side and one.drop == drop), None)

    def output_ohms_at(self, hertz: float) -> float | None:
        """Output impedance at the frequency nearest to one, or None."""
        if not self.frequencies:
            return None
        at = min(range(len(self.frequencies)), key=lambda number: abs(self.frequencies[number] - hertz))
        return self.output_ohms[at]


@dataclass(frozen=True, slots=True)
class RestRow:
    """A quantity at rest: what it is of, nominal, its ends; or the reason why it is not known.

    Attributes:
        key: of the net or part. unit: 'V', 'A' or 'W'.
    """

    key: str
    unit: str
    nominal: float | None
    low: float | None = None
    high: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class DeviceHeat:
    """Heat of a transistor of an output stage.

    Attributes:
        part: key. rest: watts at rest, nominal and its ends. most: watts of the worst sine into `load` ohms.
        at_volts: peak volts of that sine. shorted: the same into a shorted output, limited by what is in its way.
        load: ohms. rating: what the part book allows in free air at 25 °C, None where not known.
        celsius: inside it, at rest and at the most of the sine; None where not known. cooling: why it is not known.
        volts, amps: most across it and through it over the same sines; None where not known.
        mounted: it is on a heatsink, so that a rating in free air says nothing of it.
    """

    part: str
    rest: tuple[float, float, float]
    most: float
    at_volts: float
    shorted: float | None
    load: float
    rating: float | None = None
    celsius: tuple[float | None, float | None] = (None, None)
    cooling: str = ""
    volts: float | None = None
    amps: float | None = None
    mounted: bool = False


@dataclass(frozen=True, slots=True)
class SupplyRow:
    """A rail that a rectifier or a regulator makes: what it has, gives and has to spare. Ends are (low, nominal, high).

    Attributes:
        key: of the net. part: key of the regulator, bridge or first diode that makes it. origin: a clause in words.
        volts: over mains and load; of a rectified rail from the bottom of its ripple at low mains to its peak at high
            mains without load. amps: at rest, to at rest and with the signal. reason: why something is not known.
        ripple: peak to peak at the largest of these amps; None behind a regulator. trough: its bottom at low mains.
        headroom: least volts across the regulator less what it needs; negative when it falls out of regulation.
        watts: heat of the regulator at high mains and the largest amps. junction: its degrees Celsius, where told.
    """

    key: str
    part: str = ""
    origin: str = ""
    volts: tuple[float, float, float] | None = None
    amps: tuple[float, float, float] | None = None
    ripple: float | None = None
    trough: float | None = None
    headroom: float | None = None
    watts: float | None = None
    junction: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class RatingRow:
    """Parts of one kind and value whose rating is not stated, and the least that it may be.

    Attributes:
        kind, value: of the parts. parts: keys. volts, amps, watts: the least rating to buy, None where it does not
            matter or is not known.
    """

    kind: str
    value: str
    parts: tuple[str, ...]
    volts: float | None = None
    amps: float | None = None
    watts: float | None = None


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """A stretch of circuit that is there twice.

    Attributes:
        left, right: keys of parts, in the same order. told_by: the evidence, a clause. differ: pairs of them whose
            values differ. left_over: parts of one channel only. meetings: keys of what joins the channels.
    """

    left: tuple[str, ...]
    right: tuple[str, ...]
    told_by: str
    differ: tuple[tuple[str, str], ...] = ()
    left_over: tuple[str, ...] = ()
    meetings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Behaviour:
    """All numbers of one board.

    Attributes:
        board: name. paths: in natural order. more_paths: how many were left out beyond the bound.
        volts: nets at rest. heat: parts at rest that take up most, the hottest first. devices: output stages.
        rails: amps of each rail at rest, without what outputs of amplifiers deliver.
        supplies: rails that rectifiers and regulators make, those in front first.
        channels: what stands twice, left and right.
        not_computed: reasons with how many nets each leaves unknown, the widest first.
    """

    board: str
    paths: tuple[PathBehaviour, ...] = ()
    more_paths: int = 0
    volts: tuple[RestRow, ...] = ()
    heat: tuple[RestRow, ...] = ()
    devices: tuple[DeviceHeat, ...] = ()
    rails: tuple[RestRow, ...] = ()
    supplies: tuple[SupplyRow, ...] = ()
    channels: tuple[ChannelRow, ...] = ()
    not_computed: tuple[tuple[str, int], ...] = field(default=())
