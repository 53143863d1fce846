"""How numbers and lists stand in a sentence: the same everywhere, on paper, on the screen and in the record."""

from collections.abc import Iterable, Sequence


def counted(count: int, one: str, many: str | None = None) -> str:
    """A number of things.

    Examples
    --------
    >>> counted(3, "pull"), counted(1, "pull"), counted(0, "pull"), counted(2, "row left out", "rows left out")
    ('3 pulls', '1 pull', 'no pulls', '2 rows left out')
    """
    return f"{count or 'no'} {one if count == 1 else many or one + 's'}"


def listed(items: Iterable[str], last: str = "and") -> str:
    """All of them, in a sentence.

    Examples
    --------
    >>> listed(["a", "b", "c"]), listed(["a", "b"], last="or"), listed([])
    ('a, b and c', 'a or b', '')
    """
    words = list(items)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}" if words else ""


def few(items: Sequence[object], most: int = 6) -> str:
    """The first ``most`` of them, the rest counted.

    Examples
    --------
    >>> few(["a", "b"]), few(range(9), most=5)
    ('a, b', '0, 1, 2, 3, 4 and 4 more')
    """
    return ", ".join(map(str, items[:most])) + (f" and {len(items) - most} more" if len(items) > most else "")


def to_fifty(rpm: float) -> int:
    """A speed as springs are set and spoken of: to 50 rpm.

    Examples
    --------
    >>> to_fifty(2890.0), to_fifty(1425.0)
    (2900, 1400)
    """
    return 50 * round(rpm / 50)


def plain(value: float, digits: int = 1) -> str:
    """A number without needless zeros, with a true minus sign.

    Examples
    --------
    >>> plain(34.0), plain(-1.25, 2), plain(0.04), plain(-0.04)
    ('34', '−1.25', '0', '0')
    """
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text.replace("-", "−")


def signed(value: float, digits: int = 1) -> str:
    """The same with its sign; zero has none.

    Examples
    --------
    >>> signed(-0.5), signed(2.44, 2), signed(0.04)
    ('−0.5', '+2.44', '0')
    """
    text = plain(value, digits)
    return text if text == "0" or text.startswith("−") else f"+{text}"


def inert(cell: str) -> str:
    """A cell no spreadsheet runs: text that begins like a formula gets an apostrophe, which reading a sheet takes off again.

    Examples
    --------
    >>> inert("=1+1"), inert(" -2"), inert("34 total")
    ("'=1+1", "' -2", '34 total')
    """
    runs = cell.lstrip().startswith(("=", "+", "-", "@", "|", "%")) or cell.startswith(("\t", "\r"))
    return f"'{cell}" if runs else cell


def noted(value: object) -> str:
    """A word of the record, or that there is none."""
    return "not noted" if value is None else str(value)
