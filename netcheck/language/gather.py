"""Functions over lists: any, all, count, total, least, most, list, first; unsure members give bounds."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import chain, repeat
from typing import NamedTuple

from netcheck.language.logic import add, bounds_of
from netcheck.language.values import Lot, Perhaps, Unknown, reasons_of, unite


class Drawn(NamedTuple):
    """One item drawn from a list: its value and, when it only perhaps belongs, the reasons."""

    value: object
    doubt: tuple[str, ...] = ()


def drawn_from(lot: Lot) -> Iterator[tuple[object, tuple[str, ...]]]:
    """Members, then those that perhaps belong, as pairs of `Drawn`; each when it is wanted: the first may decide."""
    sure: Iterator[tuple[object, tuple[str, ...]]] = zip(lot.members, repeat(()))
    return chain(sure, ((perhaps.member, perhaps.reasons) for perhaps in lot.perhaps)) if lot.perhaps else sure


def holds(value: object) -> object:
    """A thing counts as yes: any(m for m in list) asks whether there is one."""
    if value is True or value is False or isinstance(value, Unknown):
        return value
    return value is not None


def any_of(items: Sequence[Drawn]) -> object:
    """yes when a sure item holds; unknown when an unsure one might."""
    reasons: list[tuple[str, ...]] = []
    for item in items:
        held = holds(item.value)
        if held is True and not item.doubt:
            return True
        if held is not False:
            reasons.append(unite(reasons_of(held), item.doubt))
    return Unknown(unite(*reasons)) if reasons else False


def all_of(items: Sequence[Drawn]) -> object:
    """no when a sure item fails; unknown when an unsure one might."""
    reasons: list[tuple[str, ...]] = []
    for item in items:
        held = holds(item.value)
        if held is False and not item.doubt:
            return False
        if held is not True:
            reasons.append(unite(reasons_of(held), item.doubt))
    return Unknown(unite(*reasons)) if reasons else True


def count_of(items: Sequence[Drawn]) -> object:
    """How many; with bounds when some only perhaps belong.

    >>> count_of([Drawn(1.0), Drawn(2.0, ("C3 has no value",))])
    Unknown(reasons=('C3 has no value',), low=1.0, high=2.0)
    """
    doubts = [item.doubt for item in items if item.doubt]
    return Unknown(unite(*doubts), float(len(items) - len(doubts)), float(len(items))) if doubts else float(len(items))


def total_of(items: Sequence[Drawn]) -> object:
    """The sum; an unsure item adds between nothing and its value."""
    found: object = 0.0
    for item in items:
        value = item.value
        if item.doubt:
            low, high = bounds_of(value)
            value = Unknown(
                unite(item.doubt, reasons_of(value)),
                min(0.0, low) if low is not None else None,
                max(0.0, high) if high is not None else None,
            )
        found = add(found, value)
    return found


def least_of(items: Sequence[Drawn]) -> object:
    """The smallest; nothing for an empty list."""
    return _extreme(items, smallest=True)


def most_of(items: Sequence[Drawn]) -> object:
    """The largest; nothing for an empty list."""
    return _extreme(items, smallest=False)


def _extreme(items: Sequence[Drawn], smallest: bool) -> object:
    if not items:
        return None
    choose: Callable[[list[float]], float] = min if smallest else max
    reasons = unite(*(unite(item.doubt, reasons_of(item.value)) for item in items))
    lows = [bounds_of(item.value)[0] for item in items]
    highs = [bounds_of(item.value)[1] for item in items]
    sure_lows = [bounds_of(item.value)[0] for item in items if not item.doubt]
    sure_highs = [bounds_of(item.value)[1] for item in items if not item.doubt]
    if not reasons:
        return choose([low for low in lows if low is not None])
    if smallest:  # a member that may be absent can only bound from below
        low, high = _all(lows, min), _some(sure_highs, min)
    else:
        low, high = _some(sure_lows, max), _all(highs, max)
    return Unknown(reasons, low, high)


def _all(ends: list[float | None], choose: Callable[[list[float]], float]) -> float | None:
    return None if any(end is None for end in ends) else choose([end for end in ends if end is not None])


def _some(ends: list[float | None], choose: Callable[[list[float]], float]) -> float | None:
    known = [end for end in ends if end is not None]
    return choose(known) if known else None


def list_of(items: Sequence[Drawn]) -> object:
    """A list that keeps the unsure ones as perhaps."""
    return Lot(
        tuple(item.value for item in items if not item.doubt),
        tuple(Perhaps(item.value, item.doubt) for item in items if item.doubt),
    )


def first_of(items: Sequence[Drawn]) -> object:
    """The first sure item; nothing for an empty list; unknown when there are unsure ones only."""
    for item in items:
        if not item.doubt:
            return item.value
    return Unknown(unite(*(item.doubt for item in items))) if items else None


GATHER: dict[str, Callable[[Sequence[Drawn]], object]] = {
    "any": any_of,
    "all": all_of,
    "count": count_of,
    "total": total_of,
    "least": least_of,
    "most": most_of,
    "list": list_of,
    "first": first_of,
}
# What one sure item must hold to decide, whatever the others are.
DECISIVE: dict[str, bool] = {"any": True, "all": False}

__all__ = ["DECISIVE", "GATHER", "Drawn", "drawn_from", "holds"]
