"""Folder names of partitions: Hive's escapes, a cut that any reader survives, and no two names that meet."""

from urllib.parse import unquote

import pytest

from pullbook.archive.names import MOST_BYTES, day_key, decode, encode, partition


@pytest.mark.parametrize(
    ("value", "encoded"),
    [
        ("blue eight", "blue eight"),
        ("Müller", "Müller"),
        ("50%", "50%25"),
        ("a/b\\c:d=e", "a%2Fb%5Cc%3Ad%3De"),
        ('it\'s "x" #1 [2] {3} ^4 *5 ?6', "it%27s %22x%22 %231 %5B2%5D %7B3} %5E4 %2A5 %3F6"),
        ("tab\tand\nline\x7f", "tab%09and%0Aline%7F"),
    ],
)
def test_values_are_escaped_as_hive_does(value: str, encoded: str) -> None:
    assert encode(value) == encoded
    assert decode(encoded) == value == unquote(encoded)


@pytest.mark.parametrize("value", ["ü" * 150, "%" * 100, "x" * 201, "a'" * 90, "日" * 80])
def test_long_values_are_cut_at_a_letter_and_end_in_a_hash(value: str) -> None:
    encoded = encode(value)
    assert len(encoded.encode()) <= MOST_BYTES
    assert encoded != encode(value + "y")
    head, _, digits = decode(encoded).rpartition("~")
    assert value.startswith(head)
    assert len(digits) == 16


def test_two_hundred_bytes_still_fit() -> None:
    assert encode("x" * 200) == "x" * 200


def test_bytes_that_are_no_utf8_have_a_name_too() -> None:
    assert encode("M\udcfcller") == "M%5Cxfcller"


def test_a_partition_is_engine_then_day() -> None:
    assert partition("a=b", "2031-04-05-2").as_posix() == "engine=a%3Db/day=2031-04-05-2"
    assert day_key("a", "b") != day_key("ab", "")
