"""docs/how-to-add.md is tried: its words are read, its standard computes, its figure is drawn, nothing it lists is forgotten."""

import re
import types
from collections.abc import Iterator
from math import sqrt
from typing import get_args

import pytest
from tests.report import fixture
from tests.unit.docs.generate import ROOT

from pullbook.air import factor
from pullbook.facts import STANDARDS, Standard
from pullbook.report import content, drawing
from pullbook.report.view import view
from pullbook.sheets import facts_schema
from pullbook.vocabulary import claims, heading_words, naming, units_text, wordlist

PAGE = (ROOT / "docs" / "how-to-add.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^( *)```(\w+)\n(.*?)^ *```$", PAGE, re.S | re.M)


def blocks(language: str) -> list[str]:
    """Fenced blocks of a language, without the indent of a list."""
    return [re.sub(rf"^{indent}", "", text, flags=re.M) for indent, name, text in BLOCKS if name == language]


@pytest.fixture
def words_of_the_page(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The page's rows beside those of words/*.csv, and nothing remembered from before or after."""
    shipped = {name: wordlist.rows(name) for name in ("headers", "units")}
    added = dict(zip(shipped, blocks("csv"), strict=True))

    def with_added(table: str) -> tuple[dict[str, str], ...]:
        names = list(shipped[table][0])
        rows = [dict(zip(names, line.split(","), strict=True)) for line in added[table].strip().split("\n")]
        return (*shipped[table], *rows)

    def forget() -> None:
        heading_words.table.cache_clear()
        heading_words._reading.cache_clear()
        units_text._spellings.cache_clear()
        naming._concepts.cache_clear()

    monkeypatch.setattr(heading_words, "rows", with_added)
    monkeypatch.setattr(units_text, "rows", with_added)
    forget()
    yield
    monkeypatch.undo()
    forget()


HEADINGS = {"Rotação do motor [rotacoes/min]": "rpm", "Binário [N.m]": "torque_nm", "Avanço da ignição": "advance_deg"}


def test_the_words_are_missing_without_the_page() -> None:
    said = "the page's example is known by now: put a word on the page that is not"
    assert naming.understand("Avanço da ignição").quantity is None, said
    assert units_text.unit_of("rotacoes/min") is None, said


@pytest.mark.usefixtures("words_of_the_page")
@pytest.mark.parametrize(("heading", "channel"), HEADINGS.items())
def test_a_word(heading: str, channel: str) -> None:
    meaning = naming.understand(heading)
    assert meaning.quantity == channel
    if channel == "rpm":
        assert meaning.unit is not None
        assert meaning.unit.name == "rpm"


def test_concepts_the_page_names_exist() -> None:
    concepts = {row["concept"] for row in wordlist.rows("headers")}
    named = re.search(r"what the word names: (.*?) …", PAGE)
    assert named is not None
    assert set(re.findall(r"`(\w+)`", named[1])) <= concepts
    assert {row["how"] for row in wordlist.rows("headers")} <= {"whole", "part", "phrase"}


def test_a_standard_computes() -> None:
    """The page's `case`, run as it stands."""
    (case,) = [b for b in blocks("python") if b.startswith("case")]
    body = "def trial(standard, pressure_kpa, temperature_c, sqrt):\n    match standard:\n"
    space: dict[str, object] = {}
    exec(body + re.sub(r"^", "        ", case, flags=re.M), space)
    trial = space["trial"]
    assert callable(trial)
    assert trial("SHOP 404", 100.0, 20.0, sqrt) == 1.0
    assert trial("SHOP 404", 95.0, 30.0, sqrt) == pytest.approx(1.0704, abs=1e-4)


def test_every_place_knows_every_standard() -> None:
    """The five places of the page, but for the formula's published values."""
    named = set(STANDARDS)
    assert set(get_args(Standard)) == named | {"none"}
    said = facts_schema.DAY_KEYS["correction"]
    assert isinstance(said, facts_schema.Choice)
    assert set(said.words) == named | {"none"}
    for standard in named:
        assert factor(standard, 99.0, 25.0, 1.0) > 0.0
        assert claims.named_standard(f"Torque ({standard})") == standard
    for heading in ("Torque 1", "Power run 12 corrected", "Torque 100 Nm", "Mean of 5 to 60 rows"):
        assert claims.named_standard(heading) is None, f"digits of a standard that any heading may hold: {heading}"
    for page in ("docs/contract.md", "docs/method.md", "docs/day.schema.json", "tests/outside/test_air.py"):
        text = (ROOT / page).read_text(encoding="utf-8")
        assert [s for s in named if s not in text] == [], page


def test_a_figure_is_drawn() -> None:
    """The page's module, run as it stands, on an invented day."""
    (code,) = [b for b in blocks("python") if b.startswith('"""')]
    module = types.ModuleType("seconds")
    exec(compile(code, "how-to-add.md", "exec"), module.__dict__)
    invented = fixture.invented_day()
    picture = module.picture(view(invented.record, invented.tables))
    assert picture.name == "seconds"
    for narrow in (False, True):
        drawn = drawing.svg(picture, (2500.0, 5800.0), narrow=narrow)
        assert drawn.startswith("<svg")
        assert "pull, in the order run" in drawn
    assert len(picture.table.rows) == len(invented.record["pulls"])


def test_figures_are_named_as_their_modules() -> None:
    invented = fixture.invented_day()
    shown = view(invented.record, invented.tables)
    for module in (*content.PAGE_ONE, *content.PAGE_TWO, *content.PAGE_THREE):
        picture = module.picture(shown)
        assert picture is None or picture.name == module.__name__.rsplit(".", 1)[-1]
