"""Curves over frequency as drawings: response and group delay of a signal path.

The frequency axis is logarithmic, with a line to a decade. What is asked for is shaded, corners are marked, and points
at 1-2-5 frequencies tell their value to a pointer; the table beside a plot has the same values in words.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from netcheck.ground.units import DECIBEL, HERTZ, SECOND, show
from netcheck.intake.assembly import Span, Targets
from netcheck.physics.behaviour import PathBehaviour
from netcheck.report import drawing

WIDTH, HEIGHT = 340.0, 216.0  # as wide as a telephone, so that letters keep their size there
LEFT, RIGHT, TOP, BOTTOM = 46.0, 8.0, 12.0, 34.0
MOST_POINTS = 140
DEEPEST = 40.0  # decibels below the top that are shown
SHALLOWEST, BANDS_DEEP = 5.0, 6.0  # with a band that is wanted: so many decibels, or so many times its half width
MOST_TICKS = 6
LEAST_SPREAD = 0.1  # dB; ends of tolerances that are nearer to the curve cannot be seen
Shown = Callable[[float], str]


@dataclass(frozen=True)
class Axes:
    """Where frequencies and values stand on a drawing: hertz from low to high, values from bottom to top."""

    low: float
    high: float
    bottom: float
    top: float

    def x(self, hertz: float) -> float:
        """Units from the left.

        >>> Axes(1.0, 100.0, 0.0, 1.0).x(10.0) == (LEFT + WIDTH - RIGHT) / 2
        True
        """
        share = math.log(hertz / self.low) / math.log(self.high / self.low)
        return LEFT + share * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        """Units from above; values beyond the axes stand at their ends."""
        share = (min(max(value, self.bottom), self.top) - self.bottom) / (self.top - self.bottom)
        return HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)


def ticks(low: float, high: float, most: int = MOST_TICKS) -> tuple[float, ...]:
    """Round values from low to high: steps of 1, 2 or 5 times a power of ten.

    >>> ticks(0.0, 11.0), ticks(-0.31, 0.12)
    ((0.0, 2.0, 4.0, 6.0, 8.0, 10.0), (-0.3, -0.2, -0.1, 0.0, 0.1))
    """
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next((power * one for one in (1, 2, 5) if power * one >= rough), power * 10)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    digits = 1 - math.floor(math.log10(step))
    return tuple(round(number * step, digits) for number in range(first, last + 1))


def round_frequencies(low: float, high: float) -> tuple[float, ...]:
    """Frequencies of 1, 2 and 5 times a power of ten from low to high.

    >>> round_frequencies(5.0, 60.0)
    (5.0, 10.0, 20.0, 50.0)
    """
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    found = (float(f"{one}e{power}") for power in powers for one in (1, 2, 5))
    return tuple(hertz for hertz in found if low * (1 - 1e-9) <= hertz <= high * (1 + 1e-9))


def value_at(frequencies: Sequence[float], values: Sequence[float], hertz: float) -> float:
    """A value between two points of a curve, straight over the logarithm of the frequency.

    >>> round(value_at((10.0, 1000.0), (0.0, 4.0), 100.0), 6)
    2.0
    """
    at = min(max(bisect_left(frequencies, hertz), 1), len(frequencies) - 1)
    low, high = frequencies[at - 1], frequencies[at]
    share = min(max(math.log(hertz / low) / math.log(high / low), 0.0), 1.0)
    return values[at - 1] + share * (values[at] - values[at - 1])


# The two plots


def response_plot(path: PathBehaviour, targets: Targets | None, title: str, name: str) -> Markup:
    """Gain in decibels over frequency."""
    top = math.ceil(max(path.decibels) + 1)
    wanted = targets.passband if targets else None
    if wanted and wanted.most is not None:
        top = max(top, math.ceil(path.gain + wanted.most + 1))
    bottom = max(math.floor(min(path.decibels)), top - DEEPEST)
    if wanted and wanted.most is not None:  # no deeper than lets the band be judged, and its corners be seen
        bottom = max(bottom, math.floor(path.gain - max(SHALLOWEST, BANDS_DEEP * wanted.most)))
    axes = Axes(path.frequencies[0], path.frequencies[-1], min(bottom, top - 6.0), float(top))
    pieces = [*_paper(axes, lambda value: f"{value:g} dB")]
    if wanted is not None:
        spread = wanted.most if wanted.most is not None else DEEPEST
        pieces += _wanted(axes, wanted, path.gain - spread, path.gain + spread)
    for end in (-1, 1) if path.spread and max(path.spread) >= LEAST_SPREAD else ():
        ends = [value + end * off for value, off in zip(path.decibels, path.spread, strict=True)]
        pieces += _curves(axes, path.frequencies, ends, "curve end-curve")
    pieces += _corner_marks(axes, path)
    pieces += _curves(axes, path.frequencies, path.decibels)
    pieces += _samples(axes, path.frequencies, path.decibels, lambda value: f"{value:.2f} dB")
    about = f"{path.gain:.1f} dB at 1 kHz. " + " ".join(_corner_words(path))
    if path.spread and max(path.spread) >= LEAST_SPREAD:
        about += " Thin lines beside the curve: tolerances of resistors and capacitors at their worst."
    return drawing.svg((WIDTH, HEIGHT), "plot", title, about, pieces, name)


def delay_plot(path: PathBehaviour, targets: Targets | None, title: str, name: str) -> Markup:
    """Group delay in seconds over frequency; the axis is as high as what lies in the band needs."""
    wanted = targets.group_delay if targets else None
    low, high = (wanted.low, wanted.high) if wanted else path.band
    inside = _inside(path.frequencies, path.delays, low, high)
    least, most = min(inside), max(inside)
    aim = wanted.most if wanted and wanted.most is not None else 0.0
    span = max(most - least, aim, 1e-9)
    axes = Axes(path.frequencies[0], path.frequencies[-1], least - 0.15 * span, least + 1.25 * span)
    pieces = [*_paper(axes, lambda value: show(value, SECOND))]
    if wanted is not None and wanted.most is not None:
        pieces += _wanted(axes, wanted, least, least + wanted.most)
    pieces += _curves(axes, path.frequencies, path.delays)
    pieces += _samples(axes, path.frequencies, path.delays, lambda value: show(value, SECOND))
    about = f"From {show(low, HERTZ)} to {show(high, HERTZ)} it spreads over {show(most - least, SECOND)}."
    return drawing.svg((WIDTH, HEIGHT), "plot", title, about, pieces, name)


def delay_spread(path: PathBehaviour, low: float, high: float) -> float:
    """How far the group delay varies between two frequencies, in seconds."""
    inside = _inside(path.frequencies, path.delays, low, high)
    return max(inside) - min(inside)


def strays_by(path: PathBehaviour, low: float, high: float) -> float:
    """Most decibels by which the response between two frequencies is off its gain at 1 kHz."""
    return max(abs(value - path.gain) for value in _inside(path.frequencies, path.decibels, low, high))


def worst_stray(path: PathBehaviour, low: float, high: float) -> float:
    """The same with every resistor and capacitor at the end of its tolerance that makes it worst."""
    if not path.spread:
        return strays_by(path, low, high)
    off = [abs(value - path.gain) + more for value, more in zip(path.decibels, path.spread, strict=True)]
    return max(_inside(path.frequencies, off, low, high))


def _inside(frequencies: Sequence[float], values: Sequence[float], low: float, high: float) -> list[float]:
    """Values of a curve between two frequencies, those at the ends included."""
    pairs = zip(frequencies, values, strict=True)
    ends = [value_at(frequencies, values, hertz) for hertz in (low, high)]
    return [*ends, *(value for hertz, value in pairs if low <= hertz <= high)]


# Their pieces


def _paper(axes: Axes, said: Shown) -> Iterator[Markup]:
    left, right, upper, lower = LEFT, WIDTH - RIGHT, TOP, HEIGHT - BOTTOM
    for hertz in round_frequencies(axes.low, axes.high):
        decade = f"{hertz:e}".startswith("1.")
        x = axes.x(hertz)
        yield drawing.line((x, upper), (x, lower), "grid decade" if decade else "grid")
        if decade:
            yield drawing.text((x, lower + 13), _short(hertz), "tick", "end" if hertz == axes.high else "middle")
    yield drawing.text(((left + right) / 2, HEIGHT - 5), "frequency, Hz", "tick", "middle")
    for value in ticks(axes.bottom, axes.top):
        y = axes.y(value)
        yield drawing.line((left, y), (right, y), "grid")
        yield drawing.text((left - 5, y + 4), said(value), "tick", "end")
    yield drawing.box((left, upper), right - left, lower - upper, "frame")


def _short(hertz: float) -> str:
    """A frequency on the axis: 1, 10, 100, 1k."""
    return show(hertz, HERTZ).removesuffix("Hz").replace(" ", "")


def _wanted(axes: Axes, wanted: Span, bottom: float, top: float) -> Iterator[Markup]:
    low, high = max(wanted.low, axes.low), min(wanted.high, axes.high)
    if low >= high:
        return
    x, y = axes.x(low), axes.y(top)
    yield drawing.box((x, y), axes.x(high) - x, max(axes.y(bottom) - y, 1.5), "wanted")
    yield drawing.text((x + 3, max(y - 4, TOP + 9)), "wanted", "tick")


def _curves(axes: Axes, frequencies: Sequence[float], values: Sequence[float], css: str = "curve") -> Iterator[Markup]:
    """The curve, in pieces where it leaves the paper."""
    step = max(1, len(frequencies) // MOST_POINTS)
    picked = sorted({*range(0, len(frequencies), step), len(frequencies) - 1})
    piece: list[drawing.Point] = []
    for at in picked:
        if axes.bottom <= values[at] <= axes.top:
            piece.append((axes.x(frequencies[at]), axes.y(values[at])))
        elif piece:
            yield drawing.curve(piece, css)
            piece = []
    if piece:
        yield drawing.curve(piece, css)


def _samples(axes: Axes, frequencies: Sequence[float], values: Sequence[float], said: Shown) -> Iterator[Markup]:
    """Points that tell their value to a pointer over them; those of the decades to the keyboard, too."""
    for hertz in round_frequencies(axes.low, axes.high):
        value = value_at(frequencies, values, hertz)
        if axes.bottom <= value <= axes.top:
            at = (axes.x(hertz), axes.y(value))
            middle = (LEFT + WIDTH - RIGHT) / 2
            place = (at[0] + (6 if at[0] < middle else -6), at[1] - 7 if at[1] > TOP + 20 else at[1] + 16)
            told = f"{show(hertz, HERTZ)}: {said(value)}"
            yield Markup('<g class="reading"{}>{}{}</g>').format(
                Markup(' tabindex="0"') if f"{hertz:e}".startswith("1.") else "",
                drawing.dot(at, 5, "sample", told),
                drawing.text(place, told, "readout label", "start" if at[0] < middle else "end"),
            )


def _corner_marks(axes: Axes, path: PathBehaviour) -> Iterator[Markup]:
    for corner in path.corners:
        if corner.hertz is None or not axes.low <= corner.hertz <= axes.high:
            continue
        x, y = axes.x(corner.hertz), axes.y(path.gain - corner.drop)
        said = f"-{corner.drop:g} dB at {show(corner.hertz, HERTZ)}"
        if corner.drop >= 3.0:
            yield drawing.line((x, y), (x, HEIGHT - BOTTOM), "corner")
            near_left = x < (LEFT + WIDTH - RIGHT) / 2
            yield drawing.text(
                (x + (5 if near_left else -5), HEIGHT - BOTTOM - 8), said, "label", "start" if near_left else "end"
            )
        yield drawing.dot((x, y), 3, "mark-dot", said)


def _corner_words(path: PathBehaviour) -> Iterable[str]:
    for corner in path.corners:
        if corner.hertz is not None:
            yield f"{show(-corner.drop, DECIBEL)} at {show(corner.hertz, HERTZ)}."
