"""The clock times a sheet writes beside its pulls, on a clock of 24 hours or of two halves."""

import pytest

from pullbook.pulls.order import _minutes


@pytest.mark.parametrize(
    ("written", "minutes"),
    [
        ("9:05", 545), ("14.20", 860), ("14h20", 860), ("2:20 pm", 860), ("2:20:31 P.M.", 860), ("14:20 pm", 860),
        ("12:30 am", 30), ("12:30 pm", 750), ("11:59 a.m.", 719), ("24:00", None), ("9:75", None), ("noon", None), (None, None),
    ],
)  # fmt: skip
def test_minutes_since_midnight(written: str | None, minutes: int | None) -> None:
    assert _minutes(written) == minutes
