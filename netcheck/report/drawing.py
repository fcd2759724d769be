"""Pieces of drawings as SVG text: for a page without scripts and without style attributes.

Colours and fonts come from the classes of `sheet.css`, so that a drawing is legible in the dark and on paper.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from markupsafe import Markup, escape

from netcheck.ground.names import plain

SHOWN = 1.3  # pixels of a large screen for a unit of a drawing
Point = tuple[float, float]


def number(value: float) -> str:
    """A coordinate, to a tenth.

    >>> number(12.04), number(-3.0)
    ('12', '-3')
    """
    return f"{round(value, 1):g}"


def width_of(said: str) -> float:
    """About how wide a text is at the usual size, in units; an estimate, no font is measured.

    >>> width_of("GND") > width_of("gnd")
    True
    """
    return sum(3.3 if letter in " .,:;il|'/()" else 7.8 if letter.isupper() else 6.3 for letter in said)


def text(at: Point, said: str, css: str = "", anchor: str = "start", most: int = 60) -> Markup:
    """A line of text, its base line at a point; anchor: 'start', 'middle' or 'end'."""
    shown = plain(said, most)
    return Markup('<text x="{}" y="{}" text-anchor="{}" class="{}">{}</text>').format(
        number(at[0]), number(at[1]), anchor, css, shown
    )


def line(a: Point, b: Point, css: str) -> Markup:
    """A straight line."""
    ends = [number(value) for value in (*a, *b)]
    return Markup('<line x1="{}" y1="{}" x2="{}" y2="{}" class="{}"/>').format(*ends, css)


def curve(points: Sequence[Point], css: str) -> Markup:
    """A line through many points."""
    steps = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return Markup('<polyline points="{}" class="{}"/>').format(steps, css)


def box(at: Point, width: float, height: float, css: str) -> Markup:
    """A rectangle."""
    sides = [number(value) for value in (*at, width, height)]
    return Markup('<rect x="{}" y="{}" width="{}" height="{}" class="{}"/>').format(*sides, css)


def dot(at: Point, radius: float, css: str, title: str = "") -> Markup:
    """A filled circle; with a title that a pointer over it shows."""
    told = Markup("<title>{}</title>").format(plain(title, 120)) if title else Markup("")
    return Markup('<circle cx="{}" cy="{}" r="{}" class="{}">{}</circle>').format(
        number(at[0]), number(at[1]), number(radius), css, told
    )


def svg(size: Point, css: str, title: str, about: str, pieces: Iterable[Markup], name: str) -> Markup:
    """A drawing with its title and its words for those who do not see it.

    Args:
        name: of the drawing, one to a page, letters and digits and hyphens; its title and words are named after it.
    """
    box_width, box_height = number(size[0]), number(size[1])
    width, height = (number(side * SHOWN) for side in size)
    return Markup(
        '<svg viewBox="0 0 {0} {1}" width="{7}" height="{8}" class="{2}" role="img"'
        ' aria-labelledby="{3}-t {3}-d"><title id="{3}-t">{4}</title><desc id="{3}-d">{5}</desc>{6}</svg>'
    ).format(
        box_width,
        box_height,
        css,
        name,
        plain(title, 120),
        plain(about, 1000),
        Markup("").join(escape(piece) for piece in pieces),
        width,
        height,
    )
