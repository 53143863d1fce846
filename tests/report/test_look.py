"""Words can be read in both lights and in grey; lines differ by more than their hue; drawings fit their frames."""

import math
import re
from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from pullbook.measure.runs import runs
from pullbook.report.content import PAGE_ONE, PAGE_THREE, PAGE_TWO
from pullbook.report.drawing import svg
from pullbook.report.figures import advance, contours, cost, difference, residuals, timing, torque
from pullbook.report.figures.lines import line_of
from pullbook.report.placing import keep_apart, round_marks, thin
from pullbook.report.style import HUES, PATTERNS
from pullbook.report.view import DayView, view
from tests.report.fixture import invented_day

MODULES = (*PAGE_ONE, *PAGE_TWO, *PAGE_THREE)
WORDS = ("ink", "soft", "up", "down", "hard")


def luminance(hue: str) -> float:
    """Relative luminance (WCAG 2.2, sRGB)."""
    channels = [int(hue[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    hi, lo = sorted((luminance(a), luminance(b)), reverse=True)
    return (hi + 0.05) / (lo + 0.05)


@pytest.mark.parametrize("light", [0, 1])
@pytest.mark.parametrize("word", WORDS)
def test_words_stand_out_from_paper(word: str, light: int) -> None:
    assert contrast(HUES[word][light], HUES["paper"][light]) >= 4.5


@pytest.mark.parametrize("light", [0, 1])
def test_words_stand_out_from_washes(light: int) -> None:
    assert contrast(HUES["ink"][light], HUES["warm"][light]) >= 4.5
    assert contrast(HUES["up"][light], HUES["wash"][light]) >= 3.0


@pytest.mark.parametrize("light", [0, 1])
def test_steps_of_loss_go_one_way_in_grey(light: int) -> None:
    grey = [luminance(HUES[f"step{i}"][light]) for i in range(5)]
    steps = [b - a for a, b in pairwise(grey)]
    assert all(s < 0 for s in steps) if light == 0 else all(s > 0 for s in steps)
    assert all(contrast(HUES[f"step{i}"][light], HUES[f"step{i + 1}"][light]) >= 1.12 for i in range(4))


def test_lines_differ_without_colour() -> None:
    assert len(set(PATTERNS)) == len(PATTERNS)
    shown = shown_day()
    looks = [(line_of(shown, s)["ls"], round(line_of(shown, s)["lw"], 2)) for s in shown.settings]
    assert len(set(looks)) == len(looks)


def shown_day() -> DayView:
    day = invented_day()
    return view(day.record, day.tables)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.__name__.rsplit(".", 1)[-1])
def test_drawing(module: object, narrow: bool) -> None:
    shown = shown_day()
    picture = module.picture(shown)  # type: ignore[attr-defined]
    text = svg(picture, shown.span, narrow=narrow)
    width, height = map(float, re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', text).groups())  # type: ignore[union-attr]
    assert len(re.findall("<text", text)) > 3, "words stay words"
    assert "<metadata" not in text
    assert "rdf" not in text
    sizes = [float(s) for s in re.findall(r"font(?:-size)?: (?:\w+ )*([\d.]+)px", text)]
    drawn_at = 336 / width if narrow else 1.0  # the page's column at 360 px; a wide drawing is never shown smaller than it is
    assert min(sizes) * drawn_at >= 8.0
    for x, y in re.findall(r"<text[^>]*translate\(([-\d.]+) ([-\d.]+)\)", text):
        assert -1 <= float(x) <= width + 1
        assert 4 <= float(y) <= height
    assert len(text) < 60_000
    assert not re.findall(r"#[0-9a-f]{6}(?!\))", re.sub(r"var\(--\w+,#[0-9a-f]{6}\)", "", text)), "every hue turns with the light"


def test_same_rpm_axis_on_every_picture() -> None:
    shown = shown_day()
    marks = set()
    for module in (torque, difference, advance, contours, cost, residuals, timing):
        text = svg(module.picture(shown), shown.span, narrow=True)  # type: ignore[arg-type]
        marks.add(tuple(re.findall(r">(\d000)<", text)))
    assert marks == {("3000", "4000", "5000")}


def test_difference_is_coloured_only_where_the_range_clears_zero() -> None:
    shown = shown_day()
    for e in shown.record["effects"]:
        if e["rpm_lo"] == e["rpm_hi"]:
            e |= {"lo_pct": -abs(e["change_pct"]) - 0.1, "hi_pct": abs(e["change_pct"]) + 0.1}
        else:
            e["verdict"] = "cannot_tell"
    text = svg(difference.picture(shown), shown.span, narrow=False)  # type: ignore[arg-type]
    lines = re.findall(r"<path[^>]*stroke: var\(--(up|down)", text)
    assert not lines


@pytest.mark.parametrize(
    ("verdicts", "title"),
    [
        (("gain", "cannot_tell"), "gains"), (("cannot_tell", "gain"), "gains"), (("loss", "loss"), "Every other setting loses"),
        (("loss", "cannot_tell"), "is proved better"), (("same", "cannot_tell"), "is proved better"),
        (("same", "loss"), "enough to matter"),
    ],
)  # fmt: skip
def test_the_title_holds_for_every_setting(verdicts: tuple[str, str], title: str) -> None:
    """Whichever of two has the larger change: a gain that is told is not hidden by a larger one that cannot be."""
    shown = shown_day()
    whole = [e for e in shown.record["effects"] if e["rpm_lo"] != e["rpm_hi"]][:2]
    for e, verdict, change in zip(whole, verdicts, (2.0, 1.0), strict=True):
        e |= {"verdict": verdict, "change_pct": change, "lo_pct": change - 0.5, "hi_pct": change + 0.5}
    shown.record["effects"] = whole
    picture = difference.picture(shown)
    assert picture is not None
    assert title in picture.title


@pytest.mark.parametrize(("half", "vague"), [(11.5, True), (3.2, True), (2.8, False)])
def test_vague_curve_is_bars_and_a_question_mark(half: float, vague: bool) -> None:
    shown = shown_day()
    for r in shown.record["delivered"]:
        if r["setting"] == "long 37":
            r |= {"lo_deg": 25.0 - half, "hi_deg": 25.0 + half}
    picture = advance.picture(shown)
    assert picture is not None
    assert ("long 37?" in svg(picture, shown.span, narrow=False)) == vague
    assert ("long 37" not in {setting for setting, _, _ in advance.pull_lines(shown)}) == vague


def test_labels_are_kept_apart_and_stay_inside() -> None:
    rng = np.random.default_rng(3)
    for n in (1, 2, 7, 12, 30):
        wish, sizes = rng.uniform(0, 10, n), rng.uniform(0.3, 0.9, n)
        got = np.array(keep_apart(wish.tolist(), sizes.tolist(), 0.0, 10.0))
        shrunk = sizes * min(1.0, 10 / sizes.sum())
        order = np.argsort(wish)
        assert np.argsort(got).tolist() == order.tolist(), "their order is kept"
        assert (np.diff(got[order]) >= (shrunk[order][1:] + shrunk[order][:-1]) / 2 - 1e-6).all()
        assert (got - shrunk / 2 >= -1e-6).all()
        assert (got + shrunk / 2 <= 10 + 1e-6).all()
    assert keep_apart([4.0, 8.0], [1.0, 1.0], 0.0, 10.0) == [4.0, 8.0]


@pytest.mark.parametrize(("lo", "hi"), [(0.0, 1.0), (-2.3, 7.9), (440.0, 530.0), (0.0, 0.03), (1e3, 1.1e6)])
def test_marks_are_round_and_few(lo: float, hi: float) -> None:
    marks = round_marks(lo, hi, 5)
    assert 2 <= len(marks) <= 6
    assert all(lo - 1e-9 <= m <= hi + 1e-9 for m in marks)
    step = marks[1] - marks[0]
    assert min(abs(step / 10 ** math.floor(math.log10(step) + 1e-9) - s) for s in (1, 2, 5, 10)) < 1e-6


def test_thin_keeps_the_ends() -> None:
    x, y = thin(np.arange(5000.0), np.arange(5000.0) * 2, 400)
    assert x.size <= 400
    assert (x[0], x[-1], y[-1]) == (0.0, 4999.0, 9998.0)


def test_runs() -> None:
    assert runs(np.array([True, False, True, True])) == [(0, 1), (2, 4)]


def test_too_many_names_leave_the_outer_ones_and_those_that_matter() -> None:
    shown = shown_day()
    curves = shown.tables["setting_curves"]
    base = curves.filter(curves["setting"] == "base 32")
    more = [base.with_columns(pl.lit(f"setting {i:02d}").alias("setting"), *(pl.col(c) - i for c in TORQUES)) for i in range(1, 31)]
    shown.tables["setting_curves"] = pl.concat([curves, *more])
    shown.settings += [f"setting {i:02d}" for i in range(1, 31)]
    text = svg(torque.picture(shown), shown.span, narrow=True)  # type: ignore[arg-type]
    for name in ("base 32", "stop 24", "setting\n30"):
        assert all(f">{word}<" in text for word in name.split("\n")), name
    assert "setting 15" not in re.sub(r"\s+", " ", text)
    assert text.count(">setting<") < 15


TORQUES = ("torque_nm", "lo_nm", "hi_nm")


@pytest.mark.parametrize("times", [0.1, 1.0, 3.0, 4.9, 11.0])
def test_lanes_name_a_round_change_that_fits(times: float) -> None:
    shown = shown_day()
    for e in shown.record["effects"]:
        e |= {k: e[k] * times for k in ("change_pct", "lo_pct", "hi_pct")}
    text = svg(difference.picture(shown), shown.span, narrow=False)  # type: ignore[arg-type]
    marks = {float(m) for m in re.findall(r">\+([\d.]+)<", text)}
    assert len(marks) == 1
    assert marks.pop() > 0


def test_the_setting_shown_is_called_nearest_only_where_it_is() -> None:
    """Knock on the nearest setting of all: the one drawn bold is the nearest of the others, and is called that."""
    day = invented_day()
    chosen = view(day.record, day.tables).chosen
    for nearest, said in ((chosen, "Nearest to the advice, “"), ("another", "Nearest to the advice with no knock noted, “")):
        day.record["advice"]["nearest_setting"] = nearest
        picture = torque.picture(view(day.record, day.tables))
        assert picture is not None
        assert picture.title.startswith(said)
        assert ("advised with no knock noted." in picture.note) == (nearest == "another")
