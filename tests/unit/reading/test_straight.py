"""The strict parser as proof of a log's bytes: what it takes is whole, what it would pass over in silence is not taken."""

from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl
import pytest

from pullbook.handover import Fault
from pullbook.reading.log import read_log
from pullbook.text.grid import read_grid
from pullbook.text.straight import read_straight
from pullbook.text.text import Text, clean_text

HEAD = "t [s];n [rpm];Md [Nm]\n"
ROWS = [f"{0.1 * k:.2f};{3000 + 7 * k};{180 + 0.25 * k:.2f}" for k in range(40)]


def made(rows: list[str], *, end: str = "\n", head: str = HEAD) -> Text:
    return Text((head + "\n".join(rows) + end).encode("cp1252"), "")


def changed(row: int, text: str) -> list[str]:
    return [*ROWS[:row], text, *ROWS[row + 1 :]]


@pytest.mark.parametrize("end", ["\n", ""])
def test_numbers_alone_go_straight(end: str) -> None:
    raw, encoding = read_straight(made(ROWS, end=end), shown="a.csv") or pytest.fail("not taken")
    assert encoding == "utf-8"
    assert raw.cells.rows()[20] == (2.0, 3140.0, 185.0)
    assert raw.lines.to_list() == list(range(2, 42))
    assert (raw.header_line, raw.decimal, raw.dropped) == (1, ".", 0)


def test_the_head_alone_may_have_another_encoding() -> None:
    """The body of a CP1252 log is not copied: its numbers are ASCII, which the parser proves."""
    data = made(ROWS, head="Prüfstand 2\nt [s];Drehzahl [U/min];Öl [°C]\n")
    raw, encoding = read_straight(data, shown="a.csv") or pytest.fail("not taken")
    assert encoding == "cp1252"
    assert raw.headers[2] == "Öl [°C]"
    assert raw.header_line == 2


def test_quoted_numbers_and_decimal_commas() -> None:
    quoted = ['"' + r.replace(";", '";"').replace(".", ",") + '"' for r in ROWS]
    raw, _ = read_straight(made(quoted), shown="a.csv") or pytest.fail("not taken")
    assert raw.cells.rows()[20] == (2.0, 3140.0, 185.0)
    assert raw.decimal == ","


@pytest.mark.parametrize(
    ("row", "encoding", "mended"),
    [
        ("3.30;3231", "utf-8", (None, 1)),  # short: the parser would fill it up
        ("", "utf-8", (None, 0)),
        ('"3.30";"3231";"182.5"', "utf-8", ((3.3, 3231.0, 182.5), 0)),
        ("3.30;3231;---", "utf-8", ((3.3, 3231.0, None), 0)),
        ("3.30;3231;18\u00b02.5", "cp1252", ((3.3, 3231.0, None), 0)),
        ("3.30;3231;182.5;\u00dcberlauf", "cp1252", ((3.3, 3231.0, 182.5), 0)),
        (HEAD.strip(), "utf-8", (None, 0)),
        ("Max;3231;182.5", "utf-8", (None, 0)),
        ("Prüfer: Müller", "cp1252", (None, 0)),
    ],
)
def test_an_odd_line_is_mended_where_it_stands(row: str, encoding: str, mended: tuple[tuple[float, ...] | None, int]) -> None:
    """All other lines are parsed as they lie, and the encoding is told by the odd lines too."""
    raw, read_as = read_straight(made(changed(33, row)), shown="a.csv") or pytest.fail("not taken")
    assert read_as == encoding
    values, dropped = mended
    assert raw.dropped == dropped
    assert (35 in raw.lines.to_list()) == (values is not None)
    if values is not None:
        assert raw.cells.with_columns(pl.selectors.float().fill_nan(None)).rows()[33] == values
    text = clean_text(made(changed(33, row)).data, shown="a.csv")
    assert not isinstance(text, Fault)
    careful = read_grid(text, shown="a.csv")
    assert not isinstance(careful, Fault)
    assert (raw.lines.to_list(), raw.dropped) == (careful.lines.to_list(), careful.dropped)
    assert raw.cells.rows()[34] == (3.4, 3238.0, 188.5) if values is not None else raw.cells.rows()[33] == (3.4, 3238.0, 188.5)


def test_many_odd_lines_are_mended_as_few_are() -> None:
    """Beyond some hundreds the patches are put in by their place; rows, values and lines are those of the file."""
    rows = [f"{0.1 * k:.2f};{3000 + k};{180 + 0.25 * (k % 40):.2f}" for k in range(20_000)]
    odd = {k: ('"' + rows[k].replace(";", '";"') + '"') if k % 3 else rows[k][:4] for k in range(100, 20_000, 37)}
    raw, _ = read_straight(made([odd.get(k, row) for k, row in enumerate(rows)]), shown="a.csv") or pytest.fail("not taken")
    gone = [k for k in odd if not k % 3]
    kept = [k for k in range(20_000) if k not in gone]
    assert raw.dropped == len(gone)
    assert raw.lines.to_list() == [k + 2 for k in kept]
    assert raw.cells["1"].to_list() == [3000.0 + k for k in kept]


@pytest.mark.parametrize(
    ("rows", "end"),
    [
        ([*ROWS[:30], ROWS[30] + ";1", *ROWS[31:33], "3.30;3231", *ROWS[34:]], "\n"),  # long and short make up for each other
        (changed(33, "3.30;3231;1\x0082.5"), "\n"),
        (changed(33, "3.30;3231;182,5"), "\n"),
        (changed(33, "3.30;3231;182.5\r3.31;3232;182.6"), "\n"),
        ([*ROWS[:-1], "3.9"], ""),
        ([*ROWS[:-1], ROWS[-1][:-3]], ""),
    ],
)
def test_what_the_parser_would_pass_over_is_left_to_the_other_ways(rows: list[str], end: str) -> None:
    assert read_straight(made(rows, end=end), shown="a.csv") is None


def test_a_point_where_the_comma_is_the_mark_is_left_to_the_other_ways() -> None:
    rows = [r.replace(".", ",") for r in ROWS]
    assert read_straight(made(rows), shown="a.csv") is not None
    assert read_straight(made([*rows[:33], rows[33].replace(",", "."), *rows[34:]]), shown="a.csv") is None


@pytest.mark.parametrize(("token", "fan"), [("---", [None, 0.0, 1.0]), ("off", [0.0, 0.0, 1.0])])
def test_a_word_for_a_missing_value_is_not_taken_from_a_switch(token: str, fan: list[float | None]) -> None:
    """The parser blanks the word in every column; where it is a switch's as well the careful way reads the log."""
    words = [token, "off", "on"]
    rows = [f"{row};{words[k % 3]};{token if k % 2 else 12.5 + k}" for k, row in enumerate(ROWS)]
    with TemporaryDirectory() as folder:
        path = Path(folder, "a.csv")
        path.write_text("t [s];n [rpm];Md [Nm];Throttle;Oil [°C]\n" + "\n".join(rows) + "\n", encoding="utf-8")
        log = read_log(path, shown="a.csv")
    assert log.error is None
    assert log.samples["oil_c"].to_list() == [None if k % 2 else 12.5 + k for k in range(40)]
    assert log.samples["throttle_pct"].to_list() == [None if x is None else 100 * x for x in (fan * 14)[:40]]
