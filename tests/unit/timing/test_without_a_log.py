"""Delivered advance where no log holds it: from the sheet, from the light, from other settings of the day."""

import numpy as np
import pytest
from tests.unit.alignment.made import Sweep
from tests.unit.timing.made_days import LOCKED, SHEET, WEIGHTS, solve, springs


def test_sheet_alone_is_wide_and_has_no_shape() -> None:
    got = solve([Sweep("a", sheet=SHEET), Sweep("b", sheet={"initial_deg": 10.0, "total_deg": 30.0})], engine=WEIGHTS)
    a = got.delivered.filter(setting="a")
    assert a["lo_deg"].max() < 14.0  # type: ignore[operator]
    assert a["hi_deg"].min() > 34.0  # type: ignore[operator]
    assert a["advance_deg"].n_unique() == 1
    assert a["evidence"].to_list()[0] == ["sheet"]
    # both turned the same parts: how far they stand apart is known far better than where they stand
    at = got.pull_advance.with_row_index("at").filter(rpm=4000)["at"].to_list()
    apart = got.modes[at[0]] - got.modes[at[1]]
    assert np.sqrt(apart @ apart) < 1.5
    assert np.sqrt(got.modes[at[0]] @ got.modes[at[0]]) > 6.0


def test_locked_by_the_sheet_alone() -> None:
    got = solve([Sweep("34", sheet={"initial_deg": 34.0, "total_deg": 34.0})])
    row = got.delivered.filter(rpm=4000).to_dicts()[0]
    assert got.shapes["family"][0] == "locked"
    assert row["advance_deg"] == pytest.approx(34.0)
    assert row["hi_deg"] - row["lo_deg"] < 4.0


@pytest.mark.parametrize("sheet", [{}, {"total_deg": 34.0}])
def test_blank_where_nothing_is_known(sheet: dict[str, float]) -> None:
    got = solve([Sweep("a", sheet=sheet)])
    assert got.delivered["advance_deg"].null_count() == len(got.delivered) > 0
    assert got.pull_advance["advance_deg"].null_count() == len(got.pull_advance) > 0
    assert got.modes.shape[0] == len(got.pull_advance)
    assert not got.modes.any()
    assert any("delivered advance of a" in m for m in got.not_established)


def test_light_without_a_log_settles_a_locked_setting() -> None:
    strobe = [
        {"setting": "34", "rpm": n, "advance_deg": a, "source": "light"}
        for n, a in ((3000.0, 33.5), (4000.0, 34.5), (5000.0, 34.0))
    ]
    got = solve([Sweep("34")], engine=LOCKED, strobe=strobe)
    row = got.delivered.filter(rpm=4000).to_dicts()[0]
    assert row["advance_deg"] == pytest.approx(34.0, abs=0.15)
    assert row["hi_deg"] - row["lo_deg"] == pytest.approx(2 * 1.645 * 0.61 / np.sqrt(3.0), rel=0.15)
    assert row["evidence"] == ["strobe"]


def test_light_without_a_log_follows_springs_and_the_stop() -> None:
    strobe = [{"setting": "a", "rpm": float(n), "advance_deg": float(np.round(springs(np.array(n)) * 2) / 2), "direction": "up"}
              for n in (1500, 2500, 3200, 3600, 4000, 4400, 5000, 5600)]  # fmt: skip
    got = solve([Sweep("a", sheet=SHEET)], engine=WEIGHTS, strobe=strobe)
    rows = got.delivered.filter(direction="up")
    truth = springs(rows["rpm"].to_numpy().astype(float))
    inside = (rows["lo_deg"].to_numpy() <= truth) & (truth <= rows["hi_deg"].to_numpy())
    assert inside.mean() > 0.85
    assert np.sqrt(np.mean((rows["advance_deg"].to_numpy() - truth) ** 2)) < 0.7


def test_bench_readings_on_the_distributors_own_zero_need_the_initial() -> None:
    curve = [(0.0, 400.0), (4.0, 700.0), (8.0, 1100.0), (11.0, 1500.0), (11.0, 2200.0), (11.0, 2700.0)]
    strobe = [{"setting": "a", "rpm": n, "advance_deg": a, "source": "bench", "scale": "distributor"} for a, n in curve]
    got = solve([Sweep("a", sheet={"initial_deg": 10.0, "total_deg": 32.0})], engine=WEIGHTS, strobe=strobe)
    at = got.delivered.filter(setting="a", rpm=5000)
    assert at["advance_deg"][0] == pytest.approx(32.0, abs=0.6)


def test_a_setting_in_the_dark_is_lit_by_its_fellows() -> None:
    strobe = [{"setting": "a", "rpm": float(n), "advance_deg": float(springs(np.array(n))), "direction": "up"}
              for n in (2500, 3200, 3600, 4000, 4400, 5000, 5600)]  # fmt: skip
    got = solve(
        [Sweep("a", sheet=SHEET), Sweep("b", sheet={"initial_deg": 10.0, "total_deg": 30.0})], engine=WEIGHTS, strobe=strobe
    )
    at = got.delivered.filter(setting="b", rpm=3800).to_dicts()[0]
    assert at["advance_deg"] == pytest.approx(float(springs(np.array(3800.0))) - 4.0, abs=1.2)
    assert at["lo_deg"] < at["advance_deg"] < at["hi_deg"]


def test_words_about_a_day_without_a_log_fit_what_there_is() -> None:
    """Whoever read the light everywhere is not asked to read it; a locked setting is not said to be as little as its initial."""
    sheet = {"initial_deg": 32.0, "total_deg": 32.0}
    alone = solve([Sweep("32", sheet=sheet)])
    assert "advance of 32 is known from the sheet alone" in alone.warnings
    assert any("can a light be read" in q for q in alone.questions)
    out = solve([Sweep("32", lambda n: np.full_like(n, 32.0), sheet={"exclude": "oil leak"})])
    assert not any("No log holds the advance" in q for q in out.questions)
    lit = solve([Sweep("32", sheet=sheet)], strobe=[{"setting": "32", "rpm": 3000.0, "advance_deg": 32.0, "source": "light"}])
    assert any(q == "No log holds the advance: is there a channel for it?" for q in lit.questions)


def test_light_alone_tells_the_way_down() -> None:
    """Read rising and falling, without a log: 2° more on the way down, none of it in the way up, nothing past the stop."""
    speeds = [1000.0, 2000.0, 2700.0, 3100.0, 3500.0, 3900.0, 4300.0, 4800.0, 5500.0]
    read = {"setting": "a", "source": "light"}
    up = [read | {"rpm": n, "advance_deg": float(springs(np.array(n))), "direction": "up"} for n in speeds]
    down = [
        read | {"rpm": n, "advance_deg": float(springs(np.array(n))) + 2.0, "direction": "down"} for n in (3300.0, 3600.0, 4000.0)
    ]
    got = solve([Sweep("a", sheet=SHEET)], engine=WEIGHTS, strobe=[*up, *down])
    assert got.shapes["hysteresis_deg"].item() == pytest.approx(1.7, abs=0.5), "a degree's readings, half a degree believed before"
    rising_row = got.delivered.filter(direction="up", rpm=3600)["advance_deg"].item()
    assert rising_row == pytest.approx(float(springs(np.array(3600.0))), abs=0.6)
    falling_rows = got.delivered.filter(direction="down")
    assert falling_rows.filter(rpm=3600)["advance_deg"].item() == pytest.approx(rising_row + 1.7, abs=0.5)
    assert falling_rows["advance_deg"].max() == got.delivered.filter(direction="up")["advance_deg"].max()


def test_an_end_left_blank_follows_from_the_stop_of_all_other_settings() -> None:
    totals = {"10+20": 30.0, "14+20": 34.0, "18+20": 38.0}

    def seen(**blank: dict[str, float]) -> tuple[float | None, list[str]]:
        sheets = {s: {"initial_deg": t - 20.0, "total_deg": t} for s, t in totals.items()} | blank
        got = solve([Sweep(s, sheet=sheets[s]) for s in totals], engine=WEIGHTS)
        said = [w for w in got.warnings if "one end is blank" in w]
        return got.shapes.filter(setting="18+20")["initial_deg"][0], said

    initial, said = seen(**{"18+20": {"total_deg": 38.0}})
    assert initial == 18.0
    assert said[0].startswith("18+20: one end is blank on the sheet; initial to total is taken as 20°")
    assert seen()[1] == []
    said = seen(**{"18+20": {"total_deg": 38.0}, "14+20": {"initial_deg": 13.5, "total_deg": 34.0}})[1]
    assert "is taken as 20.2°, as" in said[0], "no more digits than a light is read to"
    initial, said = seen(**{"18+20": {"total_deg": 38.0}, "14+20": {"initial_deg": 18.0, "total_deg": 34.0}})
    assert (initial, said) == (None, [])
