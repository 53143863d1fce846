"""One missing fact is one question, however many parts of the work notice that it is missing."""

from pathlib import Path

import pytest
from tests.unit.reading.driven import SWEEP, drive, write_log

from pullbook.book import Book
from pullbook.handover import DayReading
from pullbook.hill.prior import default
from pullbook.provenance import Provenance
from pullbook.questions import ADVANCE, AIR, STANDARD, Question, fact_of
from pullbook.reading.day import read_day
from pullbook.running import handover_files
from pullbook.stages.advise import advise
from pullbook.stages.align import align_day
from pullbook.stages.best import best_advance
from pullbook.stages.delivered import delivered_advance
from pullbook.stages.record import day_record

ENGINE, DAY = "blue", "2031-04-05"


def shop(root: Path, *, preamble: str = "", torque: str = "Torque", advance: float | None = None, **files: str) -> Book:
    """A day of two logs that begin with ``preamble``, and further files by their stem."""
    folder = root / "logs" / ENGINE / DAY
    folder.mkdir(parents=True)
    for number in (1, 2):
        log = write_log(folder / f"run {number}.csv", drive(SWEEP, number=number), advance)
        log.write_text(preamble + log.read_text(encoding="utf-8").replace("Torque", torque), encoding="utf-8")
    for stem, text in files.items():
        (folder / (stem + (".csv" if stem == "pulls" else ".yaml"))).write_text(text, encoding="utf-8")
    return Book.at(root)


def questions(book: Book) -> list[str]:
    reading = read_day(book, ENGINE, DAY)
    aligned = align_day(reading)
    delivered = delivered_advance(reading, aligned)
    best = best_advance(reading, aligned, delivered, default(reading.facts))
    advice = advise(reading, aligned, delivered, best)
    made = Provenance([], "2031-04-05T18:00:00", "0", 1)
    record = day_record(reading, aligned, delivered, best, advice, changes=[], made=made)
    asked: list[str] = record["questions"]
    return asked


def about(book: Book, *words: str) -> list[str]:
    return [q for q in questions(book) if any(word in q for word in words)]


def test_advance_that_nobody_noted_is_asked_for_once(tmp_path: Path) -> None:
    book = shop(tmp_path, pulls="file,setting\nrun 1.csv,34\nrun 2.csv,36\n")
    [asked] = about(book, "advance")
    assert asked.startswith("What advance did 34, 36 run?")
    for remedy in ("pulls.csv", "strobe.csv", "columns.yaml"):
        assert remedy in asked


def test_an_unnamed_correction_is_asked_for_once(tmp_path: Path) -> None:
    [asked] = about(shop(tmp_path, torque="Corrected torque"), "standard")
    assert "to which standard?" in asked


def test_a_correction_that_day_yaml_does_not_know_either_is_asked_for_once(tmp_path: Path) -> None:
    book = shop(tmp_path, torque="Corrected torque", day="logs_already_corrected: unknown\n")
    assert len(about(book, "standard")) == 1


def test_weather_that_a_preamble_offers_is_not_asked_for_again(tmp_path: Path) -> None:
    [asked] = about(shop(tmp_path, preamble="Baro 97.2 kPa; air 18 C\n"), "pressure", "temperature")
    assert "does it hold for the day" in asked


@pytest.mark.parametrize("preamble", ["Cell 2, Baro 97.2 kPa, air 18 C\n", "Cell 2, Baro 97.2 kPa, air 18 C, 52 % RH\n"])
def test_weather_above_as_many_names_is_no_second_line_of_names(tmp_path: Path, preamble: str) -> None:
    reading = read_day(shop(tmp_path, preamble=preamble), ENGINE, DAY)
    assert {fact_of(q) for q in reading.questions} >= {AIR}
    assert [c.header for c in reading.logs[0].columns] == ["Time [s]", "Engine speed [rpm]", "Torque [Nm]"]


def test_what_the_preamble_does_not_offer_is_still_asked_for(tmp_path: Path) -> None:
    asked = about(shop(tmp_path, preamble="air 18 C\n"), "pressure", "temperature")
    assert [q.startswith("What was the station pressure (") for q in asked].count(True) == 1
    assert not any("air temperature (" in q for q in asked)


@pytest.mark.parametrize(
    ("files", "fact"),
    [
        ({"day": "air: {pressure_kpa: 97.2, temperature_c: 18}\n"}, AIR),
        ({"day": "logs_already_corrected: SAE J607\n"}, STANDARD),
        ({"pulls": "file,setting,initial_deg,total_deg\nrun 1.csv,a,14,34\nrun 2.csv,a,14,34\n"}, ADVANCE),
    ],
)
def test_a_fact_that_is_told_is_asked_for_by_no_log(tmp_path: Path, files: dict[str, str], fact: str) -> None:
    open_day = shop(tmp_path / "open", preamble="Baro 97.2 kPa; air 18 C\n", torque="Corrected torque")
    told_day = shop(tmp_path / "told", preamble="Baro 97.2 kPa; air 18 C\n", torque="Corrected torque", **files)
    before, after = ([fact_of(q) for q in read_day(book, ENGINE, DAY).questions] for book in (open_day, told_day))
    assert fact in before
    assert fact not in after


def test_the_fact_goes_along_to_the_next_process(tmp_path: Path) -> None:
    reading = read_day(shop(tmp_path / "book"), ENGINE, DAY)
    handover_files.save(tmp_path / "kept", {"reading": reading})
    loaded: DayReading = handover_files.load(tmp_path / "kept")["reading"]
    assert [(q, fact_of(q)) for q in loaded.questions] == [(q, fact_of(q)) for q in reading.questions]
    assert any(isinstance(q, Question) for q in loaded.questions)
