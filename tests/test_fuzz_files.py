"""Files a user may give, damaged at random, end in what they say or in one sentence.

Observed dates, lists of sites and folders of notebook tables are damaged byte by byte and line by
line; species and hazard tables value by value. What must hold: no traceback, no message of two
lines or with a control character, nothing that takes five seconds of the processor, and whatever is
accepted says what stands in the file: dates and names on the very line, numbers as they are written
there, a folder that comes out of the notebook as it went in. (Temperature files have their own
tests, in `test_intake_formats.py` and `test_daily_csv.py`.)

``FUZZ_CASES`` sets how many cases the slow test tries; each is made from its number alone, so that
a failure names the case that repeats it.
"""

import copy
import datetime as dt
import os
import random
import re
import shutil
import time
from collections import Counter
from collections.abc import Callable
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

import pytest
from test_cli import daily_file

from timing.errors import SapdialError
from timing.intake.observations import read_observations
from timing.intake.region_file import read_region
from timing.notebook.export_folder import export_folder
from timing.notebook.import_folder import Folder, import_folder, read_folder
from timing.notebook.store import Notebook
from timing.plain_text import lookup_key, unshown
from timing.species import catalogue, hazards
from timing.species.model import EVENT_ORDER
from timing.species.tables import read_table

QUICK = 100  # cases of each sort in the fast suite
CASES = int(os.environ.get("FUZZ_CASES", "10000"))
NOW = dt.datetime(2026, 5, 1)
WORDS = (
    *(",", ";", "\t", "\n", "\r", "\r\n", '"', "'", "''", "\0", "\x1b[31m", "\x7f", "\x85"),
    *("\u2028", "\u202e", "\ufeff", "\U0001f332", "e\u0301", "½", "４５", "−4"),
    *("nan", "inf", "1e999", "-1e400", "4_5", "0x10", "1,5", "9" * 400, "-0", "1e-320"),
    *("9999-12-31", "0000-00-00", "2024-02-30", "20240401", "2024-W13-7", "2200-12-31"),
    *("=cmd()", "@x", "../../x", "/etc/passwd", "<script>", "a.csv", "maple", "acer-rubrum"),
)
PIECES = (*(word.encode() for word in WORDS), b"\xff", b"\xc3", b"\xff\xfe")

OBSERVED = """species,event,date,tree,site,note
acer-palmatum,bud_break,2020-04-02,Old maple,Yard,first buds
acer-palmatum,bud_break,2021-04-11,Old maple,Yard,"late, after frost"
japanese maple,leaf_fall,2021-11-02,,Yard,
acer-rubrum,bud_break,2022-03-30,,Yard,"two
lines"
acer-rubrum,first_snow,2022-11-30,,Yard,
"""
REGION = """name,latitude,longitude,elevation_m,temperatures
Low Yard,45.25,7.5,210,a.csv
"High, Yard",45.75,-7.25,,b.csv
South,-33.5,151,40,a.csv
"""
TABLES = {
    "sites.csv": "name,latitude,longitude,elevation_m,tags,source,temperatures\n"
    "Yard,45.25,7.5,210,wall;home,a.csv,a.csv\n'=Roof,-33.5,-70.25,,,,b.csv\n",
    "trees.csv": "name,species,site,condition,pot_cm,note\n"
    "Old maple,acer-palmatum,Yard,weak,38.5,\"from seed, 1994\"\n'+Pine,pinus-mugo,'=Roof,,,\n",
    "shelters.csv": "tree,kind,tmin_offset_c,tmax_offset_c,starts,until\n"
    "Old maple,cold frame,2.5,4,11-01,03-15\nOld maple,wall,1,1.5,,\n",
    "observations.csv": OBSERVED.replace("first_snow", "leaf_fall"),
    "work.csv": "tree,kind,date,fraction,note\nOld maple,heavy,2024-06-02,0.25,\n",
    "runners.csv": "tree,place,begun,ended,note\nOld maple,low left,2024-05-01,2024-07-01,thick\n",
}


def damaged(data: bytes, chance: random.Random) -> bytes:
    """One to four changes of bytes, cells or lines."""
    for _ in range(chance.randint(1, 4)):
        place = chance.randint(0, len(data))
        length = chance.choice((1, 1, 2, 5, 20))
        head, middle, tail = data[:place], data[place : place + length], data[place + length :]
        piece = chance.choice(PIECES)
        lines = data.split(b"\n")
        number = chance.randrange(len(lines))
        cells = lines[number].split(b",")
        match chance.randrange(9):
            case 0:
                data = head + piece + middle + tail
            case 1:
                data = head + tail
            case 2:
                data = head + middle * 3 + tail
            case 3:
                data = head + piece + tail
            case 4:
                data = head
            case 5:
                lines.insert(chance.randrange(len(lines)), lines[number])
                data = b"\n".join(lines)
            case 6:
                data = b"\n".join(lines[:number] + lines[number + 1 :])
            case 7:  # a cell that holds something else
                cells[chance.randrange(len(cells))] = piece
                data = b"\n".join([*lines[:number], b",".join(cells), *lines[number + 1 :]])
            case _:
                chance.shuffle(cells)
                data = b"\n".join([*lines[:number], b",".join(cells), *lines[number + 1 :]])
    return data


def lines_from(path: Path, line: int) -> str:
    """The text of a file from a line on, as anything that counts line ends would find it."""
    text = path.read_bytes().decode("utf-8-sig")
    return "\n".join(re.split(r"\r\n|\r|\n", text)[line - 1 :])


def says(text: str, value: float) -> bool:
    """A number stands in the text, as itself and nothing like 4_5."""
    for cell in re.split(r'[,"\n]', text.replace("\u2212", "-")):
        try:
            if "_" not in cell and float(Decimal(cell.strip())) == value:
                return True
        except InvalidOperation:
            continue
    return False


# ---------------------------------------------------------------------------- three sorts of files


def observed(folder: Path, chance: random.Random) -> bool:
    path = folder / "seen.csv"
    path.write_bytes(damaged(OBSERVED.encode(), chance))
    found = read_observations(path)
    for item in found.observations:
        rest = lines_from(path, item.line)
        written = str(item.date)
        assert item.event in EVENT_ORDER
        assert item.event in rest
        assert written in rest or written.replace("-", "") in rest or "-W" in rest, (item, rest)
    return bool(found.observations)


def listed(folder: Path, chance: random.Random) -> bool:
    path = folder / "region.csv"
    path.write_bytes(damaged(REGION.encode(), chance))
    found = read_region(path)
    for item in found:
        rest = lines_from(path, item.line)
        assert lookup_key(item.site.name) and unshown(item.site.name) is None
        for value in (item.site.latitude, item.site.longitude, item.site.elevation_m):
            assert value is None or says(rest, value), (item, rest)
        assert item.temperatures.is_file()
    return bool(found)


def tables(folder: Path, chance: random.Random) -> bool:
    name = chance.choice(list(TABLES))
    place = folder / "tables"
    (place / name).write_bytes(damaged(TABLES[name].encode(), chance))
    notebook = folder / "book.sqlite"
    notebook.unlink(missing_ok=True)
    shutil.rmtree(folder / "again", ignore_errors=True)
    try:
        first = read_folder(place)
        with Notebook.open(notebook, create=True) as book:
            import_folder(book, first, when=NOW)
            export_folder(book, folder / "again")
    finally:
        (place / name).write_text(TABLES[name], encoding="utf-8")
    assert held(read_folder(folder / "again")) == held(first)
    return True


def held(folder: Folder) -> tuple[set[str], ...]:
    """What a folder holds; the order of lines, lines said twice and the case of names do not count.

    Nor do the sign of nothing, a mark that is not seen and the number of spaces around one.
    """
    parts = (
        {
            f"{site} {[(kind, kept and kept.days) for kind, kept in readings.items()]}"
            for _, site, readings in folder.sites
        },
        {f"{tree}" for _, tree in folder.trees},
        {f"{line.text('tree')} {shelter}" for line, shelter in folder.shelters},
        {f"{record.tree} {record.note}" for _, record in folder.records},
    )
    return tuple({seen(item) for item in part} for part in parts)


def seen(text: str) -> str:
    """What two spellings of one thing share."""
    return " ".join(text.casefold().replace("=-0.0", "=0.0").replace("\ufeff", "").split())


# ---------------------------------------------------------------------------- species and hazards

VALUES: tuple[object, ...] = (
    *(None, "", " ", "x", "nan", -1, 0, 1e300, float("nan"), True, [], {}, ["x"], {"x": 1}, [[]]),
)


def broken(table: Any, chance: random.Random) -> Any:
    """A table with one value taken away, or something else in its place."""
    table = copy.deepcopy(table)
    place = table
    while True:
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        if not keys:
            return table
        key = chance.choice(keys)
        below = place[key]
        if isinstance(below, dict | list) and below and chance.random() < 0.8:
            place = below
        elif chance.random() < 0.3:
            del place[key]
            return table
        else:
            place[key] = chance.choice(VALUES)
            return table


def species(_folder: Path, chance: random.Random) -> bool:
    slug = chance.choice(catalogue.slugs())
    catalogue.read_species(slug, broken(read_table(slug), chance))
    return True


def hazard(_folder: Path, chance: random.Random) -> bool:
    name = chance.choice(hazards.hazard_names())
    hazards.read_hazard(name, broken(read_table("_hazards")["hazards"][name], chance))
    return True


SORTS: dict[str, Callable[[Path, random.Random], bool]] = {
    "observed dates": observed,
    "list of sites": listed,
    "notebook tables": tables,
    "species": species,
    "hazards": hazard,
}


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fuzz")
    place = folder / "tables" / "temperatures"
    place.mkdir(parents=True)
    for name in ("a.csv", "b.csv"):
        daily_file(folder / name, days=12)
        daily_file(place / name, days=12)
    for name, text in TABLES.items():
        (folder / "tables" / name).write_text(text, encoding="utf-8")
    return folder


def tried(shelf: Path, sort: str, numbers: range) -> Counter[str]:
    """Try the cases of these numbers; returns how many were accepted and refused."""
    ends: Counter[str] = Counter()
    for number in numbers:
        began = time.process_time()
        try:
            ends["accepted"] += SORTS[sort](shelf, random.Random(f"{sort} {number}"))
        except SapdialError as error:
            ends["refused"] += 1
            assert str(error).isprintable(), f"{sort} {number}: {error!r}"
            assert len(str(error)) < 2000, f"{sort} {number}"
        except Exception as error:
            raise AssertionError(f"{sort} {number}: {error!r}") from error
        assert time.process_time() - began < 5, f"{sort} {number}"
    return ends


@pytest.mark.parametrize("sort", SORTS)
def test_a_damaged_file_says_what_it_says_or_is_refused(shelf: Path, sort: str) -> None:
    cases = QUICK // 3 if sort == "notebook tables" else QUICK
    ends = tried(shelf, sort, range(cases))
    assert ends["accepted"] > cases // 50
    assert ends["refused"] > cases // 10


@pytest.mark.slow
@pytest.mark.parametrize("sort", SORTS)
def test_ten_thousand_damaged_files(shelf: Path, sort: str) -> None:
    cases = CASES // len(SORTS)
    ends = tried(shelf, sort, range(QUICK, QUICK + cases))
    print(f"{sort}: {dict(ends)}")
    assert sum(ends.values()) == cases
