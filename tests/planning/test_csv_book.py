import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mill.refusal import Refusal
from planning import csv_book
from planning.cloth import RouteStep
from planning.csv_book import COMMA, POINT, Column, in_points, in_sign, read_sheet

COLUMNS = [
    Column("code", "", "A1", str, is_needed=True),
    Column("width_cm", "", "150", Decimal, is_needed=True, is_number=True),
    Column("note", "", "", str),
]


def read(text, **changes):
    return read_sheet(text.encode(), COLUMNS, **{"key": ["code"], **changes})


def said(sheet):
    return [str(wrong) for wrong in sheet.wrong]


def test_commas_and_semicolons_are_told_apart_by_the_header():
    comma = read("code,width_cm,note\nA1,150,thin; soft\n")
    semicolon = read('code;width_cm;note\nA1;150;thin, "soft"\n', decimal=COMMA)
    assert comma.good[0].cells == {"code": "A1", "width_cm": Decimal(150), "note": "thin; soft"}
    assert semicolon.good[0].cells["note"] == 'thin, "soft"'


def test_the_header_may_be_written_as_people_write_it_and_in_any_order():
    sheet = read("Note,Width (cm),CODE\nfine,150,A1\n")
    assert sheet.columns == ("note", "width_cm", "code")


def test_all_that_is_wrong_with_the_header_is_said_at_once():
    with pytest.raises(Refusal) as refused:
        read("code,widht_cm,code,\nA1,150,B,\n")
    assert refused.value.message == (
        'Row 1, which names the columns: There is no column "widht_cm". Did you mean width_cm? The column code stands '
        "there twice. Column 4 has no name. The column width_cm is missing. The columns are code, width_cm, note."
    )


def test_rows_are_counted_as_a_spreadsheet_counts_them():
    sheet = read('code,width_cm,note\nA1,150,"two\nlines"\n\n,,\nA2,,\n')
    assert [(row.number, row.cells["code"], row.cells["note"]) for row in sheet.good] == [(2, "A1", "two lines")]
    assert said(sheet) == ["Row 5, width_cm: Nothing is written here. Every row needs it, such as 150."]


def test_a_row_that_is_too_long_or_too_short_is_not_guessed_at():
    sheet = read("code,width_cm,note\nA1,150\nA2,150,thin,soft\nA3,150,fine\n")
    assert [row.cells["code"] for row in sheet.good] == ["A3"]
    assert [wrong.row for wrong in sheet.wrong] == [2, 3]
    assert "has 2 cells, and the header has 3" in said(sheet)[0]


def test_a_thing_stands_in_one_row_only():
    sheet = read("code,width_cm,note\nA1,150,\na1,160,\n")
    assert said(sheet) == ["Row 3, code: There is code a1 in row 2 already. Write it once."]


@pytest.mark.parametrize(
    ("data", "why"),
    [
        ("code,width_cm\nA1,150\n".encode("utf-16"), "UTF-16"),
        ("code,width_cm,note\nA1,150,grün\n".encode("latin-1"), "byte 29 is 0xfc"),
        (b"PK\x03\x04 a workbook", "a workbook, not a CSV file"),
        (b"code,width_cm\nA1,15\x000\n", "no text"),
        (b"", "The file is empty"),
        (b"\xef\xbb\xbf\n\n", "The file is empty"),
        (b"code,width_cm\n", "no row under it"),
        (b'code,width_cm\n"A1,150\n', "Row 2 can't be read as CSV"),
        (b"code,width_cm\n" + b"A,1\n" * 20_001, "more than 20000 rows"),
        (b"x" * 5_000_001, "5.0 MB, and 5 MB are taken"),
    ],
)
def test_what_is_no_such_file_gets_a_sentence(data, why):
    with pytest.raises(Refusal, match=re.escape(why)):
        read_sheet(data, COLUMNS, key=["code"])


def test_the_mark_of_utf_8_makes_no_difference():
    text = "code,width_cm,note\nA1,150,grün\n"
    assert read_sheet(text.encode("utf-8-sig"), COLUMNS, key=["code"]) == read(text)


def test_a_formula_is_only_a_text_with_or_without_the_sign_that_guards_it():
    sheet = read("code,width_cm,note\nA1,150,'=1+1\nA2,150,=1+1\nA3,150,'tis\n")
    assert [row.cells["note"] for row in sheet.good] == ["=1+1", "=1+1", "'tis"]


def test_a_cell_as_long_as_a_book_is_refused_and_shown_in_part():
    sheet = read(f"code,width_cm,note\nA1,150,{'x' * 10_001}\n")
    assert said(sheet) == ["Row 2, note: It is 10001 letters long, and 10000 are taken. Shorten it."]
    assert len(sheet.wrong[0].found) == 60


# Decimals


@given(st.decimals(min_value=0, max_value=10**9, places=3), st.sampled_from([POINT, COMMA]))
def test_a_number_written_with_the_declared_sign_is_that_number(number, decimal):
    assert Decimal(in_points(in_sign(str(number), decimal), decimal)) == number


@given(st.integers(1, 10**9), st.integers(0, 99), st.sampled_from([POINT, COMMA]))
def test_the_other_sign_parts_thousands_or_is_refused(whole, cents, decimal):
    written = f"{whole:,}.{cents:02d}"
    if decimal == COMMA:
        written = written.translate(str.maketrans(",.", ".,"))
    assert Decimal(in_points(written, decimal)) == Decimal(f"{whole}.{cents:02d}")


@pytest.mark.parametrize(
    ("text", "decimal", "way_out"),
    [
        ("1,234", POINT, "Write 1.234, or declare the comma"),
        ("1.234", COMMA, "Write 1,234, or declare the point"),
        ("12,5 kg", POINT, "Write 12.5, or declare the comma"),
        ("1,2,3", POINT, "Write one number, or declare the comma"),
        ("1.23.4,5", COMMA, "Write one number, or declare the point"),
    ],
)
def test_a_number_that_could_be_another_is_refused(text, decimal, way_out):
    with pytest.raises(Refusal, match=re.escape(way_out)):
        in_points(text, decimal)


# Days, routes, letters


@pytest.mark.parametrize("text", ["2026-3-4", "2026-03-04 00:00:00", "04.03.2026", "4. 3. 2026", "4-Mar-2026"])
def test_a_day_is_read_as_it_is_written(text):
    assert csv_book.read_day(text).isoformat() == "2026-03-04"


@pytest.mark.parametrize("text", ["3/4/2026", "2026-02-30", "4 Mer 2026", "46085", "2026", "soon"])
def test_what_is_no_day_for_certain_is_refused(text):
    with pytest.raises(Refusal):
        csv_book.read_day(text)


steps = st.builds(
    RouteStep,
    name=st.sampled_from(
        ["scour", "mill", "wash off", "hydro-extract", "tenter and dry", "press", "raise, 2 times over"]
    ),
    width_shrink_pct=st.decimals(min_value=-50, max_value=99, places=2),
    length_shrink_pct=st.decimals(min_value=-50, max_value=99, places=2),
    mass_loss_pct=st.decimals(min_value=0, max_value=99, places=2),
    note=st.sampled_from(["", "to 152 cm", "cold; twice/over"]).map(
        lambda note: note.replace("/", " ").replace(";", "")
    ),
)


@given(st.lists(steps, max_size=8))
def test_a_route_is_read_as_it_was_written(route):
    assert list(csv_book.read_route(csv_book.write_route(route))) == route


@pytest.mark.parametrize(
    "text", ["w10", "scour w", "scour w10 x5", "scour 10", "scour (w10", "scour w100", "scour w10 w2", "scour w10 hot"]
)
def test_a_step_that_can_not_be_read_is_named(text):
    with pytest.raises(Refusal, match=r"Step 2|leaves no cloth"):
        csv_book.read_route(f"press / {text}")


@given(st.dictionaries(st.sampled_from("ABCDXYZ"), st.from_regex(r"[A-Z]{2,6}-[0-9]{2}", fullmatch=True)))
def test_letters_are_read_as_they_were_written(codes):
    assert csv_book.read_letters(csv_book.write_letters(codes)) == codes


@pytest.mark.parametrize("text", ["A=", "A=X-1 A=X-2", "AB=X-1", "1=X-1", "X-1"])
def test_letters_that_can_not_be_read_are_refused(text):
    with pytest.raises(Refusal):
        csv_book.read_letters(text)
