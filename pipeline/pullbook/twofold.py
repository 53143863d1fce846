"""Work on many pieces by two threads where it pays."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

THREADS = 2
Given = TypeVar("Given")
Made = TypeVar("Made")


def twofold(do: Callable[[Given], Made], pieces: Iterable[Given], *, long: bool) -> list[Made]:
    """``do`` of every piece, in order; ``long``: whether a second thread pays, which takes a fraction of a millisecond to start."""
    if not long:
        return [do(piece) for piece in pieces]
    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(do, pieces))
