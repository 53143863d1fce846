"""A book with one day in it that a test fills as a shop would, and what the day then reads as."""

from pathlib import Path

import polars as pl
from tests.unit.reading.driven import SWEEP, Plan, drive, write_log

from pullbook.book import Book
from pullbook.handover import DayReading
from pullbook.reading.day import read_day

LOW: Plan = [(3, 1800, 0.3), (1, 1800, 1), (5, 3800, 1), (7, 1500, 0)]


class Shop:
    """A book with one day in it."""

    def __init__(self, root: Path) -> None:
        self.book = Book.at(root)
        self.folder = self.book.logs / "blue" / "2031-04-05"
        self.folder.mkdir(parents=True)

    def log(
        self, name: str, *, number: int = 1, advance: float | None = 30.0, plan: Plan = SWEEP, torque: bool = True
    ) -> pl.DataFrame:
        samples = drive(plan, number=number, torque=torque)
        write_log(self.folder / name, samples, advance)
        return samples

    def text(self, name: str, content: str) -> None:
        (self.folder / name).write_text(content, encoding="utf-8")

    def read(self) -> DayReading:
        return read_day(self.book, "blue", "2031-04-05")


def column(day: DayReading, name: str) -> list[object]:
    return day.pulls[name].to_list()
