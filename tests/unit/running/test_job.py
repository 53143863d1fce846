"""A process of the workflow: what it says of a day that could not be done."""

from pathlib import Path

import pytest

from pullbook.book import Book
from pullbook.running.job import _isolated
from pullbook.running.plan import Plan, PlannedDay


@pytest.mark.parametrize(
    ("there", "said"), [(True, "Permission denied: pull 1.csv"), (False, "its folder went away while it was being read")]
)
def test_a_folder_that_goes_away_under_the_run_is_said_so(tmp_path: Path, *, there: bool, said: str) -> None:
    book = Book.at(tmp_path)
    day = PlannedDay("x", "red", "2031-04-05", "make", "new day")
    plan = Plan("p", book.work / "plan.json", str(book.root), "logs", "A4", {"x": day}, {"y": ["x"]}, pages=True, work=book.work)
    if there:
        book.day_folder(day.engine, day.day).mkdir(parents=True)

    def refused() -> dict[str, str]:
        raise PermissionError(13, "Permission denied", "pull 1.csv")

    assert _isolated(plan, day, "measure", refused) == {"unwritable": said}
