"""What a day cannot tell, in the words of a dyno operator."""

import numpy as np
import polars as pl

from pullbook.alignment.pull_words import pull_words
from pullbook.handover import AlignedDay
from pullbook.hill.abnormal import Abnormal
from pullbook.hill.day_table import DayTable, usable
from pullbook.hill.odd_pulls import likely_reason
from pullbook.hill.one_way import drift_looks_like_timing
from pullbook.hill.own_effects import OwnEffects
from pullbook.questions import ADVANCE, Question, Remarks


def what_is_missing(
    aligned: AlignedDay, table: DayTable, own: OwnEffects, knock: pl.DataFrame, abnormal: Abnormal, baseline: str | None
) -> Remarks:
    """Sentences about what the pulls run, or not run, leave open.

    Parameters
    ----------
    aligned, table
        The day's pulls, and those the model takes.
    own
        Settings that differ from others in more than advance, or in advance nobody knows.
    knock, abnormal
        KNOCK, and what was kept out.
    baseline
        The reference setting, None without one.
    """
    said = Remarks()
    settings = table.settings()
    advance = table.setting_advance()
    unknown = [s for s in settings if not np.isfinite(advance[s]).any()]
    counts = {s: table.setting.count(s) for s in settings}
    if not settings:
        said.not_established.append("best advance and effects: no pull of this day could be used")
        return said
    if len(settings) == 1:
        said.not_established.append("best advance: one setting was run, so nothing says what another would do")
    elif unknown == settings:
        said.not_established.append(
            "best advance: the advance of the settings is not known; their effects are compared as they stand"
        )
    elif not usable(table).any():
        said.not_established.append("best advance: no two pulls share an rpm")
    if all(n == 1 for n in counts.values()):
        said.not_established.append("repeatability from this day: no setting was repeated; intervals rest on " + _source(aligned))
    if drift_looks_like_timing(table):
        text = "drift and timing cannot be told apart: advance went one way with the order of the pulls, no setting was returned to"
        said.not_established.append(text)
        said.warnings.append(text + "; run the first setting again at the end")
    for setting, like in own.alike:
        said.questions.append(
            f"settings {setting!r} and {like!r} ran the same advance: what else was changed? They are compared as they stand"
        )
    if unknown:
        names = ", ".join(repr(s) for s in unknown)
        said.questions.append(
            Question(f"advance is not known for {names}: total_deg in the sheet or a light reading would tell", ADVANCE)
        )
    called = pull_words(aligned.pulls)
    for pull_id, level in abnormal.odd.items():
        said.questions.append(
            f"{called[pull_id]} stands {100 * np.expm1(level):+.0f} % off the other pulls over its whole span, more than timing "
            f"makes, and is left out: {likely_reason(level)}? (columns.yaml settles a unit; another engine has its own folder)"
        )
    for pull_id, lo, hi, why in abnormal.table.iter_rows():
        said.warnings.append(f"{called[pull_id]}, {lo}–{hi} rpm is left out: {why}")
    listened = knock.filter(pl.col("word") != "not listened")["pull_id"].n_unique()
    if listened < aligned.pulls.height:
        said.not_established.append(
            f"knock: {aligned.pulls.height - listened} of {aligned.pulls.height} pulls were not listened to"
        )
    if baseline is None:
        said.not_established.append("effects: there is no baseline setting among the usable pulls")
    return said


def _source(aligned: AlignedDay) -> str:
    return "what this dyno did on other days or on a stated default" if aligned.pulls.height else "a stated default"
