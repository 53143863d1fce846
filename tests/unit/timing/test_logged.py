"""The noise of a recorder's advance, told by its own rows."""

from dataclasses import replace

import numpy as np
import polars as pl
from tests.unit.alignment.made import Sweep, day, hump

from pullbook.handover import AlignedDay, DayReading
from pullbook.stages.align import align_day
from pullbook.timing.logged import logged_day

ONE_ROW_DEG = 0.08  # SD of one pull's row


def noisy_day(rougher: dict[str, float], seed: int) -> tuple[DayReading, AlignedDay]:
    """Four locked settings, pulled 4, 1, 1 and 1 times; rows of advance get noise drawn for this test."""
    levels = (30, 30, 30, 30, 33, 36, 39)
    reading = day([Sweep(f"{a}", lambda n, a=a: np.full_like(n, float(a)), hump) for a in levels])
    aligned = align_day(reading)
    rng = np.random.default_rng(seed)
    settings = aligned.rows.join(aligned.pulls.select("pull_id", "setting"), on="pull_id", maintain_order="left")["setting"]
    sd = np.array([ONE_ROW_DEG * rougher.get(s, 1.0) for s in settings])
    return reading, replace(
        aligned, rows=aligned.rows.with_columns(pl.Series("advance_log_deg", levels_of(settings) + rng.normal(0, sd)))
    )


def levels_of(settings: pl.Series) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return settings.cast(pl.Float64).to_numpy()


def test_all_settings_tell_of_the_noise_and_repeats_share_it() -> None:
    told: dict[str, list[float]] = {"30": [], "33": [], "36": [], "39": []}
    for seed in range(20):
        for setting, curve in logged_day(*noisy_day({}, seed)).curves.items():
            told[setting].append(float(np.median(curve.sd_deg)))
    for setting, pulls in (("30", 4), ("33", 1), ("36", 1), ("39", 1)):
        one_pull = np.array(told[setting]) * np.sqrt(pulls)
        assert abs(one_pull.mean() / ONE_ROW_DEG - 1) < 0.06  # twenty days know it to 3 %
        assert one_pull.std() < 0.18 * ONE_ROW_DEG  # one curve alone: 0.25


def test_a_setting_whose_recorder_shakes_is_judged_by_itself() -> None:
    curves = logged_day(*noisy_day({"36": 5.0}, 1)).curves
    assert np.median(curves["36"].sd_deg) > 3.0 * ONE_ROW_DEG
    assert np.median(curves["33"].sd_deg) < 1.5 * ONE_ROW_DEG
