"""What `new` leaves where the disc takes nothing more."""

from pathlib import Path

import pytest

from pullbook.book import Book
from pullbook.running.new_sheet import new_day


def test_half_a_sheet_does_not_stay(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, content: bytes) -> int:
        with path.open("wb") as file:
            file.write(content[:40])
        raise OSError(28, "No space left on device")

    folder = book.day_folder("blue", "2031-04-05")
    with monkeypatch.context() as patch:
        patch.setattr(Path, "write_bytes", full)
        with pytest.raises(OSError, match="No space"):
            new_day(book, "blue", "2031-04-05")
    assert not (folder / "pulls.csv").exists()
    assert "logs/blue/2031-04-05/pulls.csv" in new_day(book, "blue", "2031-04-05")["written"]
