"""Three-valued logic, arithmetic with bounds, comparison: the meaning of the operators."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from netcheck.language.values import Lot, Unknown, Words, reasons_of, unite

MOST_EXPONENT = 64

Bounds = tuple[float | None, float | None]


def bounds_of(value: object) -> Bounds:
    """Lower and upper bound of a number, known or not."""
    if value.__class__ is float:  # what is asked most often
        return value, value
    if isinstance(value, Unknown):
        return value.low, value.high
    assert isinstance(value, int | float)
    return float(value), float(value)


def invert(value: object) -> object:
    """not: unknown stays unknown."""
    return value if isinstance(value, Unknown) else not value


def conjunction(values: Sequence[object]) -> object:
    """and: a no decides, whatever else is unknown.

    >>> conjunction([True, Unknown(("R1",)), False])
    False
    """
    if any(value is False for value in values):
        return False
    reasons = reasons_of(*values)
    return Unknown(reasons) if reasons else True


def disjunction(values: Sequence[object]) -> object:
    """or: a yes decides, whatever else is unknown."""
    if any(value is True for value in values):
        return True
    reasons = reasons_of(*values)
    return Unknown(reasons) if reasons else False


def _whole(value: float, what: str) -> object:
    return Unknown((f"{what} gives no number",)) if math.isnan(value) else value


def add(a: object, b: object) -> object:
    """a + b; bounds are kept.

    >>> add(Unknown(("x",), 1.0, None), 2.0)
    Unknown(reasons=('x',), low=3.0, high=None)
    """
    (al, ah), (bl, bh) = bounds_of(a), bounds_of(b)
    low = al + bl if al is not None and bl is not None else None
    high = ah + bh if ah is not None and bh is not None else None
    return _bounded(a, b, low, high, "a sum")


def subtract(a: object, b: object) -> object:
    """a - b; bounds are kept."""
    (al, ah), (bl, bh) = bounds_of(a), bounds_of(b)
    low = al - bh if al is not None and bh is not None else None
    high = ah - bl if ah is not None and bl is not None else None
    return _bounded(a, b, low, high, "a difference")


def multiply(a: object, b: object) -> object:
    """a * b; bounds are kept when all of them are known."""
    ends = (*bounds_of(a), *bounds_of(b))
    if any(end is None for end in ends):
        return _bounded(a, b, None, None, "a product")
    al, ah, bl, bh = (float(end or 0.0) for end in ends)
    products = [al * bl, al * bh, ah * bl, ah * bh]
    if any(math.isnan(product) for product in products):
        return _bounded(a, b, None, None, "a product") if reasons_of(a, b) else _whole(math.nan, "a product")
    return _bounded(a, b, min(products), max(products), "a product")


def divide(a: object, b: object) -> object:
    """a / b; unknown when b may be zero."""
    low, high = bounds_of(b)
    if reasons_of(b) and (low is None or high is None or low <= 0 <= high):
        return Unknown(reasons_of(a, b))
    if low == 0 and high == 0:
        return Unknown(unite(reasons_of(a), ("a division by zero",)))
    assert low is not None and high is not None
    inverse = [0.0 if math.isinf(end) else 1.0 / end for end in (low, high)]
    unknown = Unknown(b.reasons, min(inverse), max(inverse)) if isinstance(b, Unknown) else inverse[0]
    return multiply(a, unknown)


def remainder(a: object, b: object) -> object:
    """a % b."""
    if reasons := reasons_of(a, b):
        return Unknown(reasons)
    assert isinstance(a, float | int) and isinstance(b, float | int)
    return Unknown(("a division by zero",)) if b == 0 or math.isinf(a) else math.fmod(a, b)


def power(a: object, b: object) -> object:
    """a ** b; an exponent beyond 64 gives no number."""
    if reasons := reasons_of(a, b):
        return Unknown(reasons)
    if abs(float(b)) > MOST_EXPONENT:  # type: ignore[arg-type]
        return Unknown(("a power gives no number",))
    return apply(lambda: float(a) ** float(b), "a power")  # type: ignore[arg-type]


def negate(a: object) -> object:
    """-a."""
    return subtract(0.0, a)


def apply(compute: Callable[[], float | complex], what: str) -> object:
    """The result of a computation, or unknown when it has none."""
    try:
        found = compute()
    except (ValueError, OverflowError, ZeroDivisionError):
        return Unknown((f"{what} gives no number",))
    if isinstance(found, complex):
        return Unknown((f"{what} gives no number",))
    return _whole(found, what)


def _bounded(a: object, b: object, low: float | None, high: float | None, what: str) -> object:
    low = None if low is not None and math.isnan(low) else low
    high = None if high is not None and math.isnan(high) else high
    if reasons := reasons_of(a, b):
        return Unknown(reasons, low, high)
    return Unknown((f"{what} gives no number",)) if low is None else low


def less(a: object, b: object, or_equal: bool) -> object:
    """a < b or a <= b; decided when the bounds decide.

    >>> less(Unknown(("x",), 5.0, None), 4.0, False)
    False
    """
    (al, ah), (bl, bh) = bounds_of(a), bounds_of(b)
    if ah is not None and bl is not None and (ah < bl or (or_equal and ah == bl)):
        return True
    if al is not None and bh is not None and (al > bh or (not or_equal and al == bh)):
        return False
    return Unknown(reasons_of(a, b))


def equal(a: object, b: object, key_of: Callable[[object], str | None]) -> object:
    """a == b: numbers by value (bounds may decide a no), words by letters, things by key, nothing by itself."""
    if isinstance(a, str) and isinstance(b, str):
        return a == b
    if isinstance(a, Unknown) or isinstance(b, Unknown):
        if _numeric(a) and _numeric(b):
            (al, ah), (bl, bh) = bounds_of(a), bounds_of(b)
            apart = (ah is not None and bl is not None and ah < bl) or (al is not None and bh is not None and al > bh)
            if apart:
                return False
        return Unknown(reasons_of(a, b))
    if a is None or b is None:
        return a is None and b is None
    if isinstance(a, Lot) and isinstance(b, Lot):
        if a.perhaps or b.perhaps:
            return Unknown(unite(*(p.reasons for p in (*a.perhaps, *b.perhaps))))
        if len(a.members) != len(b.members):
            return False
        return conjunction([equal(x, y, key_of) for x, y in zip(a.members, b.members, strict=True)])
    key, other = key_of(a), key_of(b)
    return key == other if key is not None and other is not None else a == b


def _numeric(value: object) -> bool:
    return isinstance(value, int | float | Unknown) and not isinstance(value, bool)


def contains(item: object, lot: object, key_of: Callable[[object], str | None]) -> object:
    """item in lot: a perhaps that matches leaves it unknown."""
    if isinstance(lot, Words) and isinstance(item, str):
        return item in lot.known
    if isinstance(lot, Unknown):
        return lot
    assert isinstance(lot, Lot)
    if not lot.perhaps and not isinstance(item, Unknown) and not any(isinstance(m, Unknown) for m in lot.members):
        return _among(item, lot.members, key_of)
    sure = disjunction([equal(item, member, key_of) for member in lot.members])
    if sure is True:
        return True
    unsure: list[tuple[str, ...]] = [reasons_of(sure)]
    for perhaps in lot.perhaps:
        match = equal(item, perhaps.member, key_of)
        if match is not False:
            unsure.append(unite(perhaps.reasons, reasons_of(match)))
    reasons = unite(*unsure)
    return Unknown(reasons) if reasons else False


def _among(item: object, members: Sequence[object], key_of: Callable[[object], str | None]) -> bool:
    """Whether something known is among things that are all known; quick, for it is asked most often."""
    if item is None or isinstance(item, str):
        return item in members
    key = key_of(item)
    if key is not None:
        return any(key_of(member) == key for member in members if member is not None)
    return any(equal(item, member, key_of) is True for member in members)
