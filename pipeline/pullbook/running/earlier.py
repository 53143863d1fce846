"""What a day may know of the days before it: those measured in this run, and those in the archive."""

from functools import cache
from pathlib import Path
from typing import Any

from pullbook.book import day_order
from pullbook.running import handover_files
from pullbook.running.plan import Plan, PlannedDay

_OWN, _OUTLINE = "own", "outline"


def keep_own(folder: Path, figures: dict[str, Any]) -> None:
    """Write a measured day's own figures where later days of the run find them."""
    handover_files.save(folder / _OWN, figures)


def keep_outline(folder: Path, outline: dict[str, Any]) -> None:
    """Write a measured day's outline where the engine's next day of the run finds it."""
    handover_files.save(folder / _OUTLINE, outline)


class Earlier:
    """The days before ``day``, wherever their figures lie; the answer is the same whichever job of the run ended first.

    Parameters
    ----------
    plan, day
        The run's plan and the day that asks.
    folders
        What was measured in this run, by the day's id.
    """

    def __init__(self, plan: Plan, day: PlannedDay, folders: dict[str, Path]) -> None:
        self._day = day
        self._folders = folders
        before = [
            other
            for ident, other in plan.days.items()
            if ident in folders and day_order(other.day) < day_order(day.day) and (folders[ident] / _OWN).is_dir()
        ]
        self._measured = sorted(before, key=lambda d: (day_order(d.day), d.engine))

    def own_figures(self, dyno: str | None, store: Any) -> list[dict[str, Any]]:
        """Own figures of earlier days of this engine, and of earlier dates on this dyno, oldest first."""
        known = {(h["engine"], h["day"]): h for h in store.own_history(self._day.engine, dyno, self._day.day)}
        for other in self._measured:
            figures = _loaded(self._folders[other.id] / _OWN)
            known.pop((other.engine, other.day), None)
            same_dyno = dyno is not None and figures["dyno"] == dyno
            if other.engine == self._day.engine or (same_dyno and other.day[:10] < self._day.day[:10]):
                known[other.engine, other.day] = figures
        return [known[key] for key in sorted(known, key=lambda k: (day_order(k[1]), k[0]))]

    def outline_before(self, store: Any) -> dict[str, Any] | None:
        """Outline of this engine's last day before this one, None on its first."""
        archived: dict[str, Any] | None = store.previous_record(self._day.engine, self._day.day)
        mine = [d for d in self._measured if d.engine == self._day.engine]
        if mine and (archived is None or day_order(archived["day"]) <= day_order(mine[-1].day)):
            return handover_files.load(self._folders[mine[-1].id] / _OUTLINE)
        return archived


@cache
def _loaded(folder: Path) -> dict[str, Any]:
    """One process takes several days, and each looks at the same earlier ones."""
    return handover_files.load(folder)
