"""The study's results as markdown: per design and in sum, against the targets and against the plain methods."""

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tests.simulator.design import Design
from tests.simulator.designs import STRESS, STUDY
from tests.study import other_truths
from tests.study.plain import METHODS

Days = list[dict[str, Any]]
WORDS = {"highest_bin": "highest bin", "parabola": "parabola a row", "gaussian_process": "Gaussian process"}


def load(out: Path, name: str) -> Days:
    """Lines of one design; a torn last line is passed over."""
    path = out / f"{name}.jsonl"
    if not path.exists():
        return []
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line.endswith("}")]


def pick(days: Iterable[dict[str, Any]], *keys: str) -> np.ndarray[Any, Any]:
    """All values under a path of keys, of all days, in one array."""
    parts = []
    for day in days:
        value: Any = day
        for key in keys:
            value = value.get(key, []) if isinstance(value, dict) else []
        parts.append(np.atleast_1d(np.asarray(value, float)))
    return np.concatenate(parts) if parts else np.zeros(0)


def share(values: np.ndarray[Any, Any]) -> str:
    """A share in %, or a dash."""
    return f"{100 * values.mean():.1f}" if len(values) else "–"


def quantile(values: np.ndarray[Any, Any], q: float, digits: int = 2) -> str:
    """A quantile of absolute values, or a dash."""
    return f"{np.quantile(np.abs(values), q):.{digits}f}" if len(values) else "–"


def mean(values: np.ndarray[Any, Any], digits: int = 3) -> str:
    """A mean, or a dash."""
    return f"{values.mean():.{digits}f}" if len(values) else "–"


def _line(cells: Sequence[str]) -> str:
    return "| " + " | ".join(cells) + " |"


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    return "\n".join([_line(head), _line(["---"] * len(head)), *(_line(r) for r in rows)])


def _good(days: Days) -> Days:
    return [d for d in days if "broke" not in d]


def best_row(name: str, days: Days) -> list[str]:
    """Best advance of one design."""
    errors, away = pick(days, "best", "error"), pick(days, "best", "away")
    two, one = pick(days, "best", "covered"), pick(days, "best", "one_sided")
    rows = pick(days, "best", "rows").sum()
    return [
        name, str(len(days)), f"{100 * len(errors) / rows:.0f}" if rows else "–", share(two), share(np.concatenate([two, one])),
        quantile(errors, 0.5), quantile(errors, 0.9), mean(pick(days, "best", "width"), 2), mean(away), quantile(away, 0.95, 3),
        f"{share(one)} ({len(one)})", str(int(pick(days, "best", "false_inside").sum())),
    ]  # fmt: skip


BEST_HEAD = (
    "design", "days", "inside, % of rows", "covered, inside %", "covered, all bounds %", "median error °", "90th pct °", "width °",
    "given away, mean %", "95th pct %", "one-sided covered % (rows)", "inside but > 3° out",
)  # fmt: skip


def other_row(name: str, days: Days) -> list[str]:
    """Effects, delivered advance and advice of one design."""
    out = [name]
    out += [share(pick(days, "effects", kind, "covered")) for kind in ("span", "row")]
    called, wrong = pick(days, "effects", "span", "called").sum(), pick(days, "effects", "span", "wrong").sum()
    differ, found = pick(days, "effects", "span", "differ").sum(), pick(days, "effects", "span", "found").sum()
    out.append(f"{wrong:.0f} of {called:.0f}")
    out.append(f"{100 * found / differ:.1f} ({differ:.0f})" if differ else "–")
    delivered = pick(days, "delivered", "error")
    out += [share(pick(days, "delivered", "covered")), f"{np.sqrt(np.mean(delivered**2)):.3f}" if len(delivered) else "–"]
    free, parts = pick(days, "advice", "least_curve"), pick(days, "advice", "mechanical")
    out += [share(free <= 0.7), mean(free), quantile(free, 0.95, 3), mean(parts), quantile(parts, 0.95, 3)]
    return out


OTHER_HEAD = (
    "design", "effects covered, span %", "effects covered, rows %", "wrong sign called", "differ > 1 % and found %",
    "delivered covered %", "delivered rms °", "least curve within 0.7 %", "its mean %", "95th pct %", "mechanical mean %",
    "95th pct %",
)  # fmt: skip


def log_kind(design: Design) -> str:
    """What a design's recorder says of advance."""
    if not design.log_has_advance:
        return "no log of advance: light and sheet alone"
    off = (*design.log_offset_deg, *design.log_delay_us)
    return "offset, delay and mark to be found" if any(off) else "log true"


def delivered_rows(groups: dict[str, Days]) -> list[list[str]]:
    """Delivered advance by what the recorder says of it."""
    kinds: dict[str, list[str]] = {}
    for name in groups:
        kinds.setdefault(log_kind(STUDY[name]), []).append(name)
    out = []
    for kind, names in kinds.items():
        days = [d for n in names for d in groups[n]]
        error = pick(days, "delivered", "error")
        rms = f"{np.sqrt(np.mean(error**2)):.3f}" if len(error) else "–"
        out.append([kind, ", ".join(names), str(len(days)), rms, share(pick(days, "delivered", "covered"))])
    return out


DELIVERED_HEAD = ("recorder", "designs", "days", "rms °", "covered %")


def other_truth_row(name: str, days: Days) -> list[str]:
    """Best advance and effects of one kind of other truth."""
    row = best_row(name, days)
    called, wrong = pick(days, "effects", "span", "called").sum(), pick(days, "effects", "span", "wrong").sum()
    effects = share(pick(days, "effects", "span", "covered"))
    return [*row[:8], row[10], row[11], effects, f"{wrong:.0f} of {called:.0f}"]


OTHER_TRUTH_HEAD = (
    "kind", "days", "inside, % of rows", "covered, inside %", "covered, all bounds %", "median error °", "90th pct °", "width °",
    "one-sided covered % (rows)", "inside but > 3° out", "effects covered %", "wrong sign called",
)  # fmt: skip


def other_truth_tables(out: Path) -> list[str]:
    """Days whose truth is not the simulator's, and the ones among them that ask too much."""
    text = []
    for kinds in (other_truths.KINDS, other_truths.STRESS):
        found = {k: _good(load(out, f"other-{k}")) for k in kinds}
        found = {k: d for k, d in found.items() if d}
        rows = [other_truth_row(k, d) for k, d in found.items()]
        if kinds is other_truths.KINDS and rows:
            rows.append(other_truth_row("**in sum**", [d for days in found.values() for d in days]))
        text += [_table(OTHER_TRUTH_HEAD, rows), ""] if rows else []
    return ["### Other truths", "", *text] if text else []


def plain_rows(days: Days) -> list[list[str]]:
    """Every plain method against ours on the rows both answer."""
    out = []
    for method in METHODS:
        at = ("plain", method)
        theirs, ours = pick(days, *at, "paired_error"), pick(days, *at, "our_error")
        away, our_away = pick(days, *at, "paired_away"), pick(days, *at, "our_away")
        effects = pick(days, *at, "effects", "covered")
        wrong, called = pick(days, *at, "effects", "wrong").sum(), pick(days, *at, "effects", "called").sum()
        found, differ = pick(days, *at, "effects", "found").sum(), pick(days, *at, "effects", "differ").sum()
        out.append([
            WORDS[method], str(len(theirs)), _pair(quantile(ours, 0.5), quantile(theirs, 0.5)),
            _pair(quantile(ours, 0.9), quantile(theirs, 0.9)), _pair(mean(our_away), mean(away)),
            _pair(quantile(our_away, 0.95, 3), quantile(away, 0.95, 3)), share(pick(days, *at, "covered")), share(effects),
            f"{wrong:.0f} of {called:.0f}" if called else "–", f"{100 * found / differ:.1f}" if differ else "–",
        ])  # fmt: skip
    return out


def _pair(ours: str, theirs: str) -> str:
    return f"{ours} / {theirs}"


PLAIN_HEAD = (
    "plain method", "rows both answer", "median error °, ours / its", "90th pct °", "given away mean %", "95th pct %",
    "its 90 % covers %", "its effects cover %", "its wrong signs", "its found %",
)  # fmt: skip


def season_rows(out: Path) -> list[list[str]]:
    """The second day alone and with the first one's figures."""
    rows = []
    for path in sorted(out.glob("season-*.jsonl")):
        days = _good(load(out, path.stem))
        alone, informed = pick(days, "width_alone"), pick(days, "width_informed")
        if not len(alone):
            continue
        rows.append([
            path.stem.removeprefix("season-"), str(len(days)), mean(alone, 2), mean(informed, 2),
            f"{100 * (1 - informed.mean() / alone.mean()):.0f}", share(pick(days, "alone", "covered")),
            share(pick(days, "informed", "covered")), quantile(pick(days, "alone", "error"), 0.5),
            quantile(pick(days, "informed", "error"), 0.5),
        ])  # fmt: skip
    return rows


SEASON_HEAD = (
    "design", "seasons", "width alone °", "width with archive °", "narrower %", "covered alone %", "covered with archive %",
    "median error alone °", "with archive °",
)  # fmt: skip


def markdown(out: Path) -> str:
    """Everything there is, as markdown."""
    groups = {name: load(out, name) for name in STUDY}
    stress = {name: load(out, name) for name in STRESS}
    everything = [d for days in groups.values() for d in days]
    broke = [d for d in everything + [d for days in stress.values() for d in days] if "broke" in d]
    good = {n: _good(d) for n, d in groups.items() if d}
    bad = {n: _good(d) for n, d in stress.items() if d}
    total = _good(everything)
    text = [f"{len(total)} days of {len(good)} designs; {len(broke)} broke.", "", "### Best advance", ""]
    text += [_table(BEST_HEAD, [*(best_row(n, d) for n, d in good.items()), best_row("**in sum**", total)]), ""]
    text += ["### Effects, delivered advance and advice", ""]
    text += [_table(OTHER_HEAD, [*(other_row(n, d) for n, d in good.items()), other_row("**in sum**", total)]), ""]
    text += ["### Delivered advance, by what the recorder says", "", _table(DELIVERED_HEAD, delivered_rows(good)), ""]
    text += ["### Against three plain methods, same days and rows", "", _table(PLAIN_HEAD, plain_rows(total)), ""]
    text += ["### Stress designs", "", _table(BEST_HEAD, [best_row(n, d) for n, d in bad.items()]), ""]
    text += [_table(OTHER_HEAD, [other_row(n, d) for n, d in bad.items()]), ""]
    text += ["### A second day, with and without the archive", "", _table(SEASON_HEAD, season_rows(out)), ""]
    text += other_truth_tables(out)
    regression = load(out, "regression")
    if regression:
        held = np.mean([d.get("covered", False) for d in regression])
        text += [
            f"Published torque regression: {len(regression)} days, {100 * held:.1f} % of 90 % intervals hold its best advance."
        ]
    seconds = pick(total, "seconds", "best")
    if len(seconds):
        text += [
            "",
            f"CPU a day for best advance: median {np.median(seconds):.2f} s, 95th percentile {np.quantile(seconds, 0.95):.2f} s.",
        ]
    return "\n".join(text)
