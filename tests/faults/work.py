"""The work that is interrupted: a fixed sequence of days and revisions, each marked by a torque no other step has."""

from dataclasses import dataclass
from typing import Any

from tests.unit.archive.made_up import made, record, tables

ENGINE = "blue coupé, 'the 350'"
DAYS = ("2031-04-05", "2031-04-06", "2031-04-06-evening")


@dataclass(frozen=True, slots=True)
class Step:
    """Step ``number``: one day as its inputs stand by then."""

    number: int

    @property
    def day(self) -> str:
        """The day that is written; the steps go round the days."""
        return DAYS[self.number % len(DAYS)]

    @property
    def revision(self) -> int:
        """The revision this step must become: nothing skipped, nothing twice."""
        return self.number // len(DAYS) + 1

    @property
    def torque(self) -> float:
        """The mark every table and the record of this step carry, N·m."""
        return 100.0 + self.number

    def writing(self) -> dict[str, Any]:
        """Keyword arguments of ``Store.write_day``."""
        listed = [{"file": f"logs/{ENGINE}/{self.day}/pull 01.csv", "kind": "log", "sha256": f"{self.number:064d}", "bytes": 1}]
        return {"tables": tables(self.torque), "record": record(ENGINE, self.day, self.torque), "made": made(listed),
                "own": {"ln_k": -8.0}}  # fmt: skip
