"""What the columns of a table are, by their names.

Names are matched whole once case, accents, signs, brackets and the unit are taken away, so that
``TMIN (°F)``, ``tmin_f`` and ``Min. temp. [°F]`` are the same column while a ground minimum, a
flag or a mean of minima is none.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from timing.intake.text import printable
from timing.intake.units import Unit

_DAILY = ("", "daily", "air", "dailyair", "airdaily")
_MIN = ("min", "minimum", "minima", "minimo", "minimale", "minimal", "low", "lowest", "lo")
_MAX = ("max", "maximum", "maxima", "maximo", "maximale", "maximal", "high", "highest", "hi")
_TEMP = ("temp", "temperature", "temperatur", "temperatura", "t")


def _names(extreme: tuple[str, ...]) -> frozenset[str]:
    """Every order in which people put the words."""
    found = set()
    for word in extreme:
        for prefix in _DAILY:
            found.add(prefix + word)
            for temp in _TEMP:
                found |= {prefix + temp + word, prefix + word + temp, word + prefix + temp}
                found |= {temp + prefix + word, f"{temp}2m{word}", temp + word + "2m"}
    return frozenset(found)


MINIMUM = _names(_MIN) | {"tn", "t2mmin", "tiefsttemperatur", "tagesminimum"}
MAXIMUM = _names(_MAX) | {"tx", "t2mmax", "hochsttemperatur", "tagesmaximum"}
TEMPERATURE = frozenset(
    prefix + temp + suffix
    for prefix in ("", "air", "outdoor", "outside", "current", "drybulb", "hourlydrybulb")
    for temp in _TEMP
    for suffix in ("", "2m", "air", "out", "outdoor")
) | {"ta", "lufttemperatur", "drybulb"}
DATE = frozenset(
    ("date", "day", "datum", "fecha", "data", "dato", "tag", "jour", "dia", "giorno", "dt",
     "ymd", "yyyymmdd", "obsdate", "observationdate", "localdate", "datelocal")
)  # fmt: skip
STAMP = frozenset(
    ("datetime", "timestamp", "datetimelocal", "localdatetime", "localtime", "datumzeit", "valid",
     "fechahora", "dateheure", "dateandtime", "observationtime", "validtime", "timelocal",
     "stamp", "zeitstempel", "recordedat", "datelst", "messdatum", "datatime")
)  # fmt: skip
CLOCK = frozenset(("time", "hour", "uhrzeit", "zeit", "hora", "heure", "ora", "tid", "timeofday"))

_TENTHS = re.compile(r"tenths?[ _]*(of)?[ _]*(a)?[ _]*(deg(ree)?s?)?[ _.]*°?[ _]*c\b"
                     r"|(\b0[.,]1|\b1/10)[ _]*(deg|°)?[ _]*c\b|\btenths_c\b")  # fmt: skip
_UNITS: tuple[tuple[Unit, re.Pattern[str]], ...] = (
    ("f", re.compile(r"°[ ]*f\b|\bdeg(rees?|s)?[ _.]*f\b|fahrenheit|[(\[][ ]*f[ ]*[)\]]|[ _.,/]f$"
                     r"|(?<=min)f$|(?<=max)f$|(?<=temp)f$|(?<=low)f$|(?<=high)f$")),
    ("c", re.compile(r"°[ ]*c\b|\bdeg(rees?|s)?[ _.]*c\b|celsius|centigrade|[(\[][ ]*c[ ]*[)\]]"
                     r"|[ _.,/]c$|(?<=min)c$|(?<=max)c$|(?<=temp)c$|(?<=low)c$|(?<=high)c$")),
    ("k", re.compile(r"kelvin|[(\[][ ]*°?k[ ]*[)\]]|[ _.,/]k$")),
)  # fmt: skip
_BARE: dict[str, Unit] = {"c": "c", "f": "f", "k": "k", "degc": "c", "degf": "f", "degk": "k"}
_ZONE = re.compile(r"(?<![a-z])(?:utc|gmt)(?![a-z])[ ]*(?:([+-])([0-9]{1,2})(?::?([0-9]{2}))?)?")
_DEGREES = str.maketrans({"º": "°", "˚": "°", "\ufffd": "°", "℃": "°c", "℉": "°f", "Â": ""})


@dataclass(frozen=True)
class Column:
    """One column.

    Parameters
    ----------
    place : its place in a row, from 0.
    name : its name as written, fit to be shown.
    stem : the name without case, accents, signs, brackets and unit.
    unit : the unit the name states, or None.
    offset : the offset from UTC the name states, such as -05:00, or None.
    """

    place: int
    name: str
    stem: str
    unit: Unit | None
    offset: str | None


def read_name(place: int, name: str) -> Column:
    """What the name of a column says."""
    text = name.strip().translate(_DEGREES).casefold()
    unit = unit_in(text)
    zone = _ZONE.search(text)
    text = _ZONE.sub(" ", text)
    if _TENTHS.search(text):
        text = _TENTHS.sub(" ", text)
    for _, pattern in _UNITS:
        text = pattern.sub(" ", text)
    text = re.sub(r"[(\[][^)\]]{0,200}[)\]]?", " ", text)
    plain = unicodedata.normalize("NFKD", text)
    stem = re.sub(r"[^a-z0-9]+", "", plain.encode("ascii", "ignore").decode("ascii"))
    offset = f"{zone[1] or '+'}{zone[2] or 0:>02}:{zone[3] or '00'}" if zone else None
    return Column(place, printable(name.strip()), stem, unit, offset)


def unit_in(text: str) -> Unit | None:
    """The unit a name or a cell of a line of units states, or None."""
    text = text.strip().translate(_DEGREES).casefold()
    if _TENTHS.search(text):
        return "tenths_c"
    found = {unit for unit, pattern in _UNITS if pattern.search(text)}
    if len(found) == 1:
        return found.pop()
    return _BARE.get(re.sub(r"[^a-z]", "", text)) if not found else None
