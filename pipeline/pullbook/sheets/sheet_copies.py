"""Copies of the pull sheet, as a browser or a file manager names them: read in its place where that is beyond doubt."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from pullbook.book import LOG_ENDINGS, DayFiles, natural, printable
from pullbook.sheets.pull_sheet import read_pull_sheet
from pullbook.wording import few

MOST_COPIES = 20
"""Copies that are looked at."""
_PLAIN = ("pulls.csv", "pulls.xlsx")


@dataclass(frozen=True, slots=True)
class WithoutCopies:
    """``files`` without copies: each is the sheet (``warning`` says so), a log, refused, or named in ``question``."""

    files: DayFiles
    question: str | None = None
    warning: str | None = None


def settle_copies(files: DayFiles, shown: Callable[[Path], str]) -> WithoutCopies:
    """Say what each file is that is named as a copy of the pull sheet, by what it holds.

    Parameters
    ----------
    files
        A day folder's files.
    shown
        How a path is named to the operator.

    Returns
    -------
    WithoutCopies
        A copy is the sheet where there is no other; beside a plain one, or another copy, it is asked about and not read.
        What holds no sheet is a log, or refused where its ending is no log's.
    """
    if not files.copies:
        return WithoutCopies(files)
    copies = files.copies[:MOST_COPIES]
    sheets = [p for p in copies if _is_sheet(p)]
    others = [p for p in copies if p not in sheets]
    logs = tuple(sorted((*files.logs, *(p for p in others if p.suffix.lower() in LOG_ENDINGS)), key=lambda p: natural(p.name)))
    refused = [(p.name, "not a log, a sheet or a picture") for p in others if p.suffix.lower() not in LOG_ENDINGS]
    refused += [(p.name, "one copy of the pull sheet too many") for p in files.copies[MOST_COPIES:]]
    bare = replace(files, logs=logs, refused=(*files.refused, *refused), copies=())
    names = few([printable(p.name) for p in sheets])
    plain = next((files.sheets[name] for name in _PLAIN if name in files.sheets), None)
    if not sheets:
        return WithoutCopies(bare)
    if plain is not None:
        used = printable(plain.name)
        return WithoutCopies(bare, f"Both {used} and {names} are here: {used} is used. Which one is right? Take the other away")
    if len(sheets) > 1 and len({p.read_bytes() for p in sheets}) > 1:
        return WithoutCopies(
            bare, f"{names} are all pull sheets: none is used. Which one is right? Name it pulls{sheets[0].suffix.lower()}"
        )
    own = f"pulls{sheets[0].suffix.lower()}"
    told = f"{shown(sheets[0])} is read as the pull sheet; name it {own}"
    return WithoutCopies(replace(bare, sheets={**files.sheets, own: sheets[0]}), warning=told)


def _is_sheet(path: Path) -> bool:
    """Whether a file holds a pull sheet: a column of file names, which are no numbers."""
    sheet = read_pull_sheet(path, shown=path.name)
    if not sheet.rows:
        return not sheet.faults
    return any(not re.fullmatch(r"[-+\d.,: ]*", row.file) for row in sheet.rows)
