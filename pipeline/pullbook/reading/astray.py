"""What lies where it is not read: logs beside the day folders, folders whose names are no date, links to folders."""

import os

from pullbook.book import LOG_ENDINGS, Book, days, engines, printable
from pullbook.wording import few

NAMED = 50


def undated(book: Book, engine: str, day: str) -> str:
    """The sentence about a folder whose name is no date: its files are listed, not read."""
    folder = book.day_folder(engine, day)
    try:
        names = sorted(printable(p.name) for p in folder.iterdir() if not p.name.startswith((".", "~$")))
    except OSError:
        names = []
    named = few(names, NAMED)
    what = f"{book.shown(folder)} is not named by a real date (YYYY-MM-DD, or YYYY-MM-DD-word): nothing in it is read"
    return what + (f" ({named})" if named else "")


def beside(book: Book, engine: str | None = None) -> dict[str, str]:
    """Name and sentence of every log or link beside an engine's day folders; without an engine, beside the engines' folders."""
    where = "<engine>/<YYYY-MM-DD>/" if engine is None else "one (YYYY-MM-DD)"
    told: dict[str, str] = {}
    home = book.logs if engine is None else book.logs / engine
    try:
        with os.scandir(home) as entries:  # looked at on every run, and there may be thousands of engines
            odd = sorted(e.name for e in entries if e.is_symlink() or (_is_log(e.name) and e.is_file()))
    except OSError:
        return told
    for path in (home / name for name in odd):
        if path.is_symlink() and path.is_dir():
            what = "the folder itself" if engine is None else "the day folder itself"
            told[printable(path.name)] = f"{book.shown(path)} is a link: not followed. Put {what} here"
        elif _is_log(path.name) and path.is_file():
            told[printable(path.name)] = f"{book.shown(path)} lies in no day folder: not read. Move it into {where}"
    return told


def _is_log(name: str) -> bool:
    return name.lower().endswith(LOG_ENDINGS) and not name.startswith((".", "~$"))


def astray(book: Book) -> list[str]:
    """Every such sentence of a book, in order of engines."""
    out = [*beside(book).values()]
    for engine in engines(book):
        out += [undated(book, engine, day) for day in days(book, engine)[1]]
        out += beside(book, engine).values()
    return out
