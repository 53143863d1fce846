"""YAML as hand-kept facts: every value with its line, every scalar as written, nothing constructed.

The tree is composed but never constructed, so no tag can run anything, and ``off``, ``12:30`` or ``2031-04-05`` stay what the shop
wrote instead of becoming a truth value, 750 or a date.
"""

from dataclasses import dataclass
from pathlib import Path

from pullbook.handover import Fault
from pullbook.sheets.guarded import MOST_YAML, as_text, guarded_bytes

_MOST_NODES = 20_000
_MOST_DEPTH = 12
_NOTHING = ("", "~", "null", "Null", "NULL")


@dataclass(frozen=True, slots=True)
class Entry:
    """A value with the line it stands on: text as written, None, a list of entries, or entries by key."""

    value: "str | list[Entry] | dict[str, Entry] | None"
    line: int

    def plain(self) -> str:
        """What was found, in few words, for a message."""
        if isinstance(self.value, dict):
            return "a group of keys"
        if isinstance(self.value, list):
            return "a list" if self.value else "an empty list"
        return "nothing" if self.value is None else repr(self.value[:60])


class _Refused(Exception):
    """Why a tree is not taken, with its line."""

    def __init__(self, line: int | None, found: str, expected: str, remedy: str, column: str | None = None) -> None:
        super().__init__(found)
        self.fault = (line, column, found, expected, remedy)


def load_yaml(path: Path, *, shown: str) -> dict[str, Entry] | Fault:
    """Top-level keys of a YAML file, or the fault that says why it cannot be used. An empty file has no keys.

    Parameters
    ----------
    path, shown
        The file, opened for reading only, and its name in messages.
    """
    import yaml

    content = guarded_bytes(path, shown=shown, most=MOST_YAML)
    if isinstance(content, Fault):
        return content
    text = as_text(content, shown=shown)
    if isinstance(text, Fault):
        return text
    try:
        tree = yaml.compose(text, Loader=yaml.SafeLoader)
        if tree is None:
            return {}
        entry = _entry(tree, 0, [0])
    except _Refused as refused:
        return Fault(shown, *refused.fault)
    except RecursionError:
        return Fault(shown, None, None, "brackets nested without end", "at most three levels", "write one key a line")
    except yaml.YAMLError as wrong:
        mark = getattr(wrong, "problem_mark", None)
        problem = _in_words(str(getattr(wrong, "problem", None) or "something that is no YAML"))
        line = mark.line + 1 if mark is not None else None
        remedy = "put text in quotes, indent the lines of a group alike with spaces (never tabs), write a space after each colon"
        return Fault(shown, line, None, problem, "YAML, one `key: value` a line", remedy)
    except (ValueError, OverflowError) as wrong:
        return Fault(shown, None, None, str(wrong)[:80], "YAML, one `key: value` a line", "write the file again as plain text")
    if isinstance(entry.value, dict):
        return entry.value
    if entry.value is None:
        return {}
    return Fault(
        shown,
        entry.line,
        None,
        entry.plain(),
        "keys and values, one `key: value` a line",
        "start the line with the key and a colon",
    )


def _in_words(problem: str) -> str:
    """What the YAML library says, for people who have never met its terms."""
    if "<block" in problem or "mapping values are not allowed" in problem:
        return "a line that is not indented like its neighbours, or a second colon in a line"
    return problem[:100].removeprefix("found ")


def _entry(node: object, depth: int, seen: list[int]) -> Entry:
    """A composed node as an entry; ``seen`` counts nodes with aliases unrolled, so that a small file cannot grow without end."""
    import yaml

    assert isinstance(node, yaml.Node)
    line = node.start_mark.line + 1
    seen[0] += 1
    if seen[0] > _MOST_NODES or depth > _MOST_DEPTH:
        raise _Refused(
            line,
            "values repeated or nested without end",
            "a small file of plain values",
            "write values out instead of using & and *",
        )
    if not str(node.tag).startswith("tag:yaml.org,2002:") or "python" in str(node.tag):
        raise _Refused(line, f"the tag {str(node.tag)[:40]!r}", "plain values", "take the tag (!…) away")
    if isinstance(node, yaml.ScalarNode):
        text = str(node.value)
        return Entry(None if node.style is None and text in _NOTHING else text.strip(), line)
    if isinstance(node, yaml.SequenceNode):
        return Entry([_entry(item, depth + 1, seen) for item in node.value], line)
    assert isinstance(node, yaml.MappingNode)
    out: dict[str, Entry] = {}
    for key, value in node.value:
        if not isinstance(key, yaml.ScalarNode):
            raise _Refused(key.start_mark.line + 1, "a key that is a list or a group", "a word as key", "write `key: value`")
        name = str(key.value).strip()
        if name in out:
            at = key.start_mark.line + 1
            raise _Refused(at, f"the key {name[:40]!r} a second time", "each key once", "keep the one that is right", name)
        out[name] = Entry(_entry(value, depth + 1, seen).value, key.start_mark.line + 1)
    return Entry(out, line)
