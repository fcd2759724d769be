"""What is wrong with an input, said so that a person can act on it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Problem:
    """One mistake in one place of one file.

    Attributes:
        file: name of the file as the user gave it.
        line: from 1; 0 when the whole file is meant.
        column: from 1; 0 when the whole line is meant.
        what: what was found, what was expected, the nearest right name.

    >>> str(Problem("led.yaml", 3, 1, "unknown key 'consequense'; did you mean 'consequence'?"))
    "led.yaml:3:1: unknown key 'consequense'; did you mean 'consequence'?"
    >>> str(Problem("amp.net", 0, 0, "the file is empty"))
    'amp.net: the file is empty'
    """

    file: str
    line: int
    column: int
    what: str

    def __str__(self) -> str:
        place = [self.file]
        if self.line:
            place.append(str(self.line))
            if self.column:
                place.append(str(self.column))
        return f"{':'.join(place)}: {self.what}"


class Refused(Exception):
    """An input cannot be used; carries every problem that was found in it."""

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        found = (problems,) if isinstance(problems, Problem) else tuple(sorted(problems))
        super().__init__("\n".join(str(problem) for problem in found))
        self.problems: tuple[Problem, ...] = found
