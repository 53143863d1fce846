"""Carry the records of :mod:`pullbook.handover` from one process to the next: JSON, Arrow and .npy files, never pickle.

The hidden work folder travels with a book that may come from anybody, so nothing that can run code is read back.
"""

import dataclasses
import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pullbook import belief, facts, handover
from pullbook.questions import Question

_TYPES = {
    name: kind
    for module in (handover, facts, belief)
    for name, kind in vars(module).items()
    if isinstance(kind, type) and dataclasses.is_dataclass(kind)
}


def save(folder: Path, records: dict[str, Any]) -> None:
    """Write ``records`` (name -> dataclass, frame, array or plain values) into ``folder``.

    Raises
    ------
    TypeError
        A value of a kind that is not carried: a fault of ours.
    OSError
        No room or no right to write.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = [0]

    def number(ending: str) -> str:
        written[0] += 1
        return f"{written[0]:03d}.{ending}"

    def packed(value: Any) -> Any:
        if isinstance(value, Question):
            return {"$question": [str(value), value.fact]}
        if value is None or isinstance(value, bool | int | float | str):
            return value
        if isinstance(value, np.generic):
            return value.item()
        if isinstance(value, pl.DataFrame):
            name = number("arrow")
            value.write_ipc(folder / name)
            return {"$frame": name}
        if isinstance(value, np.ndarray):
            name = number("npy")
            np.save(folder / name, value, allow_pickle=False)
            return {"$array": name}
        if isinstance(value, tuple):
            return {"$tuple": [packed(v) for v in value]}
        if isinstance(value, list):
            return [packed(v) for v in value]
        if isinstance(value, dict):
            return {"$dict": [[k, packed(v)] for k, v in value.items()]}
        if type(value).__name__ in _TYPES:
            fields = {f.name: packed(getattr(value, f.name)) for f in dataclasses.fields(value)}
            return {"$record": type(value).__name__, "fields": fields}
        raise TypeError(f"{type(value).__name__} is not carried between processes")

    text = json.dumps(packed(records), ensure_ascii=True)
    (folder / "records.json").write_text(text, encoding="utf-8")


def load(folder: Path) -> dict[str, Any]:
    """What :func:`save` wrote.

    Raises
    ------
    OSError, ValueError, KeyError
        The folder is incomplete or not ours.
    """

    def unpacked(value: Any) -> Any:
        if isinstance(value, list):
            return [unpacked(v) for v in value]
        if not isinstance(value, dict):
            return value
        if "$frame" in value:
            return pl.read_ipc(_inside(folder, value["$frame"]))
        if "$array" in value:
            return np.load(_inside(folder, value["$array"]), allow_pickle=False)
        if "$question" in value:
            return Question(*value["$question"])
        if "$tuple" in value:
            return tuple(unpacked(v) for v in value["$tuple"])
        if "$dict" in value:
            return {k: unpacked(v) for k, v in value["$dict"]}
        return _TYPES[value["$record"]](**{k: unpacked(v) for k, v in value["fields"].items()})

    loaded: dict[str, Any] = unpacked(json.loads((folder / "records.json").read_text(encoding="utf-8")))
    return loaded


def _inside(folder: Path, name: str) -> Path:
    if Path(name).name != name:
        raise ValueError(f"{name!r} is not a plain file name")
    return folder / name
