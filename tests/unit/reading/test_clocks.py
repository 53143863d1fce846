"""Clocks of logs: counters that wrap, stamps shared, dates in words, times that run backwards or start again."""

from pathlib import Path

import numpy as np
import pytest
from tests.unit.reading.made_pull import about, log, pull, read, rows


def test_swapped_rows_are_put_in_order(tmp_path: Path) -> None:
    lines = rows()
    lines[40], lines[41] = lines[41], lines[40]
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped) == (120, 0)
    assert np.all(np.diff(r.samples["time_s"].to_numpy()) > 0)
    assert r.samples["line"].to_list()[39:43] == [41, 43, 42, 44]
    assert about(r, "put in order")


def test_time_that_restarts_begins_a_new_recording(tmp_path: Path) -> None:
    r = read(tmp_path, log([*rows(60), *rows(60, seed=9)]))
    assert r.rows == 120
    assert r.samples["recording"].to_list() == [0] * 60 + [1] * 60


def test_one_wild_stamp_is_not_a_restart(tmp_path: Path) -> None:
    lines = rows()
    lines[30] = "9999.99" + lines[30][lines[30].index(",") :]
    r = read(tmp_path, log(lines))
    assert r.rows == 120
    assert set(r.samples["recording"]) == {0}
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-9)


def test_counter_in_milliseconds_that_wraps(tmp_path: Path) -> None:
    p = pull()
    text = "Tick ms,rpm,Nm\n" + "".join(
        f"{(64_000 + 100 * k) % 65_536},{n:.0f},{m:.1f}\n" for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-9)
    assert set(r.samples["recording"]) == {0}


def test_whole_second_stamps_are_spread(tmp_path: Path) -> None:
    p = pull()
    text = "Uhrzeit;Drehzahl;Drehmoment Nm\n" + "".join(
        f"14:00:{k // 10:02d};{n:.0f};{m:.1f}\n" for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-9)
    assert about(r, "share each time stamp")


def test_date_and_time_in_two_columns(tmp_path: Path) -> None:
    p = pull()
    text = "Date,Time,RPM,Torque (Nm)\n" + "".join(
        f"2031-05-06,14:00:{k // 10:02d}.{k % 10},{n:.0f},{m:.1f}\n"
        for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    assert r.started == "2031-05-06T14:00:00.000"
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-6)
    assert [c.channel for c in r.columns] == [None, "time_s", "rpm", "torque_nm"]


def test_sample_counter_with_a_rate_in_the_preamble(tmp_path: Path) -> None:
    p = pull()
    text = "Sample rate 10 Hz\nSample,RPM,Torque (Nm)\n" + "".join(
        f"{k + 1},{n:.0f},{m:.1f}\n" for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-9)
    assert about(r, "counts samples")


def test_sample_counter_alone_is_asked_about(tmp_path: Path) -> None:
    p = pull()
    text = "Sample,RPM,Torque (Nm)\n" + "".join(
        f"{k + 1},{n:.0f},{m:.1f}\n" for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    assert "time_s" not in r.samples.columns
    assert about(r, "in columns.yaml: 'a pull.csv': {Sample: {channel: time_s, unit: s, scale: 0.1}}")
    told = read(tmp_path, text, hints={"Sample": {"channel": "time_s", "unit": "s", "scale": 0.1}})
    np.testing.assert_allclose(told.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-9)


@pytest.mark.parametrize("day", ["31-Mar-2031", "31. März 2031", "20310331", "31/mars/2031"])
def test_dates_with_the_months_name_or_without_marks(tmp_path: Path, day: str) -> None:
    p = pull()
    data = zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)
    r = read(tmp_path, "Stamp;rpm;Nm\n" + "".join(f"{day} 23:59:{40 + t:04.1f};{n:.0f};{m:.1f}\n" for t, n, m in data))
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), p["time_s"], atol=1e-5)
    assert r.started == "2031-03-31T23:59:40.000"


@pytest.mark.parametrize(
    "written", ["13/05/34 21h07m{:04.1f}", "13/05/2034 21h07m{:04.1f}s", "21 h 07 min {:04.1f}", "21h07m{:04.1f}"]
)
def test_hours_and_minutes_by_their_letters(tmp_path: Path, written: str) -> None:
    p = pull()
    data = zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)
    rows = (f"{written.format(20 + t)};{n:.0f};{m:.1f}".replace(".", ",") for t, n, m in data)
    r = read(tmp_path, "Heure;rpm;Nm\n" + "\n".join(rows))
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), p["time_s"], atol=1e-5)


def test_a_time_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    r = read(tmp_path, "Time;rpm;Nm\n" + "".join(f"tick {n:.0f};{n:.0f};200\n" for n in pull()["rpm"]))
    assert about(r, "'Time' holds no time that can be read")


def test_a_summary_under_a_column_of_dates_is_no_row(tmp_path: Path) -> None:
    data = zip(pull()["time_s"], pull()["rpm"], pull()["torque_nm"], strict=True)
    text = "Temps;Régime [tr/min];Couple [N.m]\n" + "".join(f"2031-03-31 12:00:{t:06.3f};{n:.0f};{m:.1f}\n" for t, n, m in data)
    r = read(tmp_path, (text + "\nMaxi;999;999\n").replace("\n", "\r\n"))
    assert (r.rows, r.rows_dropped) == (120, 0)
    assert about(r, "line 123 inside the log holds words")


def test_the_newest_row_first(tmp_path: Path) -> None:
    whole, turned = read(tmp_path, log(rows())), read(tmp_path, log(rows()[::-1]))
    assert turned.samples.drop("line").equals(whole.samples.drop("line"))
    assert turned.samples["line"][0] == 121
    assert about(turned, "newest row")


def test_a_recording_that_ends_where_a_counter_would_wrap_is_still_two(tmp_path: Path) -> None:
    """9.9 s of tenths in ms: the next recording's 0 follows 9900. Speed leaps there; where a counter wraps it runs on."""
    made = pull(100)
    rows = [f"{100 * k},{n:.0f},{m:.1f}" for k, (n, m) in enumerate(zip(made["rpm"], made["torque_nm"], strict=True))]
    again = read(tmp_path, "\n".join(["Time [ms],RPM,Torque [Nm]", *rows, *rows, ""]))
    assert again.samples["recording"].n_unique() == 2
    longer = pull(200)
    rows = [f"{100 * k % 10_000},{n:.0f},{m:.1f}" for k, (n, m) in enumerate(zip(longer["rpm"], longer["torque_nm"], strict=True))]
    wrapped = read(tmp_path, "\n".join(["Time [ms],RPM,Torque [Nm]", *rows, ""]))
    assert wrapped.samples["recording"].n_unique() == 1
    assert wrapped.samples["time_s"][-1] == pytest.approx(19.9)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_summary_under_the_rows_of_a_clock_is_no_row(tmp_path: Path, encoding: str) -> None:
    """In UTF-16 such a log takes another way through the reader."""
    made = pull(90)
    rows = [
        f"10:00:{k // 10:02d}.{k % 10},{n:.0f},{m:.1f}" for k, (n, m) in enumerate(zip(made["rpm"], made["torque_nm"], strict=True))
    ]
    found = read(tmp_path, "\n".join(["Clock,RPM,Torque [Nm]", *rows, "Max,5000,212.0", "Average,4100,201.5", ""]).encode(encoding))
    assert found.rows == 90
    assert any("line 92, 93 inside the log holds words" in w for w in found.warnings)


@pytest.mark.parametrize(("hours", "said"), [(1, "put on by an hour"), (-1, "put back by an hour")])
@pytest.mark.parametrize("date", ["", "2031-03-30 "])
def test_summer_time_begins_or_ends_in_a_pull(tmp_path: Path, hours: int, said: str, date: str) -> None:
    p = pull()
    rows = []
    for k, (t, n, m) in enumerate(zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)):
        hour = 2 + (hours if k >= 60 else 0)
        rows.append(f"{date}{hour:02d}:10:{20 + t:06.3f},{n:.0f},{m:.1f}\n")
    r = read(tmp_path, "Time,RPM,Torque [Nm]\n" + "".join(rows))
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), p["time_s"], atol=1e-5)
    assert r.samples["recording"].n_unique() == 1
    assert about(r, said)


def test_an_hour_between_two_pulls_is_a_gap(tmp_path: Path) -> None:
    """Speed leaps where the second one begins."""
    p = pull()
    rows = [f"{h}:10:{20 + t:06.3f},{n:.0f},{m:.1f}\n" for h in (2, 3) for t, n, m in
            zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)]  # fmt: skip
    r = read(tmp_path, "Time,RPM,Torque [Nm]\n" + "".join(rows))
    assert r.samples["time_s"][120] == pytest.approx(3600.0, abs=1e-3)


def test_rows_of_a_clock_that_stood_still_are_spread_over_what_it_made_up_for(tmp_path: Path) -> None:
    p = pull()
    stamps = p["time_s"].copy()
    stamps[50:58] = stamps[50]
    rows = [f"{t:.2f},{n:.0f},{m:.1f}\n" for t, n, m in zip(stamps, p["rpm"], p["torque_nm"], strict=True)]
    r = read(tmp_path, "Time [s],RPM,Torque [Nm]\n" + "".join(rows))
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), p["time_s"], atol=0.011)
    assert about(r, "the clock stood still for 8 rows from row 51 on")
