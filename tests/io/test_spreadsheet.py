"""Messy tables of our own making: each is read right, or refused with the cell that is in the way.

What a table means is said beside each; that such tables occur is common practice, no source. Day numbers: a
spreadsheet counts days from 1899-12-30 (ECMA-376 part 1, 18.17.4.1), so that 46152 is 2026-05-10.
"""

from __future__ import annotations

import tomllib
from datetime import date, datetime
from pathlib import Path

import pytest

from burden.io import read_case
from burden.io.spreadsheet import letter
from burden.io.spreadsheet_cases import import_table
from burden.io.spreadsheet_words import FIELDS, HEADS, UNUSED, WORDS, simple
from burden.utils.errors import InputError

HEAD = ["site", "unit", "date", "fish", "how chosen", "count", "method", "parasite", "temperature", "deaths"]
ROWS = [
    ["North", "P1", "2026-05-10", "1", "netted", "12", "gill clip", "dactylogyrus", "17.5", "1"],
    ["North", "P1", "2026-05-10", "2", "moribund", ">50", "gill clip", "dactylogyrus", "17.5", "1"],
    ["North", "P2", "2026-05-11", "1", "random", "0", "gill clip", "dactylogyrus", "16.5", "0"],
]
#: what the table does not say of its ponds
SAID = """
[all]
volume_l = 60000
medium = "fresh"
species = "carp"
stock = 400
food_fish = "yes"
"""


def csv_of(rows, separator=","):
    return "\n".join(separator.join(row) for row in rows) + "\n"


def changed(column, text, rows=ROWS):
    """The rows with one column's cells replaced: by a text, or by what a function makes of each."""
    place = HEAD.index(column)
    return [[*row[:place], text(row[place]) if callable(text) else text, *row[place + 1 :]] for row in rows]


def headed(column, text):
    return [text if name == column else name for name in HEAD]


def put(tmp_path: Path, content, said: str = SAID, name: str = "table.csv") -> tuple[Path, Path]:
    """Write a table and what is said of it; return the table and the folder of its cases."""
    table, folder = tmp_path / name, tmp_path / "ponds"
    if isinstance(content, bytes):
        table.write_bytes(content)
    else:
        table.write_text(content, encoding="utf-8")
    if said:
        folder.mkdir(exist_ok=True)
        (folder / "mapping.toml").write_text(said, encoding="utf-8")
    return table, folder


def seen(folder: Path) -> dict[str, list[tuple[str, str, str, int, int | None]]]:
    """Preparations of every case, as its own reader has them."""
    return {
        case.name: [(r.date.isoformat(), r.fish, r.chosen, r.count_low, r.count_high) for r in read_case(case).samples]
        for case in sorted(folder.iterdir())
        if case.is_dir()
    }


#: what the plain table means, whatever its form
MEANT = {
    "north_p1": [("2026-05-10", "1", "netted", 12, 12), ("2026-05-10", "2", "moribund", 51, None)],
    "north_p2": [("2026-05-11", "1", "random", 0, 0)],
}

GERMAN = ["Anlage", "Teich", "Datum", "Fisch-Nr.", "Auswahl", "Anzahl", "Probenart", "Parasit", "Wassertemp.", "Tote"]
SPANISH = [
    "Granja",
    "Estanque",
    "Fecha",
    "Pez",
    "Selección",
    "Recuento",
    "Método",
    "Parásito",
    "Temperatura",
    "Muertos",
]
FRENCH = ["Ferme", "Étang", "Date de prélèvement", "Poisson", "Choix", "Comptage", "Méthode", "Parasite",
          "Température de l'eau", "Morts"]  # fmt: skip
NORSK = ["Lokalitet", "Merd", "Dato", "Fisk", "Utvalg", "Antall", "Metode", "Parasitt", "Vanntemperatur", "Døde"]
DAY = HEAD.index("date")


def words(chosen, method, rows=ROWS):
    return changed("method", method, changed("how chosen", lambda said: chosen[said], rows))


READ = {
    "plain": csv_of([HEAD, *ROWS]),
    "semicolons": csv_of([HEAD, *ROWS], ";"),
    "tabs": csv_of([HEAD, *ROWS], "\t"),
    "bars": csv_of([HEAD, *ROWS], "|"),
    "sep line": "sep=;\n" + csv_of([HEAD, *ROWS], ";"),
    "byte-order mark": "\ufeff" + csv_of([HEAD, *ROWS]),
    "UTF-16": csv_of([HEAD, *ROWS]).encode("utf-16"),
    "Windows-1252": csv_of([GERMAN, *words({"netted": "gekeschert", "moribund": "sterbend", "random": "zufällig"},
                                           "Kiemenclip")], ";").encode("cp1252"),
    "line ends of a Mac": csv_of([HEAD, *ROWS]).replace("\n", "\r\n"),
    "quoted cells": "\n".join(",".join(f'"{cell}"' for cell in row) for row in [HEAD, *ROWS]),
    "decimal commas": csv_of([HEAD, *changed("temperature", lambda t: t.replace(".", ","))], ";"),
    "title above": csv_of([["Gill checks of May 2026"], [""], HEAD, *ROWS]),
    "two titles above, one with a number": csv_of([["Farm North"], ["printed", "2026-05-12"], HEAD, *ROWS]),
    "units in heads": csv_of([[*HEAD[:8], "Temperature [°C]", "Deaths (n)"], *ROWS]),
    "Fahrenheit": csv_of([[*HEAD[:8], "Temp (°F)", "deaths"],
                          *changed("temperature", lambda t: {"17.5": "63.5", "16.5": "61.7"}[t])]),
    "a line of units below": csv_of([HEAD, [*[""] * 8, "°C", ""], *ROWS]),
    "header of two lines, groups above": csv_of(
        [["Where", "", "", "Sample", "", "", "", "", "Water", ""], HEAD, *ROWS]),
    "header of two lines, words parted": csv_of(
        [["Site", "Unit", "Sampling", "Fish", "How", "Fluke", "Sample", "Parasite", "Water", "Dead"],
         ["", "", "date", "", "chosen", "count", "type", "", "temp", "fish"], *ROWS]),
    "total at the end": csv_of([HEAD, *ROWS, ["Total", "", "", "", "", "62", "", "", "", "1"]]),
    "subtotals between": csv_of([HEAD, *ROWS[:2], ["", "Subtotal P1", "", "", "", "62", "", "", "", ""], ROWS[2],
                                 ["", "Mean", "", "", "", "20.7", "", "", "17.2", ""]]),
    "header again on a second page": csv_of([HEAD, *ROWS[:2], HEAD, ROWS[2]]),
    "blank rows and columns": csv_of([HEAD + [""], ROWS[0] + [""], [""] * 11, ROWS[1] + [""], ROWS[2] + [""]]),
    "remarks and people left out": csv_of([[*HEAD, "Remarks", "Examiner"], *([*row, "pale", "AB"] for row in ROWS)]),
    "days with dots": csv_of([HEAD, *changed("date", lambda d: f"{d[8:]}.{d[5:7]}.{d[:4]}")]),
    "a column that shows the day first": csv_of(
        [HEAD, *changed("date", lambda d: f"{d[8:]}/{d[5:7]}/{d[:4]}"),
         ["North", "P1", "25/04/2026", "", "", "", "", "", "14", "0"]]),
    "months in letters": csv_of([HEAD, *changed("date", lambda d: f"{d[8:]} May {d[:4]}")]),
    "months in German letters": csv_of([HEAD, *changed("date", lambda d: f"{d[8:]}. Mai {d[:4]}")]),
    "date with a clock": csv_of([HEAD, *changed("date", lambda d: f"{d} 00:00:00")]),
    "German": csv_of([GERMAN, *words({"netted": "Kescher", "moribund": "sterbend", "random": "Zufall"},
                                      "Kiemenclip")], ";"),
    "Spanish": csv_of([SPANISH, *words({"netted": "red", "moribund": "moribundo", "random": "al azar"},
                                       "recorte de branquia")], ";"),
    "French": csv_of([FRENCH, *words({"netted": "épuisette", "moribund": "moribond", "random": "au hasard"},
                                     "clip branchial")], ";"),
    "Norwegian": csv_of([NORSK, *words({"netted": "håv", "moribund": "døende", "random": "tilfeldig"},
                                        "gjelleklipp")], ";"),
    "species after the genus": csv_of([HEAD, *changed("parasite", "Dactylogyrus spp.")]),
    "organ and no clip": csv_of([[*HEAD, "organ"], *([*row[:6], "", *row[7:], "gills"] for row in ROWS)]),
    "one column of counts a parasite": csv_of(
        [[*HEAD[:5], "Dactylogyrus", "method", "temperature", "deaths"], *([*r[:7], *r[8:]] for r in ROWS)]),
    "order of columns turned round": csv_of([HEAD[::-1], *(row[::-1] for row in ROWS)]),
    "capitals and spaces": csv_of([[f" {name.upper()} " for name in HEAD], *([f" {c} " for c in row] for row in ROWS)]),
}  # fmt: skip


@pytest.mark.parametrize("form", READ)
def test_a_messy_table_is_read_as_it_is_meant(form, tmp_path):
    table, folder = put(tmp_path, READ[form])
    import_table(table, folder)
    assert {name: list(rows) for name, rows in seen(folder).items()} == MEANT
    pond = read_case(folder / "north_p1")
    assert [(d.date, d.deaths) for d in pond.deaths if d.date.month == 5] == [(date(2026, 5, 10), 1)]
    assert list(pond.water.temperature.temperatures_c)[-1] == pytest.approx(17.5)
    assert pond.parasites == ("dactylogyrus",)


REFUSED = {
    "a head nobody knows": (csv_of([[*HEAD, "Glorp"], *([*r, "1"] for r in ROWS)]), "row 1, column K", "Glorp"),
    "a column without a head": (csv_of([[*HEAD, ""], *([*r, "7"] for r in ROWS)]), "row 1, column K", "no head"),
    "two columns of counts": (csv_of([[*HEAD, "flukes"], *([*r, "1"] for r in ROWS)]), "row 1, column K", "flukes"),
    "a day that may be two": (csv_of([HEAD, *changed("date", "03/04/2026")]), "row 2, column C (date)", "03/04/2026"),
    "month first": (csv_of([HEAD, *changed("date", "05/25/2026")]), "row 2, column C (date)", "05/25/2026"),
    "year of two digits": (csv_of([HEAD, *changed("date", "10.05.26")]), "row 2, column C (date)", "10.05.26"),
    "no such day": (csv_of([HEAD, *changed("date", "2026-02-30")]), "row 2, column C (date)", "2026-02-30"),
    "day numbers in CSV": (csv_of([HEAD, *changed("date", "46152")]), "row 2, column C (date)", "46152"),
    "no date": (csv_of([HEAD, *changed("date", "")]), "row 2, column C (date)", "empty"),
    "a blank unit under a merged one": (csv_of([HEAD, ROWS[0], ["", "", *ROWS[1][2:]]]),
                                        "row 3, column B (unit)", "empty"),
    "a mean for a count": (csv_of([HEAD, *changed("count", "3.4")]), "row 2, column F (count)", "3.4"),
    "a word for a count": (csv_of([HEAD, *changed("count", "many")]), "row 2, column F (count)", "many"),
    "a range made a date": (csv_of([HEAD, *changed("count", "10-Oct")]), "row 2, column F (count)", "10-Oct"),
    "sick is not moribund": (csv_of([HEAD, *changed("how chosen", "sick")]), "row 2, column E (how chosen)", "sick"),
    "how chosen left out": (csv_of([HEAD, *changed("how chosen", "")]), "row 2, column E (how chosen)", "empty"),
    "a method nobody knows": (csv_of([HEAD, *changed("method", "swab")]), "row 2, column G (method)", "swab"),
    "a parasite nobody knows": (csv_of([HEAD, *changed("parasite", "gill fluke")]),
                                "row 2, column H (parasite)", "gill fluke"),
    "a genus of several sets": (csv_of([HEAD, *changed("parasite", "Gyrodactylus salaris")]),
                                "row 2, column H (parasite)", "Gyrodactylus salaris"),
    "Fahrenheit unsaid": (csv_of([HEAD, *changed("temperature", "64")]), "row 2, column I (temperature)", "64"),
    "a unit nobody knows": (csv_of([[*HEAD[:8], "temperature [°R]", "deaths"], *ROWS]), "row 1, column I", "°R"),
    "half a dead fish": (csv_of([HEAD, *changed("deaths", "0.5")]), "row 2, column J (deaths)", "0.5"),
    "deaths that differ on a day": (csv_of([HEAD, ROWS[0], [*ROWS[1][:9], "2"]]), "row 3, column J (deaths)", "2"),
    "two spellings of a unit": (csv_of([HEAD, ROWS[0], ["North", "P 1", *ROWS[1][2:]]]),
                                "row 3, column B (unit)", "P 1"),
    "no label of the fish": (csv_of([HEAD, *changed("fish", "")]), "row 2, column D (fish)", "empty"),
    "decimals written two ways": (csv_of([HEAD, *changed("temperature", "1.234", ROWS[:1]),
                                          *changed("temperature", "17,5", ROWS[2:])], ";"),
                                  "row 2, column I (temperature)", "1.234"),
    "no header at all": (csv_of(ROWS), "row 1", "North | P1"),
}  # fmt: skip


@pytest.mark.parametrize("form", REFUSED)
def test_what_cannot_be_read_is_refused_with_its_cell_and_nothing_is_written(form, tmp_path):
    content, place, value = REFUSED[form]
    table, folder = put(tmp_path, content)
    with pytest.raises(InputError) as caught:
        import_table(table, folder)
    found = [p for p in caught.value.problems if p.place.startswith(place) and p.value.startswith(value)]
    assert found, caught.value
    assert all(p.fix for p in found)
    assert [path.name for path in folder.iterdir()] == ["mapping.toml"]


def test_all_problems_come_at_once(tmp_path):
    rows = changed("count", "many", changed("date", "10.05.26"))
    with pytest.raises(InputError) as caught:
        import_table(*put(tmp_path, csv_of([HEAD, *rows]), said=""))
    places = {p.place for p in caught.value.problems}
    assert {"row 2, column C (date)", "row 4, column C (date)"} <= places


def test_what_a_pond_lacks_is_asked_for_by_its_name(tmp_path):
    with pytest.raises(InputError) as caught:
        import_table(*put(tmp_path, csv_of([HEAD, *ROWS]), said=""))
    asked = {p.place for p in caught.value.problems}
    assert {'[units."North / P1"] volume_l', '[units."North / P2"] food_fish'} <= asked
    assert not (tmp_path / "ponds").exists()


@pytest.mark.parametrize(
    ("said", "rows"),
    [
        ('[table]\ndates = "month first"\n', changed("date", lambda d: f"{d[5:7]}/{d[8:]}/{d[:4]}")),
        ('[table]\ndates = "day first"\n', changed("date", lambda d: f"{d[8:]}/{d[5:7]}/{d[:4]}")),
        ("[table]\nday_numbers = 1900\n", changed("date", lambda d: str(46142 + int(d[8:])))),
        ("[table]\nday_numbers = 1904\n", changed("date", lambda d: str(46142 - 1462 + int(d[8:])))),
        ('[table]\nfill_down = ["place", "unit", "date"]\n', [ROWS[0], ["", "", "", *ROWS[1][3:]], ROWS[2]]),
        ('[words.chosen]\nsick = "moribund"\n', changed("how chosen", lambda c: "sick" if c == "moribund" else c)),
        ('[words.unit]\n"P 1" = "P1"\n', [ROWS[0], ["North", "P 1", *ROWS[1][2:]], ROWS[2]]),
        ('[words.parasite]\n"gill fluke" = "dactylogyrus"\n', changed("parasite", "gill fluke")),
    ],
)
def test_what_mapping_toml_says_is_followed(said, rows, tmp_path):
    table, folder = put(tmp_path, csv_of([HEAD, *rows]), said + SAID)
    import_table(table, folder)
    assert seen(folder) == MEANT


def test_a_column_may_be_named_by_its_head_or_its_letter(tmp_path):
    head = ["Farm X", "Where", "When", "No", "Picked", "Seen", "How", "What", "Warm", "Lost"]
    names = ["place", "unit", "date", "fish", "chosen", "count", "method", "parasite", "temperature_c", "deaths"]
    said = "[columns]\n" + "\n".join(
        f'{name} = "{f"column {letter(i)}" if i % 2 else head[i]}"' for i, name in enumerate(names)
    )
    table, folder = put(tmp_path, csv_of([head, *ROWS]), said + SAID)
    import_table(table, folder)
    assert seen(folder) == MEANT


def workbook(rows, epoch=None, merged=(), formats=()):
    openpyxl = pytest.importorskip("openpyxl")
    from io import BytesIO

    book = openpyxl.Workbook()
    if epoch is not None:
        book.epoch = epoch
    for row in rows:
        book.active.append(row)
    for area in merged:
        book.active.merge_cells(area)
    for cell, form in formats:
        book.active[cell].number_format = form
    stream = BytesIO()
    book.save(stream)
    return stream.getvalue()


def typed(row):
    """A row as a workbook holds it: dates as dates, numbers as numbers."""
    return [
        datetime.fromisoformat(text)
        if i == DAY
        else float(text)
        if i in (8, 9)
        else int(text)
        if text.isdigit()
        else text
        for i, text in enumerate(row)
    ]


def test_a_workbook_is_read_by_its_own_types(tmp_path):
    table, folder = put(tmp_path, workbook([HEAD, *map(typed, ROWS)]), name="table.xlsx")
    import_table(table, folder)
    assert seen(folder) == MEANT


def test_merged_cells_of_a_workbook_hold_for_all_their_rows(tmp_path):
    merged = workbook([["May"], HEAD, *map(typed, ROWS)], merged=("A1:J1", "A3:A5", "B3:B4", "C3:C4"))
    table, folder = put(tmp_path, merged, name="table.xlsx")
    import_table(table, folder)
    assert seen(folder) == MEANT


@pytest.mark.parametrize(("epoch", "first"), [(datetime(1899, 12, 30), 46152), (datetime(1904, 1, 1), 44690)])
def test_day_numbers_of_a_workbook_follow_its_own_calendar(epoch, first, tmp_path):
    rows = [[*typed(row)[:DAY], first + int(row[DAY][8:]) - 10, *typed(row)[DAY + 1 :]] for row in ROWS]
    table, folder = put(tmp_path, workbook([HEAD, *rows], epoch=epoch), name="table.xlsx")
    import_table(table, folder)
    assert seen(folder) == MEANT


def test_the_sheet_of_a_workbook_is_asked_for_where_there_are_several(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for title in ("May", "June"):
        sheet = book.create_sheet(title)
        for row in [HEAD, *ROWS]:
            sheet.append(row)
    book.save(tmp_path / "two.xlsx")
    (tmp_path / "ponds").mkdir()
    mapping = tmp_path / "ponds" / "mapping.toml"
    mapping.write_text(SAID)
    with pytest.raises(InputError, match="May, June"):
        import_table(tmp_path / "two.xlsx", tmp_path / "ponds")
    mapping.write_text('[table]\nsheet = "May"\n' + SAID)
    import_table(tmp_path / "two.xlsx", tmp_path / "ponds")
    assert seen(tmp_path / "ponds") == MEANT


def test_the_same_table_twice_changes_no_byte(tmp_path):
    table, folder = put(tmp_path, csv_of([HEAD, *ROWS]))
    import_table(table, folder)
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    again = import_table(table, folder)
    assert {case["change"] for case in again.cases} == {"unchanged"}
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_rows_appended_next_month_update_the_same_cases(tmp_path):
    table, folder = put(tmp_path, csv_of([HEAD, *ROWS]))
    import_table(table, folder)
    toml = folder / "north_p1" / "case.toml"
    toml.write_text(toml.read_text() + "\n# the owner's own line\n[findings]\nnote = 'pale'\n")
    june = ["North", "P1", "2026-06-09", "1", "netted", "3", "gill clip", "dactylogyrus", "19", "4"]
    corrected = [*ROWS[0][:5], "13", *ROWS[0][6:]]
    table.write_text(csv_of([HEAD, corrected, *ROWS[1:], june]))
    found = import_table(table, folder)
    changes = {
        Path(case["case"]).name: (case["change"], case["rows_added"], case["rows_changed"]) for case in found.cases
    }
    assert changes == {"north_p1": ("updated", 1, 1), "north_p2": ("unchanged", 0, 0)}
    pond = read_case(folder / "north_p1")
    assert [(r.date.month, r.count_low) for r in pond.samples] == [(5, 13), (5, 51), (6, 3)]
    assert [(d.date.month, d.deaths) for d in pond.deaths] == [(5, 1), (6, 4)]
    assert pond.visit_date == date(2026, 6, 9)
    assert pond.findings.note == "pale"
    assert "# the owner's own line" in toml.read_text()
    assert any("number of fish" in text for text in found.warnings)


def test_a_table_of_the_new_rows_alone_keeps_the_old_ones(tmp_path):
    table, folder = put(tmp_path, csv_of([HEAD, *ROWS]))
    import_table(table, folder)
    table.write_text(
        csv_of([HEAD, ["North", "P2", "2026-06-09", "1", "netted", "3", "gill clip", "dactylogyrus", "19", "4"]])
    )
    import_table(table, folder)
    assert {name: len(rows) for name, rows in seen(folder).items()} == {"north_p1": 2, "north_p2": 2}


def test_two_clips_of_one_fish_are_two_preparations(tmp_path):
    table, folder = put(tmp_path, csv_of([HEAD, ROWS[0], ROWS[0], ROWS[2]]))
    for _ in range(2):
        import_table(table, folder)
        assert [len(rows) for rows in seen(folder).values()] == [2, 1]


def test_mapping_toml_is_written_once_and_kept(tmp_path):
    head = [*HEAD, "stock", "volume (m³)", "species", "food fish", "medium"]
    rows = [[*row, "400", "60", "carp", "yes", "fresh"] for row in ROWS]
    table, folder = put(tmp_path, csv_of([head, *rows]), said="")
    import_table(table, folder)
    mapping = folder / "mapping.toml"
    assert tomllib.loads(mapping.read_text())["columns"]["volume_l"] == "volume (m³)"
    mapping.write_text(mapping.read_text() + "# mine\n")
    import_table(table, folder)
    assert mapping.read_text().endswith("# mine\n")
    assert read_case(folder / "north_p1").water.volume_l.value == 60_000


def test_mapping_alone_asks_and_is_then_filled_in(tmp_path):
    table, folder = put(tmp_path, csv_of([[*HEAD, "Glorp"], *([*r, "1"] for r in ROWS)]), said="")
    found = import_table(table, folder, mapping_only=True)
    assert any("Glorp" in text for text in found.warnings)
    assert [path.name for path in folder.iterdir()] == ["mapping.toml"]
    mapping = folder / "mapping.toml"
    text = mapping.read_text().replace("ignore = []", 'ignore = ["Glorp"]')
    for key, value in (("volume_l", "60000"), ("medium", '"fresh"'), ("species", '"carp"'), ("stock", "400"),
                       ("food_fish", '"yes"')):  # fmt: skip
        text = text.replace(f'{key} = ""', f"{key} = {value}", 1)
    mapping.write_text(text)
    import_table(table, folder)
    assert seen(folder) == MEANT
    with pytest.raises(InputError, match=r"mapping\.toml"):
        import_table(table, folder, mapping_only=True)


def test_what_a_case_would_refuse_is_told_with_its_case(tmp_path):
    table, folder = put(tmp_path, csv_of([HEAD, *ROWS]), SAID.replace("60000", "-1"))
    with pytest.raises(InputError) as caught:
        import_table(table, folder)
    assert {p.file for p in caught.value.problems} == {"north_p1: case.toml", "north_p2: case.toml"}


def test_no_name_means_two_things():
    names = [name for names in HEADS.values() for name in names]
    assert len(names) == len(set(names))
    assert not UNUSED & set(names)
    assert all(
        name == simple(name)
        for name in [*names, *UNUSED, *(w for table in WORDS.values() for w in table)]
        if name != "#"
    )
    assert set(WORDS) <= set(FIELDS)
