"""The short ways and the careful way give one table: aligned by spaces, thousands grouped by spaces, times written alike."""

import polars as pl
import pytest

from pullbook.channels import stamps
from pullbook.channels.stamps_alike import by_place
from pullbook.handover import Fault
from pullbook.text import parted
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


def test_a_table_aligned_by_spaces_goes_the_short_way() -> None:
    raw = read_plain(text_of(ALIGNED), shown="a.txt")
    assert raw is not None
    assert raw.delimiter == " "
    assert raw.headers == careful(ALIGNED).headers == ("t [s]", "n [rpm]", "Md [Nm]")
    assert raw.cells.rows()[100] == (10.0, 2690.0, 205.0)
    assert raw.cells.height == len(ROWS)


def test_a_column_left_blank_is_left_to_the_careful_way_and_to_the_text_as_written() -> None:
    """Ten rows without torque: the place of the others says so; the short way must not call them broken."""
    blank = "".join(
        line[: -11 if 40 <= k < 50 else None] + ("\n" if 40 <= k < 50 else "") for k, line in enumerate(ALIGNED.splitlines(True))
    )
    text = text_of(blank)
    assert read_plain(text, shown="a.txt") is None
    assert text.data in (b"", blank.encode())
    raw = careful(blank)
    assert (raw.cells.height, raw.dropped) == (len(ROWS), 0)


@pytest.mark.parametrize("sign", [" ", "'"])
def test_thousands_grouped_by_a_sign_that_is_no_mark(sign: str) -> None:
    rows = "".join(f"{t:.2f};{n:,d};{m:.2f}\n".replace(",", sign) for t, n, m in ROWS)
    raw = read_plain(text_of("t [s];n [rpm];Md [Nm]\n" + rows), shown="a.txt")
    assert raw is not None
    assert raw.cells["1"].to_list() == [float(n) for _, n, _ in ROWS]


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


def test_lines_parted_some_at_a_time_are_the_lines_parted_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blank, quoted, short and long lines on both sides of every edge."""
    lines = pl.Series([f'{k};"a; b";{k / 4}' if k % 5 else ("" if k % 2 else f"{k};;;;x") for k in range(60)])
    whole, widths = parted.part(lines, ";", 3)
    monkeypatch.setattr(parted, "SLICE", 7)
    again, counts = parted.part(lines, ";", 3)
    assert again.equals(whole)
    assert counts.to_list() == widths.to_list()
    assert whole.row(1)[:3] == ("1", "a; b", "0.25")


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
