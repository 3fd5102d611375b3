"""A full disk, a folder that cannot be written, a damaged notebook and a killed program.

What must hold of everything that is written: the old file stays whole or the new one is, nothing
is left lying about, and one sentence says what happened; a notebook that cannot be read is left
as it is and the sentence says how to go on.

A file that may not grow (`RLIMIT_FSIZE`) stands in for a full disk wherever the tests run; where
they may mount one, a disk of one megabyte is filled as well. ``KILLS`` and ``SECONDS`` set how
often the slow tests kill and how long two programs write at once.
"""

import datetime as dt
import os
import random
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import pytest
from test_cli import Command, daily_file, sapdial
from test_notebook import ADD_HUNDRED, MAPLE, NOW, SITE, contents, readings, shelf

from timing.errors import DataError, UsageError
from timing.export.files import write_text
from timing.intake.station_cache import Kept, read_kept, write_kept
from timing.intake.station_days import StationDays
from timing.intake.stations import Station
from timing.notebook.export_folder import export_folder
from timing.notebook.import_folder import import_folder, read_folder
from timing.notebook.model import WorkDone
from timing.notebook.store import Notebook

__all__ = ["sapdial", "shelf"]  # the fixtures

KILLS = int(os.environ.get("KILLS", "200"))
SECONDS = float(os.environ.get("SECONDS", "60"))
OLD = b"what stood here before\n" * 3
QUICK = (
    ("calendar", "acer-palmatum", ".txt"), ("calendar", "acer-palmatum", ".json"),
    ("calendar", "acer-palmatum", ".csv"), ("calendar", "acer-palmatum", ".ics"),
    ("calendar", "acer-palmatum", ".html"), ("agenda", "--species=acer-rubrum", ".ics"),
    ("agenda", "--species=acer-rubrum", ".json"), ("compare", ".txt"), ("site", "check", ".json"),
)  # fmt: skip
DRAWN = (
    ("calendar", "acer-palmatum", ".png"), ("calendar", "acer-palmatum", ".svg"),
    ("calendar", "acer-palmatum", ".pdf"), ("compare", ".png"), ("compare", ".svg"),
    ("compare", ".pdf"), ("site", "check", ".png"), ("site", "check", ".svg"),
    ("site", "check", ".pdf"),
)  # fmt: skip


@pytest.fixture(scope="module")
def daily(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return daily_file(tmp_path_factory.mktemp("daily") / "daily.csv")


@contextmanager
def no_file_longer_than(size: int) -> Iterator[None]:
    """Writing beyond a size fails, as on a disk that is full."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of one megabyte."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", place], capture_output=True, check=False
    ) if sys.platform == "linux" and os.geteuid() == 0 else None  # fmt: skip
    if made is None or made.returncode:
        pytest.skip("only the superuser may mount a small disk, where mounting is allowed at all")
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", place], check=True)  # also where a failed test holds it


def fill(disk: Path, *, leave: int) -> None:
    """Fill a disk but for some bytes."""
    with (disk / "filler").open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(bytes(4096))
    size = (disk / "filler").stat().st_size
    with (disk / "filler").open("rb+") as file:
        file.truncate(max(size - leave, 0))


def where(daily: Path) -> tuple[object, ...]:
    return ("--temperatures", daily, "--latitude=45", "--longitude=7", "--on=2022-05-10")


def assert_kept(run_command: Command, folder: Path, form: tuple[str, ...], daily: Path) -> None:
    """A form that cannot be written is told of, and the old file is whole."""
    *words, suffix = form
    path = folder / f"year{suffix}"
    before = sorted(folder.iterdir())
    run = run_command(*words, *where(daily), "-o", path)
    assert run.status == 2, (form, run)
    assert run.out == ""
    assert run.err.startswith(f"sapdial: {path}: cannot be written (")
    assert run.err.count("\n") == 1
    assert path.read_bytes() == OLD
    assert sorted(folder.iterdir()) == before


@pytest.mark.parametrize("form", [*QUICK, *(pytest.param(form, marks=pytest.mark.slow)
                                            for form in DRAWN)], ids=" ".join)  # fmt: skip
def test_a_file_that_finds_no_room_leaves_the_old_one_whole(
    sapdial: Command, tmp_path: Path, daily: Path, form: tuple[str, ...]
) -> None:
    (tmp_path / f"year{form[-1]}").write_bytes(OLD)
    with no_file_longer_than(60):
        assert_kept(sapdial, tmp_path, form, daily)
    assert sapdial(*form[:-1], *where(daily), "-o", tmp_path / f"year{form[-1]}").status == 0
    assert (tmp_path / f"year{form[-1]}").read_bytes() != OLD


@pytest.mark.parametrize("form", [QUICK[0], QUICK[3], pytest.param(DRAWN[2],
                                                                   marks=pytest.mark.slow)],
                         ids=" ".join)  # fmt: skip
def test_a_full_disk_leaves_the_old_file_whole(
    sapdial: Command, small_disk: Path, daily: Path, form: tuple[str, ...]
) -> None:
    (small_disk / f"year{form[-1]}").write_bytes(OLD)
    fill(small_disk, leave=0)
    assert_kept(sapdial, small_disk, form, daily)


@pytest.mark.parametrize("form", (QUICK[0], QUICK[3]), ids=" ".join)
def test_a_read_only_folder_leaves_the_old_file_whole(
    sapdial: Command, shelf: Path, form: tuple[str, ...]
) -> None:
    daily = daily_file(shelf / "daily.csv")
    (shelf / f"year{form[-1]}").write_bytes(OLD)
    shelf.chmod(0o555)
    assert_kept(sapdial, shelf, form, daily)


def test_a_file_that_was_begun_and_failed_is_gone(tmp_path: Path) -> None:
    path = tmp_path / "year.txt"
    with no_file_longer_than(10), pytest.raises(UsageError, match="cannot be written"):
        write_text(path, "x" * 1000)
    assert list(tmp_path.iterdir()) == []


# ---------------------------------------------------------------------------- the notebook


def notebook(path: Path) -> Notebook:
    book = Notebook.open(path, create=True)
    book.add_site(SITE, readings(), when=NOW)
    book.add_tree(MAPLE, when=NOW)
    return book


def assert_nothing_changed(path: Path, before: tuple[object, ...]) -> None:
    with Notebook.open(path) as book:
        assert contents(book) == before
    assert not path.with_name(f"{path.name}-journal").exists()


def test_a_notebook_that_finds_no_room_is_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "n.sqlite"
    with notebook(path) as book:
        before = contents(book)
        for room in (0, 4096, path.stat().st_size, path.stat().st_size + 4096):
            with no_file_longer_than(room), pytest.raises(DataError) as error:
                book.replace_readings("home", readings(4000), when=NOW)
            assert str(path) in str(error.value)
            assert "nothing was changed" in str(error.value)
            assert contents(book) == before
        book.replace_readings("home", readings(4000), when=NOW)
        book.undo()
    assert_nothing_changed(path, before)


def test_a_notebook_on_a_full_disk_is_as_it_was(small_disk: Path) -> None:
    path = small_disk / "n.sqlite"
    with notebook(path) as book:
        before = contents(book)
        for leave in (0, 4096, 20_000, 60_000):
            fill(small_disk, leave=leave)
            with pytest.raises(DataError) as error:
                book.replace_readings("home", readings(8000), when=NOW)
            assert "nothing was changed" in str(error.value)
            assert "room" in str(error.value)
            assert contents(book) == before
        with pytest.raises(UsageError, match="cannot be written"):
            fill(small_disk, leave=0)
            export_folder(book, small_disk / "out")
        assert sorted(item.name for item in small_disk.iterdir()) == ["filler", "n.sqlite"]
        (small_disk / "filler").unlink()
        book.replace_readings("home", readings(4000), when=NOW)
        book.undo()
    assert_nothing_changed(path, before)


def test_a_folder_that_finds_no_room_is_not_begun(tmp_path: Path) -> None:
    with notebook(tmp_path / "n.sqlite") as book, no_file_longer_than(400):
        with pytest.raises(UsageError) as error:
            export_folder(book, tmp_path / "out")
        assert str(tmp_path / "out") in str(error.value)
    assert [item.name for item in tmp_path.iterdir()] == ["n.sqlite"]


# ---------------------------------------------------------------------------- fetched temperatures

STATION = Station("12345", "Hill", 45.0, 7.0, 200.0)


def fetched(days: int) -> Kept:
    first = dt.date(2020, 1, 1)
    values = {first + dt.timedelta(days=number): (1.0, 9.0) for number in range(days)}
    return replace(Kept(), days=StationDays.of(values), fetched={2020: dt.date(2021, 1, 1)})


def test_what_was_fetched_stays_whole_where_no_more_can_be_kept(tmp_path: Path) -> None:
    write_kept(tmp_path, STATION, fetched(10))
    before = read_kept(tmp_path, STATION.code).days.values()
    for size in (0, 200, 1000):
        with no_file_longer_than(size), pytest.raises(DataError) as error:
            write_kept(tmp_path, STATION, fetched(300))
        assert "SAPDIAL_CACHE" in str(error.value)
        assert read_kept(tmp_path, STATION.code).days.values() == before
        assert len(list((tmp_path / "stations").iterdir())) == 1


def test_what_was_fetched_is_not_kept_in_a_read_only_folder(shelf: Path) -> None:
    shelf.chmod(0o555)
    with pytest.raises(DataError, match="SAPDIAL_CACHE"):
        write_kept(shelf, STATION, fetched(10))


# ---------------------------------------------------------------------------- a damaged notebook

COMMANDS = (
    ("site", "list"),
    ("record", "list", "--format=json"),
    ("ask", "acer-palmatum"),
    ("agenda",),
    ("record", "add", "light", "--tree=Old maple", "--on=2025-01-01"),
    ("record", "undo"),
    ("record", "export", "out"),
    ("tree", "add", "x", "--species=acer-rubrum"),
)


def damaged(content: bytes) -> dict[str, bytes]:
    chance = random.Random(3)
    noise = bytes(chance.randrange(256) for _ in range(20_000))
    middle = len(content) // 2
    return {
        "one byte": content[:1],
        "cut in the header": content[:60],
        "half a page": content[:511],
        "the header alone": content[:100] + bytes(412),
        "one page": content[:4096],
        "cut in the middle": content[:middle],
        "cut in a page": content[: middle + 1000],
        "the last page lost": content[:-4096],
        "noise": noise,
        "noise after the header": content[:100] + noise,
        "noise in the middle": content[:middle] + noise[:4096] + content[middle + 4096 :],
        "zeroes": bytes(len(content)),
        "zeroes after the header": content[:100] + bytes(len(content) - 100),
        "text": b"date,tmin_c,tmax_c\n" * 500,
    }


@pytest.mark.parametrize("how", damaged(bytes(10_000)))
def test_a_damaged_notebook_is_told_of_and_kept(
    sapdial: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "n.sqlite"
    monkeypatch.setenv("SAPDIAL_NOTEBOOK", str(path))
    with notebook(path) as book:
        book.replace_readings("home", readings(2000), when=NOW)
    content = damaged(path.read_bytes())[how]
    path.write_bytes(content)
    for words in COMMANDS:
        run = sapdial(*words)
        assert (run.status, run.out) == (1, ""), (how, words, run)
        assert run.err.startswith(f"sapdial: {path}: ")
        assert run.err.count("\n") == 1
        assert "copy" in run.err
        assert path.read_bytes() == content, (how, words)
    assert [item.name for item in tmp_path.iterdir()] == ["n.sqlite"]


# ---------------------------------------------------------------------------- killed, two at once


def write_until_killed(path: Path, folder: Path, told: int) -> None:
    """Make one change after another, and tell of each when it is done."""
    with Notebook.open(path) as book:
        for number in range(10_000):
            if number % 3 == 0:
                book.add_record(
                    WorkDone(MAPLE.name, "light", dt.date(2020, 1, 1) + dt.timedelta(number)),
                    when=NOW,
                )
            elif number % 3 == 1:
                book.replace_readings("home", readings(300 + number), when=NOW)
            else:
                import_folder(book, read_folder(folder), when=NOW)
                book.undo()
            os.write(told, b".")


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs kill -9")
def test_killed_many_times_it_loses_nothing_it_told_of(tmp_path: Path) -> None:
    chance = random.Random(11)
    path = tmp_path / "n.sqlite"
    with Notebook.open(tmp_path / "big.sqlite", create=True) as big:
        for number in range(3):
            big.add_site(replace(SITE, name=f"Site {number}"), readings(2000), when=NOW)
        export_folder(big, tmp_path / "folder")
    notebook(path).close()
    start = path.read_bytes()
    ends: dict[str, int] = {}
    for number in range(KILLS):
        path.write_bytes(start)
        reading, told = os.pipe()
        child = os.fork()
        if child == 0:
            write_until_killed(path, tmp_path / "folder", told)
            os._exit(0)
        os.close(told)
        os.read(reading, 1)  # it has begun
        time.sleep(chance.random() * 0.12)
        os.kill(child, signal.SIGKILL)
        assert os.waitpid(child, 0)[1] == signal.SIGKILL
        done = 1 + len(os.read(reading, 100_000))
        os.close(reading)
        hot = path.with_name("n.sqlite-journal").exists()
        ends["in a change" if hot else "between changes"] = (
            ends.get("in a change" if hot else "between changes", 0) + 1
        )
        with Notebook.open(path) as book:
            records, days, sites = len(book.records()), book.readings("home"), book.sites()
        assert days is not None
        whole = [  # states after each change, and after the import before it is taken back
            (1 + (step - 1) // 3 if step else 0, length(step), 1) for step in (done, done + 1)
        ] + [((done - 1) // 3 + 1, length(done), 4)]
        assert (records, len(days.days), len(sites)) in whole, (number, done)
    print(ends)
    assert sum(ends.values()) == KILLS


def length(step: int) -> int:
    """Days of readings after so many changes, every third of which replaces them."""
    replaced = [number for number in range(step) if number % 3 == 1]
    return 300 + replaced[-1] if replaced else 40


@pytest.mark.slow
def test_two_programs_that_write_for_a_while_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "n.sqlite"
    with notebook(path) as book:
        book.add_tree(replace(MAPLE, name="Young"), when=NOW)
    script = ADD_HUNDRED.replace("2025, 1, 1", "1850, 1, 1").replace(
        "for number in range(100):",
        "import time\nuntil = time.monotonic() + float(sys.argv[3])\nnumber = 0\n"
        "while time.monotonic() < until:\n    number += 1",
    )
    script += "print(number)\n"
    running = [
        subprocess.Popen(
            [sys.executable, "-c", script, path, tree, str(SECONDS)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for tree in (MAPLE.name, "Young")
    ]  # fmt: skip
    ended = [program.communicate() for program in running]
    assert [err for _, err in ended] == ["", ""]
    written = [int(out) for out, _ in ended]
    print(written)
    with Notebook.open(path) as book:
        for tree, count in zip((MAPLE.name, "Young"), written, strict=True):
            assert len(book.records(tree=tree)) == count > 0
