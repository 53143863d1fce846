"""Units and meanings of archived columns, as data for the Arrow fields and for docs/archive.md."""

from pullbook.columns import CHANNELS

_ENDINGS = (
    ("rpm_per_s", "rpm/s"),
    ("_kpa", "kPa"),
    ("_nm", "N·m"),
    ("_kw", "kW"),
    ("_deg", "°BTDC"),
    ("_pct", "%"),
    ("_rpm", "rpm"),
    ("_us", "µs"),
    ("_mm", "mm"),
    ("_c", "°C"),
    ("_s", "s"),
)
_UNITS = {
    "rpm": "rpm", "rpm_lo": "rpm", "rpm_hi": "rpm", "rpm_min": "rpm", "rpm_max": "rpm", "seconds": "s", "bytes": "byte",
    "hysteresis_deg": "°", "log_minus_true_deg": "°",
}  # fmt: skip


def unit_of_column(column: str) -> str:
    """Unit of a column, as spelled in every output; empty for text, counts and plain ratios.

    Examples
    --------
    >>> unit_of_column("torque_nm"), unit_of_column("lo_deg"), unit_of_column("hysteresis_deg"), unit_of_column("lambda")
    ('N·m', '°BTDC', '°', '')
    """
    if column in _UNITS:
        return _UNITS[column]
    if column in CHANNELS:
        return CHANNELS[column].unit or ""
    return next((unit for ending, unit in _ENDINGS if column.endswith(ending)), "")


#: column, or table.column, -> what it says
MEANS = {
    "revision": "number of this day's revision, from 1",
    "engine_name": "the engine's folder name, whole",
    "day_name": "the day's folder name, whole, as text",
    "pull_id": "names a pull inside its day",
    "file": "file name, relative to the book or its day folder, forward slashes",
    "logger_file": "the second recorder's file",
    "clock_offset_s": "where the second recorder's clock starts on the first",
    "clock_rate": "seconds of the first clock a second of the second",
    "clock_residual_rpm": "what is left between the two recorders' speeds",
    "started": "date and time the pull began, by the log, else by the sheet",
    "segment": "number of the stretch inside its file",
    "kind": "what it is",
    "order": "place in the order run, from 1",
    "setting": "the setting's label",
    "versus": "the setting it is compared with",
    "initial_deg": "initial advance, crank degrees",
    "total_deg": "total advance, crank degrees",
    "baseline": "a pull of the reference setting",
    "knock": "heard, faint, not heard, not listened",
    "exclude": "why it was left out, in the sheet's words",
    "notes": "the sheet's notes",
    "corrected": "null: as measured; else the standard it was corrected to",
    "usable": "false: kept and shown, never estimated from",
    "why_not": "why it was not used",
    "status": "used, part, left_out",
    "reasons": "why only in part or not at all",
    "air_factor": "factor the torque was multiplied by",
    "se_nm": "white sample noise of the row's mean, one standard deviation",
    "n": "samples in the row",
    "direction": "up, down, both",
    "evidence": "which witnesses: log, strobe, sheet",
    "family": "mechanical, locked, mapped, unknown",
    "hysteresis_deg": "down minus up",
    "best.best_deg": "where torque peaks (null where not bracketed)",
    "best.state": "inside, above_tested, below_tested, flat, untested",
    "best.band_lo_deg": "least advance whose torque is within tolerance of the best",
    "best.band_hi_deg": "most advance whose torque is within tolerance of the best",
    "best.least_deg": "least advance that keeps within tolerance",
    "best.knock_cap_deg": "ceiling set by a knock note (null: none noted)",
    "lo_deg": "lower end of the 90 % interval",
    "hi_deg": "upper end of the 90 % interval",
    "lo_pct": "lower end of the 90 % interval",
    "hi_pct": "upper end of the 90 % interval",
    "lo_nm": "lower end of the 90 % interval",
    "hi_nm": "upper end of the 90 % interval",
    "verdict": "gain, loss, same, cannot_tell",
    "word": "heard, faint, counted, not heard, not listened",
    "because": "what sets the ceiling here",
    "used": "whether it entered the estimate",
    "fitted_deg": "what the fitted curve says at the same place",
    "residual_pct": "pull minus model, in % of torque",
    "level_pct": "the pull's level against the model",
    "knock.source": "sheet or channel",
    "evidence.source": "log, light, bench or sheet",
    "settings.item": "row of the sheet, from 1 (null in a yaml)",
    "settings.key": "column of the sheet, or dotted key of the yaml (null: the file itself)",
    "settings.value": "what stood there, as text; on the file's own row: its whole text where it is a text sheet",
    "sha256": "content hash of the file",
    "inputs_hash": "one hash over names and contents of all inputs",
    "made_at": "UTC",
    "tool_version": "version of pullbook that made the revision",
    "method": "version of the method (whole number)",
    "runs.files": "every input, relative to the book",
    "runs.sha256": "their content hashes, in the same order (null: it could not be read)",
    "runs.schema": "version of the archive's tables",
    "surface.loss_pct": "loss against the best advance at that rpm, inside what was tested",
    "record.text": "day.json, whole",
    "catalog.engine": "the engine's folder name",
    "catalog.day": "the day's folder name",
    "catalog.tool_version": "version of pullbook that made it",
    "catalog.inputs": "how many files it was made from",
    "catalog.logs_here": "whether the day's folder was there at the last run",
    "catalog.dyno": "the dyno's name",
    "catalog.dyno_kind": "engine, roller, hub",
    "catalog.correction": "standard of the air correction",
    "catalog.fuel": "as noted",
    "catalog.pulls": "pulls found",
    "catalog.pulls_used": "pulls used, whole or in part",
    "catalog.settings": "settings among the pulls used",
    "catalog.baseline": "the reference setting",
    "catalog.rpm_min": "least rpm of the pulls used",
    "catalog.rpm_max": "most rpm of the pulls used",
    "catalog.best_inside": "rows whose best advance lies inside what was tested",
    "catalog.initial_deg": "mechanical advice: initial",
    "catalog.total_deg": "mechanical advice: total",
    "catalog.all_in_rpm": "mechanical advice: all in by",
    "catalog.cost_pct": "mechanical advice: mean cost against the best",
    "catalog.pull_sd_pct": "how well pulls repeat, one standard deviation",
    "catalog.knock": "the strongest word noted",
    "catalog.mark_verified": "the zero mark was checked with a stop",
    "catalog.enough": "the day needs no more pulls",
    "catalog.sentence": "the day's answer in one sentence",
    "catalog.own": "the day's own figures before pooling, JSON",
}
