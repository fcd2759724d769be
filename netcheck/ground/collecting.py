"""How often Python looks for rings of objects that nobody needs any more."""

from __future__ import annotations

import gc

MOST_NEW = 50_000  # objects between two looks; Python's own 700 takes a fifth of a review's time


def collect_seldom() -> None:
    """For a program that builds much, makes hardly any rings, and ends: look seldom.

    >>> collect_seldom(); gc.get_threshold()[0]
    50000
    """
    gc.set_threshold(MOST_NEW, 20, 20)
