"""Files that are no logs, and logs meant to hurt: one clear fault each, in little time, nothing changed, nothing waited for."""

import os
import random
import time
from pathlib import Path

import pytest
from tests.unit.reading.made_pull import about, read

from pullbook.reading.log import read_log
from pullbook.text.text import MAX_BYTES

RNG = random.Random(4)
NOISE = RNG.randbytes(60_000)


@pytest.mark.parametrize(
    ("data", "found", "line"),
    [
        (b"", "an empty file", None),
        (b"\n\n \r\n", "a file without any text", None),
        (b"\0" * 5000, "a file without any text", None),
        (b"\xef\xbb\xbf", "a file without any text", None),
        (b"\x89PNG\r\n\x1a\n" + NOISE, "a picture (PNG)", None),
        (b"\xff\xd8\xff\xe0" + NOISE, "a picture (JPEG)", None),
        (b"PK\x03\x04" + NOISE, "a spreadsheet or zip file", None),
        (NOISE, "binary data, no text", None),
        (b"<!DOCTYPE html><html><table><tr><td>1</td></tr></table>", "a web page or other markup", 1),
        (b"Time,RPM,Torque\n", "a header without rows (Time,RPM,Torque)", 1),
        (b"Time,RPM,Torque\ns,rpm,Nm\n", "a header without rows (Time,RPM,Torque)", 1),
        (b"Changed plugs today, gap 0.8.\nRan well.\n", "no table of numbers", 1),
        (b"5\n" * 4000, "no table of numbers", 1),
        (b"," * 1000 + b"\n" + b"," * 1000, "no table of numbers", 1),
        (b'"' * 100_001, "no table of numbers", 1),
        (b"a" * 3_000_000, "a line of more than 1000000 characters", 1),
        (b"t,rpm,Nm\n0,3000,100\n" + b"1," * 1_500_000, "a line of more than 1000000 characters", 3),
    ],
    ids=lambda v: str(v)[:24] if isinstance(v, str) else "",
)  # fmt: skip
def test_no_log(tmp_path: Path, data: bytes, found: str, line: int | None) -> None:
    r = read(tmp_path, data)
    assert r.error is not None
    assert r.error.found.startswith(found)
    assert r.error.line == line
    assert r.error.expected
    assert r.error.remedy
    assert "\n" not in r.error.sentence()
    assert (r.rows, r.samples.height) == (0, 0)


def test_five_thousand_columns(tmp_path: Path) -> None:
    head, row = ",".join(f"c{k}" for k in range(5000)), ",".join(["1.5"] * 5000)
    r = read(tmp_path, "\n".join([head, *[row] * 20]) + "\n")
    assert r.error is not None
    assert r.error.found == "5000 columns"
    assert r.error.line == 1


def test_one_wide_line_does_not_blow_up_the_table(tmp_path: Path) -> None:
    lines = [f"{k * 0.1:.1f},{3000 + k},{100 + k % 7}" for k in range(30_000)]
    lines[15_000] += ",1" * 900
    start = time.process_time()
    r = read(tmp_path, "t s,rpm,Nm\n" + "\n".join(lines) + "\n")
    assert time.process_time() - start < 8
    assert (r.error, r.rows, r.rows_dropped) == (None, 29_999, 1)


def test_too_large(tmp_path: Path) -> None:
    path = tmp_path / "large.csv"
    with path.open("wb") as file:
        file.truncate(MAX_BYTES + 1)
    r = read_log(path, shown="large.csv")
    assert r.error is not None
    assert "MB" in r.error.found


def test_things_that_are_no_files(tmp_path: Path) -> None:
    folder, pipe, loop, dead = (tmp_path / name for name in ("folder.csv", "pipe.csv", "loop.csv", "dead.csv"))
    folder.mkdir()
    os.mkfifo(pipe)
    loop.symlink_to("loop.csv")
    dead.symlink_to(tmp_path / "nowhere")
    for path in (folder, pipe, loop, dead, tmp_path / "absent.csv"):
        r = read_log(path, shown=path.name)
        assert r.error is not None, path
        assert r.encoding is None


def test_unreadable_file(tmp_path: Path) -> None:
    path = tmp_path / "locked.csv"
    path.write_text("t s,rpm,Nm\n0,3000,100\n")
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read everything")
    r = read_log(path, shown="locked.csv")
    assert r.error is not None
    assert "cannot be read" in r.error.found


def test_names_and_cells_are_only_text(tmp_path: Path) -> None:
    """Markup, formulas and templates pass through as text and break nothing."""
    text = "t s,rpm,<script>alert(1)</script> Nm,=cmd|' /C calc'!A0,{{7*7}},%s\n" + "".join(
        f"{k * 0.1:.1f},{3000 + 20 * k},{100 + k % 3},x,y,z\n" for k in range(60)
    )
    r = read(tmp_path, text, name="it's {a} [b] <c>.csv")
    assert r.error is None
    assert [c.header for c in r.columns][3:] == ["=cmd|' /C calc'!A0", "{{7*7}}", "%s"]
    assert "in columns.yaml: 'it''s {a} [b] <c>.csv':" in "".join(about(r, "columns.yaml"))


def test_hints_that_make_no_sense_are_said(tmp_path: Path) -> None:
    text = "t s,rpm,Nm\n" + "".join(f"{k * 0.1:.1f},{3000 + 20 * k},{100 + k % 3}\n" for k in range(60))
    hints: dict[str, object] = {"rpm": {"channel": ["warp"], "scale": 10**400}, "Nm": "torque", "t s": {"scale": "fast"}}
    r = read(tmp_path, text, hints=hints)  # type: ignore[arg-type]
    assert r.error is None
    assert r.rows == 60
    assert about(r, "is no channel")
    assert about(r, "must be numbers")
