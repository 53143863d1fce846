"""What `pullbook verify` finds, collected and told: damage, inputs that are others now, and notes."""

from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from pullbook.archive.seal import Seal
from pullbook.book import Book, on_screen, printable
from pullbook.wording import counted


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found. ``what``: changed, missing, damaged_seal, half_written, stray, unsealed, catalog (damage);
    changed, gone, new, unreadable (inputs); set_aside, mended, uncommitted, catalog_lags (notes). ``file``: in the book;
    ``revision``: of the day, from 1."""

    what: str
    file: str
    found: str
    remedy: str
    engine: str | None = None
    day: str | None = None
    revision: int | None = None


@dataclass(frozen=True, slots=True)
class Whose:
    """The day and revision a file belongs to, as far as they are known."""

    engine: str | None = None
    day: str | None = None
    revision: int | None = None

    @classmethod
    def of(cls, seal: Seal) -> "Whose":
        """The revision that a seal seals."""
        return cls(seal["engine"], seal["day"], int(seal["revision"]))


NOBODY = Whose()


@dataclass(slots=True)
class Found:
    """Everything found in a book so far, and how much of it was read: ``files`` and their ``bytes``."""

    book: Book
    damage: list[Finding] = field(default_factory=list)
    inputs: list[Finding] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)
    files: int = 0
    bytes: int = 0

    def harm(self, what: str, path: Path, found: str, remedy: str, whose: Whose = NOBODY) -> None:
        """Damage: what the archive itself has lost."""
        self.damage.append(_finding(what, self.book.shown(path), found, remedy, whose))

    def note(self, what: str, path: Path, found: str, remedy: str, whose: Whose = NOBODY) -> None:
        """What is worth knowing and no damage."""
        self.notes.append(_finding(what, self.book.shown(path), found, remedy, whose))

    def moved(self, what: str, file: str, found: str, remedy: str, whose: Whose) -> None:
        """An input (as named in the seal) that is not what the record was made from."""
        self.inputs.append(_finding(what, file, found, remedy, whose))

    def so_far(self) -> tuple[int, int, int, int]:
        """How much there is, to go back to by :meth:`back_to`."""
        return len(self.damage), len(self.inputs), self.files, self.bytes

    def back_to(self, mark: tuple[int, int, int, int]) -> None:
        """Take away what was found since ``mark``."""
        del self.damage[mark[0] :], self.inputs[mark[1] :]
        self.files, self.bytes = mark[2:]

    def plain(self) -> dict[str, Any]:
        """``files, bytes, damage, inputs, notes`` as plain values."""
        lists = {"damage": self.damage, "inputs": self.inputs, "notes": self.notes}
        return {"files": self.files, "bytes": self.bytes} | {name: [asdict(f) for f in found] for name, found in lists.items()}


def _finding(what: str, file: str, found: str, remedy: str, whose: Whose) -> Finding:
    engine, day = (None if name is None else printable(name) for name in (whose.engine, whose.day))
    return Finding(what, file, found, remedy, engine, day, whose.revision)


def as_text(told: dict[str, Any]) -> str:
    """What :func:`pullbook.archive.verify.verify` found, for the screen: damage first."""
    lines = []
    for title, key in (("DAMAGE", "damage"), ("input", "inputs"), ("note", "notes")):
        lines += [f"{title}  {f['file']}\n        found  {f['found']}\n        do     {f['remedy']}" for f in told[key]]
    read = (
        f"{counted(told['days'], 'day')}, {counted(told['kept_revisions'], 'older revision')}, "
        f"{counted(told['files'], 'file')}, {told['bytes'] / 1e6:.1f} MB read"
    )
    lines.append(f"{read}: {len(told['damage'])} damaged" if told["damage"] else f"{read}: the archive is whole")
    return "\n".join(on_screen(part) for line in lines for part in line.split("\n"))
