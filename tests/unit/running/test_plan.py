"""What a run's plan says of the order of its days, how they are packed, and what stays of it."""

import dataclasses
from pathlib import Path

import pytest

from pullbook.book import Book
from pullbook.config import load
from pullbook.running.plan import Action, Plan, PlannedDay, clear_work
from pullbook.running.planning import MOST_PARCELS, _packed


def planned(*days: str, action: Action = "make") -> Plan:
    """A plan with a parcel for each day of one engine, named like it."""
    return Plan(
        id="plan", file=Path("plan.json"), root=".", logs="logs", page="A4", work=Path(), pages=True,
        days={day: PlannedDay(day, "four", day, action, "new day") for day in days}, parcels={day: [day] for day in days},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("asks", "waits_for"),
    [
        ("2031-04-05", ["2031-04-05"]),
        ("2031-04-05-2", ["2031-04-05", "2031-04-05-2"]),
        ("2031-04-05-10", ["2031-04-05", "2031-04-05-2", "2031-04-05-10"]),
        ("2031-05-02", ["2031-04-05", "2031-04-05-2", "2031-04-05-10", "2031-05-02"]),
    ],
)
def test_a_day_waits_for_all_that_come_before_it(asks: str, waits_for: list[str]) -> None:
    """The tenth visit of a date comes after the second, although its name sorts before it."""
    plan = planned("2031-04-05", "2031-04-05-2", "2031-04-05-10", "2031-05-02")
    assert plan.needed_before(asks) == waits_for


def test_a_report_drawn_again_waits_for_nobody() -> None:
    assert planned("2031-04-05", "2031-05-02", action="draw").needed_before("2031-05-02") == []


def many_days(book: Book, number: int, *, days_per_job: int, first: int = 0) -> Plan:
    settings = dataclasses.replace(load(book.root), days_per_job=days_per_job)
    days = [
        PlannedDay(f"{n:04d}", f"engine {n // 300}", f"2031-{n // 25 % 12 + 1:02d}-{n % 25 + 1:02d}", "make", "new day")
        for n in range(first, first + number)
    ]
    return _packed(book, settings, days, pages=True)


@pytest.mark.parametrize(("number", "days_per_job", "most"), [(3, 8, 1), (200, 8, 8), (200, 1, 1), (3_000, 8, 12), (3_000, 1, 12)])
def test_parcels_hold_what_was_asked_for_and_never_are_too_many(tmp_path: Path, number: int, days_per_job: int, most: int) -> None:
    plan = many_days(Book.at(tmp_path), number, days_per_job=days_per_job)
    assert sorted(i for ids in plan.parcels.values() for i in ids) == sorted(plan.days)
    assert max(map(len, plan.parcels.values())) == most
    assert len(plan.parcels) <= MOST_PARCELS


def left_behind(plan: Plan) -> set[str]:
    return {p.relative_to(plan.work).as_posix() for p in plan.work.rglob("*") if p.is_file()} - {"plan.json"}


@pytest.mark.parametrize("whole", [True, False])
def test_the_work_folder_does_not_grow_with_the_runs(tmp_path: Path, *, whole: bool) -> None:
    """What an earlier run left that was stopped goes with the next that ends; what this one could not use stays for the next."""
    old, plan = (many_days(Book.at(tmp_path), 2, days_per_job=1, first=first) for first in (0, 5))
    for left in (old, plan):
        left.write()
        for parcel in left.parcels:
            left.measured(parcel).mkdir(parents=True)
            for file in (left.measured(parcel) / "own.json", left.reported(parcel)):
                file.parent.mkdir(parents=True, exist_ok=True)
                file.write_text("{}")
    (plan.work / ".snakemake" / "log").mkdir(parents=True)
    (plan.work / ".snakemake" / "log" / "one.log").write_text("")
    clear_work(plan, whole=whole)
    own = {f"{place}/{parcel}{ending}" for parcel in plan.parcels
           for place, ending in (("parcels", ".json"), ("measured", "/own.json"), ("reported", ".json"))}  # fmt: skip
    assert left_behind(plan) == (set() if whole else own | {".snakemake/log/one.log"})
