"""Pulls, sheet and notes that say against each other are asked about, and sound days are not."""

import numpy as np
import polars as pl
from tests.unit.alignment.made import Sweep, day

from pullbook.columns import KNOCK, conform
from pullbook.findings.at_odds import at_odds
from pullbook.stages.align import align_day

NO_KNOCK = pl.DataFrame(schema=KNOCK)


def asked(sweeps: list[Sweep], knock: pl.DataFrame = NO_KNOCK, ran: dict[str, dict[int, float]] | None = None) -> list[str]:
    return at_odds(align_day(day(sweeps)), knock, ran or {})


def test_a_fuel_that_changes_is_asked_and_a_count_of_litres_is_not() -> None:
    fuels = ["98", "98", "E85", "E85"]
    (question,) = asked([Sweep("a", sheet={"notes": f"warm; Fuel: {f}"}) for f in fuels])
    assert "'98' at pull 2" in question
    assert "'E85' at pull 3" in question
    assert asked([Sweep("a", sheet={"notes": f"fuel: {20 - i}"}) for i in range(4)]) == []
    assert asked([Sweep("a", sheet={"notes": "fuel: 98"}) for _ in range(4)]) == []


def test_knock_under_clean_pulls_with_more_advance_is_asked() -> None:
    rows = [{"pull_id": p, "setting": p, "rpm_lo": 3000.0, "rpm_hi": 3200.0, "word": w, "source": "sheet"}
            for p, w in (("p1", "heard"), ("p2", "not heard"))]  # fmt: skip
    knock = conform(pl.DataFrame(rows), KNOCK)
    ran = {"p1": {3000: 17.0, 3100: 17.0}, "p2": {3000: 32.0, 3100: 32.0}}
    (question,) = asked([Sweep("p1"), Sweep("p2")], knock, ran)
    assert "at 17° with pull 1" in question
    assert "pull 2 (p2.csv) was listened to and clean with 15° more" in question
    assert asked([Sweep("p1"), Sweep("p2")], knock, {"p1": ran["p2"], "p2": ran["p1"]}) == []


def test_a_channel_that_stands_while_its_label_rises_is_asked() -> None:
    rising, still = Sweep("a", lambda n: n / 200), Sweep("a", lambda n: np.full_like(n, 23.2))
    (question,) = asked([rising, still])
    assert "pull 2 (p2.csv) stands at 23.2°" in question
    assert asked([still, still]) == []
