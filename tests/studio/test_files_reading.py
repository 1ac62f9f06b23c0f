"""Files of lists: letters, signs between cells, headings, units, and what is refused early."""

import io
import zipfile
from datetime import date
from decimal import Decimal

import openpyxl
import pytest

from studio.errors import ReadingError
from studio.files import limits, texts
from studio.files.columns import Column
from studio.files.grids import content_of, read_grid
from studio.files.kinds import COMMA, POINT, Asked, read_cell
from studio.files.names import folded
from studio.files.rows import RowReader, read_list
from studio.sizes import Size

COLUMNS = (
    Column("name", "name", needed=True),
    Column("mass", "mass", unit="kg", also=("weight",)),
    Column("grammage", "grammage", unit="g/m2"),
    Column("moisture", "share", unit="%", below_one=True),
    Column("paid", "money", money=True),
    Column("day", "day"),
    Column("remarks", "text", longest=2000),
)
ZURICH = "name;remarks\nZürich;naïve café\n"


def rows_of(content, **how):
    return [row.texts for row in read_list(content, COLUMNS, **how).rows]


def book_of(*rows, sheets=("List",)):
    book = openpyxl.Workbook()
    book.active.title = sheets[0]
    for title in sheets[1:]:
        book.create_sheet(title)
    for row in rows:
        book.active.append(row)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def refused(content, **how):
    with pytest.raises(ReadingError) as refusal:
        read_list(content, COLUMNS, **how)
    return str(refusal.value)


# --- letters and signs ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("encoding", "mark", "name"),
    [
        ("utf-8", b"", "UTF-8"),
        ("utf-8-sig", b"", "UTF-8"),
        ("utf-16", b"", "UTF-16"),
        ("utf-16-le", b"\xff\xfe", "UTF-16"),
        ("utf-16-be", b"\xfe\xff", "UTF-16"),
        ("utf-16-le", b"", "UTF-16"),
        ("utf-16-be", b"", "UTF-16"),
        ("latin-1", b"", "Latin-1"),
        ("cp1252", b"", "Latin-1"),
    ],
)
def test_letters_are_found_out_and_said(encoding, mark, name):
    file = read_list(mark + ZURICH.encode(encoding), COLUMNS)
    assert [row.texts for row in file.rows] == [{"name": "Zürich", "remarks": "naïve café"}]
    assert file.notes == [
        f"Read as {name} text, its cells parted by semicolons.",
        "Look whether these words are right: Zürich, naïve, café.",
    ]


def test_signs_that_only_windows_has_are_told_from_latin_1():
    file = read_list("name\n“Loft” – 5 €\n".encode("cp1252"), COLUMNS)
    assert file.rows[0].texts["name"] == "“Loft” – 5 €"
    assert file.how.startswith("Read as Windows-1252 text")


def test_plain_letters_need_no_second_look():
    assert read_list(b"name\nLoft\n", COLUMNS).beyond == ()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"name\n\x81\n", "looks like Windows-1252 text, and byte 6 cannot be read"),
        (b"\xef\xbb\xbfname\n\xff\n", "looks like UTF-8 text"),
        (b"\xff\xfen\x00a\x00\x00\xd8", "looks like UTF-16 text"),
        (b"name\n\0\n", "The file is no text."),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\xff", "The file is no text."),
    ],
)
def test_file_that_is_in_no_letters_is_refused(content, said):
    assert said in refused(content)


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_sign_between_cells_is_found_out(mark):
    content = f'name{mark}"remarks"\nLoft{mark}"a{mark}b"\n'.encode()
    assert rows_of(content) == [{"name": "Loft", "remarks": f"a{mark}b"}]


def test_sign_between_cells_can_be_told_in_the_first_line():
    assert rows_of(b"sep=;\r\nname;mass (kg)\r\nLoft;1,5\r\n") == [{"name": "Loft", "mass": "1,5"}]


def test_line_breaks_in_a_cell_stay_and_rows_keep_their_numbers():
    file = read_list(b'name,remarks\nLoft,"one\ntwo"\n\nShed,x\n', COLUMNS)
    assert file.rows[0].texts["remarks"] == "one\ntwo"
    assert [row.number for row in file.rows] == [2, 4]


# --- headings ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("mass", ""),
        (" MASS ", ""),
        ("Weight", ""),
        ("mass (kg)", "kg"),
        ("Mass [g]", "g"),
        ("mass(LB)", "lb"),
        ("mass_(oz)", "oz"),
        ("Mass, kg", "kg"),
        ("Mass in g", "g"),
    ],
)
def test_headings_are_known_in_any_writing_with_their_unit(heading, unit):
    file = read_list(f'name,"{heading}"\nLoft,1\n'.encode(), COLUMNS)
    assert file.asked["mass"].unit == unit


def test_grammage_percent_and_money_have_units_in_headings_too():
    content = b"name,grammage [g/m2],moisture %,paid (GBP)\nLoft,120,8,9.40\n"
    file = read_list(content, COLUMNS)
    assert (file.asked["grammage"].unit, file.asked["moisture"].unit) == ("g/m2", "%")
    reader = RowReader(file.rows[0], {one.name: one for one in COLUMNS}, file.asked)
    assert reader.take("moisture") == Decimal("0.08")
    assert reader.take("paid") == 940
    assert reader.take("grammage").to("g/m2").magnitude == 120
    assert reader.is_fine


@pytest.mark.parametrize(
    ("above", "titles"),
    [
        ("Stock of the loft, by hand\n", []),
        ("Stock of the loft\n", ["Stock of the loft"]),
        ("\nStock of the loft;;\n\nMarch\n", ["Stock of the loft", "March"]),
        ('"Stock, March"\n', ["Stock, March"]),
    ],
)
def test_a_title_above_the_headings_is_left_out_and_said(above, titles):
    mark = ";" if ";" in above else ","
    content = f"{above}name{mark}mass (kg)\nLoft{mark}3\n".encode()
    if not titles:
        # Two cells are no title: what to do is said.
        assert "Headings stand first: take away the lines above them." in refused(content)
        return
    file = read_list(content, COLUMNS)
    assert [row.texts for row in file.rows] == [{"name": "Loft", "mass": "3"}]
    # Rows keep their numbers in the file.
    assert file.rows[0].number == content.count(b"\n")
    assert file.notes[1:] == [
        f"“{title}” above the headings is taken for a title and left out." for title in titles
    ]


def test_a_title_without_a_mark_does_not_decide_what_parts_cells():
    file = read_list(b"Stock of the loft\nname;mass (kg)\nLoft;1,5\n", COLUMNS)
    assert [row.texts for row in file.rows] == [{"name": "Loft", "mass": "1,5"}]


def test_a_list_says_the_same_with_a_title_and_without():
    plain, titled = (
        read_list(text, COLUMNS) for text in (b"name\nLoft\n", b"Rooms\nname\nLoft\n")
    )
    assert plain.digest == titled.digest


def test_lines_without_a_heading_anywhere_are_refused_by_the_first():
    answer = refused(b"Stock\nof\nthe\nloft\nin March\n")
    assert answer.startswith("No column is called “stock”.")
    assert "Headings stand first: take away the lines above them." in answer


@pytest.mark.parametrize(
    ("headings", "said"),
    [
        ("name,mas", "No column is called “mas”; near it is “mass”."),
        ("name,mass (mm)", "“mass (mm)”: that column is measured in kg, g, mg, t, lb or oz."),
        ("name,day (kg)", "“day (kg)”: that column has no unit in its heading."),
        ("name,paid (USD)", "“paid (usd)”: amounts are in the studio's currency, GBP."),
        ("name,mass,weight", "The heading “mass” stands there twice."),
        ("mass", "There is no heading “name”."),
        ("name,,mass", "A column with cells in it has no heading."),
    ],
)
def test_headings_that_fit_nothing_are_named_with_what_is_near(headings, said):
    answer = refused(f"{headings}\na,b,c\n".encode())
    assert said in answer
    assert answer.endswith("Known are: name, mass, grammage, moisture, paid, day, remarks.")


# --- cells ------------------------------------------------------------------------------------


def cell(kind, text, unit="", decimals="", **column):
    return read_cell(text, Column("cell", kind, **column), Asked(unit, "GBP", decimals))


@pytest.mark.parametrize(
    ("kind", "text", "unit", "value"),
    [
        ("mass", "2,5", "kg", 2_500_000),
        ("mass", "2.5 kg", "g", 2_500_000),
        ("mass", "1", "lb", 453_592),
        ("length", "12 cm", "mm", 120_000),
        ("share", "8 %", "", Decimal("0.08")),
        ("share", "6,5", "%", Decimal("0.065")),
        ("count", "120", "", 120),
        ("number", "2,5", "", Decimal("2.5")),
        ("money", "9,40", "", 940),
        ("day", "2026-03-14", "", date(2026, 3, 14)),
        ("day", "14.3.2026", "", date(2026, 3, 14)),
        ("day", "14 Mar 2026", "", date(2026, 3, 14)),
        ("yes", "Yes", "", True),
        ("yes", "no", "", False),
        ("size", "A4", "", Size(210_000, 297_000)),
        ("size", "210 x 297 mm", "", Size(210_000, 297_000)),
    ],
)
def test_cell_means_what_the_same_words_mean_in_a_form(kind, text, unit, value):
    assert cell(kind, text, unit) == value


@pytest.mark.parametrize(
    ("decimals", "text", "value"),
    [
        (COMMA, "1,234", 1_234_000),
        (POINT, "1,234", 1_234_000_000),
        (COMMA, "1.234,5", 1_234_500_000),
        (POINT, "1,234.5", 1_234_500_000),
        (COMMA, "1.5", 1_500_000),
    ],
)
def test_sign_of_decimals_settles_what_can_mean_two_things(decimals, text, value):
    assert cell("mass", text, "kg", decimals) == value


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [
        ("mass", "1,234 kg", "can mean two things. Write 1.234 kg or 1234 kg. Or say what marks"),
        ("mass", "5", "has no unit"),
        ("mass", "-5 kg", "has a sign before it"),
        ("mass", "9**9**8 kg", "can't be read"),
        ("share", "101 %", "outside what is allowed"),
        ("share", "8.00001 %", "at most four places"),
        ("count", "1.5", "is not whole"),
        ("number", "1.234", "at most two places"),
        ("day", "03/04/2026", "can be read in two ways. Write the year first"),
        ("day", "1026-01-01", "Give a day from 2000 to 2100, got 1026."),
        ("yes", "perhaps", "is neither yes nor no"),
        ("name", "a" * 81, "Give at most 80 characters; this has 81."),
        ("name", "a\x07b", "A sign stands here that cannot be seen."),
        ("money", "1e9", "Give “cell” as a plain amount in GBP"),
        ("mass", "1.234,5 kg", "can't be read as a mass. Write it such as 2.5 kg"),
        ("mass", "1.234,5 kg", "Or say what marks decimals in the whole file."),
        ("money", "£1,094.50", "Or say what marks decimals in the whole file."),
    ],
)
def test_cell_that_says_nothing_is_refused(kind, text, said):
    with pytest.raises(ReadingError) as refusal:
        cell(kind, text)
    assert said in str(refusal.value)


def test_choice_takes_value_or_label_in_any_writing():
    choices = (("as-is", "kilogram as sold"), ("oven-dry", "Oven-dry: without water"))
    assert cell("choice", "As is", choices=choices) == "as-is"
    assert cell("choice", "OVEN DRY", choices=choices) == "oven-dry"
    with pytest.raises(ReadingError, match="“bale” is none of: as-is, oven-dry"):
        cell("choice", "bale", choices=choices)


# --- workbooks --------------------------------------------------------------------------------


def test_workbook_gives_numbers_days_and_answers_as_text():
    content = book_of(
        ["name", "mass (kg)", "day", "remarks"],
        ["Loft", 2.5, date(2026, 3, 14), True],
        [12, 1e-3, None, 0.1 + 0.2],
    )
    file = read_list(content, COLUMNS)
    assert [row.texts for row in file.rows] == [
        {"name": "Loft", "mass": "2.5", "day": "2026-03-14", "remarks": "yes"},
        {"name": "12", "mass": "0.001", "day": "", "remarks": "0.3"},
    ]
    assert file.how == "Read as a workbook, its sheet “List”."


def test_formulas_and_errors_are_faults_of_their_cells():
    content = book_of(["name", "mass (kg)"], ["=A1", "#N/A"])
    faults = read_list(content, COLUMNS).rows[0].faults
    assert [name for name, _ in faults] == ["name", "mass"]
    assert faults[0][1] == "A formula stands here. Put its value in its place."
    assert faults[1][1] == "An error of the spreadsheet stands here. Put a value in its place."


def test_sheet_is_chosen_by_name():
    content = book_of(["name"], ["Loft"], sheets=("List", "Notes"))
    assert rows_of(content, sheet="List") == [{"name": "Loft"}]
    assert "There is no sheet “Old”. There are: List, Notes." in refused(content, sheet="Old")


# --- limits -----------------------------------------------------------------------------------


def test_example_rows_are_passed_over_and_said():
    file = read_list(b"name,mass\nexample: Loft,5 kg\nShed,5 kg\n", COLUMNS)
    assert [row.texts["name"] for row in file.rows] == ["Shed"]
    assert file.notes[-1] == "1 example row was left out."


def test_letters_with_marks_are_the_same_in_one_sign_or_two():
    # "ê" as one sign, and as "e" with the mark that stands over it.
    assert folded("Cr\u00eape") == folded("Cre\u0302pe")


def test_too_much_is_refused_with_the_limit(monkeypatch):
    monkeypatch.setattr(limits, "MOST_ROWS", 2)
    assert "more than 2 rows" in refused(b"name\na\nb\nc\n")
    monkeypatch.setattr(limits, "MOST_LINES", 5)
    assert "goes on below line 5" in refused(b"name\na\n" + b"\n" * 5 + b"b\n")
    wide = ",".join(["name", *[""] * 70, "x"])
    assert "goes beyond column 60" in refused(wide.encode())
    assert "goes beyond column 60" in refused(book_of(["name"], ["a", *[None] * 70, "x"]))


def test_long_cell_is_a_fault_and_one_without_end_is_told():
    rows = read_list(b"name\n" + b"x" * 6000 + b"\n", COLUMNS).rows
    assert rows[0].faults == (("name", "Give at most 5000 characters; this has 6000."),)
    assert "Look for a quotation mark" in refused(b'name\n"' + b"x" * 200_000)


def test_size_of_a_file_is_asked_before_it_is_read(tmp_path, monkeypatch):
    path = tmp_path / "list.csv"
    with path.open("wb") as file:
        file.truncate(2_000_000_000)
    monkeypatch.setattr("pathlib.Path.read_bytes", lambda path: pytest.fail("It was read."))
    with pytest.raises(ReadingError, match="is larger than 20 MB"):
        content_of(path)


def test_file_that_is_handed_over_whole_is_measured_too(monkeypatch):
    monkeypatch.setattr(limits, "MOST_BYTES", 10)
    with pytest.raises(ReadingError, match="is larger than"):
        read_grid(b"name\nLoft, Shed")


def test_row_reader_reads_the_same_words_once(monkeypatch):
    file = read_list(b"name,mass (kg)\na,5\nb,5\nc,6\n", COLUMNS)
    columns, before = {one.name: one for one in COLUMNS}, {}
    read = [RowReader(row, columns, file.asked, before).take("mass") for row in file.rows]
    assert read == [5_000_000, 5_000_000, 6_000_000]
    assert set(before) == {("mass", "5"), ("mass", "6")}


def test_words_beyond_plain_letters_are_cut_short():
    assert texts.decoded(("ä" * 90).encode()).beyond == ("ä" * 40,)


def test_same_words_in_another_file_have_the_same_mark():
    one = read_list(b"name,mass (kg)\nLoft,5\n", COLUMNS)
    other = read_list(b"Mass (KG);Name\n5;Loft\n", COLUMNS)
    third = read_list(b"name,mass (g)\nLoft,5\n", COLUMNS)
    assert one.digest == other.digest != third.digest


def test_packed_file_that_is_no_workbook_is_refused():
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as packed:
        packed.writestr("hello.txt", "no workbook")
    assert "The workbook cannot be read." in refused(file.getvalue())
