"""The strict parser as proof of a log's bytes: what it takes is whole, what it would pass over in silence is not taken."""

import pytest

from pullbook.text.straight import read_straight

HEAD = "t [s];n [rpm];Md [Nm]\n"
ROWS = [f"{0.1 * k:.2f};{3000 + 7 * k};{180 + 0.25 * k:.2f}" for k in range(40)]


def made(rows: list[str], *, end: str = "\n", head: str = HEAD) -> bytes:
    return (head + "\n".join(rows) + end).encode("cp1252")


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
    "rows",
    [
        changed(33, "3.30;3231"),  # short: the parser fills it up
        [*ROWS[:30], ROWS[30] + ";1", *ROWS[31:33], "3.30;3231", *ROWS[34:]],  # long and short make up for each other
        changed(33, ""),  # a blank line
        changed(33, "3.30;3231;1\x0082.5"),
        changed(33, '3.30;3231;1"82.5'),
        changed(33, "3.30;3231;182,5"),
        changed(33, "3.30;3231;182.5\r3.31;3232;182.6"),
        changed(33, "3.30;3231;18\u00b02.5"),
        changed(33, HEAD.strip()),
        changed(33, "Max;3231;182.5"),
        [*ROWS[:-1], "3.9"],
        [*ROWS[:-1], ROWS[-1][:-3]],
    ],
)
def test_what_the_parser_would_pass_over_is_left_to_the_other_ways(rows: list[str]) -> None:
    assert read_straight(made(rows, end=""), shown="a.csv") is None


def test_a_point_where_the_comma_is_the_mark_is_left_to_the_other_ways() -> None:
    rows = [r.replace(".", ",") for r in ROWS]
    assert read_straight(made(rows), shown="a.csv") is not None
    assert read_straight(made([*rows[:33], rows[33].replace(",", "."), *rows[34:]]), shown="a.csv") is None
