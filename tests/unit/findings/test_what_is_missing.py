"""A day that cannot answer says what it lacks."""

from typing import Any

import numpy as np
from tests.unit.alignment.made import Sweep, day, hump

from pullbook.handover import BestDay
from pullbook.hill.prior import default
from pullbook.stages.align import align_day
from pullbook.stages.best import best_advance
from pullbook.stages.delivered import delivered_advance


def sweep(advance: float, *, logged: bool = True, rpm: tuple[float, float] = (2400.0, 6100.0), **sheet: Any) -> Sweep:
    own = (lambda n: np.full_like(n, advance)) if logged else None
    return Sweep(f"{advance:g}", own, lambda n: hump(n) * (1 - 2.5e-4 * (advance - 35) ** 2), rpm, sheet=sheet)


def estimated(*sweeps: Sweep) -> BestDay:
    reading = day(list(sweeps))
    aligned = align_day(reading)
    return best_advance(reading, aligned, delivered_advance(reading, aligned), default(reading.facts))


def test_no_pull_in_use() -> None:
    found = estimated(sweep(30, exclude="fuel ran low"), sweep(34, exclude="fuel ran low"))
    assert "best advance and effects: no pull of this day could be used" in found.not_established
    assert found.best["best_deg"].null_count() == found.best.height


def test_one_setting() -> None:
    found = estimated(sweep(34), sweep(34))
    assert any("one setting was run" in said for said in found.not_established)


def test_no_advance_known_still_compares_the_settings() -> None:
    found = estimated(*(sweep(a, logged=False) for a in (30, 35, 30, 35)))
    assert any("their effects are compared as they stand" in said for said in found.not_established)
    assert any("advance is not known for '30', '35'" in question for question in found.questions)
    assert found.effects.height > 0


def test_settings_that_share_no_rpm() -> None:
    found = estimated(sweep(30, rpm=(2400.0, 3600.0)), sweep(35, rpm=(4200.0, 6100.0)))
    assert "best advance: no two pulls share an rpm" in found.not_established


def test_nothing_repeated_and_advance_one_way_with_the_pulls() -> None:
    found = estimated(*(sweep(a) for a in (26, 30, 34, 38)))
    assert any(said.startswith("repeatability from this day: no setting was repeated") for said in found.not_established)
    assert any("drift and timing cannot be told apart" in said for said in found.not_established)
    assert any("run the first setting again at the end" in said for said in found.warnings)


def test_two_labels_at_one_advance_are_asked_about() -> None:
    twin = Sweep("short stop", lambda n: np.full_like(n, 30.0), lambda n: hump(n) * 0.99)
    found = estimated(sweep(30), twin, sweep(36), sweep(30), twin)
    assert any("ran the same advance: what else was changed?" in question for question in found.questions)
