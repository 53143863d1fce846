"""Free notes that say what belongs in a column: asked about, and knock counts until it is answered."""

from pathlib import Path

import pytest

from pullbook.sheets.note_words import knock_speeds, light_reading, speaks_of_knock
from pullbook.sheets.pull_sheet import PullSheet, read_pull_sheet


def sheet(tmp_path: Path, text: str) -> PullSheet:
    """The sheet with these rows."""
    path = tmp_path / "pulls.csv"
    path.write_text(text, encoding="utf-8")
    return read_pull_sheet(path, shown="pulls.csv")


@pytest.mark.parametrize(
    ("note", "spoken"),
    [("knock at 4200", True), ("pinged a bit low down", True), ("Klingelt ab 3000", True), ("cliquetis vers 3300", True),
     ("picado a 3500 rpm", True), ("battito a 3000", True), ("not warm; detonation at the top", True),
     ("no knock", False), ("kein Klopfen", False), ("pas de cliquetis", False), ("sin picado", False), ("niente battito", False),
     ("knock sensor unplugged", False), ("listened, nothing heard", False), ("felt strong", False),
     ("knock: none", False), ("Knock? No.", False), ("knock: not heard", False), ("knock-free", False), ("knock 0", False),
     ("listened for knock, nothing", False), ("Klopfen: keins zu hören", False), ("knock, not at 4000 though", True),
     ("knock 0.5 s long", True), ("knock: yes", True), ("knock", True)],
)  # fmt: skip
def test_which_notes_speak_of_knock(note: str, spoken: bool) -> None:
    assert speaks_of_knock(note) is spoken


def test_speeds_and_light_readings_in_any_hand() -> None:
    assert knock_speeds("Klopfen 3.300 bis 3.600") == (3300.0, 3600.0)
    assert knock_speeds("knock at 4200, temp 85") == (4050.0, 4350.0)
    assert light_reading("34° at 3500 with the light") == (34.0, 3500.0)
    assert light_reading("lampara 32 a 3.200") == (32.0, 3200.0)
    assert light_reading("34° @ 3500 rpm") == (34.0, 3500.0)
    assert [light_reading(note) for note in ("98 at 3500", "AFR 12.8 @ 3500", "boost 12 @ 4000")] == [None] * 3
    assert light_reading("gas 34 at 3500") is None


def test_knock_in_a_note_counts_as_faint_and_is_asked_about(tmp_path: Path) -> None:
    found = sheet(
        tmp_path, "file,knock,notes\na.csv,,knock at 4200\nb.csv,not heard,it pinged\nc.csv,heard,knock 3000\nd.csv,,no knock\n"
    )
    assert [r.knock for r in found.rows] == ["faint", "faint", "heard", "not listened"]
    assert [(r.knock_lo_rpm, r.knock_hi_rpm) for r in found.rows] == [(4050.0, 4350.0), (None, None), (None, None), (None, None)]
    assert list(found.questions) == [
        "pulls.csv line 2: the note says 'knock at 4200': did it knock (columns knock, knock_rpm)? Until then: faint 4050–4350 rpm",
        "pulls.csv line 3: the note says 'it pinged', the column knock ‘not heard’: did it knock (columns knock, knock_rpm)? "
        "Until then: faint",
    ]


def test_a_light_reading_in_a_note_is_asked_into_the_light_sheet(tmp_path: Path) -> None:
    found = sheet(tmp_path, "file,notes\na.csv,light 34 @ 3500\nb.csv,\n")
    said = "pulls.csv: notes read like light readings (line 2: 34° at 3500 rpm): write them into strobe.csv, and they count"
    assert found.unlit == (said,)
    assert found.questions == ()


def test_changes_that_no_label_shows_are_named(tmp_path: Path) -> None:
    rows = ["a.csv,14+20,", "b.csv,14+20,changed springs", "c.csv,heavy,springs changed", "d.csv,heavy,other can of fuel from here"]
    found = sheet(tmp_path, "\n".join(["file,setting,notes", *rows]) + "\n")
    assert list(found.questions) == [
        "pulls.csv line 3: the note says 'changed springs', and the label is '14+20' as in the row before: is it another setting "
        "from here on?"
    ]
    assert len(found.warnings) == 1
    assert found.warnings[0].startswith("pulls.csv line 5: the note says 'other can of fuel from here': pulls before and after it")


def test_plain_remarks_say_nothing_more(tmp_path: Path) -> None:
    notes = [
        "carb cleaned since spring; jets unchanged",
        "oil is hot",
        "fuel tap half shut",
        "idle a bit quick",
        "listened hard at 4200",
    ]
    found = sheet(tmp_path, "file,setting,notes\n" + "".join(f"{n}.csv,A,{note}\n" for n, note in enumerate(notes)))
    assert (found.questions, found.warnings, found.unlit) == ((), (), ())
    assert {r.knock for r in found.rows} == {"not listened"}
