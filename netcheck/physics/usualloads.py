"""What hangs on outputs of which nothing is told."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class UsualLoads:
    """What hangs on an output where no load is told.

    Attributes:
        phones: ohms of headphones. before_phones: output ohms up to which an output is meant for them. line: ohms of a
            line input, for all other outputs.
    """

    phones: tuple[float, ...] = ()
    before_phones: float = 0.0
    line: float | None = None

    def behind(self, output_ohms: float) -> tuple[float, ...]:
        """The loads of an output of so many ohms."""
        if output_ohms <= self.before_phones:
            return self.phones
        return () if self.line is None else (self.line,)


NO_USUAL_LOADS = UsualLoads()
