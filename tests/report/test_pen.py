"""Ink on paper: outlines as the font has them, words that can be searched, lines and areas as matplotlib meant them."""

import io
import re
import zlib

import numpy as np
import pytest
from fontTools.pens.recordingPen import DecomposingRecordingPen  # type: ignore[import-untyped]
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.path import Path
from matplotlib.transforms import IdentityTransform
from PIL import Image
from pypdf import PdfReader

from pullbook.report.letters import measure
from pullbook.report.paper import Sheets
from pullbook.report.pdf_file import PdfFile
from pullbook.report.pen import Pen
from pullbook.report.typeface import SCREEN, typeface

WORDS = "Ünïcödé ő ﬁ Ж Ω µ ⁻⁶ ½ “→” 𝔸 <&> $x_1$ (\\)"


def outline(font: TTFont, name: str) -> list[object]:
    drawn = DecomposingRecordingPen(font.getGlyphSet())
    font.getGlyphSet()[name].draw(drawn)
    return list(drawn.value)


@pytest.mark.parametrize("bold", [False, True])
def test_part_of_a_font_has_the_outlines_and_widths_of_the_whole(bold: bool) -> None:
    face = typeface(bold)
    letters = "Aéőg ẫ€"  # composite letters whose parts are not asked for by name
    outlines = [0, *(face.letters[ord(c)] for c in letters)]
    part = TTFont(io.BytesIO(face.part(outlines)))
    whole = TTFont(findfont(FontProperties(family=SCREEN, weight="bold" if bold else "normal")))
    part.setGlyphOrder([f"g{i}" for i in range(part["maxp"].numGlyphs)])
    assert part["maxp"].numGlyphs > len(outlines)
    for i, letter in enumerate(letters, 1):
        name = whole.getBestCmap()[ord(letter)]
        assert outline(part, f"g{i}") == outline(whole, name)
        assert part["hmtx"][f"g{i}"] == whole["hmtx"][name]
        assert face.advance(outlines[i]) == pytest.approx(whole["hmtx"][name][0] * 1000 / whole["head"].unitsPerEm)
    assert part["head"].indexToLocFormat == 1


def test_heights_of_letters_are_those_of_the_font() -> None:
    face, whole = typeface(False), TTFont(findfont(FontProperties(family=SCREEN)))
    for letter in "xgÄ−":
        told = whole["glyf"][whole.getBestCmap()[ord(letter)]]
        assert face.heights(face.letters[ord(letter)]) == pytest.approx((told.yMin * 1000 / 2048, told.yMax * 1000 / 2048))
    assert face.heights(face.letters[ord(" ")]) == (0.0, 0.0)


def sheet_of(*lines: str) -> bytes:
    sheets = Sheets("A4", "foot", "Title: Größe")
    column = sheets.sheet()
    for line in lines:
        column.text(line, 12)
    return sheets.pdf()


def test_words_come_back_as_they_went_in() -> None:
    reader = PdfReader(io.BytesIO(sheet_of(WORDS, "e\u0301tat")))
    text = reader.pages[0].extract_text()
    for word in [*WORDS.split(), "état"]:
        assert word in text
    assert reader.metadata is not None
    assert reader.metadata.title == "Title: Größe"


def test_same_words_same_bytes_and_nothing_written_twice() -> None:
    assert sheet_of(WORDS) == sheet_of(WORDS)
    assert len(sheet_of(*["the same words"] * 40)) < 1.1 * len(sheet_of("the same words"))


def test_letters_written_from_right_to_left_are_drawn_as_outlines() -> None:
    plain, turned = (PdfReader(io.BytesIO(sheet_of(line))).pages[0] for line in ("shalom", "שלום"))
    assert "שלום" not in turned.extract_text()
    assert turned.get_contents().get_data().count(b" c ") > 10 > plain.get_contents().get_data().count(b" c ")  # type: ignore[union-attr]


def test_photograph_goes_in_whole() -> None:
    out = io.BytesIO()
    Image.effect_noise((90, 60), 50).convert("RGB").save(out, "JPEG", progressive=True)
    sheets = Sheets("A4", "", "")
    sheets.sheet().photograph(out.getvalue(), (90, 60), 3.0, 2.0)
    pdf = sheets.pdf()
    assert out.getvalue() in pdf
    (image,) = PdfReader(io.BytesIO(pdf)).pages[0].images
    assert image.image is not None
    assert image.image.size == (90, 60)


def drawn(figure: Figure) -> tuple[str, bytes]:
    file = PdfFile("")
    pen = Pen(file, 72, 72)
    figure.set_dpi(72)
    figure.draw(pen)
    pen.finish()
    return "\n".join(pen.drawn), file.finished()


def test_lines_areas_and_marks() -> None:
    figure = Figure(figsize=(1, 1), facecolor="none")
    ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    ax.set_axis_off()
    ax.set_xlim(0, 72)
    ax.set_ylim(0, 72)
    ax.plot([10, 40, np.nan, 50, 60], [20, 20, 0, 30, 30], color="#ff0000", lw=2, ls=(0, (3, 1)))
    ax.fill_between([10, 20], [10, 10], [30, 30], color="#0000ff", alpha=0.25, lw=0)
    ax.plot([5, 25, np.nan], [6, 6, 6], ls="none", marker="s", ms=4)
    said, pdf = drawn(figure)
    assert "10.00 20.00 m 40.00 20.00 l 50.00 30.00 m 60.00 30.00 l S" in said
    assert "1.000 0.000 0.000 RG 2 w" in said
    assert re.search(r"\[6 2\] 0 d", said)
    assert re.search(r"/A\d gs 0.000 0.000 1.000 rg", said)
    assert b"/ca 0.25" in pdf
    assert said.count(" cm -2.00 -2.00 m") == 2
    assert "1 0 0 1 25.00 6.00 cm" in said
    assert "0.00 0.00 72.00 72.00 re W n" in said


def test_curves_of_second_order_are_raised_without_loss() -> None:
    pen = Pen(PdfFile(""), 72, 72)
    bent = Path([(0, 0), (30, 60), (60, 0)], [Path.MOVETO, Path.CURVE3, Path.CURVE3])
    pen.draw_path(pen.new_gc(), bent, IdentityTransform())
    assert "0.00 0.00 m 20.00 40.00 40.00 40.00 60.00 0.00 c S" in pen.drawn[0]


def test_width_of_words_is_one_everywhere() -> None:
    pen = Pen(PdfFile(""), 72, 72)
    for bold in (False, True):
        font = FontProperties(family=SCREEN, size=9, weight="bold" if bold else "normal")
        wide, high, deep = pen.get_text_width_height_descent("33.5° jg", font, False)
        assert wide == pytest.approx(72 * measure("33.5° jg", 9, bold))
        assert 0 < deep < high < 12


def test_streams_can_be_unpacked() -> None:
    pdf = sheet_of("a line")
    streams = re.findall(rb"/FlateDecode /Length (\d+) >>\nstream\n", pdf)
    assert len(streams) == 3
    for found in re.finditer(rb"/Length (\d+) >>\nstream\n", pdf):
        assert zlib.decompress(pdf[found.end() : found.end() + int(found[1])])
