"""Values of the hand-kept facts: text as the shop wrote it, turned into what the schema asks for or into a named fault."""

import re
from collections.abc import Mapping
from difflib import get_close_matches
from itertools import pairwise
from types import MappingProxyType
from typing import Any

from pullbook.handover import Fault
from pullbook.sheets.facts_schema import Choice, Group, Kind, Number, Numbers, Text
from pullbook.sheets.unit_slips import looks_like
from pullbook.sheets.yaml_file import Entry

_NOWHERE: Mapping[str, list[str]] = MappingProxyType({})
_NUMBER = re.compile(r"[+\-−]?(\d+([.,]\d+)?|[.,]\d+)([eE][+-]?\d+)?")
_TRUTH = {"no": "false", "n": "false", "none": "false", "yes": "true", "on": "true", "true": "true", "off": "false"}


class FactReader:
    """Reads entries of one file against the schema and collects the faults met; ``file`` is the name shown."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.faults: list[Fault] = []

    def fault(self, line: int, key: str, found: str, expected: str, remedy: str) -> None:
        """Note one value that cannot be used."""
        self.faults.append(Fault(self.file, line, key, found, expected, remedy))

    def group(
        self, given: Mapping[str, Entry], keys: Mapping[str, Kind], path: str = "", elsewhere: Mapping[str, list[str]] = _NOWHERE
    ) -> dict[str, Any]:
        """Every known key of ``given`` as its value; unknown keys and unusable values become faults and are left out.

        Parameters
        ----------
        given
            Entries by key as written.
        keys
            What may stand there.
        path
            Where in the file, such as ``ignition.``.
        elsewhere
            Keys known at another place of the file, each with the groups that hold it, for a better hint.
        """
        folded = {_fold(k): k for k in keys}
        out: dict[str, Any] = {}
        for written, entry in given.items():
            key = folded.get(_fold(written))
            if key is None:
                near = get_close_matches(_fold(written), [*folded, *map(_fold, elsewhere)], n=1, cutoff=0.6)
                name = next((k for k in (*keys, *elsewhere) if near and _fold(k) == near[0]), None)
                hint = f"take it away, or put it in `notes` ({', '.join(keys)} may stand here)"
                if name is not None:
                    below = " or ".join(f"`{group}:`" for group in elsewhere.get(name, ()) if name not in keys)
                    hint = f"write `{name}` in a line of its own under {below}, indented" if below else f"did you mean `{name}`?"
                self.fault(entry.line, path + written, f"the unknown key {written[:60]!r}", "a key that may stand here", hint)
            elif key in out:
                self.fault(
                    entry.line, path + written, f"the key {key!r} a second time", "each key once", "keep the one that is right"
                )
            elif entry.value is not None:
                value = self.value(entry, keys[key], path + key)
                if value is not None:
                    out[key] = value
        return out

    def value(self, entry: Entry, kind: Kind, path: str) -> Any:
        """``entry`` as ``kind`` asks, or None with a fault noted."""
        wrong = (entry.line, path, entry.plain(), kind.says)
        if isinstance(kind, Group):
            return self._groups(entry, kind, path) if kind.many else self._one_group(entry, kind, path)
        if isinstance(kind, Numbers):
            return self._numbers(entry, kind, path)
        if not isinstance(entry.value, str):
            self.fault(*wrong, f"write `{path.rsplit('.', 1)[-1]}:` and the value on one line")
            return None
        if isinstance(kind, Text):
            return entry.value[:2000]
        if isinstance(kind, Choice):
            return self._choice(entry.value, kind, wrong)
        return self._number(entry.value, kind, wrong)

    def _choice(self, text: str, kind: Choice, wrong: tuple[int, str, str, str]) -> str | None:
        folded = {_fold(w): w for w in kind.words}
        given = _fold(text)
        if given not in folded and "false" in folded:
            given = _TRUTH.get(given, given)
        tails = [w for f, w in folded.items() if len(given) >= 4 and f.endswith(given)]
        if given in folded or len(tails) == 1:
            return folded[given] if given in folded else tails[0]
        near = get_close_matches(given, list(folded), n=1, cutoff=0.5)
        self.fault(*wrong, f"did you mean {folded[near[0]]!r}?" if near else f"write {kind.words[0]!r} or another of them")
        return None

    def _number(self, text: str, kind: Number, wrong: tuple[int, str, str, str]) -> float | int | None:
        bare = text.strip()
        unit = _fold_unit(kind.unit)
        if unit and _fold_unit(bare).endswith(unit):
            bare = re.sub(r"[^\d.,eE+\-−].*$", "", bare.strip()).strip()
        if not _NUMBER.fullmatch(bare):
            self.fault(*wrong, f"write the bare number, in {kind.unit}" if kind.unit else "write the bare number")
            return None
        value = float(bare.replace(",", ".").replace("−", "-"))
        if re.fullmatch(r"\d{1,3},\d{3}", bare) and kind.lo <= value * 1000 <= kind.hi:
            if kind.lo <= value <= kind.hi:
                self.fault(*wrong, f"write {value * 1000:g} or {value:g}: the comma may mean either")
                return None
            value *= 1000
        if not kind.lo <= value <= kind.hi or (kind.whole and value != round(value)):
            hint = f"check the unit: it is kept in {kind.unit}" if kind.unit else "check the number"
            if not kind.lo <= value <= kind.hi and (slip := looks_like(kind.unit or "", value, kind.lo, kind.hi)) is not None:
                hint = f"{value:g} looks like {slip[0]}: write {slip[1]}"
            self.fault(*wrong, hint)
            return None
        return round(value) if kind.whole else value

    def _numbers(self, entry: Entry, kind: Numbers, path: str) -> tuple[float, ...] | None:
        items = (
            entry.value
            if isinstance(entry.value, list)
            else [entry]
            if isinstance(entry.value, str) and kind.count is None
            else None
        )
        if isinstance(entry.value, str) and re.search(r"\d\s*[-–…]\s*\d", entry.value) and kind.count == 2:
            items = [Entry(part, entry.line) for part in re.split(r"\s*[-–…]+\s*", entry.value)]
        if items is None or (kind.count is not None and len(items) != kind.count) or len(items) > 500:
            self.fault(entry.line, path, entry.plain(), kind.says, f"write `{path.rsplit('.', 1)[-1]}: [2000, 6000]`, say")
            return None
        values = [self.value(item, kind.of, path) for item in items]
        if any(v is None for v in values):
            return None
        if kind.rising and any(b <= a for a, b in pairwise(values)):
            self.fault(entry.line, path, str(values)[:80], kind.says, "write the lowest first")
            return None
        return tuple(float(v) for v in values)

    def _one_group(self, entry: Entry, kind: Group, path: str) -> dict[str, Any] | None:
        if not isinstance(entry.value, dict):
            keys = ", ".join(f"{k}: …" for k in list(kind.keys)[:2])
            self.fault(entry.line, path, entry.plain(), kind.says, f"write `{path}: {{{keys}}}`")
            return None
        return self.group(entry.value, kind.keys, path + ".")

    def _groups(self, entry: Entry, kind: Group, path: str) -> list[dict[str, Any]] | None:
        items = entry.value if isinstance(entry.value, list) else [entry]
        out = []
        for number, item in enumerate(items, start=1):
            one = self._one_group(item, kind, f"{path}[{number}]")
            if one is None:
                continue
            missing = [k for k in kind.needed if k not in one]
            if missing:
                self.fault(
                    item.line,
                    f"{path}[{number}]",
                    "no " + ", ".join(missing),
                    kind.says,
                    f"add `{missing[0]}:` or take the entry away",
                )
            else:
                out.append(one)
        return out


def _fold(word: str) -> str:
    """A word without case, spaces, dashes and underscores."""
    return re.sub(r"[\s_\-.]+", "", word).casefold()


def _fold_unit(text: str) -> str:
    return re.sub(r"[\s·*^°]+", "", text).casefold().replace("litres", "l").replace("²", "2")
