"""Small hand-kept files (sheets, yaml) as bytes and text, with a limit on size and no waiting on pipes or devices."""

import os
import stat
from pathlib import Path

from pullbook.handover import Fault

MOST_YAML = 256_000
MOST_SHEET = 8_000_000


def guarded_bytes(path: Path, *, shown: str, most: int) -> bytes | Fault:
    """The bytes of a regular file of at most ``most`` bytes, or the fault that says why not.

    Parameters
    ----------
    path, shown
        The file and its name in messages.
    most
        Bytes.

    Notes
    -----
    Opened without blocking, so that a named pipe is refused instead of waited for.
    """
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except OSError as wrong:
        return Fault(
            shown,
            None,
            None,
            (wrong.strerror or "an error").lower(),
            "a file that may be read",
            "give it back its read permission or take it away",
        )
    try:
        about = os.fstat(handle)
        if not stat.S_ISREG(about.st_mode):
            return Fault(shown, None, None, "something that is not a regular file", "a plain file", "replace it by a plain file")
        if about.st_size > most:
            return Fault(
                shown,
                None,
                None,
                f"{about.st_size:,} bytes",
                f"at most {most:,} bytes",
                "keep only the rows and keys that are needed",
            )
        with os.fdopen(os.dup(handle), "rb") as file:
            content = file.read(most + 1)
    except OSError as wrong:
        return Fault(
            shown, None, None, (wrong.strerror or "an error").lower(), "a file that can be read to its end", "copy it anew"
        )
    finally:
        os.close(handle)
    if len(content) > most:
        return Fault(
            shown, None, None, f"more than {most:,} bytes", f"at most {most:,} bytes", "keep only the rows and keys that are needed"
        )
    return content


def as_text(content: bytes, *, shown: str) -> str | Fault:
    """Text of a hand-kept file: UTF-16 or UTF-8 by its mark, else UTF-8, else what Western spreadsheets write (CP1252)."""
    for mark, codec in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig")):
        if content.startswith(mark):
            text = content.decode(codec, errors="replace")
            break
    else:
        try:
            text = content.decode("utf-8")
        except UnicodeDecodeError:
            text = content.decode("cp1252", errors="replace")
    if "\x00" in text:
        line = text.count("\n", 0, text.index("\x00")) + 1
        return Fault(shown, line, None, "NUL bytes", "text", "write the file again as text (UTF-8)")
    return text.replace("\r\n", "\n").replace("\r", "\n")
