"""What a run's plan says of the order of its days."""

from pathlib import Path

import pytest

from pullbook.running.plan import Action, Plan, PlannedDay


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
