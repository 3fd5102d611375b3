"""A file changed at random is read right, refused in one sentence, or wrong only where it lies.

A small made-up file in every format is damaged in one place. What must hold:

* no exception but those of the library, one line each;
* a reading that comes back on a day is the one that was written for that day, unless the damage
  touched its own line: there another digit is another reading, and nobody can tell;
* damage to the header changes no reading: all stay, some are left out, or the file is refused.

Three hundred mutations run always, ten thousand in the slow run, by numbered seeds.
"""

import datetime as dt
import math
import random
import re
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from intake_writers import invented
from test_intake_formats import START, WRITERS, Content, in_unit, logged, raw, saved

from timing.errors import SapdialError
from timing.intake.temperatures import read_temperatures

DAYS = invented(60)
FORMATS: dict[str, tuple[bytes, ...]] = {
    name: tuple(part if isinstance(part, bytes) else part.encode() for part in writer(DAYS))
    for name, writer in WRITERS.items()
} | {
    "logger": (logged(START, 24 * 12).encode(),),
    "fahrenheit": (in_unit(DAYS, "f", "day,tmin_f,tmax_f").encode(),),
}
PIECES = (b",", b";", b"\n", b'"', b"-", b".", b"9", b"0", b" ", b"-9999", b"\xff", b"\x00", b"E")
READINGS_A_LINE = {"fixed width": 31, "logger": 4}  # of a logger, both extremes of two days
Readings = dict[dt.date, tuple[float, float]]


def mutated(data: bytes, dice: random.Random) -> bytes:
    """The same, damaged in one place."""
    place = dice.randrange(len(data))
    if dice.random() < 0.15:
        place = min(place, dice.randrange(120))  # headers are short and matter most
    length = dice.choice((1, 1, 1, 2, 3, 5, 9))
    head, middle, tail = data[:place], data[place : place + length], data[place + length :]
    lines = data.split(b"\n")
    line = dice.randrange(len(lines))
    pair = lines[line : line + 2]
    ways: tuple[Callable[[], bytes], ...] = (
        lambda: head + dice.choice(PIECES) + middle + tail,
        lambda: head + tail,
        lambda: head + dice.choice(PIECES) + tail,
        lambda: head + bytes(dice.randrange(256) for _ in middle) + tail,
        lambda: head + middle[::-1] + tail,
        lambda: head,
        lambda: b"\n".join([*lines[:line], *lines[line + 1 :]]),
        lambda: b"\n".join([*lines[: line + 1], *lines[line:]]),
        lambda: b"\n".join([*lines[:line], *reversed(pair), *lines[line + 2 :]]),
    )
    return dice.choice(ways)()


def touched(before: bytes, after: bytes) -> tuple[int, int]:
    """First line that differs, and how many lines do."""
    old, new = before.split(b"\n"), after.split(b"\n")
    same = 0
    while same < min(len(old), len(new)) and old[same] == new[same]:
        same += 1
    end = 0
    while end < min(len(old), len(new)) - same and old[-1 - end] == new[-1 - end]:
        end += 1
    return same, max(len(old), len(new)) - same - end


def wrong(found: Readings, written: Readings) -> int:
    """Readings that differ from what was written for their day."""
    nothing = (math.nan, math.nan)
    return sum(
        not math.isnan(value) and not abs(value - true) < 1e-9
        for day, pair in found.items()
        for value, true in zip(pair, written.get(day, nothing), strict=True)
    )


def attempt(folder: Path, name: str, seed: int, written: Readings) -> str:
    """Damage one file and read it; what came of it: refused, same, less or changed."""
    dice = random.Random(seed)
    parts = list(FORMATS[name])
    number = dice.randrange(len(parts))
    before = parts[number]
    parts[number] = mutated(before, dice)
    where = f"{name}, seed {seed}"
    contents: list[Content] = list(parts)
    try:
        found = raw(read_temperatures(saved(folder, *contents)))
    except SapdialError as error:
        said = str(error)
        assert said and "\n" not in said and not re.search(r"[\x00-\x1f\x7f]", said), where
        return "refused"
    count = wrong(found, written)
    if count == 0:
        return "same" if found == written else "less"
    first, lines = touched(before, parts[number])
    header = next(n for n, line in enumerate(before.split(b"\n")) if is_data(line))
    assert first >= header, f"{where}: {count} readings wrong by a change in the header"
    allowed = lines * READINGS_A_LINE.get(name, 2)
    assert count <= allowed, f"{where}: {count} readings wrong where {lines} lines were touched"
    return "changed"


def is_data(line: bytes) -> bool:
    """Whether a line holds a date of the made-up days in some form."""
    text = line.replace(b"\x00", b"")
    return (
        bool(re.search(rb"(20(19|20|24)\D?\d\d|\d\d\.\d\d\.20)", text)) and b"created" not in text
    )


def tried(folder: Path, seeds: range) -> Counter[tuple[str, str]]:
    whole = {name: raw(read_temperatures(saved(folder, *parts))) for name, parts in FORMATS.items()}
    names = tuple(FORMATS)
    return Counter(
        (name, attempt(folder, name, seed, whole[name]))
        for seed in seeds
        for name in (names[seed % len(names)],)
    )


def test_three_hundred_damaged_files(tmp_path: Path) -> None:
    found = tried(tmp_path, range(300))
    results = Counter(result for (_, result), count in found.items() for _ in range(count))
    assert min(results[name] for name in ("refused", "same", "less", "changed")) > 5, results


@pytest.mark.slow
def test_ten_thousand_damaged_files(tmp_path: Path) -> None:
    found = tried(tmp_path, range(10_000))
    assert sum(found.values()) == 10_000
    for name in FORMATS:
        assert found[name, "refused"] > 0, name
