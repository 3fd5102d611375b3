"""What may be written into a notebook: names, text, numbers, dates."""

from __future__ import annotations

import datetime as dt
import difflib
import unicodedata
from collections.abc import Iterable

from timing.errors import UsageError
from timing.plain_text import lookup_key, unshown

FIRST_DAY = dt.date(1800, 1, 1)
LAST_DAY = dt.date(2200, 12, 31)
NAME_LENGTH, TEXT_LENGTH = 80, 2000


class FieldError(UsageError):
    """A value that cannot be kept, and the field it was given for."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


def checked_name(text: str, field: str) -> str:
    """A name without spaces around it, in composed characters.

    Raises
    ------
    FieldError : it is empty, longer than 80 characters or holds a control character.
    """
    name = unicodedata.normalize("NFC", text).strip()
    _refuse_unshown(name, field)
    if len(name) > NAME_LENGTH or not lookup_key(name):
        raise FieldError(field, f"{field} {shown(name)} needs 1 to {NAME_LENGTH} characters")
    return name


def checked_text(text: str, field: str) -> str:
    """Free text on one line; runs of white space become one space. It may be empty."""
    line = " ".join(unicodedata.normalize("NFC", text).split())
    _refuse_unshown(line, field)
    if len(line) > TEXT_LENGTH:
        raise FieldError(field, f"{field} is {len(line)} characters long; {TEXT_LENGTH} at most")
    return line


def checked_number(value: float, field: str, low: float, high: float, unit: str) -> float:
    """A finite number within its range."""
    if not low <= value <= high:  # also refuses nan
        raise FieldError(field, f"{field} {value:g} is not between {low:g} and {high:g}{unit}")
    return float(value)


def checked_share(value: float, field: str) -> float:
    """A share from 0 to 1; what looks like a percentage is answered with the share it would be."""
    right = f", for {value:g}% write {value / 100:g}" if 1 < value <= 100 else ", such as 0.3"
    return checked_number(value, field, 0, 1, f"; it is a share{right}")


def checked_choice(value: str, field: str, choices: Iterable[str]) -> str:
    """One of a few words."""
    known = tuple(choices)
    if value not in known:
        raise FieldError(field, f"{field} {shown(value)} is not one of {', '.join(known)}")
    return value


def checked_day(day: dt.date, field: str) -> dt.date:
    """A date from 1800 to 2200."""
    if not FIRST_DAY <= day <= LAST_DAY:
        raise FieldError(
            field,
            f"{field} {day.isoformat()} lies outside the years {FIRST_DAY.year} to "
            f"{LAST_DAY.year}; check the year",
        )
    return day


def refuse_future(day: dt.date | None, field: str, when: dt.datetime) -> None:
    """A notebook holds what has happened."""
    if day is not None and day > when.date():
        raise FieldError(
            field,
            f"{field} {day.isoformat()} is still to come (today is {when.date().isoformat()})",
        )


def checked_month_day(text: str, field: str) -> str:
    """A day of any year, ``MM-DD``."""
    try:
        if len(text) != 5:
            raise ValueError
        dt.date.fromisoformat(f"2024-{text}")
    except ValueError as error:
        raise FieldError(
            field, f"{field} {shown(text)} is not a day of the year; write month-day, as in 11-01"
        ) from error
    return text


def shown(text: str, longest: int = NAME_LENGTH) -> str:
    """What somebody wrote, quoted and cut short."""
    return repr(text if len(text) <= longest else f"{text[:longest]}…")


def unknown(kind: str, name: str, names: Iterable[str]) -> FieldError:
    """The error for a name that the notebook does not hold; it lists the nearest."""
    by_key = {lookup_key(known): known for known in names}
    near = difflib.get_close_matches(lookup_key(name), by_key, n=4, cutoff=0.5)
    if near:
        hint = f"nearest: {', '.join(by_key[key] for key in near)}"
    elif by_key:
        few = list(by_key.values())[:4]
        hint = f"it holds {', '.join(few)}{', …' if len(by_key) > len(few) else ''}"
    else:
        hint = f"it holds no {kind} yet"
    return FieldError(kind, f"no {kind} called {shown(name)} in the notebook; {hint}")


def _refuse_unshown(text: str, field: str) -> None:
    if letter := unshown(text):
        raise FieldError(
            field,
            f"{field} {shown(text)} holds the character U+{ord(letter):04X}, which cannot be "
            "shown; leave it out",
        )
