"""What a board was taken for, on what evidence, and what was not understood: for `netcheck read` and the report."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One line of an account: keys of the things meant, what it is, and why it is thought so."""

    keys: tuple[str, ...]
    what: str
    because: str = ""


@dataclass(frozen=True)
class Understanding:
    """A board, understood; each part an ordered tuple of rows.

    Attributes:
        kinds: a row a kind ("12 resistors", refs in keys). rails: with volts and origin. grounds: by domain.
        amplifiers: each amplifier, what it does and its gain where a shape tells. stages: matches of shapes other
            than amplifiers. connectors: family, keying, positions, what it carries.
        not_understood: parts of unknown kind, pins without role, rails without volts, values in doubt.
        remarks: how the file was read: version, tool, date, digest, oddities.
    """

    board: str
    kinds: tuple[Row, ...] = ()
    rails: tuple[Row, ...] = ()
    grounds: tuple[Row, ...] = ()
    amplifiers: tuple[Row, ...] = ()
    stages: tuple[Row, ...] = ()
    connectors: tuple[Row, ...] = ()
    not_understood: tuple[Row, ...] = ()
    remarks: tuple[str, ...] = ()
