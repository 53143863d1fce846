"""The short ways and the careful way give one table: aligned by spaces, thousands grouped by spaces, times written alike."""

from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from pullbook.channels import stamps
from pullbook.channels.stamps_alike import by_place
from pullbook.handover import Fault
from pullbook.reading.log import read_log
from pullbook.text import slabs
from pullbook.text.cells import TIME
from pullbook.text.grid import read_grid
from pullbook.text.plain import read_plain
from pullbook.text.raw import RawLog
from pullbook.text.text import Text, clean_text

ROWS = [(0.1 * k, 990 + 17 * k, 180 + 0.25 * k) for k in range(120)]
ALIGNED = "     t [s]   n [rpm]   Md [Nm]\n" + "".join(f"{t:10.2f}{n:10d}{m:10.2f}\n" for t, n, m in ROWS)


def text_of(data: str) -> Text:
    text = clean_text(data.encode(), shown="a.txt")
    assert not isinstance(text, Fault)
    return text


def careful(data: str) -> RawLog:
    raw = read_grid(text_of(data), shown="a.txt")
    assert not isinstance(raw, Fault)
    return raw


def known(raw: RawLog) -> pl.DataFrame:
    """Its cells, every blank null: a column of numbers may have NaN for one."""
    return raw.cells.with_columns(pl.selectors.float().fill_nan(None))


def test_a_table_aligned_by_spaces_goes_the_short_way() -> None:
    raw = read_plain(text_of(ALIGNED), shown="a.txt")
    assert raw is not None
    assert raw.delimiter == " "
    assert raw.headers == careful(ALIGNED).headers == ("t [s]", "n [rpm]", "Md [Nm]")
    assert raw.cells.rows()[100] == (10.0, 2690.0, 205.0)
    assert raw.cells.height == len(ROWS)


def left_blank(data: str) -> str:
    """Ten rows without torque, at the end of the line, and two in three without speed, inside it."""
    lines = data.splitlines(keepends=True)
    for k in range(41, 51):
        lines[k] = lines[k][:-11] + "\n"
    for k in (k for k in range(60, 119) if k % 3):
        lines[k] = lines[k][:10] + " " * 10 + lines[k][20:]
    return "".join(lines)


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_column_left_blank_is_known_by_the_place_of_the_others(end: str) -> None:
    blank = left_blank(ALIGNED).replace("\n", end)
    raw = read_plain(text_of(blank), shown="a.txt")
    assert raw is not None
    slow = careful(blank)
    assert (raw.cells.height, raw.dropped) == (slow.cells.height, slow.dropped) == (len(ROWS), 0)
    assert known(raw)["2"].to_list() == [None if 40 <= k < 50 else m for k, (_, _, m) in enumerate(ROWS)]
    assert known(raw)["1"].to_list() == [None if 59 <= k < 118 and (k + 1) % 3 else n for k, (_, n, _) in enumerate(ROWS)]
    assert known(slow)["2"].to_list() == known(raw)["2"].to_list()


def test_a_lone_short_row_of_an_aligned_table_is_broken_and_none_is_read_in_another_column() -> None:
    lines = ALIGNED.splitlines(keepends=True)
    lines[30] = lines[30][:10] + " " * 10 + lines[30][20:]
    raw = careful("".join(lines))
    assert (raw.cells.height, raw.dropped) == (len(ROWS) - 1, 1)
    ragged = "t n Md\n" + "".join(f"{t:.1f} {n}\n" if k % 2 else f"{t:.1f} {n} {m}\n" for k, (t, n, m) in enumerate(ROWS))
    raw = careful(ragged.replace(" 9", "      9"))  # places overlap: nothing tells which column is blank
    assert raw.cells.height == known(raw)["2"].drop_nulls().len() == len(ROWS) / 2


def short(data: str, sign: str = ",") -> str:
    return "\n".join(line if k % 4 == 3 or not k else line.rsplit(sign, 2)[0] for k, line in enumerate(data.split("\n")))


FIVE = [f"{t:.2f},{n},{m:.2f},{80 + 0.1 * n / 100:.1f},{90 + m / 100:.1f}" for t, n, m in ROWS]


@pytest.mark.parametrize(("end", "dropped"), [("\n", 0), ("\nMax,4000,200\n", 1), ("\n12.00,", 1), ("\n12.00,3030\n", 1)])
@pytest.mark.parametrize("pair", [False, True])
def test_trailing_blanks_left_away_are_put_back_the_short_way(end: str, dropped: int, pair: bool) -> None:
    written = short("t [s],n [rpm],Md [Nm],Oil [C],Water [C]\n" + "\n".join(FIVE)) + end
    written = written.replace("\n", "\r\n") if pair else written
    slow = careful(written)
    assert slow.dropped == dropped
    if (raw := read_plain(text_of(written), shown="a.txt")) is None:
        assert not written.endswith("\n")  # a last row that may be cut off is for the careful way
        return
    assert raw.lines.to_list() == slow.lines.to_list()
    assert (raw.dropped, raw.warnings) == (slow.dropped, slow.warnings)
    for name in slow.cells.columns:
        assert known(raw)[name].to_list() == known(slow)[name].cast(pl.Float64).to_list()
    assert known(raw)["4"].null_count() > 80


def test_few_short_rows_are_damage_and_are_not_made_longer() -> None:
    rows = [row.rsplit(",", 2)[0] if k % 5 == 2 else row for k, row in enumerate(FIVE)]
    written = "t [s],n [rpm],Md [Nm],Oil [C],Water [C]\n" + "\n".join(rows) + "\n"
    assert read_plain(text_of(written), shown="a.csv") is None
    raw = careful(written)
    assert (raw.cells.height, raw.dropped) == (96, 24)


UNITS = "Time;Engine speed;Torque;Oil\n" + "".join(
    f"{t:.2f} s;{n} rpm;{m:.2f} Nm;{'' if k % 3 else f'{80 + k / 10} °C'}\n".replace(".", ",") for k, (t, n, m) in enumerate(ROWS)
)


def test_units_behind_every_value_are_taken_off_the_short_way() -> None:
    raw = read_plain(text_of(UNITS), shown="a.csv")
    assert raw is not None
    assert raw.behind == (" s", " rpm", " Nm", " °C")
    assert known(raw)["1"].to_list() == [float(n) for _, n, _ in ROWS]
    assert known(raw)["3"].to_list()[:4] == [80.0, None, None, 80.3]


def test_a_unit_in_another_column_than_its_own_is_left_to_the_careful_way() -> None:
    assert read_plain(text_of(UNITS.replace(f"{ROWS[70][1]} rpm", f"{ROWS[70][1]} Nm")), shown="a.csv") is None


def test_units_behind_values_are_those_of_the_channels(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(UNITS.replace("Nm", "lb-ft"), "utf-8")
    log = read_log(tmp_path / "a.csv", shown="a.csv")
    assert log.error is None
    assert [(c.channel, c.unit, c.unit_from) for c in log.columns] == [
        ("time_s", "s", "header"), ("rpm", "rpm", "header"), ("torque_nm", "lbf·ft", "header"), ("oil_c", "°C", "header"),
    ]  # fmt: skip


@pytest.mark.parametrize("sign", [" ", "'"])
def test_thousands_grouped_by_a_sign_that_is_no_mark(sign: str) -> None:
    rows = "".join(f"{t:.2f};{n:,d};{m:.2f}\n".replace(",", sign) for t, n, m in ROWS)
    raw = read_plain(text_of("t [s];n [rpm];Md [Nm]\n" + rows), shown="a.txt")
    assert raw is not None
    assert known(raw)["1"].to_list() == [float(n) for _, n, _ in ROWS]


@pytest.mark.parametrize("cell", ["1 23", "12 3456", "1  234", " 1 234"])
def test_a_space_that_does_not_group_is_not_taken_out(cell: str) -> None:
    rows = [f"{t:.2f};{n:,d};{m:.2f}\n".replace(",", " ") for t, n, m in ROWS]
    rows[77] = f"7.70;{cell};199.25\n"
    assert read_plain(text_of("t [s];n [rpm];Md [Nm]\n" + "".join(rows)), shown="a.txt") is None


@pytest.mark.parametrize(
    ("written", "seconds"),
    [
        (["11:59:59.5 AM", "12:00:00.5 PM"], [43199.5, 43200.5]),
        (["02:03,25", "02:04,75"], [123.25, 124.75]),
        (["14/11/2024 21:07:31,0", "14/11/2024 21:07:31,1"], [1731618451.0, 1731618451.1]),
        (["2024-11-14T21:07:31Z", "2024-11-14T21:07:32Z"], [1731618451.0, 1731618452.0]),
    ],
)
def test_times_written_alike_are_taken_by_place(written: list[str], seconds: list[float]) -> None:
    cells = pl.Series(written)
    alike = by_place(cells, stamps._STAMP)
    assert alike is not None
    assert alike.equals(stamps._taken_apart(cells))
    read = stamps.read_stamps(cells)
    assert read is not None
    assert read.seconds.tolist() == pytest.approx(seconds)


@pytest.mark.parametrize("odd", ["9:59:59.5 AM", "11:59:5x.5 AM", "11.59:59.5 AM", "11:59:59.5 XM", None, "−1:59:59.5 AM"])
def test_a_time_written_otherwise_is_left_to_the_pattern(odd: str | None) -> None:
    assert by_place(pl.Series(["11:59:58.5 AM", odd]), stamps._STAMP) is None


def some_at_a_time(text: str, monkeypatch: pytest.MonkeyPatch, size: int) -> RawLog:
    """The careful reader's table where the log is cut into slabs of ``size`` bytes."""
    with monkeypatch.context() as patched:
        patched.setattr(slabs, "LEAST", size)
        patched.setattr(slabs, "MOST", size)
        return careful(text)


def test_a_log_read_some_lines_at_a_time_is_the_log_read_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blank, quoted, short, long and worded lines, another header, damage, missing values on both sides of every edge."""
    head = 'Time s;Speed rpm;"Torque; Nm";Oil °C'
    rows = [f'{k / 10};{3000 + 7 * k};"{200 + k / 4}";{"---" if k % 9 == 4 else 80 + k / 10}' for k in range(60)]
    odd = {7: "", 11: "gust of wind", 12: "1.2;3084", 30: f"{head};Lambda", 31: '3.1;3217;"207.75";83.1;0.9', 40: "4;32x0;210;84"}
    for k, line in odd.items():
        rows[k] = line
    rows[32:] = [f"{row};0.9" for row in rows[32:40]] + [rows[40] + ";0.9"] + [f"{row};0.9" for row in rows[41:]]
    log = "\n".join([head, *rows, ""])
    whole = careful(log)
    assert whole.decided
    assert (whole.cells.height, whole.dropped) == (56, 1)
    assert whole.cells.dtypes == [pl.Float64] * 5
    for size in (50, 90, 400):
        again = some_at_a_time(log, monkeypatch, size)
        assert again == replace(whole, cells=again.cells, lines=again.lines, blocks=again.blocks)
        assert again.cells.equals(whole.cells)
        assert again.lines.equals(whole.lines)
        assert again.blocks is not None
        assert again.blocks.equals(whole.blocks)


@pytest.mark.parametrize("late", ["1.234,5", "12,5", "off", "88.5 °C"])
def test_what_the_last_lines_say_of_a_column_goes_for_all_of_it(late: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Groups, the decimal mark, a switch, a unit, seen by none of the lines looked at first, are seen all the same."""
    head = "Time s;Speed rpm;Extra"
    rows = [f"{k};{3000 + k};{k % 2}" for k in range(300)]
    rows[200] = f"200;3200;{late}"
    log = "\n".join([head, *rows, ""])
    whole, again = careful(log), some_at_a_time(log, monkeypatch, 100)
    assert again.cells.equals(whole.cells)
    assert (again.decimal, again.thousands, again.decided) == (whole.decimal, whole.thousands, whole.decided)
    last = again.cells["2"][200]
    assert last == {"1.234,5": 1234.5, "12,5": 12.5}.get(late, late)


@pytest.mark.parametrize(
    ("written", "seconds"),
    [
        (["09h59m55s", "09h59m56s", "10h00m03s"], [35995.0, 35996.0, 36003.0]),
        (["1m23.4s", "1m23.6s", "2m3.5s"], [83.4, 83.6, 123.5]),
        (["0 h 59 min 59,5 s", "1 h 0 min 0,5 s"], [3599.5, 3600.5]),
    ],
)
def test_times_with_letters_between_their_figures(written: list[str], seconds: list[float]) -> None:
    assert all(TIME.fullmatch(cell) for cell in written)
    read = stamps.read_stamps(pl.Series(written))
    assert read is not None
    assert read.seconds.tolist() == pytest.approx(seconds)
