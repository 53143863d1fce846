"""The samples of a day's pulls: each pull's own rows out of its log, torque filled from power, a second recorder merged in."""

from dataclasses import dataclass, field, replace

import polars as pl

from pullbook.columns import CHANNELS, SAMPLES, conform, holds
from pullbook.handover import Clock, LogReading
from pullbook.pulls.matching import Match
from pullbook.pulls.recorders import ClockFit, Trace, align_recorders, merge_channels, residual_rpm, trace_of
from pullbook.units import KW_TO_NM_RPM


@dataclass(slots=True)
class Merged:
    """Clocks found, by log and segment, with what is to be asked about them.

    ``fits``: by the pair of recordings (and the segment, where its place was told), both traces, the clock and the samples of the
    other recording; a text where no clock could be found says why.
    """

    clocks: dict[tuple[str, int], Clock] = field(default_factory=dict)
    questions: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    fits: dict[tuple[str, int, str, int], tuple[Trace, Trace, ClockFit, pl.DataFrame] | str] = field(default_factory=dict)

    def clock_of(self, m: Match) -> Clock | None:
        """The second recorder's clock on a pull's own, None where it has none or none could be found."""
        return self.clocks.get((m.log.file, m.segment.segment))

    def with_clock(self, log: LogReading) -> LogReading:
        """``log`` with the second recorder's clock on the segments it was found for."""
        if not any(file == log.file for file, _ in self.clocks):
            return log
        return replace(log, segments=tuple(replace(s, clock=self.clocks.get((log.file, s.segment))) for s in log.segments))


def merge_recorders(pulls: list[Match]) -> Merged:
    """Give every pull with a second recorder the channels it lacks (``part``), in place; the clocks and what is asked."""
    merged = Merged()
    for m in pulls:
        if m.other is not None:
            m.part = _with_other(m.samples(), m, merged)
    for name in dict.fromkeys(m.name for m in pulls if m.part is None and _lacks_torque(m.log)):
        merged.warnings.append(f"{name}: no torque column; torque is power over speed")
    return merged


def samples_of(pulls: list[Match], ids: dict[int, str]) -> pl.DataFrame:
    """SAMPLES of all pulls, untrimmed.

    Parameters
    ----------
    pulls
        In any order.
    ids
        Pull id by ``id()`` of the pull.
    """
    parts = [_labelled(m.samples(), m, ids[id(m)], m.segment.segment, m.segment.kind) for m in pulls]
    return conform(pl.concat(parts, how="diagonal_relaxed") if parts else pl.DataFrame(), SAMPLES)


def coast_downs_of(pulls: list[Match], ids: dict[int, str]) -> pl.DataFrame:
    """SAMPLES of the coast-downs that follow a pull in its log, under that pull's id.

    Parameters
    ----------
    pulls, ids
        As for :func:`samples_of`.
    """
    parts = []
    for m in pulls:
        after = next((s for s in m.log.segments if s.first >= m.segment.stop and s.kind != "idle"), None)
        if after is not None and after.kind == "coast_down" and m.segment.kind != "hold":
            parts.append(_labelled(m.log.samples.slice(after.first, after.rows), m, ids[id(m)], after.segment, after.kind))
    return conform(pl.concat(parts, how="diagonal_relaxed") if parts else pl.DataFrame(), SAMPLES)


def _lacks_torque(log: LogReading) -> bool:
    return "power_kw" in log.samples.columns and not holds(log.samples, "torque_nm")


def _labelled(part: pl.DataFrame, m: Match, pull_id: str, segment: int, kind: str) -> pl.DataFrame:
    keep = [c for c in part.columns if c in CHANNELS and holds(part, c)]
    part = part.select(pl.col(keep).cast(pl.Float64, strict=False))
    if "power_kw" in keep and "rpm" in keep and "torque_nm" not in keep:
        part = part.with_columns(torque_nm=pl.when(pl.col("rpm") > 50.0).then(pl.col("power_kw") * KW_TO_NM_RPM / pl.col("rpm")))
    return part.with_columns(
        pl.lit(pull_id).alias("pull_id"), pl.lit(m.name).alias("file"),
        pl.lit(segment, dtype=pl.Int64).alias("segment"), pl.lit(kind).alias("kind"),
    )  # fmt: skip


def _with_other(part: pl.DataFrame, m: Match, merged: Merged) -> pl.DataFrame:
    """``part`` with the channels of the second recorder that it lacks, on its own clock."""
    assert m.other is not None
    recording = part["recording"][0] if "recording" in part.columns else 0
    key = (m.log.file, int(recording), m.other.file, m.segment.segment if m.near_s is not None else 0)
    if key not in merged.fits:
        own = m.log.samples
        own = own.filter(pl.col("recording") == recording) if "recording" in own.columns else own
        merged.fits[key] = _best(own, m.other.samples, m.near_s)
    fit = merged.fits[key]
    if isinstance(fit, str):
        question = f"{m.name} and {m.other.file}: {fit}. Are they of the same pull?"
        if question not in merged.questions:
            merged.questions.append(question)
        return part
    first, other, found, samples = fit
    left = residual_rpm(first, other, found, m.segment.start_s or 0.0, m.segment.end_s or 0.0)
    if left is None:
        merged.warnings.append(f"{m.other.file} recorded nothing of segment {m.segment.segment} of {m.name}: the pull stands alone")
        return part
    clock = Clock(m.other.file, found.offset_s, found.rate, left)
    merged.clocks[m.log.file, m.segment.segment] = clock
    return merge_channels(part, samples, clock)


def _best(own: pl.DataFrame, other: pl.DataFrame, near_s: float | None) -> tuple[Trace, Trace, ClockFit, pl.DataFrame] | str:
    """The recording of the other log that fits best, with its clock; else why none does."""
    first = trace_of(own)
    if first is None:
        return "the first one has no clock or no speed to be compared by"
    why: str = "the second one has no clock or no speed to be compared by"
    best: tuple[Trace, Trace, ClockFit, pl.DataFrame] | None = None
    for piece in other.partition_by("recording", maintain_order=True) if "recording" in other.columns else [other]:
        trace = trace_of(piece)
        if trace is None:
            continue
        fit = align_recorders(first, trace, near_s=near_s)
        if isinstance(fit, str):
            why = fit
        elif best is None or fit.residual_rpm < best[2].residual_rpm:
            best = (first, trace, fit, piece)
    return best if best is not None else why
