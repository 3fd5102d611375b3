"""Invented daily records written out in the formats that `timing.intake` reads.

Written from the formats' descriptions, not from the readers.
"""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import dataclass

ID = "XX000000001"
ACCESS_HEADER = (
    *("STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME", "PRCP", "PRCP_ATTRIBUTES"),
    *("TMAX", "TMAX_ATTRIBUTES", "TMIN", "TMIN_ATTRIBUTES"),
)
DWD_HEADER = (
    "STATIONS_ID;MESS_DATUM;QN_3;  FX;  FM;QN_4; RSK;RSKF; SDK;SHK_TAG;  NM; VPM;  PM; TMK; UPM; "
    "TXK; TNK; TGK;eor"
)
ECAD_TOP = """EUROPEAN CLIMATE ASSESSMENT & DATASET (ECA&D), file created on 01-01-2021
THESE DATA CAN BE USED FREELY PROVIDED THAT THE FOLLOWING SOURCE IS ACKNOWLEDGED:

Klein Tank, A.M.G. and Coauthors, 2002. Daily dataset of 20th-century surface
air temperature and precipitation series for the European Climate Assessment.
Int. J. of Climatol., 22, 1441-1453.
Data and metadata available at http://www.ecad.eu

FILE FORMAT (MISSING VALUE CODE IS -9999):

01-06 STAID: Station identifier
08-13 SOUID: Source identifier
15-22 DATE : Date YYYYMMDD
24-28 {0}   : temperature in 0.1 degrees C
30-34 Q_{0} : Quality code for {0} (0='valid'; 1='suspect'; 9='missing')

This is the blended series of station NOWHERE, MADE UP (STAID: {1}).
"""


@dataclass(frozen=True)
class Day:
    """A day and its extremes in tenths of °C, None where missing."""

    date: dt.date
    low: int | None
    high: int | None


def invented(days: int = 400, first: dt.date = dt.date(2019, 11, 20), seed: int = 3) -> list[Day]:
    """Days of a made-up temperate climate without gaps."""
    dice, found = random.Random(seed), []
    for number in range(days):
        date = first + dt.timedelta(days=number)
        middle = 110 - 110 * _season(date) + dice.gauss(0, 12)
        low = round(middle - dice.uniform(30, 70))
        found.append(Day(date, low, low + round(dice.uniform(60, 140))))
    return found


def _season(date: dt.date) -> float:
    away = abs((date - dt.date(date.year, 7, 20)).days)
    return min(away, 365 - away) / 91.25 - 1


def compact(date: dt.date) -> str:
    return f"{date:%Y%m%d}"


def tenth(value: int | None, *, point: str = ".", missing: str = "") -> str:
    """Tenths as degrees with one decimal."""
    if value is None:
        return missing
    return f"{'-' if value < 0 else ''}{abs(value) // 10}{point}{abs(value) % 10}"


def own(days: list[Day]) -> str:
    rows = [f"{day.date},{tenth(day.low)},{tenth(day.high)}" for day in days]
    return "\n".join(["date,tmin_c,tmax_c", *rows]) + "\n"


def access(days: list[Day], *, high: str = ",,E", low: str = ",,E", station: str = ID) -> str:
    """One day a line; ``high`` and ``low`` are the attributes of every reading."""
    rows = [ACCESS_HEADER]
    for day in days:
        cells = [station, str(day.date), "45.0", "7.0", "210.0", "NOWHERE, XX", "    0", ",,E"]
        for value, attributes in ((day.high, high), (day.low, low)):
            cells += ["", ""] if value is None else [f"{value:5d}", attributes]
        rows.append(tuple(cells))
    return "".join(",".join(f'"{cell}"' for cell in row) + "\n" for row in rows)


def long(days: list[Day], *, header: bool = False, hour: str = "", station: str = ID) -> str:
    rows = ["ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"] if header else []
    for day in days:
        for element, value in (("TMAX", day.high), ("PRCP", 0), ("TMIN", day.low)):
            if value is not None:
                rows.append(f"{station},{compact(day.date)},{element},{value},,,E,{hour}")
    return "\n".join(rows) + "\n"


def fixed(days: list[Day], *, station: str = ID) -> str:
    by_date = {day.date: day for day in days}
    months = sorted({(day.date.year, day.date.month) for day in days})
    lines = []
    for year, month in months:
        for element, name in (("TMAX", "high"), ("PRCP", ""), ("TMIN", "low")):
            line = f"{station}{year}{month:02}{element}"
            for number in range(1, 32):
                try:
                    day = by_date.get(dt.date(year, month, number))
                except ValueError:
                    day = None
                value = getattr(day, name) if day and name else None
                line += "-9999   " if value is None else f"{value:5d}  E"
            assert len(line) == 269
            lines.append(line)
    return "\n".join(lines) + "\n"


def dwd(days: list[Day], *, station: str = "433") -> str:
    rows = [DWD_HEADER]
    for day in days:
        high, low = (tenth(value, missing="-999") for value in (day.high, day.low))
        rows.append(
            f"{station:>11};{compact(day.date)};   10;   9.1;   2.8;    9;   0.0;   0;-999;   0;"
            f"   5.9;   6.0; 1029.10;    1.2;   88.00;{high:>7};{low:>7};  -27.5;eor"
        )
    return "\r\n".join(rows) + "\r\n"


def ecad(days: list[Day], element: str, *, station: int = 10, blended: bool = True) -> str:
    first = " STAID, SOUID," if blended else " SOUID,"
    rows = [ECAD_TOP.format(element, station), f"{first}    DATE,   {element}, Q_{element}"]
    for day in days:
        value = day.high if element == "TX" else day.low
        start = f"{station:6d},100001" if blended else "100001"
        quality = 9 if value is None else 0
        rows.append(
            f"{start},{compact(day.date)},{-9999 if value is None else value:5d},{quality:5d}"
        )
    return "\r\n".join(rows) + "\r\n"


def semicolons(days: list[Day]) -> str:
    rows = [
        f"{day.date:%d.%m.%Y};{tenth(day.high, point=',', missing='-')};"
        f"{tenth(day.low, point=',', missing='-')}"
        for day in days
    ]
    return "\r\n".join(["Datum;Höchsttemperatur (°C);Tiefsttemperatur (°C)", *rows]) + "\r\n"
