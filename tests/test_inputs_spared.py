"""No answer is written over a file that it is read from, by whatever name that file goes.

What must hold: a record of thirty years survives a slip of the hand; the refusal is one line, names
the output, and comes before anything is computed or written.
"""

from pathlib import Path

import pytest
from test_cli import Command, daily_file, sapdial

__all__ = ["sapdial"]  # the fixture

PLACE = ("--latitude=45", "--longitude=7", "--on=2022-05-10")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A record, another, dates somebody saw, a list of sites, a notebook; some by two names."""
    daily_file(tmp_path / "daily.csv")
    daily_file(tmp_path / "daily.txt")
    (tmp_path / "seen.csv").write_text("species,event,date\nacer-palmatum,bud_break,2021-04-09\n")
    header = "name,latitude,longitude,elevation_m,temperatures"
    (tmp_path / "sites.csv").write_text(f"{header}\nHigh,45,7,,daily.csv\nLow,45,7,,daily.txt\n")
    (tmp_path / "link.csv").symlink_to("daily.csv")
    (tmp_path / "hard.csv").hardlink_to(tmp_path / "daily.csv")
    (tmp_path / "sub").mkdir()
    return tmp_path


def held(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def refused(sapdial: Command, folder: Path, output: object, *words: object) -> None:
    before = held(folder)
    run = sapdial(*words, "-o", output)
    assert (run.status, run.out) == (2, ""), (words, run)
    assert run.err.startswith(f"sapdial: {output}: ")
    assert run.err.count("\n") == 1
    assert "would be lost" in run.err
    assert held(folder) == before


@pytest.mark.parametrize("name", ["daily.csv", "link.csv", "hard.csv", "sub/../daily.csv"])
def test_a_record_outlives_a_calendar_of_its_name(
    sapdial: Command, folder: Path, name: str
) -> None:
    record = ("--temperatures", folder / "daily.csv", *PLACE)
    refused(sapdial, folder, folder / name, "calendar", "acer-palmatum", *record)


def test_every_command_spares_what_it_reads(sapdial: Command, folder: Path) -> None:
    record = ("--temperatures", folder / "daily.txt", *PLACE)
    book = folder / "book.json"
    where = ("--latitude=45", "--longitude=7", "--temperatures", folder / "daily.csv")
    sapdial.answered("site", "add", "Yard", *where, "--notebook", book)
    held_in_book = ("--notebook", book, "--on=2022-05-10")
    seen = ("--observations", folder / "seen.csv")
    for output, *words in (
        ("daily.txt", "calendar", "acer-palmatum", *record, "-o", folder / "new.png"),
        ("seen.csv", "calendar", "acer-palmatum", *record, *seen),
        ("sites.csv", "calendar", "acer-palmatum", "--region", folder / "sites.csv", PLACE[2]),
        ("daily.csv", "calendar", "acer-palmatum", "--region", folder / "sites.csv", PLACE[2]),
        ("book.json", "calendar", "acer-palmatum", *held_in_book),
        ("daily.txt", "compare", "acer-palmatum", *record),
        ("book.json", "compare", "acer-palmatum", *held_in_book),
        ("daily.txt", "agenda", "--species=acer-palmatum", *record),
        ("book.json", "agenda", "--species=acer-palmatum", *held_in_book),
        ("daily.txt", "site", "check", *record),
        ("daily.txt", "site", "check", "--neighbour", folder / "daily.txt", *held_in_book),
        ("sites.csv", "survey", folder / "sites.csv", "--jobs=1"),
        ("sites.csv", "survey", folder, "--jobs=1"),
        ("daily.csv", "survey", folder / "sites.csv", "--jobs=1"),
        ("link.csv", "survey", folder / "sites.csv", "--jobs=1"),
    ):
        refused(sapdial, folder, folder / output, *words)
    assert not (folder / "new.png").exists()


def test_an_answer_may_be_written_again(sapdial: Command, folder: Path) -> None:
    words = ("calendar", "acer-palmatum", "--temperatures", folder / "daily.csv", *PLACE)
    for _ in range(2):
        sapdial.answered(*words, "-o", folder / "year.csv")
