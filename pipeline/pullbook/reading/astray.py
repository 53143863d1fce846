"""What lies where it is not read: logs beside the day folders, folders whose names are no date, links to folders."""

from pullbook.book import Book, dated, folders_and_others, is_log_name, natural, printable
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
    home = book.logs if engine is None else book.logs / engine
    try:
        return _said(book, engine, folders_and_others(home)[1])
    except OSError:
        return {}


def _said(book: Book, engine: str | None, names: list[str]) -> dict[str, str]:
    where = "<engine>/<YYYY-MM-DD>/" if engine is None else "one (YYYY-MM-DD)"
    told: dict[str, str] = {}
    for path in ((book.logs if engine is None else book.logs / engine) / name for name in names):
        if path.is_symlink() and path.is_dir():
            what = "the folder itself" if engine is None else "the day folder itself"
            told[printable(path.name)] = f"{book.shown(path)} is a link: not followed. Put {what} here"
        elif is_log_name(path.name) and path.is_file():
            told[printable(path.name)] = f"{book.shown(path)} lies in no day folder: not read. Move it into {where}"
    return told


def days_and_astray(book: Book) -> tuple[list[tuple[str, str]], list[str]]:
    """Every engine and day that has a folder, and every such sentence, in order of engines; one look at each folder for both."""
    if not book.logs.is_dir():
        return [], []
    found, others = folders_and_others(book.logs)
    here: list[tuple[str, str]] = []
    out = [*_said(book, None, others).values()]
    for engine in sorted(found, key=natural):
        folders, others = folders_and_others(book.logs / engine)
        named, strange = dated(folders)
        here += [(engine, day) for day in named]
        out += [undated(book, engine, day) for day in strange]
        out += _said(book, engine, others).values()
    return here, out


def astray(book: Book) -> list[str]:
    """Every such sentence of a book."""
    return days_and_astray(book)[1]
