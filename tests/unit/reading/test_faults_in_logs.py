"""Single faults inside an otherwise clean log: nothing lost, nothing invented, every row accounted for."""

from pathlib import Path

import numpy as np
import pytest
from tests.unit.reading.made_pull import HEAD, about, four, log, pull, read, rows


def test_clean(tmp_path: Path) -> None:
    r = read(tmp_path, log(rows()))
    assert (r.rows, r.rows_dropped, r.warnings) == (120, 0, ())


def test_exact_repeats_are_dropped_and_counted(tmp_path: Path) -> None:
    lines = rows()
    r = read(tmp_path, log([*lines[:50], lines[49], lines[49], *lines[50:]]))
    assert (r.rows, r.rows_dropped) == (120, 2)
    assert about(r, "line 52, 53")


def test_broken_rows_are_dropped_and_named(tmp_path: Path) -> None:
    lines = rows()
    lines[10] = lines[10][:9]
    lines[20] += ",17"
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped) == (118, 2)
    assert about(r, "line 12, 22")
    assert 12 not in r.samples["line"].to_list()


def test_nuls_in_the_middle(tmp_path: Path) -> None:
    lines = rows()
    lines[60] = lines[60][:7] + "\0" * 4096
    r = read(tmp_path, log(lines).encode())
    assert (r.rows, r.rows_dropped) == (119, 1)
    assert about(r, "NUL")


def test_a_block_of_nuls_at_the_end_is_no_row(tmp_path: Path) -> None:
    r = read(tmp_path, log(rows()).encode() + bytes(5000))
    assert (r.rows, r.rows_dropped) == (120, 0)


@pytest.mark.parametrize("tail", ["12.00,5800,19", "12.00,5800", "12.00,5801,199.2,33"])
def test_cut_last_line(tmp_path: Path, tail: str) -> None:
    r = read(tmp_path, log(rows()) + tail)
    assert (r.rows, r.rows_dropped) == (120, 1)
    assert about(r, "cut off at line 122") or about(r, "the end of the log is cut off")


def test_last_line_without_a_line_end_is_kept(tmp_path: Path) -> None:
    r = read(tmp_path, log(rows())[:-1])
    assert (r.rows, r.rows_dropped) == (120, 0)


def test_header_repeated_on_every_page_is_no_restart(tmp_path: Path) -> None:
    lines = rows()
    for at in (100, 75, 50, 25):
        lines.insert(at, HEAD)
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped) == (120, 0)
    assert set(r.samples["recording"]) == {0}
    assert np.all(np.diff(r.samples["time_s"].to_numpy()) > 0)


def test_preamble_again_before_a_second_header(tmp_path: Path) -> None:
    text = "\n".join(["Run 1, gear 4", "", HEAD, *rows(), "", "Run 2, gear 4", "12:31", "", HEAD, *rows(seed=8)]) + "\n"
    r = read(tmp_path, text)
    assert (r.rows, r.rows_dropped, r.header_line) == (240, 0, 3)
    assert r.samples["recording"].to_list() == [0] * 120 + [1] * 120


def test_garbled_cell_is_named(tmp_path: Path) -> None:
    lines = rows()
    cells = lines[33].split(",")
    lines[33] = ",".join([*cells[:2], "2O1.x", cells[3]])
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped) == (120, 0)
    assert r.samples["torque_nm"].null_count() == 1
    assert about(r, "line 35 ('2O1.x')")


@pytest.mark.parametrize("spike", ["0", "12000", "6600"])
def test_rpm_spike_is_missing_and_its_row_stays(tmp_path: Path, spike: str) -> None:
    lines = rows()
    cells = lines[70].split(",")
    lines[70] = ",".join([cells[0], spike, *cells[2:]])
    r = read(tmp_path, log(lines))
    assert r.rows == 120
    assert r.samples["rpm"].null_count() == 1
    assert r.samples["rpm"][70] is None
    assert about(r, "line 72")


def test_sentinel_that_could_be_real_stays(tmp_path: Path) -> None:
    """A high-revving engine passes 9999 rpm."""
    text = "t s,rpm\n" + "".join(f"{k * 0.1:.1f},{9000 + 9 * k}\n" for k in range(200))
    r = read(tmp_path, text)
    assert 9999.0 in r.samples["rpm"].to_list()
    assert r.samples["rpm"].null_count() == 0


def test_mixed_decimal_marks_are_refused_with_the_place(tmp_path: Path) -> None:
    lines = [line.replace(",", ";") for line in rows()]
    lines = [*lines[:60], *(line.replace(".", ",") for line in lines[60:])]
    r = read(tmp_path, log(lines, HEAD.replace(",", ";")))
    assert r.error is not None
    assert r.error.line is not None
    assert "decimal" in r.error.expected


def test_one_other_decimal_mark_is_damage(tmp_path: Path) -> None:
    lines = [line.replace(",", ";") for line in rows()]
    lines[60] = lines[60].replace(".", ",")
    r = read(tmp_path, log(lines, HEAD.replace(",", ";")))
    assert r.error is None
    assert r.rows == 120
    assert about(r, "line 62")


def test_sentinel_inside_the_span_of_a_fast_engine(tmp_path: Path) -> None:
    """9999 between 7000 and 7010 is no speed although the engine later passes 9999."""
    lines = [f"{k * 0.1:.1f},{7000 + 11 * k}" for k in range(300)]
    for k in (3, 4, 9, 10, 11):
        lines[k] = f"{k * 0.1:.1f},9999"
    r = read(tmp_path, "t s,rpm\n" + "\n".join(lines) + "\n")
    assert r.samples["rpm"].is_null().arg_true().to_list() == [3, 4, 9, 10, 11]


def test_the_top_of_a_blip_is_no_spike(tmp_path: Path) -> None:
    k = np.arange(60)
    rpm = np.where((k > 20) & (k < 33), 900 + 2200 * np.sin(np.pi * (k - 20) / 13), 900.0)
    r = read(tmp_path, "t [s],rpm,Nm\n" + "".join(f"{i / 20:.2f},{n:.0f},12.5\n" for i, n in enumerate(rpm)))
    assert r.samples["rpm"].null_count() == 0


def test_where_stretches_of_a_recording_meet_nothing_is_a_spike(tmp_path: Path) -> None:
    """A recorder that runs only while the throttle is open: the top of one pull, then the foot of the next."""
    p = pull(60)
    lines = [f"{k / 10:.1f},{n:.0f},{m:.1f},30.0" for k, (n, m) in enumerate([*zip(p["rpm"], p["torque_nm"], strict=True)] * 2)]
    r = read(tmp_path, log(lines))
    assert r.samples["rpm"].null_count() == 0
    assert not about(r, "spikes")


def test_names_with_line_breaks_in_them(tmp_path: Path) -> None:
    head = '"Time\n[s]","Engine speed\n[rpm]","Torque\n[Nm]","Advance\n[°BTDC]"'
    r = read(tmp_path, log(rows(), head))
    assert (r.header_line, r.rows, r.columns[1].channel, r.samples["line"][0]) == (1, 120, "rpm", 6)


def test_numbers_kept_as_text_by_a_spreadsheet(tmp_path: Path) -> None:
    quoted = [",".join(f'="{cell}"' for cell in row.split(",")) for row in rows()]
    r = read(tmp_path, log(quoted))
    assert (r.error, r.rows) == (None, 120)
    assert r.samples.drop("line").equals(read(tmp_path, log(rows())).samples.drop("line"))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_an_end_inside_the_last_decimals(tmp_path: Path, encoding: str) -> None:
    text = log(rows()).rstrip("\n")
    whole, cut = text.encode(encoding), text[:-1].encode(encoding) + (b"\x30" if encoding == "utf-16" else b"")
    assert (read(tmp_path, whole).rows, read(tmp_path, whole).rows_dropped) == (120, 0)
    assert (read(tmp_path, cut).rows, read(tmp_path, cut).rows_dropped) == (119, 1)
    assert about(read(tmp_path, cut), "cut off")


def test_a_small_table_above_the_logs_own_is_preamble(tmp_path: Path) -> None:
    above = "Calibration\npoint;reading;true\n1;10;10.1\n2;20;20.2\n3;30;30.1\n\n"
    text = above + four("t [s];Engine speed [rpm];Torque [Nm];Lambda", lambda n, m: f"{0.85 + n / 1e6:.3f}")
    r = read(tmp_path, text)
    assert (r.header_line, r.rows, r.rows_dropped, len(r.columns)) == (7, 120, 0, 4)


def test_quoted_points_that_group_thousands_only_later(tmp_path: Path) -> None:
    """Idling below 1000 rpm at the top of the log: the first grouped speed comes after every sampled row."""
    p = pull(400, start=700.0)
    cells = [
        (f"{t:.2f}".replace(".", ","), f"{n:,.0f}".replace(",", "."), f"{m:.1f}".replace(".", ","))
        for t, n, m in zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)
    ]
    idle = [(f"-{100 - k / 10:.2f}".replace(".", ","), "700", "3,1") for k in range(1000)]
    text = "Zeit [s],Drehzahl [U/min],Drehmoment [Nm]\n" + "".join(
        ",".join(f'"{c}"' for c in row) + "\n" for row in [*idle, *cells]
    )
    r = read(tmp_path, text)
    assert (r.error, r.decimal, r.rows) == (None, ",", 1400)
    assert r.samples["rpm"].to_list()[1000:] == p["rpm"].tolist()


def test_decimal_mark_is_shown_as_written_behind_quotes(tmp_path: Path) -> None:
    lines = [
        f'"31/03/2031 12:00:{t:04.1f}","{n:.0f}","{m:.1f}","{"84,0" if k % 5 == 0 else ""}"'.replace(".", ",")
        for k, (t, n, m) in enumerate(zip(pull()["time_s"], pull()["rpm"], pull()["torque_nm"], strict=True))
    ]
    r = read(tmp_path, "Temps,Régime [tr/min],Couple [N.m],Eau [°C]\n" + "\n".join(lines) + "\n")
    assert (r.decimal, r.rows, r.samples["coolant_c"].drop_nulls().to_list()) == (",", 120, [84.0] * 24)


def test_lines_of_delimiters_alone_are_blank(tmp_path: Path) -> None:
    lines = rows()
    lines[50:50] = [",,,", ""]
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped, r.warnings) == (120, 0, ())


def test_a_remark_behind_a_whole_row_costs_no_row(tmp_path: Path) -> None:
    lines = rows()
    lines[50] += ",ran lean"
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped) == (120, 0)
    lines[50] += ",7"
    assert (read(tmp_path, log(lines)).rows_dropped) == 1


def test_names_written_twice_are_one_header(tmp_path: Path) -> None:
    r = read(tmp_path, log(rows(), f"{HEAD}\n{HEAD}"))
    assert ([c.header for c in r.columns], r.header_line, r.rows) == (HEAD.split(","), 1, 120)


def test_a_comma_that_groups_and_parts_is_said(tmp_path: Path) -> None:
    lines = [",".join([t, f"{int(n):,}", m, a]) for t, n, m, a in (row.split(",") for row in rows())]
    r = read(tmp_path, log(lines))
    assert r.error is not None
    assert "a comma seems to group thousands" in r.error.expected
    assert "scale" not in r.error.remedy


def test_letters_encoded_twice_are_understood(tmp_path: Path) -> None:
    head = "Zeit [s],Drehzahl [U/min],Drehmoment [Nm],Ã–ltemperatur [Â°C]"
    r = read(tmp_path, log(rows(), head))
    assert [c.header for c in r.columns] == head.split(",")
    assert (r.columns[3].channel, r.columns[3].unit) == ("oil_c", "°C")


@pytest.mark.parametrize(("at", "often"), [(1, False), (3, False), (1, True)])
def test_blanks_of_a_slow_channel_in_a_table_aligned_by_spaces(tmp_path: Path, at: int, often: bool) -> None:
    """Four rows in five have a cell less, or one row in a hundred, below all sampled ones; none of them is broken."""
    p = pull(3000 if often else 120)
    heads, units = ["Time", "Engine", "Torque"], ["s", "rpm", "Nm"]
    heads.insert(at, "Coolant")
    units.insert(at, "°C")
    lines = ["".join(f"{c:>10}" for c in heads), "".join(f"{c:>10}" for c in units)]
    for k, (t, n, m) in enumerate(zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)):
        cells = [f"{t:.2f}", f"{n:.0f}", f"{m:.1f}"]
        there = k % 100 != 80 if often else k % 5 == 0
        cells.insert(at, "84.5" if there else "")
        lines.append("".join(f"{c:>10}" for c in cells).rstrip())
    r = read(tmp_path, "\n".join(lines) + "\n")
    assert (r.rows, r.rows_dropped, len(r.columns)) == (len(p["rpm"]), 0, 4)
    assert r.samples["rpm"].to_list() == p["rpm"].tolist()
    assert r.samples["coolant_c"].drop_nulls().to_list() == [84.5] * (2970 if often else 24)


@pytest.mark.parametrize("units", ["", "s;rpm;Nm;kW;°C;\n"])
@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("Time;Engine;Torque;Brake;Water;Lambda", ";speed;;power;temp;"),
        ("Time;Engine;Torque;Power;Water;Lambda", ";speed;;;temp"),
        ("Temps;Régime;Couple;Puissance;Température;Sonde", ";moteur;;;eau;lambda"),
    ],
)
def test_names_that_go_on_in_a_second_line(tmp_path: Path, first: str, second: str, units: str) -> None:
    made = pull(60)
    table = zip(*made.values(), strict=True)
    rows = [f"{t:.1f};{n:.0f};{m:.1f};{p:.2f};{80 + t:.1f};0.87" for t, n, m, p, _ in table]
    found = read(tmp_path, f"Cell 4\n{first}\n{second}\n{units}" + "\n".join([*rows, ""]))
    assert found.header_line == 2
    assert found.rows == 60
    assert [c.channel for c in found.columns] == ["time_s", "rpm", "torque_nm", "power_kw", "coolant_c", "lambda"]


def test_a_broken_row_under_the_names_is_no_second_line_of_them(tmp_path: Path) -> None:
    made = pull(60)
    rows = [f"{t:.1f};{n:.0f};{m:.1f}" for t, n, m, _, _ in zip(*made.values(), strict=True)]
    found = read(tmp_path, "\n".join(["Time s;RPM;Torque Nm", "0.0;28", *rows, ""]))
    assert [c.header for c in found.columns] == ["Time s", "RPM", "Torque Nm"]
    assert (found.rows, found.rows_dropped) == (60, 1)
