"""Light sheets as spreadsheets of any country write them."""

from pathlib import Path

from pullbook.sheets.light_sheet import read_strobe


def test_light_readings_as_read(tmp_path: Path) -> None:
    path = tmp_path / "strobe.csv"
    path.write_text(
        "Setting;RPM;Advance deg;direction;source;scale;vacuum\nA;3.000;34,5;up;light;;\nA;400;4;down;bench;Distributor;on\n"
    )
    found = read_strobe(path, shown="strobe.csv")
    assert found.faults == ()
    assert found.readings.rows() == [
        ("A", 3000.0, 34.5, "up", "light", "crank", None), ("A", 400.0, 4.0, "down", "bench", "distributor", "on"),
    ]  # fmt: skip


def test_light_readings_that_cannot_be_used(tmp_path: Path) -> None:
    path = tmp_path / "strobe.csv"
    path.write_text("setting,rpm,advance_deg,direction\nA,3000,95,up\nA,,30,up\nA,3000,30,sideways\nA,3200,31,\n")
    found = read_strobe(path, shown="strobe.csv")
    assert [(f.line, f.column) for f in found.faults] == [(2, "advance_deg"), (3, "rpm"), (4, "direction")]
    assert found.readings["rpm"].to_list() == [3000.0, 3200.0]
    path.write_text("setting,speed of sound\nA,340\n")
    assert "rpm" in read_strobe(path, shown="strobe.csv").faults[0].remedy


def test_light_readings_in_words_of_the_shop(tmp_path: Path) -> None:
    path = tmp_path / "strobe.csv"
    path.write_text("Einstellung;Drehzahl;Zündzeitpunkt;Richtung;Quelle;Unterdruck\nA;3.000;28,5;ab;Licht;aus\n", encoding="cp1252")
    found = read_strobe(path, shown="strobe.csv")
    assert found.faults == ()
    assert found.readings.row(0, named=True) == {
        "setting": "A", "rpm": 3000.0, "advance_deg": 28.5, "direction": "down", "source": "light",
        "scale": "crank", "vacuum": "off",
    }  # fmt: skip
