"""Paper: the right size, fonts inside, words as words, nothing over the edge, one card."""

from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from pullbook.report.card import card_pdf
from pullbook.report.content import content
from pullbook.report.glossary import GLOSSARY
from pullbook.report.letters import drawable, measure, wrap
from pullbook.report.paper import Sheets
from pullbook.report.pdf import _points, report_pdf
from pullbook.report.pictures import Shown
from pullbook.report.view import view
from tests.report.fixture import InventedDay, invented_day

SIZES = {"A4": (595, 842), "Letter": (612, 792)}


def print_to(folder: Path, day: InventedDay, page: str = "A4") -> None:
    shown = view(day.record, day.tables)
    said = content(shown)
    (folder / "report.pdf").write_bytes(report_pdf(said, [], page=page))
    (folder / "tune_card.pdf").write_bytes(card_pdf(shown, said, page=page))


@pytest.fixture(scope="module", params=["A4", "Letter"])
def printed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, InventedDay, Path]:
    day = invented_day()
    folder = tmp_path_factory.mktemp(request.param)
    print_to(folder, day, request.param)
    return request.param, day, folder


def words(reader: PdfReader) -> str:
    return " ".join(" ".join(p.extract_text() for p in reader.pages).split())


@pytest.mark.parametrize("name", ["report.pdf", "tune_card.pdf"])
def test_size_and_fonts(printed: tuple[str, InventedDay, Path], name: str) -> None:
    size, _, folder = printed
    reader = PdfReader(folder / name)
    for page in reader.pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(SIZES[size], abs=1.0)
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            assert inner["/Subtype"] == "/CIDFontType2"
            assert "/FontFile2" in inner["/FontDescriptor"].get_object()


def test_report_says_everything_in_real_words(printed: tuple[str, InventedDay, Path]) -> None:
    _, day, folder = printed
    reader = PdfReader(folder / "report.pdf")
    assert 3 <= len(reader.pages) <= 8
    text = words(reader)
    first = " ".join(reader.pages[0].extract_text().split())
    assert day.record["advice"]["sentence"] in first
    assert first.index(day.record["tested_limit"]) < first.index("Knock: heard on long 37") < first.index("Springs: ")
    for line in (*day.record["cautions"], "plug lead came off", "not checked with a stop"):
        assert line in first
    for name in ("changes", "not_established", "not_tested", "questions"):
        for line in day.record[name]:
            assert line in text
    for pull in day.record["pulls"]:
        assert f"{pull['mean_torque_nm']:.1f}" in text


def test_card_is_one_page_with_its_readings(printed: tuple[str, InventedDay, Path]) -> None:
    _, day, folder = printed
    reader = PdfReader(folder / "tune_card.pdf")
    assert len(reader.pages) == 1
    text = words(reader)
    for r in day.record["card"]["readings"]:
        assert str(r["rpm"]) in text
    for line in (*day.record["cautions"], day.record["tested_limit"], "1.57 mm", "set by", "95 pump petrol", "cold range"):
        assert line in text, line
    assert "safe" not in text.lower()


def edges(path: Path) -> list[tuple[float, float, str]]:
    """Where each piece of text stands on its page, by the text matrix."""
    found: list[tuple[float, float, str]] = []
    for page in PdfReader(path).pages:

        def note(text: str, cm: Any, tm: Any, font: Any, size: Any) -> None:
            if text.strip():
                x = cm[0] * tm[4] + cm[2] * tm[5] + cm[4]
                y = cm[1] * tm[4] + cm[3] * tm[5] + cm[5]
                found.append((x, y, text))

        page.extract_text(visitor_text=note)
    return found


@pytest.mark.parametrize("name", ["report.pdf", "tune_card.pdf"])
def test_no_word_starts_outside_the_margins(printed: tuple[str, InventedDay, Path], name: str) -> None:
    size, _, folder = printed
    width, height = SIZES[size]
    placed = edges(folder / name)
    assert len(placed) > 20
    for x, y, text in placed:
        assert 25 <= x <= width - 30, text
        assert 25 <= y <= height - 30, text


def test_the_first_questions_stand_on_page_one(tmp_path: Path) -> None:
    day = invented_day()
    day.record["questions"] = ["is the oil in °C?", "who corrected torque?", "which pull was the third?"]
    print_to(tmp_path, day)
    first, *more = (" ".join(p.extract_text().split()) for p in PdfReader(tmp_path / "report.pdf").pages)
    assert "3 open questions; all in the evidence:" in first
    assert [q in first for q in day.record["questions"]] == [True, True, False]
    assert all(q in " ".join(more) for q in day.record["questions"])


@pytest.mark.parametrize("more", [0, 3, 6, 9, 12])
def test_the_words_stay_together_on_one_sheet(tmp_path: Path, more: int) -> None:
    day = invented_day()
    inputs = day.record["inputs"]
    day.record["inputs"] = [*inputs, *({**inputs[0], "file": f"more {n}.csv"} for n in range(4 * more))]
    print_to(tmp_path, day)
    sheets = [" ".join(p.extract_text().split()) for p in PdfReader(tmp_path / "report.pdf").pages]
    (first,) = (n for n, text in enumerate(sheets) if f"{GLOSSARY[0][0]}: {GLOSSARY[0][1]}" in text)
    assert [f"{word}: {meaning}" in sheets[first] for word, meaning in GLOSSARY] == [True] * len(GLOSSARY)
    assert first == len(sheets) - 1


def test_questions_without_room_on_page_one_are_counted_there(tmp_path: Path) -> None:
    day = invented_day()
    day.record["warnings"] = [f"{n} rows read as missing " * 4 for n in range(2)]
    day.record["questions"] = ["is the oil in °C? " * 30, "who corrected torque?"]
    print_to(tmp_path, day)
    first, *more = (" ".join(p.extract_text().split()) for p in PdfReader(tmp_path / "report.pdf").pages)
    assert "2 open questions, in the evidence." in first
    assert "who corrected torque?" not in first
    assert "who corrected torque?" in " ".join(more)


def test_long_and_many_run_over_to_more_sheets_and_nothing_is_lost(tmp_path: Path) -> None:
    day = invented_day()
    day.record["cautions"] = [f"caution number {i} " + "word " * 40 for i in range(30)]
    day.record["questions"] = [f"question number {i} " + "x" * 300 for i in range(40)]
    day.record["advice"]["sentence"] = "Set it. " * 60
    print_to(tmp_path, day)
    text = words(PdfReader(tmp_path / "report.pdf"))
    for i in range(30):
        assert f"caution number {i} " in text
    for i in range(40):
        assert f"question number {i} " in text
    card = PdfReader(tmp_path / "tune_card.pdf")
    assert len(card.pages) == 1
    assert "more in the report" in words(card), "what the card has no room for is said"


def test_wrapped_lines_fit_and_lose_nothing() -> None:
    text = "Set 34° total, 14° initial " + "W" * 200 + " end"
    lines = wrap(text, 9, 2.0)
    assert all(measure(line, 9) <= 2.0 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_letters_the_paper_lacks_are_boxes() -> None:
    assert drawable("Zündung 点火 34°") == "Zündung □□ 34°"


def test_a_mapped_engine_gets_its_table_on_paper(tmp_path: Path) -> None:
    day = invented_day()
    day.record["conditions"] = {"ignition": "mapped"}
    day.record["card"]["readings"] = [{"rpm": 3000, "up_deg": 31.5, "down_deg": 31.5}]
    print_to(tmp_path, day)
    first = " ".join(PdfReader(tmp_path / "report.pdf").pages[0].extract_text().split())
    card = words(PdfReader(tmp_path / "tune_card.pdf"))
    for cells in ("1000 14° 15.3°", "3000 31° 32.3°", "5000 32.5° 33.8°"):
        assert cells in first, cells
        assert cells in card, cells
    assert "31.5°" in card
    assert "Weights move from" not in card


def test_a_day_that_cannot_tell_gives_a_card_that_says_so(tmp_path: Path) -> None:
    day = invented_day()
    day.record["advice"] = {"sentence": "This day cannot tell.", "next_pulls": day.record["advice"]["next_pulls"]}
    day.record["card"] = {"readings": [], "mm_per_deg": None}
    print_to(tmp_path, day)
    card = words(PdfReader(tmp_path / "tune_card.pdf"))
    assert "Nothing: this day cannot tell." in card
    assert "Run next: stop 20 (14° initial, 34° total); base 32" in card
    assert "no curve is advised" in card


def test_pictures_of_the_day_stand_in_the_report(tmp_path: Path) -> None:
    import io

    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (300, 200), (90, 120, 150)).save(out, "JPEG")
    photos = [
        Shown("mark.jpg", out.getvalue(), 300, 200),
        Shown("torn.png", None, why_not="the file could not be read as a picture"),
    ]
    day = invented_day()
    path = tmp_path / "report.pdf"
    path.write_bytes(report_pdf(content(view(day.record, day.tables)), photos))
    reader = PdfReader(path)
    assert "mark.jpg" in words(reader)
    assert "torn.png: the file could not be read as a picture" in words(reader)
    assert len({image.name for page in reader.pages for image in page.images}) == 1


def test_no_heading_stands_without_its_first_point() -> None:
    sheets = Sheets("A4", ("", ""), "")
    column = sheets.sheet()
    column.bottom = column.y + column.height_of("Left out", 9, bold=True) + 0.05
    before = column.y
    assert _points(column, "Left out", ["nothing", "at all"]) == ["Left out: nothing", "Left out: at all"]
    assert column.y == before
    assert not sheets.words[column.figure].lines
    column.bottom += 0.2
    assert _points(column, "Left out", ["nothing", "at all"]) == ["Left out: at all"]
