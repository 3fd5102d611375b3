"""The plain daily file is read exactly or refused in one sentence.

What must hold:

* order, blank lines, blank cells, extra columns, header case, a byte order mark and either line
  ending change nothing about the readings;
* anything else is refused with one sentence that names the file and, where there is one, the
  line, as a `DataError` (status 1), or a `UsageError` (status 2) where the file cannot be opened;
* a valid file is read back to the last digit, and no damage to a file ever raises anything but
  a `SapdialError` or silently turns one number into another.
"""

import csv
import datetime as dt
import io
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from timing.errors import DataError, SapdialError, UsageError
from timing.intake.daily_csv import parse_daily_csv, read_daily_csv
from timing.temperature import TemperatureRecord

HEADER = "date,tmin_c,tmax_c"
PLAIN = [
    HEADER,
    "2020-02-27,-1.5,6.25",
    "2020-02-28,0,7",
    "2020-02-29,2.5,11.0",
    "2020-03-01,3.1,9.9",
    "2020-03-02,-0.4,8.8",
]
TMIN = [-1.5, 0.0, 2.5, 3.1, -0.4]
TMAX = [6.25, 7.0, 11.0, 9.9, 8.8]


def read(path: Path, content: str | bytes) -> TemperatureRecord:
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_daily_csv(path)


def assert_plain(record: TemperatureRecord) -> None:
    assert str(record.first) == "2020-02-27"
    assert record.tmin_c.tolist() == TMIN
    assert record.tmax_c.tolist() == TMAX
    assert record.missing_days == 0


# ---------------------------------------------------------------------------- what is accepted


def with_extra_columns() -> str:
    rows = ["station,TMAX_C,note,date,tmin_c,precip"]
    for line in PLAIN[1:]:
        date, low, high = line.split(",")
        rows.append(f'A,{high},"wind, then rain",{date},{low},1.0')
    return "\n".join(rows)


ACCEPTED = {
    "as documented": "\n".join(PLAIN) + "\n",
    "no newline at the end": "\n".join(PLAIN),
    "CRLF": "\r\n".join(PLAIN) + "\r\n",
    "byte order mark": "\ufeff" + "\n".join(PLAIN) + "\n",
    "byte order mark and CRLF": "\ufeff" + "\r\n".join(PLAIN),
    "header case and spaces": "\n".join(["Date, TMIN_C ,Tmax_C", *PLAIN[1:]]),
    "spaces around cells": "\n".join([HEADER, *(s.replace(",", " , ") for s in PLAIN[1:])]),
    "blank lines between": "\n\n".join(PLAIN) + "\n\n\n",
    "lines of commas": "\n,,\n".join(PLAIN) + "\n , , \n",
    "newest first": "\n".join([HEADER, *PLAIN[:0:-1]]),
    "extra columns, other order": with_extra_columns(),
    "quoted cells": "\n".join([HEADER, *(f'"{s}"'.replace(",", '","') for s in PLAIN[1:])]),
    "plus signs": "\n".join(PLAIN).replace(",7", ",+7"),
    "blank cells beyond the header": "\n".join([HEADER, *(s + ",," for s in PLAIN[1:])]),
}


@pytest.mark.parametrize("content", ACCEPTED.values(), ids=ACCEPTED)
def test_the_same_readings_in_other_clothes(tmp_path: Path, content: str) -> None:
    assert_plain(read(tmp_path / "bench.csv", content))


def test_blank_lines_before_the_header_are_skipped(tmp_path: Path) -> None:
    assert_plain(read(tmp_path / "bench.csv", "\n\n" + "\n".join(PLAIN)))


def test_blank_cells_are_missing_days(tmp_path: Path) -> None:
    content = "\n".join(
        [HEADER, "2020-03-01,1,9", "2020-03-02,,8", "2020-03-03,2,", "2020-03-04,4,6"]
    )
    record = read(tmp_path / "bench.csv", content)
    assert record.state.tolist() == [0, 1, 1, 0]
    assert record.missing_days == 2
    np.testing.assert_allclose(record.tmin_c, [1, 1.5, 2, 4])  # a straight line where blank
    np.testing.assert_allclose(record.tmax_c, [9, 8, 7, 6])


def test_absent_days_are_missing_days(tmp_path: Path) -> None:
    record = read(tmp_path / "bench.csv", f"{HEADER}\n2020-02-28,1,9\n2020-03-02,4,6\n")
    assert record.missing_days == 2  # 29 February and 1 March
    np.testing.assert_allclose(record.tmin_c, [1, 2, 3, 4])


def test_the_record_names_its_file(tmp_path: Path) -> None:
    path = tmp_path / "my bench é.csv"
    assert read(path, "\n".join(PLAIN)).source == str(path)


def test_a_note_in_an_extra_column_may_hold_any_text(tmp_path: Path) -> None:
    notes = ["plain", "next\x85line", "form\x0cfeed", "line\u2028separator", "tab\tand so on"]
    rows = [f"{line},{note}" for line, note in zip(PLAIN[1:], notes, strict=True)]
    assert_plain(read(tmp_path / "bench.csv", "\n".join([HEADER + ",note", *rows])))


def test_a_note_may_hold_a_quoted_newline(tmp_path: Path) -> None:
    rows = [f'{line},"two\nlines"' for line in PLAIN[1:]]
    assert_plain(read(tmp_path / "bench.csv", "\n".join([HEADER + ",note", *rows])))


# ---------------------------------------------------------------------------- what is refused


def spoil(line: int, text: str) -> str:
    """The plain file with one line (counted from 1) replaced."""
    return "\n".join([*PLAIN[: line - 1], text, *PLAIN[line:]]) + "\n"


def season_of_rows(change: str) -> str:
    """A hundred and fifty ordinary days, changed in one way."""
    rows = [HEADER]
    for number in range(150):
        day = dt.date(2020, 4, 1) + dt.timedelta(days=number)
        low, high = 8.0 + number % 7, 18.0 + number % 11
        if change == "crossed" and number in (40, 90):
            low, high = high, low
        elif change == "°F":
            low, high = low * 1.8 + 32, high * 1.8 + 32
        elif change == "tenths":
            low, high = low * 10, high * 10
        elif change == "kelvin":
            low, high = low + 273.15, high + 273.15
        rows.append(f"{day},{low:.1f},{high:.1f}")
    return "\n".join(rows)


# what is wrong, the file, and what the sentence must hold besides the file's name
REFUSED: dict[str, tuple[str | bytes, str]] = {
    "empty file": ("", "empty"),
    "only blank lines": ("\n\n \n", "empty"),
    "only a header": (HEADER + "\n", "no readings"),
    "header and blank lines": (HEADER + "\n\n,,\n", "no readings"),
    "one column": ("date\n2020-01-01\n", "line 1: no column tmin_c, tmax_c"),
    "semicolons": ("date;tmin_c;tmax_c\n2020-01-01;1;5\n", "line 1: no column"),
    "no header": ("\n".join(PLAIN[1:]), "line 1: no column"),
    "other header names": ("date,tmin,tmax\n2020-01-01,1,5\n", "line 1: no column tmin_c, tmax_c"),
    "a repeated header column": (f"{HEADER},tmin_c\n2020-01-01,1,5,2\n", "line 1: column tmin_c"),
    "a short line": (spoil(4, "2020-02-29,2.5"), "line 4: 2 "),
    "a line with a cell too many": (spoil(4, "2020-02-29,2.5,11,4"), "line 4: 4 "),
    "text for a minimum": (spoil(4, "2020-02-29,cold,11"), "line 4: tmin_c 'cold'"),
    "text for a maximum": (spoil(4, "2020-02-29,2.5,M"), "line 4: tmax_c 'M'"),
    "comma decimals, unquoted": (spoil(4, "2020-02-29,2,5,11,0"), "line 4"),
    "comma decimals, quoted": (spoil(4, '2020-02-29,"2,5","11,0"'), "line 4: tmin_c '2,5'"),
    "an underscore": (spoil(4, "2020-02-29,1_0,11"), "line 4: tmin_c '1_0'"),
    "infinity": (spoil(4, "2020-02-29,2.5,inf"), "line 4: tmax_c 'inf'"),
    "minus infinity": (spoil(4, "2020-02-29,-Infinity,11"), "line 4: tmin_c '-Infinity'"),
    "too large to be a number": (spoil(4, "2020-02-29,2.5,1e400"), "line 4: tmax_c '1e400'"),
    "minus nan": (spoil(4, "2020-02-29,-nan,11"), "line 4: tmin_c '-nan'"),
    "n/a": (spoil(4, "2020-02-29,n/a,11"), "line 4: tmin_c 'n/a'"),
    "null": (spoil(4, "2020-02-29,null,11"), "line 4: tmin_c 'null'"),
    "none": (spoil(4, "2020-02-29,None,11"), "line 4: tmin_c 'None'"),
    "a dash": (spoil(4, "2020-02-29,-,11"), "line 4: tmin_c '-'"),
    "a number with its unit": (spoil(4, "2020-02-29,2.5 °C,11"), "line 4: tmin_c '2.5 °C'"),
    "hexadecimal": (spoil(4, "2020-02-29,0x1A,30"), "line 4: tmin_c '0x1A'"),
    "day first": (spoil(4, "31/12/2020,2.5,11"), "line 4: date '31/12/2020'"),
    "month first": (spoil(4, "12/31/2020,2.5,11"), "line 4: date '12/31/2020'"),
    "a date without dashes": (spoil(4, "20200229,2.5,11"), "line 4: date '20200229'"),
    "a date with a time": (spoil(4, "2020-02-29T06:00,2.5,11"), "line 4: date"),
    "a date without zeros": (spoil(4, "2020-2-29,2.5,11"), "line 4: date '2020-2-29'"),
    "no date": (spoil(4, ",2.5,11"), "line 4: date ''"),
    "an impossible day": (spoil(4, "2021-02-30,2.5,11"), "line 4: 2021-02-30"),
    "an impossible month": (spoil(4, "2021-13-01,2.5,11"), "line 4: 2021-13-01"),
    "29 February of a common year": (spoil(4, "2021-02-29,2.5,11"), "line 4: 2021-02-29"),
    "digits of another script": (spoil(4, "٢٠٢٠-02-29,2.5,11"), "line 4"),
    "a date twice": (spoil(5, "2020-02-28,3,9"), "line 5: 2020-02-28"),
    "a date twice, far apart and unsorted": (
        "\n".join([*PLAIN, "2020-01-01,1,5", "2020-02-27,-1.5,6.25"]),
        "line 8: 2020-02-27",
    ),
    "minimum above maximum": (season_of_rows("crossed"), "2 days of 150"),
    "°F": (season_of_rows("°F"), "°F"),
    "tenths of a degree": (season_of_rows("tenths"), "tenths of °C"),
    "kelvin": (season_of_rows("kelvin"), "kelvin"),
    "no reading at all": (f"{HEADER}\n2020-01-01,,\n2020-01-02,,\n", "no readings"),
    "a picture": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\xff\xd8", "not a text file"),
    "bytes of every kind": (bytes(range(256)), "not a text file"),
    "UTF-16": ("\n".join(PLAIN).encode("utf-16"), "not a text file"),
    "Latin-1": ("\n".join([HEADER + ",Höhe", *PLAIN[1:]]).encode("latin-1"), "UTF-8"),
    "a NUL byte in a number": (spoil(4, "2020-02-29,2\x00.5,11"), "line 4: tmin_c"),
    "a NUL byte in a date": (spoil(4, "2020-02-29\x00,2.5,11"), "line 4: date"),
    "a NUL byte in the header": ("date,tmin_c\x00,tmax_c\n2020-01-01,1,5\n", "line 1"),
    "a very long line": (spoil(4, "2020-02-29," + "9" * 200_000 + ",11"), "line 4"),
    "a very long number": (spoil(4, "2020-02-29," + "9" * 2_000 + ",11"), "line 4: tmin_c"),
    "a very long header": ("x" * 5_000 + "\n1\n", "line 1: no column"),
    "a newline inside a number": (spoil(4, '2020-02-29,"1\n2",15'), "tmin_c '1"),
    "a newline inside a date": (spoil(4, '"2020-02\n-29",1,15'), "date '2020-02"),
    "a newline before a number": (spoil(4, '2020-02-29,"-\n2",15'), "tmin_c '-"),
    "a quote that is never closed": (spoil(4, '2020-02-29,"2.5,11'), "not readable as CSV"),
    "text after a closing quote": (spoil(4, '2020-02-29,"2"5,11'), "line 4"),
    "an error below a note of two lines": (
        f'{HEADER},note\n2020-01-01,1,5,"two\nlines"\n2020-01-02,1,x,\n',
        "line 4: tmax_c 'x'",
    ),
    "an error below blank lines": (f"{HEADER}\n\n\n2020-01-02,1,x\n", "line 4: tmax_c 'x'"),
}


def assert_one_sentence(message: str, path: Path) -> None:
    assert message.startswith(str(path))
    assert message.count("\n") == 0
    assert "Traceback" not in message
    assert len(message) < len(str(path)) + 240
    assert not re.search(r"[\x00-\x08\x0a-\x1f\x7f]", message), (
        "control characters reach the terminal"
    )


@pytest.mark.parametrize(("content", "holds"), REFUSED.values(), ids=REFUSED)
def test_a_bad_file_is_refused_in_one_sentence(
    tmp_path: Path, content: str | bytes, holds: str
) -> None:
    path = tmp_path / "bench.csv"
    with pytest.raises(DataError) as refused:
        read(path, content)
    assert refused.value.exit_code == 1
    assert holds in str(refused.value)
    assert_one_sentence(str(refused.value), path)


@pytest.mark.parametrize("kind", ["missing", "a directory", "inside a file"])
def test_a_file_that_cannot_be_opened_is_a_usage_error(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "bench.csv"
    if kind == "a directory":
        path.mkdir()
    elif kind == "inside a file":
        path.write_text("x")
        path /= "more.csv"
    with pytest.raises(UsageError) as refused:
        read_daily_csv(path)
    assert refused.value.exit_code == 2
    assert "cannot be read" in str(refused.value)
    assert_one_sentence(str(refused.value), path)


@pytest.mark.parametrize("text", ["nan", "NaN", "NA", "na"])
def test_words_for_nothing_are_missing_or_refused_but_never_a_number(
    tmp_path: Path, text: str
) -> None:
    path = tmp_path / "bench.csv"
    try:
        record = read(path, spoil(4, f"2020-02-29,{text},11"))
    except DataError as refused:
        assert f"line 4: tmin_c {text!r}" in str(refused)
    else:
        assert record.missing_days == 1
        assert record.tmin_c[2] == pytest.approx((0.0 + 3.1) / 2)


@pytest.mark.parametrize("year", ["0000", "0202", "9999"])
def test_a_mistyped_year_is_refused_or_shows_in_the_missing_days(tmp_path: Path, year: str) -> None:
    path = tmp_path / "bench.csv"
    try:
        record = read(path, spoil(4, f"{year}-02-28,2.5,11"))
    except DataError as refused:
        assert "line 4" in str(refused)
    else:
        assert record.missing_days == len(record.tmin_c) - 5
        assert any(str(record.missing_days) in warning for warning in record.warnings)


# ---------------------------------------------------------------------------- any file

tenths = st.integers(-300, 300)
readings = st.lists(
    st.tuples(st.integers(1, 3), tenths, st.integers(0, 200), st.booleans(), st.booleans()),
    min_size=1,
    max_size=25,
)


@settings(max_examples=150, deadline=None)
@given(st.dates(dt.date(1850, 1, 1), dt.date(2100, 1, 1)), readings, st.randoms())
def test_a_valid_record_is_read_back_to_the_last_digit(
    first: dt.date, rows: list[tuple[int, int, int, bool, bool]], random: object
) -> None:
    day, lines, known = first, [], {}
    for step, low, spread, no_low, no_high in rows:
        day += dt.timedelta(days=step)
        cells = ["" if no_low else f"{low / 10}", "" if no_high else f"{(low + spread) / 10}"]
        lines.append(f"{day},{','.join(cells)}")
        if not (no_low or no_high):
            known[day] = (float(cells[0]), float(cells[1]))
    random.shuffle(lines)  # type: ignore[attr-defined]
    if all(line.endswith(",") for line in lines):  # no maximum at all
        with pytest.raises(DataError):
            parse_daily_csv("\n".join([HEADER, *lines]), source="bench.csv")
        return
    record = parse_daily_csv("\n".join([HEADER, *lines]), source="bench.csv")
    cell_by_cell = parse_daily_csv("\n".join([HEADER.upper(), *lines]), source="bench.csv")
    assert record.first == cell_by_cell.first
    np.testing.assert_array_equal(record.tmin_c, cell_by_cell.tmin_c)
    np.testing.assert_array_equal(record.tmax_c, cell_by_cell.tmax_c)
    start = record.first.astype(object)
    set_aside = sum(f.days for f in record.findings if f.kind in ("stuck", "impossible"))
    span = int((record.last - record.first).astype(int)) + 1
    assert record.missing_days == span - len(known) + set_aside
    for date, (low, high) in known.items():
        place = (date - start).days
        if record.state[place] == 0:
            assert (record.tmin_c[place], record.tmax_c[place]) == (low, high)


def independent_reading(text: str) -> dict[str, tuple[float, float]]:
    """Readings by date, cell by cell, with the newlines inside quotes kept."""
    rows = list(csv.reader(io.StringIO(text, newline="")))
    rows = [row for row in rows if any(cell.strip() for cell in row)]
    names = [name.strip().lower() for name in rows[0]]
    where = [names.index(name) for name in HEADER.split(",")]
    found = {}
    for row in rows[1:]:
        date, low, high = (row[index].strip() for index in where)
        if low and high and "nan" not in (low.lower(), high.lower()):
            found[date] = (float(low), float(high))
    return found


pieces = st.sampled_from(
    [
        *'",;\n\r\t -+.0123456789eE_/:',
        "\x00",
        "\x0b",
        "\x85",
        "\u2028",
        "\ufeff",
        "é",
        "٣",
        "nan",
        "inf",
        ",,",
        '""',
        "\r\n",
        "1e3",
        "2020-02-28",
    ]
)
mutations = st.lists(
    st.tuples(
        st.sampled_from(["insert", "delete", "replace", "repeat"]),
        st.integers(0, 140),
        st.integers(1, 6),
        pieces,
    ),
    min_size=1,
    max_size=4,
)


def mutated(text: str, changes: list[tuple[str, int, int, str]]) -> str:
    for kind, place, length, piece in changes:
        head, middle, tail = text[:place], text[place : place + length], text[place + length :]
        text = {
            "insert": head + piece + middle + tail,
            "delete": head + tail,
            "replace": head + piece + tail,
            "repeat": head + middle + middle + tail,
        }[kind]
    return text


@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(mutations)
def test_a_damaged_file_is_refused_or_read_as_it_stands(
    tmp_path: Path, changes: list[tuple[str, int, int, str]]
) -> None:
    text = mutated("\n".join(PLAIN) + "\n", changes)
    path = tmp_path / "bench.csv"
    try:
        record = read(path, text)
    except SapdialError as refused:
        assert_one_sentence(str(refused), path)
        return
    expected = independent_reading(text.removeprefix("\ufeff"))
    start = record.first.astype(object)
    for place in np.flatnonzero(record.state == 0)[:1000]:
        date = start + dt.timedelta(days=int(place))
        assert expected[date.isoformat()] == (record.tmin_c[place], record.tmax_c[place])
