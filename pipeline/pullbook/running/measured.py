"""What the first half of a day hands to the second: in memory where one process does both, else through files."""

import dataclasses
from pathlib import Path
from typing import Any, Self

from pullbook.handover import AlignedDay, BestDay, DayReading, DeliveredDay
from pullbook.running import handover_files
from pullbook.running.earlier import keep_outline, keep_own

_STAGES = "stages"


@dataclasses.dataclass(frozen=True, slots=True)
class Measured:
    """A day measured alone. ``best``: under the default prior; ``own``: its own figures, which later days learn from; ``outline``:
    what the engine's next day is compared with."""

    reading: DayReading
    aligned: AlignedDay
    delivered: DeliveredDay
    best: BestDay
    own: dict[str, Any]
    outline: dict[str, Any]

    def keep(self, folder: Path) -> None:
        """Write it into ``folder``, for the process of the second half and for later days of the run."""
        stages = {"reading": self.reading, "aligned": self.aligned, "delivered": self.delivered, "best": self.best}
        handover_files.save(folder / _STAGES, {**stages, "outline": self.outline})
        keep_own(folder, self.own)
        keep_outline(folder, self.outline)

    @classmethod
    def kept(cls, folder: Path) -> Self:
        """What :meth:`keep` wrote (without the own figures, which lie beside it for later days)."""
        return cls(**handover_files.load(folder / _STAGES), own={})
