"""Pulls without a label put into settings: by what the sheet says was set, else by the advance they ran, else by their log."""

import numpy as np

from pullbook.baseline import reference
from pullbook.pulls.labels import is_torn, label_key, with_lost_dash
from pullbook.pulls.matching import Match
from pullbook.pulls.own_advance import SAME_DEG, apart_deg, is_step, logged_curve
from pullbook.wording import few


def name_settings(pulls: list[Match]) -> tuple[list[str], list[str]]:
    """Give every pull a setting's ``label``, in place.

    Labels that differ only in case, spaces or the sort of dash, or in a dash that an encoding lost, are one. A hold that ran
    another advance than its neighbours is a setting of its own (a spark sweep at steady speed).

    Returns
    -------
    tuple of list of str
        Questions and warnings.
    """
    questions: list[str] = []
    warnings: list[str] = []
    spelled: dict[str, str] = {}
    keys = {label_key(m.row.setting) for m in pulls if m.row is not None and m.row.setting is not None}
    whole_first = sorted(pulls, key=lambda m: m.row is not None and m.row.setting is not None and is_torn(m.row.setting))
    for m in whole_first:
        if m.row is None or m.row.setting is None:
            continue
        first = spelled.setdefault(with_lost_dash(label_key(m.row.setting), keys), m.row.setting)
        if first != m.row.setting and (text := f"settings {first!r} and {m.row.setting!r} are taken as one") not in warnings:
            warnings.append(text)
        m.label = first
    for m in pulls:
        if m.label is None and m.row is not None and m.row.total_deg is not None:
            m.label = (
                f"{m.row.initial_deg:g} to {m.row.total_deg:g}°" if m.row.initial_deg is not None else f"{m.row.total_deg:g}° total"
            )
    _stepped_holds(pulls)
    blank = [m for m in pulls if m.label is None]
    if blank:
        curves = {id(m): c for m in blank if (c := logged_curve(m.samples())) is not None}
        by_advance = [m for m in blank if id(m) in curves]
        _by_advance(by_advance, curves)
        for m in blank:
            m.label = m.label or m.name.rpartition(".")[0] or m.name
        if by_advance:
            files = list(dict.fromkeys(m.name for m in by_advance))
            questions.append(
                f"{few(files)}: grouped into settings by the advance they ran. What was set? (pull sheet, column `setting`)"
            )
        unknown = list(dict.fromkeys(m.name for m in blank if id(m) not in curves))
        if unknown:
            questions.append(
                f"{few(unknown)}: no label and no logged advance; each log is taken as a setting of its own. "
                "What was set? (pull sheet, column `setting`)"
            )
    return questions, warnings


def _by_advance(pulls: list[Match], curves: dict[int, dict[int, float]]) -> None:
    """Greedy groups in the order run: a pull joins the first group whose mean curve it follows."""
    groups: list[tuple[list[Match], dict[int, list[float]]]] = []
    for m in pulls:
        curve = curves[id(m)]
        for members, values in groups:
            apart = apart_deg(curve, {b: sum(v) / len(v) for b, v in values.items()})
            if apart is not None and apart <= SAME_DEG:
                members.append(m)
                break
        else:
            members, values = [m], {}
            groups.append((members, values))
        for b, advance in curve.items():
            values.setdefault(b, []).append(advance)
    taken: dict[str, int] = {}
    for members, values in groups:
        label = f"{float(np.percentile([a for v in values.values() for a in v], 90)):.1f}° logged"
        taken[label] = taken.get(label, 0) + 1
        for m in members:
            m.label = label if taken[label] == 1 else f"{label} ({taken[label]})"


def _stepped_holds(pulls: list[Match]) -> None:
    """Holds under one row (or none), at one speed but several advances, are settings of their own, whatever that row says."""
    holds = [m for m in pulls if m.segment.kind == "hold"]
    shared = [id(m.row) for m in pulls if m.row is not None]
    for m in (h for h in holds if h.row is None or shared.count(id(h.row)) > 1):
        own = logged_curve(m.samples())
        if own is not None and is_step(
            own, [logged_curve(h.samples()) for h in holds if h is not m and h.log is m.log and h.row is m.row]
        ):
            m.label = f"hold {float(np.median(list(own.values()))):.0f}°"


def mark_baseline(pulls: list[Match]) -> tuple[str | None, list[str]]:
    """The reference setting: the sheet's, else the one most often run, the first run on a tie.

    Parameters
    ----------
    pulls
        In the order run, labelled.

    Returns
    -------
    tuple
        Its label (None without pulls) and questions.
    """
    said = list(dict.fromkeys(m.label for m in pulls if m.row is not None and m.row.baseline and m.label))
    if len(said) > 1:
        return said[0], [
            f"baseline is marked on more than one setting ({', '.join(map(str, said))}): the first is used. Which is it?"
        ]
    if said:
        return said[0], []
    sweeps = [m for m in pulls if m.segment.kind != "hold"] or pulls
    counted = [m for m in sweeps if not (m.row and m.row.exclude) and m.doubt is None] or sweeps
    return reference([m.label for m in counted if m.label is not None]), []
