"""The operator's columns.yaml, put on the columns of a log."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from pullbook.channels.column import Column, Talk
from pullbook.columns import CHANNELS
from pullbook.vocabulary.naming import unit_fits
from pullbook.vocabulary.units_text import named_unit


def obey(columns: list[Column], hints: Mapping[str, Any], talk: Talk) -> None:
    """Put the operator's columns.yaml on the columns; what does not fit is said.

    Parameters
    ----------
    columns
        Of one log; their hint, unit and factor are set.
    hints
        Heading as written -> ``channel, unit, sign, scale``.
    talk
        Takes the warnings.
    """
    by_header = {c.header: c for c in reversed(columns)}  # of two columns of one name the first is meant
    folded = {" ".join(c.header.casefold().split()): c for c in reversed(columns)}
    for header, hint in hints.items():
        column = by_header.get(str(header)) or folded.get(" ".join(str(header).casefold().split()))
        if column is None:
            talk.warn(f"columns.yaml names a column {str(header)!r} that is not in this log")
            continue
        if not isinstance(hint, dict):
            talk.warn(f"columns.yaml: what is said of {header!r} is no list of channel, unit, sign, scale")
            continue
        channel = hint.get("channel")
        if not (channel is None or (isinstance(channel, str) and (channel in CHANNELS or channel in ("none", "ignore")))):
            talk.warn(f"columns.yaml: {str(channel)[:40]!r} is no channel (there are {', '.join(CHANNELS)})")
            continue
        unit = named_unit(str(hint["unit"])) if hint.get("unit") is not None else None
        if hint.get("unit") is not None and unit is None:
            talk.warn(f"columns.yaml: {str(hint['unit'])[:40]!r} is no unit known here")
        if unit is not None and isinstance(channel, str) and channel in CHANNELS and not unit_fits(channel, unit):
            talk.warn(f"columns.yaml: {str(hint['unit'])[:40]!r} is no unit of {channel}; it is passed over")
            unit = None
        try:
            factor = float(hint.get("sign", 1)) * float(hint.get("scale", 1))
        except (TypeError, ValueError, OverflowError):
            factor = 0.0
        if factor == 0.0 or not np.isfinite(factor):
            talk.warn(f"columns.yaml: sign and scale of {header!r} must be numbers other than 0; they are passed over")
            factor = 1.0
        column.factor = factor
        column.hint = hint
        if unit is not None:
            column.unit, column.unit_from = unit, "columns_yaml"
