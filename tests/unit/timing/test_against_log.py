"""A setting whose log stands alone against its sheet and its light, and what must not be taken for that."""

from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.unit.alignment.made import Sweep
from tests.unit.timing.made_days import LOCKED, WEIGHTS, lights, logs, solve

from pullbook.facts import DayFacts, ZeroMark
from pullbook.handover import DeliveredDay

TURNED = {"10+20": 30.0, "14+20": 34.0, "18+20": 38.0}
RIGHT = DayFacts(zero_mark=ZeroMark(28.0, 28.0, "2031-04-05"))


def curve(total: float, most: float = 90.0) -> Any:
    """Weights that bring 20° between 2000 and 4000 rpm, as a recorder shows it that reads no more than ``most``."""
    return lambda n: np.minimum(np.interp(n, [2000.0, 4000.0], [total - 20.0, total]), most)


def turned(most: float = 90.0, runs: dict[str, str] | None = None) -> DeliveredDay:
    """Two pulls of each setting; ``runs``: labels whose pulls ran as another label does."""
    sweeps = [
        Sweep(s, curve(TURNED[(runs or {}).get(s, s)], most), sheet={"initial_deg": t - 20.0, "total_deg": t})
        for s, t in TURNED.items()
        for _ in range(2)
    ]
    strobe = lights(TURNED, (4300.0, 4900.0, 5600.0))
    return solve(sweeps, engine=WEIGHTS, strobe=strobe, facts=RIGHT)


def top(day: DeliveredDay, setting: str) -> tuple[float, float, float]:
    """Delivered at 5000 rpm with its interval."""
    row = day.delivered.filter((day.delivered["setting"] == setting) & (day.delivered["rpm"] == 5000)).to_dicts()[0]
    return row["advance_deg"], row["lo_deg"], row["hi_deg"]


def test_a_recorder_that_goes_no_higher_is_asked_about_and_its_log_of_that_setting_not_used() -> None:
    day = turned(most=34.5)
    asked = [q for q in day.questions if "can the recorder read no further" in q]
    assert asked == [
        "‘18+20’: the log says 34.5° at the top, sheet and light 38.0°, while the other settings’ logs fit: can the recorder read "
        "no further, or was its channel clipped? The log of this setting is not used."
    ]
    _, lo, hi = top(day, "18+20")
    assert lo < 38.0 < hi
    assert top(day, "14+20")[0] == pytest.approx(34.0, abs=0.05)  # the others stay on their log
    used = day.evidence.filter(day.evidence["source"] == "log").group_by("setting").agg(pl.col("used").any())
    assert dict(used.select("setting", "used").iter_rows()) == {"10+20": True, "14+20": True, "18+20": False}
    assert not any("sheet's total stands" in w for w in day.warnings)


def test_a_label_whose_pulls_ran_another_setting_is_asked_about_and_its_log_counts() -> None:
    day = turned(runs={"18+20": "14+20"})
    assert any("it ran as ‘14+20’ did: was it that setting" in q for q in day.questions)
    assert top(day, "18+20")[0] == pytest.approx(34.0, abs=0.05)


def test_nothing_is_asked_where_log_light_and_sheet_agree_or_the_whole_log_is_off() -> None:
    assert not any("at the top, sheet and light" in q for q in turned().questions)
    three = {"28": 28.0, "31": 31.0, "34": 34.0}
    off = solve(logs(three, offset=4.0), engine=LOCKED, strobe=lights(three), facts=RIGHT)
    assert not any("at the top, sheet and light" in q for q in off.questions)


def test_two_sheets_off_to_either_side_are_no_common_scale() -> None:
    three = {"28": 28.0, "31": 31.0, "34": 34.0}
    sheet = {"28": 31.4, "31": 31.0, "34": 30.6}
    sweeps = [
        Sweep(s, lambda n, a=a: a + 0.0 * n, sheet={"initial_deg": sheet[s], "total_deg": sheet[s]}) for s, a in three.items()
    ]
    said = [w for w in solve(sweeps, engine=LOCKED, strobe=lights(three), facts=RIGHT).warnings if "sheet's total" in w]
    assert ["+3.4° against log and light (28)" in said[0], "-3.4° against log and light (34)" in said[1]] == [True] * 2


def test_a_light_that_is_set_aside_was_there_all_the_same() -> None:
    three = {"28": 28.0, "31": 31.0, "34": 34.0}
    day = solve(logs(three), engine=LOCKED, strobe=lights(three, z=9.0), facts=RIGHT)
    assert any("the light stands +9° off both" in q for q in day.questions)
    assert not any("was not checked with a light" in q for q in day.questions)


def test_readings_at_full_engine_speed_are_no_distributor_readings() -> None:
    """Labels mixed up may make a few readings fit at twice their speed: those at 5000 rpm say that none of them is doubled."""
    sweeps = [Sweep("14+20", curve(34.0), sheet={"initial_deg": 14.0, "total_deg": 34.0})]
    halved = ((1400.0, 11.0), (1600.0, 13.0), (1800.0, 15.0))
    low = [{"setting": "14+20", "rpm": n, "advance_deg": a, "source": "light"} for n, a in halved]
    high = [{"setting": "14+20", "rpm": 5000.0, "advance_deg": 34.0, "source": "light"}]
    assert any("distributor degrees" in q for q in solve(sweeps, engine=WEIGHTS, strobe=low).questions)
    assert not any("distributor degrees" in q for q in solve(sweeps, engine=WEIGHTS, strobe=[*low, *high]).questions)


def called(labels: list[str], ran: list[str], strobe: bool = True) -> DeliveredDay:
    """A day whose pulls ran ``ran`` in this order and are called ``labels``."""
    sweeps = [Sweep(c, curve(TURNED[r]), sheet={"initial_deg": TURNED[c] - 20.0, "total_deg": TURNED[c]})
              for c, r in zip(labels, ran, strict=True)]  # fmt: skip
    return solve(sweeps, engine=WEIGHTS, strobe=lights(TURNED, (4300.0, 5600.0)) if strobe else [], facts=RIGHT)


A, B, C = TURNED
ORDER = [A, B, C, C, B, A]


def test_two_labels_exchanged_are_one_question() -> None:
    day = called([A, C, B, C, B, A], ORDER)
    about = [q for q in day.questions if "pull" in q]
    assert len(about) == 1
    assert about[0].startswith("pull 2 (p2.csv) logged what '14+20' runs, and pull 3 (p3.csv) what '18+20' runs: were their labels")


def test_rows_that_slipped_by_one_are_one_question() -> None:
    day = called([A, *ORDER[:-1]], ORDER)
    about = [q for q in day.questions if "row" in q or "logged" in q]
    assert len(about) == 1
    assert "its labels stand one row too low" in about[0]
    assert "As written 4 of 6 pulls" in about[0]
    day = called([*ORDER[1:], A], ORDER)
    assert any("its labels stand one row too high" in q for q in day.questions)


def test_labels_in_order_are_not_asked_about() -> None:
    assert not [q for q in called(ORDER, ORDER).questions if "label" in q or "logged" in q]


def test_of_two_pulls_the_one_off_its_sheet_is_the_odd_one() -> None:
    odd = Sweep(B, curve(31.0), sheet={"initial_deg": 14.0, "total_deg": 34.0})
    rest = [Sweep(s, curve(TURNED[s]), sheet={"initial_deg": TURNED[s] - 20.0, "total_deg": TURNED[s]}) for s in (A, B, C, A, C)]
    day = solve([odd, *rest], engine=WEIGHTS)
    assert any(q.startswith("pull 1 (p1.csv) logged -3.0° against pull 3 (p3.csv)") for q in day.questions)


def test_advance_taken_out_in_a_part_of_the_rpm_is_no_other_label() -> None:
    pulled = Sweep(B, lambda n: curve(34.0)(n) - np.where((n > 3000.0) & (n < 4200.0), 4.0, 0.0))
    day = solve([Sweep(B, curve(34.0)), pulled, Sweep(A, curve(30.0)), Sweep(C, curve(38.0))], engine=WEIGHTS)
    said = [q for q in day.questions if "alone" in q]
    assert len(said) == 1
    assert said[0].startswith(
        "pull 2 (p2.csv) logged -4.0° against pull 1 (p1.csv) from 3000 to 4200 rpm alone: did something take"
    )


def test_a_sheet_alone_against_one_log_is_asked_and_the_log_counts() -> None:
    sweeps = [Sweep(s, curve(t), sheet={"total_deg": t + (4.0 if s == C else 0.0)}) for s, t in TURNED.items() for _ in range(2)]
    day = solve(sweeps, engine=WEIGHTS)
    assert any(q.startswith("‘18+20’: the log says 38.0° at the top, the sheet 42.0°") for q in day.questions)
    assert top(day, C)[0] == pytest.approx(38.0, abs=0.05)


def test_a_recorder_that_lags_is_asked_about() -> None:
    """Half a second late: the rise is logged for a speed 150 rpm ago, the way down for one 350 rpm ago."""

    def falling(late_rpm: float) -> pl.DataFrame:
        rpm = np.arange(5900.0, 2300.0, -20.0)
        columns = {"time_s": np.arange(len(rpm)) / 35.0, "rpm": rpm, "advance_deg": curve(34.0)(rpm + late_rpm)}
        return pl.DataFrame({"pull_id": "p1", "file": "p1.csv", "segment": 2, "kind": "coast_down", **columns})

    late = solve([Sweep(B, lambda n: curve(34.0)(n - 150.0))], engine=WEIGHTS, coast_downs=falling(350.0))
    assert any("does the recorder lag behind the engine" in q for q in late.questions)
    prompt = solve([Sweep(B, curve(34.0))], engine=WEIGHTS, coast_downs=falling(80.0))
    assert not any("recorder lag" in q for q in prompt.questions)
