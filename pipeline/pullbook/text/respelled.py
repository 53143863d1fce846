"""Spellings that other signs serve better, brought to those in bytes: 1'23"4 as 1:23.4, and cells in single quotes."""

import re

TOP = 65_536
MOST = 0.8
"""Share of the lines with two figures or more that hold such a time, from which it is how the log writes times."""
_MINUTE = rb"(?:'|\xe2\x80\x99|\xe2\x80\xb2)"
_SECOND = rb"(?:\"|''|\xe2\x80\x9d|\xe2\x80\xb3|\xe2\x80\x99\xe2\x80\x99)"
_PRIMED = re.compile(
    rb"(?<![\d.'])(\d{1,3}) ?" + _MINUTE + rb" ?(\d{1,2})(?!\d)(?: ?" + _SECOND + rb" ?(\d{0,6})(?!\d)"
    rb"|[.,](\d{1,6}) ?" + _SECOND + rb"|[.](\d{1,6})(?!\d)|,(\d{1,6})(?=[ ;\t|\r\n]|$)|)"
)
_SINGLE = re.compile(rb"(?:(?<=[;,\t|])|^) *'[^'\n]*' *(?=[;,\t|\r]|$)")

_LED = re.compile(rb"(?:(?<=[;\t|,\n])|^)'(?=[-+.,]?\d[^'\n]*(?:[;,\t|\r\n]|$))")
"""A spreadsheet's sign before a number that is kept as text."""


def respelled(data: bytes) -> bytes:
    """The data with colons in the times and double quotes about the cells; themselves where neither is to be done.

    Parameters
    ----------
    data
        UTF-8 lines of a log.

    Examples
    --------
    >>> respelled(b"t;n\\n1'23\\"4;2800\\n1'23\\"5;2826\\n")
    b't;n\\n1:23.4;2800\\n1:23.5;2826\\n'
    """
    head = data[:TOP]
    if b"'" not in head and b"\xe2\x80" not in head:
        return data
    lines = [line for line in head.split(b"\n")[: -1 if len(data) > TOP else None] if line.strip()]
    rows = [line for line in lines if len(re.findall(rb"\d+", line)) >= 2]
    if rows and sum(bool(_PRIMED.search(line)) for line in rows[-200:]) >= MOST * len(rows[-200:]):
        return _PRIMED.sub(_with_colon, data)
    if b'"' in data:
        return data
    quoted = [len(_SINGLE.findall(line)) for line in lines]
    first = next((k for k, count in enumerate(quoted) if count >= 2), None)
    if first is None or sum(b"'" in _SINGLE.sub(b"", line) for line in lines[first:]) > 0.05 * (len(lines) - first):
        led = sum(len(_LED.findall(line)) > 1 for line in rows[-200:])
        return _LED.sub(b"", data) if rows and led >= MOST * len(rows[-200:]) else data
    at = data.index(lines[first])
    return data[:at] + data[at:].replace(b"'", b'"')


def _with_colon(found: re.Match[bytes]) -> bytes:
    part = next((p for p in found.groups()[2:] if p), b"0")
    return b"%d:%02d.%s" % (int(found[1]), int(found[2]), part)
