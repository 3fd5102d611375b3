"""The notebook keeps what it was given, gives it back, and never loses half of anything.

What must hold:

* temperatures come back bit for bit, and as the record a file would have given;
* every change can be undone, one after another, down to the rows of the file;
* a program killed in the middle of a change leaves the old state or the new one; two programs
  that write at once lose nothing;
* a file that is no notebook, is damaged, or comes from a newer version is refused in one
  sentence and left as it is;
* a notebook written to a folder and read from it is the same notebook, whatever the names.
"""

import contextlib
import datetime as dt
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from timing.errors import DataError, SapdialError, UsageError
from timing.intake.daily_csv import read_daily_csv
from timing.intake.observations import read_observations
from timing.intake.samples import open_sample
from timing.notebook import schema
from timing.notebook.checks import FieldError
from timing.notebook.export_folder import export_folder
from timing.notebook.import_folder import import_folder, read_folder
from timing.notebook.journal import KEPT_CHANGES
from timing.notebook.model import NotebookSite, ObservedDate, Runner, Shelter, Tree, WorkDone
from timing.notebook.readings import Readings
from timing.notebook.schema import MIGRATIONS, NoNotebookError, connect
from timing.notebook.shelter import offsets, sheltered
from timing.notebook.store import Notebook
from timing.notebook.tables import guarded, unguarded
from timing.plain_text import lookup_key

NOW = dt.datetime(2026, 5, 1, 10, 30)
DAY = dt.date(2026, 4, 12)
SITE = NotebookSite("Home", 45.5, 7.25, 340.0, ("garden", "north"), "made-up.csv")
MAPLE = Tree("Old maple", "acer-palmatum", "Home", pot_cm=38.0)
HOSTILE = (
    "O'Brien's \"big\" pot",
    "'; DROP TABLE site; --",
    "=1+1",
    "-2",
    "@home",
    "'quoted",
    "\u200fגן קטן\u200f",
    "紅葉 👩\u200d🌾",
    "Ünïcode, with; separators",
    "../../etc/passwd",
    "con",
    "%s ? {name} \\",
    "x" * 80,
)  # fmt: skip


def readings(days: int = 40, first: str = "2020-01-01") -> Readings:
    number = np.arange(days)
    low = np.round(3 * np.sin(number) - 2, 1)
    return Readings(np.datetime64(first) + number, low, low + 7.3)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "notebook.sqlite"


@pytest.fixture
def book(path: Path) -> Iterator[Notebook]:
    with Notebook.open(path, create=True) as opened:
        yield opened


@pytest.fixture
def bench(book: Notebook) -> Notebook:
    """A notebook with a site, a tree under a wall, and one record of every kind."""
    book.add_site(SITE, readings(), when=NOW)
    book.add_tree(replace(MAPLE, shelters=(Shelter("wall", 1, 2),)), when=NOW)
    book.add_record(ObservedDate("bud_break", DAY, tree="Old maple"), when=NOW)
    book.add_record(WorkDone("Old maple", "heavy", DAY, 0.25), when=NOW)
    book.add_record(Runner("Old maple", "low left", DAY), when=NOW)
    return book


TABLES = (*schema.TABLES, "temperature", "beside")


def dump(source: Notebook | Path) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table but the journal and the numbers given out."""
    path = source if isinstance(source, Path) else source.path
    with contextlib.closing(sqlite3.connect(path)) as db:
        return {
            table: sorted(db.execute(f"SELECT * FROM {table}").fetchall(), key=repr)
            for table in TABLES
        }


def contents(book: Notebook) -> tuple[object, ...]:
    """What the notebook says it holds, without the numbers of its records."""
    kept = [
        book.readings(site.name, kind)
        for site in book.sites()
        for kind in ("own", "neighbour", "forecast")
    ]
    rows = [None if r is None else (r.days.tolist(), r.packed()) for r in kept]
    return book.sites(), rows, book.trees(), sorted(map(repr, map(unnumbered, book.records())))


def unnumbered(record: Any) -> Any:
    return replace(record, number=0)


def one_sentence(error: pytest.ExceptionInfo[SapdialError], *holds: str) -> None:
    text = str(error.value)
    assert "\n" not in text
    assert len(text) < 450
    for word in holds:
        assert word in text


# ---------------------------------------------------------------------------- temperatures


def test_temperatures_come_back_as_the_record_of_the_file(tmp_path: Path, book: Notebook) -> None:
    lines = ["date,tmin_c,tmax_c"]
    for number in range(800):
        day = dt.date(2019, 1, 1) + dt.timedelta(days=number)
        low, high = f"{number % 17 - 5.05:.2f}", f"{number % 17 + 6.1 + number % 3:.1f}"
        if 100 < number < 120:
            low = ""  # half a pair
        if number in (300, 301):
            low = high = ""
        if number == 400:
            continue  # an absent day
        lines.append(f"{day},{low},{high}")
    file = tmp_path / "daily.csv"
    file.write_text("\n".join(lines) + "\n")
    record = read_daily_csv(file)
    book.add_site(SITE, Readings.of(record), when=NOW)
    for until in (None, np.datetime64("2020-02-29")):
        wanted, found = read_daily_csv(file, until=until), book.temperature_record(until=until)
        assert found.first == wanted.first
        assert found.findings == wanted.findings
        for name in ("tmin_c", "tmax_c", "state", "raw_tmin_c", "raw_tmax_c"):
            assert np.array_equal(getattr(found, name), getattr(wanted, name), equal_nan=True)
    span = book.span()
    assert span is not None
    assert (str(span.first), str(span.last)) == ("2019-01-01", "2021-03-10")
    assert (span.days, span.missing_days) == (800 - 19 - 3, 19 + 3)


@given(
    st.lists(
        st.tuples(
            st.integers(1, 400),
            st.floats(-90, 99) | st.just(float("nan")),
            st.floats(-90, 99) | st.just(float("nan")),
        ),
        min_size=1,
        max_size=30,
    )
)
@settings(max_examples=25, deadline=None)
def test_any_readings_come_back_bit_for_bit(steps: list[tuple[int, float, float]]) -> None:
    gaps, low, high = zip(*steps, strict=True)
    kept = Readings(np.datetime64("1899-12-31") + np.cumsum(gaps), np.array(low), np.array(high))
    with (
        tempfile.TemporaryDirectory() as folder,
        Notebook.open(Path(folder) / "n", create=True) as book,
    ):
        book.add_site(SITE, kept, when=NOW)
        assert kept.same(book.readings())
        book.replace_readings("Home", readings(), when=NOW)
        assert readings().same(book.readings())
        book.undo()
        assert kept.same(book.readings())


def test_thirty_five_years_are_read_in_40_ms(book: Notebook) -> None:
    _, record = open_sample("humid-continental")
    book.add_site(SITE, Readings.of(record), when=NOW)
    assert len(record.tmin_c) > 35 * 365

    def elapsed() -> float:
        start = time.process_time()  # what other programs take does not count
        book.readings("Home")
        return time.process_time() - start

    assert min(elapsed() for _ in range(12)) < 0.040


@pytest.mark.parametrize(
    ("days", "low"),
    [([], []), (["2020-01-01"], [1.0, 2.0]), (["2020-01-02", "2020-01-01"], [1.0, 2.0]),
     (["2020-01-01", "2020-01-01"], [1.0, 2.0]), (["2020-01-01"], [float("inf")])],
)  # fmt: skip
def test_readings_that_are_none_are_refused(days: list[str], low: list[float]) -> None:
    with pytest.raises(UsageError, match="temperatures need"):
        Readings(np.array(days, dtype="M8[D]"), np.array(low), np.array(low))


def test_blank_days_at_both_ends_still_bound_the_record(book: Notebook) -> None:
    blank = float("nan")
    values = np.array([blank, 1.0, blank, 3.0, blank])
    days = np.datetime64("2020-01-01") + np.arange(5)
    book.add_site(SITE, Readings(days, values, values + 5), when=NOW)
    found = book.readings()
    assert found is not None
    assert found.days.astype(str).tolist() == [f"2020-01-0{day}" for day in (1, 2, 4, 5)]
    record = book.temperature_record()
    assert (str(record.first), str(record.last)) == ("2020-01-01", "2020-01-05")


def test_a_site_without_temperatures_says_so(book: Notebook) -> None:
    book.add_site(SITE, when=NOW)
    assert book.readings() is None
    assert book.span() is None
    with pytest.raises(DataError) as error:
        book.temperature_record()
    one_sentence(error, "Home", "--temperatures")


# ---------------------------------------------------------------------------- names


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_names(book: Notebook, name: str) -> None:
    book.add_site(replace(SITE, name=f"  {name} "), readings(), when=NOW)
    book.add_tree(replace(MAPLE, name=name, site=name, note=name), when=NOW)
    assert book.site(name).name == book.tree(name.upper()).name == name
    assert book.trees()[0].note == name
    assert book.remove_site(name, when=NOW).what.count(name) == 1
    assert dump(book)["site"] == []
    book.undo()
    assert book.tree(name).site == name


@pytest.mark.parametrize(
    "name", ["", "  ", "x" * 81, "a\nb", "a\x1b[31mb", "a\x00b", "a\u202eb", "\ud800", "\u200f"]
)
def test_names_that_cannot_be_shown_are_refused(name: str) -> None:
    with pytest.raises(FieldError, match="name") as error:
        replace(SITE, name=name)
    assert error.value.field == "name"
    assert str(error.value).isprintable()


def test_letter_case_spacing_and_unseen_marks_make_no_new_name(book: Notebook) -> None:
    book.add_site(replace(SITE, name="Große Bank"), when=NOW)
    for same in ("GROSSE BANK", "große  bank", "Gro\u200dße\u00a0Bank"):
        assert book.site(same).name == "Große Bank"
        with pytest.raises(FieldError, match="already"):
            book.add_site(replace(SITE, name=same), when=NOW)


def test_an_unknown_name_lists_the_nearest(bench: Notebook) -> None:
    for ask, near in (
        (lambda: bench.site("hmoe"), "Home"),
        (lambda: bench.tree("old mapel"), "Old maple"),
        (lambda: bench.tree("zzz"), "Old maple"),
        (lambda: bench.remove_shelter("Old maple", "walls", when=NOW), "wall"),
    ):
        with pytest.raises(FieldError) as error:
            ask()
        one_sentence(error, near)


def test_without_a_name_the_only_site_is_meant(bench: Notebook) -> None:
    assert bench.site() == SITE
    bench.add_site(replace(SITE, name="Away"), when=NOW)
    with pytest.raises(FieldError, match="Away, Home"):
        bench.site()


# ---------------------------------------------------------------------------- values


WRONG_VALUES: list[tuple[Callable[[], object], str]] = [
    (lambda: replace(SITE, latitude=91), "latitude"),
    (lambda: replace(SITE, longitude=float("nan")), "longitude"),
    (lambda: replace(SITE, elevation_m=1e5), "elevation_m"),
    (lambda: replace(SITE, tags=("a;b",)), "tags"),
    (lambda: replace(MAPLE, species="Acer palmatum"), "species"),
    (lambda: replace(MAPLE, condition="dead"), "condition"),
    (lambda: replace(MAPLE, pot_cm=0), "pot_cm"),
    (lambda: replace(MAPLE, note="x" * 2001), "note"),
    (lambda: replace(MAPLE, shelters=(Shelter("wall", 1, 1), Shelter("Wall", 2, 2))), "kind"),
    (lambda: Shelter("wall", float("nan"), 0), "tmin_offset_c"),
    (lambda: Shelter("wall", 0, 31), "tmax_offset_c"),
    (lambda: Shelter("frame", 1, 1, "11-01"), "until"),
    (lambda: Shelter("frame", 1, 1, "11-31", "03-01"), "starts"),
    (lambda: Shelter("frame", 1, 1, "11-01", "2026-03-01"), "until"),
    (lambda: ObservedDate("bud_break", dt.date(1799, 12, 31), tree="x"), "date"),
    (lambda: ObservedDate("bud_break", DAY), "species"),
    (lambda: WorkDone("x", "pruned", DAY), "kind"),  # type: ignore[arg-type]
    (lambda: WorkDone("x", "heavy", DAY, 1.01), "fraction"),
    (lambda: WorkDone("x", "heavy", DAY, float("nan")), "fraction"),
    (lambda: Runner("x", "top", DAY, dt.date(2026, 4, 11)), "ended"),
]


@pytest.mark.parametrize(
    ("make", "field"), WRONG_VALUES, ids=[f"{n} {w[1]}" for n, w in enumerate(WRONG_VALUES)]
)
def test_a_wrong_value_is_refused_and_its_field_named(
    make: Callable[[], object], field: str
) -> None:
    with pytest.raises(FieldError) as error:
        make()
    assert error.value.field == field
    one_sentence(error)


def test_a_note_is_one_line() -> None:
    assert replace(MAPLE, note=" two\n lines\t here ").note == "two lines here"


UNSUITED: list[tuple[Any, str]] = [
    (ObservedDate("bud_break", dt.date(2026, 5, 2), tree="Old maple"), "date"),
    (WorkDone("Old maple", "light", dt.date(2026, 5, 2)), "date"),
    (Runner("Old maple", "top", dt.date(2026, 5, 2)), "begun"),
    (Runner("Old maple", "top", DAY, dt.date(2026, 5, 2)), "ended"),
    (ObservedDate("full_bloom", DAY, tree="Old maple"), "event"),
    (ObservedDate("bud_break", DAY, tree="Young maple"), "tree"),
    (ObservedDate("bud_break", DAY, species="acer-rubrum", site="Away"), "site"),
    (ObservedDate("bud_break", DAY, species="acer-nullum"), "species"),
    (ObservedDate("bud_break", DAY, species="acer-rubrum", tree="Old maple"), "species"),
    (WorkDone("Old maple", "heavy", DAY, 0.5, "again"), "record"),
]


@pytest.mark.parametrize(
    ("record", "field"), UNSUITED, ids=[f"{n} {w[1]}" for n, w in enumerate(UNSUITED)]
)
def test_a_record_that_does_not_suit_the_notebook_is_refused(
    bench: Notebook, record: Any, field: str
) -> None:
    before = dump(bench)
    with pytest.raises(FieldError) as error:
        bench.add_record(record, when=NOW)
    assert error.value.field == field
    one_sentence(error)
    assert dump(bench) == before


def test_an_event_the_species_lacks_is_refused_with_its_events(bench: Notebook) -> None:
    with pytest.raises(FieldError) as error:
        bench.add_record(ObservedDate("candles-extending", DAY, tree="Old maple"), when=NOW)
    one_sentence(error, "candles_extending", "bud_break", "leaf_fall")


# ---------------------------------------------------------------------------- what changes carry


def test_records_come_back_by_tree_and_by_site(bench: Notebook) -> None:
    bench.add_site(replace(SITE, name="Away"), when=NOW)
    bench.add_tree(replace(MAPLE, name="Young", site="Away"), when=NOW)
    alone = ObservedDate("leaf_fall", dt.date(2025, 11, 3), species="acer-rubrum", site="away")
    number = bench.add_record(alone, when=NOW)
    assert bench.record(number) == replace(alone, site="Away")
    assert [type(r) for r in bench.records(tree="old maple")] == [ObservedDate, WorkDone, Runner]
    assert bench.records(site="away") == (bench.record(number),)
    assert len(bench.records()) == 4
    found = bench.observations("home", until=np.datetime64(DAY))
    assert [(o.species, o.event, o.date) for o in found] == [
        ("acer-palmatum", "bud_break", np.datetime64(DAY))
    ]
    assert bench.observations("home", until=np.datetime64("2026-04-11")) == ()


def test_a_tree_that_moves_leaves_its_dates_where_they_were_seen(bench: Notebook) -> None:
    bench.add_site(replace(SITE, name="Away"), when=NOW)
    bench.change_tree("old maple", lambda tree: replace(tree, site="away"), when=NOW)
    assert bench.tree("old maple").site == "Away"
    assert [record.site for record in bench.records() if isinstance(record, ObservedDate)] == [
        "Home"
    ]
    assert len(bench.observations("Home")) == 1
    assert bench.observations("Away") == ()


def test_dates_seen_on_a_tree_outlive_it(bench: Notebook) -> None:
    before = dump(bench)
    what = bench.remove_tree("old maple", when=NOW).what
    assert "1 observed date" in what
    assert "2 records" in what
    (kept,) = bench.records()
    assert kept == ObservedDate("bud_break", DAY, site="Home", species="acer-palmatum")
    bench.undo()
    assert dump(bench) == before


def test_a_corrected_species_carries_its_dates_along(bench: Notebook) -> None:
    bench.change_tree("old maple", lambda tree: replace(tree, species="acer-rubrum"), when=NOW)
    assert bench.observations("Home")[0].species == "acer-rubrum"
    before = dump(bench)
    with pytest.raises(FieldError, match="bud_break"):  # a fig has no bud break to have been seen
        bench.change_tree(
            "old maple", lambda tree: replace(tree, species="ficus-microcarpa"), when=NOW
        )
    assert dump(bench) == before


def test_changes_reach_every_field(bench: Notebook) -> None:
    new_site = NotebookSite("Bench", -33, 151, None, ("roof",), "b.csv", "nobody", "none")
    bench.change_site("home", lambda _: new_site, readings(5), when=NOW)
    assert bench.site("bench") == new_site
    assert readings(5).same(bench.readings("bench"))
    frame = Shelter("cold frame", 3, -1, "11-01", "03-31")
    new_tree = Tree("Oak", "quercus-robur", "Bench", "weak", 12.5, "leaning", (frame,))
    bench.change_tree("old maple", lambda _: new_tree, when=NOW)
    assert bench.trees() == (new_tree,)
    one, two, three = bench.records()
    changed = (
        replace(one, date=dt.date(2026, 4, 1), note="early"),
        replace(two, date=dt.date(2026, 4, 2), fraction=None),
        replace(three, begun=dt.date(2026, 4, 3), ended=DAY, place="top"),
    )
    for old, new in zip((one, two, three), changed, strict=True):
        bench.change_record(old.number, lambda _, new=new: new, when=NOW)  # type: ignore[misc]
    assert bench.records() == changed
    with pytest.raises(FieldError, match="another kind"):
        bench.change_record(one.number, lambda _: two, when=NOW)


def test_a_removed_number_is_never_given_again(bench: Notebook) -> None:
    last = bench.records()[-1].number
    bench.remove_record(last, when=NOW)
    assert bench.add_record(WorkDone("Old maple", "repotting", DAY), when=NOW) == last + 1
    with pytest.raises(FieldError, match=f"no record {last}"):
        bench.record(last)
    for odd in (0, -1, 2**70):
        with pytest.raises(FieldError, match="no record"):
            bench.record(odd)


# ---------------------------------------------------------------------------- shelters


def test_shelters_of_every_year_run_over_new_year_and_add_up() -> None:
    days = np.arange("2023-10-30", "2024-04-03", dtype="M8[D]")
    frame = Shelter("cold frame", 3, 5, "11-01", "03-31")
    wall = Shelter("wall", 1, -0.5)
    spring = Shelter("fleece", 2, 0, "02-29", "03-01")
    night, noon = offsets((frame, wall, spring), days)
    told = dict(zip(days.astype(str).tolist(), zip(night, noon, strict=True), strict=True))
    assert told["2023-10-31"] == (1, -0.5)
    assert told["2023-11-01"] == told["2024-01-01"] == told["2024-02-28"] == (4, 4.5)
    assert told["2024-02-29"] == told["2024-03-01"] == (6, 4.5)
    assert told["2024-03-31"] == (4, 4.5)
    assert told["2024-04-01"] == (1, -0.5)


def test_a_sheltered_record_is_warmer_where_it_should_be() -> None:
    _, record = open_sample("humid-continental")
    warm = sheltered(record, (Shelter("wall", 2, 1),))
    assert np.allclose(warm.tmax_c, record.tmax_c + 1)
    assert np.allclose(warm.tmin_c, np.minimum(record.tmin_c + 2, record.tmax_c + 1))
    day = np.datetime64("2005-06-20")
    cut, later = warm.until(day), sheltered(record.until(day), (Shelter("wall", 2, 1),))
    assert np.allclose(cut.tmin_c, later.tmin_c)
    assert np.allclose(cut.tmax_c, later.tmax_c)
    assert np.array_equal(sheltered(record, ()).tmin_c, record.tmin_c)


# ---------------------------------------------------------------------------- undo

Step = Callable[[Notebook], object]
STEPS: tuple[Step, ...] = (
    lambda book: book.add_site(replace(SITE, name="Away"), readings(9), when=NOW),
    lambda book: book.remove_site("Away", when=NOW),
    lambda book: book.remove_site("Home", when=NOW),
    lambda book: book.add_site(SITE, readings(), when=NOW),
    lambda book: book.change_site("Home", lambda s: replace(s, tags=("x",)), when=NOW),
    lambda book: book.change_site("Home", lambda s: replace(s, name="Hill"), when=NOW),
    lambda book: book.change_site("Hill", lambda s: replace(s, name="Home"), when=NOW),
    lambda book: book.replace_readings("Home", readings(3, "1990-05-05"), when=NOW),
    lambda book: book.add_tree(replace(MAPLE, name="Young", site="Away"), when=NOW),
    lambda book: book.add_tree(MAPLE, when=NOW),
    lambda book: book.change_tree("Old maple", lambda t: replace(t, site="Away"), when=NOW),
    lambda book: book.change_tree(
        "Old maple", lambda t: replace(t, species="acer-rubrum", shelters=()), when=NOW
    ),
    lambda book: book.remove_tree("Old maple", when=NOW),
    lambda book: book.set_shelter("Old maple", Shelter("wall", 5, 5), when=NOW),
    lambda book: book.set_shelter("Young", Shelter("net", -1, -2, "06-01", "08-31"), when=NOW),
    lambda book: book.remove_shelter("Old maple", "wall", when=NOW),
    lambda book: book.add_record(ObservedDate("leaf_fall", DAY, tree="Young"), when=NOW),
    lambda book: book.add_record(WorkDone("Old maple", "frost_loss", DAY), when=NOW),
    lambda book: book.change_record(2, lambda r: replace(r, note="changed"), when=NOW),
    lambda book: book.remove_record(3, when=NOW),
)


@given(st.lists(st.sampled_from(range(len(STEPS))), min_size=1, max_size=14))
@settings(max_examples=30, deadline=None)
def test_every_change_is_undone_to_the_row(chosen: list[int]) -> None:
    with (
        tempfile.TemporaryDirectory() as folder,
        Notebook.open(Path(folder) / "n", create=True) as book,
    ):
        with book.reading() as db:
            pass
        db.execute("PRAGMA synchronous = OFF")  # nobody pulls the plug on this one
        book.add_site(SITE, readings(), when=NOW)
        book.add_tree(replace(MAPLE, shelters=(Shelter("wall", 1, 2),)), when=NOW)
        book.add_record(ObservedDate("bud_break", DAY, tree="Old maple"), when=NOW)
        book.add_record(WorkDone("Old maple", "heavy", DAY, 0.25), when=NOW)
        book.add_record(Runner("Old maple", "low left", DAY), when=NOW)
        states = [dump(book)]
        for number in chosen:
            with contextlib.suppress(UsageError):
                STEPS[number](book)
            if dump(book) != states[-1]:
                states.append(dump(book))
        for state in reversed(states[:-1]):
            book.undo()
            assert dump(book) == state


def test_undo_says_what_it_took_back(bench: Notebook) -> None:
    made = bench.remove_site("home", when=NOW)
    assert "1 tree and 3 records" in made.what
    assert bench.last_change() == made
    assert bench.undo() == made
    assert len(bench.records()) == 3
    assert "low left" in bench.undo().what


def test_the_last_twenty_changes_are_kept(bench: Notebook) -> None:
    for number in range(KEPT_CHANGES + 5):
        bench.change_site("home", lambda s, n=number: replace(s, source=f"{n}"), when=NOW)  # type: ignore[misc]
    for _ in range(KEPT_CHANGES):
        bench.undo()
    assert bench.site().source == "4"
    with pytest.raises(DataError, match="nothing to undo"):
        bench.undo()
    assert bench.site().source == "4"


def test_a_change_that_changes_nothing_is_not_one(bench: Notebook) -> None:
    before = bench.last_change()
    bench.change_site("home", lambda site: site, readings(), when=NOW)
    bench.change_tree("old maple", lambda tree: tree, when=NOW)
    assert bench.last_change() == before


def test_an_edit_that_fails_changes_nothing(bench: Notebook) -> None:
    before = dump(bench)

    def fails(tree: Tree) -> Tree:
        raise RuntimeError(tree.name)

    with pytest.raises(RuntimeError):
        bench.change_tree("old maple", fails, when=NOW)
    assert dump(bench) == before
    bench.change_tree("old maple", lambda tree: replace(tree, note="still open"), when=NOW)


# ---------------------------------------------------------------------------- the file


def test_a_notebook_that_is_not_there_is_not_made_by_looking(path: Path) -> None:
    with pytest.raises(NoNotebookError) as error:
        Notebook.open(path)
    one_sentence(error, str(path), "site add")
    assert not path.exists()


def test_an_empty_file_counts_as_no_notebook_yet(path: Path) -> None:
    path.touch()  # what a program leaves that was killed before its first change
    with pytest.raises(NoNotebookError):
        Notebook.open(path)
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, when=NOW)
    with Notebook.open(path) as book:
        assert book.sites() == (SITE,)


@pytest.mark.parametrize("name", ["what?.sqlite", "50% #1.sqlite", "紅葉 é.sqlite"])
def test_any_file_name_will_do(tmp_path: Path, name: str) -> None:
    with Notebook.open(tmp_path / name, create=True) as book:
        book.add_site(SITE, when=NOW)
    assert [item.name for item in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("create", [False, True])
def test_a_folder_in_its_place_is_refused(tmp_path: Path, create: bool) -> None:
    with pytest.raises(UsageError) as error:
        Notebook.open(tmp_path, create=create)
    one_sentence(error, str(tmp_path), "folder")


def test_its_folder_must_exist(tmp_path: Path) -> None:
    with pytest.raises(UsageError) as error:
        Notebook.open(tmp_path / "no" / "notebook.sqlite", create=True)
    one_sentence(error, "folder does not exist")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("create", [False, True])
@pytest.mark.parametrize("content", [b"x", b"date,tmin_c,tmax_c\n" * 200, b"\x00" * 4096])
def test_a_file_that_is_no_notebook_is_left_alone(path: Path, content: bytes, create: bool) -> None:
    path.write_bytes(content)
    with pytest.raises(DataError) as error:
        Notebook.open(path, create=create)
    one_sentence(error, str(path))
    assert path.read_bytes() == content
    assert len(list(path.parent.iterdir())) == 1


def test_a_database_of_another_program_is_left_alone(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE site (name TEXT)")
    content = path.read_bytes()
    with pytest.raises(DataError) as error:
        Notebook.open(path, create=True)
    one_sentence(error, "another program")
    assert path.read_bytes() == content


def test_a_notebook_from_the_future_is_left_alone(bench: Notebook) -> None:
    bench.close()
    with contextlib.closing(sqlite3.connect(bench.path)) as db:
        db.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
        db.execute("CREATE TABLE novelty (x)")
    content = bench.path.read_bytes()
    for create in (False, True):
        with pytest.raises(DataError) as error:
            Notebook.open(bench.path, create=create)
        one_sentence(error, "newer version", f"version {len(MIGRATIONS) + 1}")
    assert bench.path.read_bytes() == content


def next_version(db: sqlite3.Connection) -> None:
    db.execute("ALTER TABLE tree ADD COLUMN height_cm REAL")
    db.execute("UPDATE tree SET height_cm = 2 * pot_cm")


def test_an_older_notebook_is_brought_up_to_date_once(bench: Notebook) -> None:
    before = dump(bench)
    bench.close()
    steps = (*MIGRATIONS, next_version)
    for _ in range(2):  # the second time there is nothing left to do
        with contextlib.closing(connect(bench.path, migrations=steps)) as db:
            assert db.execute("PRAGMA user_version").fetchone()[0] == len(steps)
            assert db.execute("SELECT name, height_cm FROM tree").fetchone()[:] == ("Old maple", 76)
    after = dump(bench.path)
    assert {table: after[table] for table in TABLES if table != "tree"} == {
        table: before[table] for table in TABLES if table != "tree"
    }
    with pytest.raises(DataError, match="newer version"):
        Notebook.open(bench.path)


def test_a_first_notebook_is_brought_up_to_date(tmp_path: Path) -> None:
    path = tmp_path / "first.sqlite"
    with contextlib.closing(connect(path, create=True, migrations=MIGRATIONS[:1])) as db:
        db.execute("INSERT INTO site VALUES (1, 'Home', 'home', 45, 8, NULL, '', '', '', '')")
        db.execute("INSERT INTO change VALUES (1, '2025-06-01T12:00:00', 'added site Home')")
        db.execute("INSERT INTO change_row VALUES (1, 1, 'site', 1, NULL, NULL)")
    with Notebook.open(path) as book:
        assert book.site("home").name == "Home"
        assert book.site("home").hazards == ()
        assert book.last_change() is None


def test_a_second_notebook_gets_room_for_hazards_and_looks(tmp_path: Path) -> None:
    path = tmp_path / "second.sqlite"
    with contextlib.closing(connect(path, create=True, migrations=MIGRATIONS[:2])) as db:
        columns = ", ".join(("number", *schema.TABLES["site"][:9]))
        db.execute(f"INSERT INTO site ({columns}) VALUES (1, 'H', 'h', 45, 8, 9, '', '', '', '')")
        db.execute("INSERT INTO tree VALUES (1, 'T', 't', 'acer-palmatum', 1, 'weak', NULL, '')")
        db.execute("INSERT INTO runner VALUES (1, 1, 'top', '2025-05-01', NULL, 'note')")
        db.execute("INSERT INTO numbering VALUES ('record', 1)")
    with Notebook.open(path) as book:
        assert book.record(1) == Runner("T", "top", dt.date(2025, 5, 1), None, "note")
        book.change_site("H", lambda site: replace(site, hazards=("oak-wilt",)), when=NOW)
        book.change_record(1, lambda old: replace(old, looked=dt.date(2025, 6, 1)), when=NOW)
    with Notebook.open(path) as book:
        assert book.site("h").hazards == ("oak-wilt",)
        assert book.record(1).looked == dt.date(2025, 6, 1)
        book.undo()
        book.undo()
        assert book.site("h").hazards == ()


@pytest.mark.parametrize("names", [("oak wilt",), ("no-such-pest",), ("oak-wilt", "")])
def test_a_hazard_nobody_knows_is_refused(bench: Notebook, names: tuple[str, ...]) -> None:
    with pytest.raises(FieldError) as error:
        bench.change_site(SITE.name, lambda site: replace(site, hazards=names), when=NOW)
    assert error.value.field == "hazards"
    assert bench.site(SITE.name).hazards == ()


def test_a_step_that_fails_leaves_the_old_version(bench: Notebook) -> None:
    before = dump(bench)
    bench.close()

    def breaks(db: sqlite3.Connection) -> None:
        next_version(db)
        db.execute("DELETE FROM site")  # its trees now point nowhere

    def stops(db: sqlite3.Connection) -> None:
        next_version(db)
        raise KeyboardInterrupt

    for step, error in ((breaks, DataError), (stops, KeyboardInterrupt)):
        with pytest.raises(error):
            connect(bench.path, migrations=(*MIGRATIONS, step))
        with Notebook.open(bench.path) as book:
            assert dump(book) == before


def test_a_wiped_page_is_refused_with_a_way_out(bench: Notebook) -> None:
    bench.replace_readings("home", readings(3000), when=NOW)
    bench.close()
    content = bench.path.read_bytes()
    for page in range(1, len(content) // 4096):
        broken = content[: 4096 * page] + b"\xa5" * 4096 + content[4096 * (page + 1) :]
        bench.path.write_bytes(broken)
        with pytest.raises(DataError) as error:
            Notebook.open(bench.path)
        one_sentence(error, str(bench.path), "damaged", "keep this file", ".recover")
        assert bench.path.read_bytes() == broken


def test_a_flipped_byte_is_told_or_harmless_but_never_a_crash(bench: Notebook) -> None:
    bench.close()
    content = bench.path.read_bytes()
    refused = 0
    written = [place for place, byte in enumerate(content) if byte]
    for place in written[:: len(written) // 150]:
        broken = bytearray(content)
        broken[place] ^= 0xFF
        bench.path.write_bytes(broken)
        try:
            with Notebook.open(bench.path) as book:
                contents(book)
        except SapdialError as error:
            refused += 1
            assert str(bench.path) in str(error)
    assert refused > 10
    bench.path.write_bytes(content)
    with Notebook.open(bench.path) as book:
        assert len(book.records()) == 3


def test_a_row_that_cannot_be_is_damage(bench: Notebook) -> None:
    bench.close()
    for table, column, value in (
        ("observation", "date", "yesterday"),
        ("tree", "name", "a\x1b[31m"),
        ("temperature", "tmin_c", "cold"),
        ("shelter", "starts", "13-01"),
    ):
        content = bench.path.read_bytes()
        with contextlib.closing(sqlite3.connect(bench.path)) as db:
            db.execute(f"UPDATE {table} SET {column} = ?", (value,))
            db.commit()
        with Notebook.open(bench.path) as book, pytest.raises(DataError, match="damaged"):
            contents(book)
        bench.path.write_bytes(content)


@pytest.fixture
def shelf() -> Iterator[Path]:
    """A folder that an ordinary user may use; the test runs as one where it would be root."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o777)
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    if root:
        os.chown(folder, 65534, -1)
        os.seteuid(65534)
    try:
        yield folder
    finally:
        if root:
            os.seteuid(0)
        folder.chmod(0o777)
        shutil.rmtree(folder)


def test_a_read_only_file_can_be_read_and_refuses_changes(shelf: Path) -> None:
    path = shelf / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=NOW)
    path.chmod(0o444)
    with Notebook.open(path) as book:
        assert book.sites() == (SITE,)
        with pytest.raises(UsageError) as error:
            book.add_tree(MAPLE, when=NOW)
        one_sentence(error, str(path), "read-only", "nothing was changed")
        assert book.trees() == ()


def test_a_read_only_folder_is_told(shelf: Path) -> None:
    path = shelf / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=NOW)
    shelf.chmod(0o555)
    with Notebook.open(path) as book:
        assert readings().same(book.readings())
        with pytest.raises(UsageError) as error:
            book.add_tree(MAPLE, when=NOW)
        one_sentence(error, str(path), "folder", "read-only")
    for make in (
        lambda: Notebook.open(shelf / "new.sqlite", create=True),
        lambda: export_folder(Notebook.open(path), shelf / "out"),
    ):
        with pytest.raises(UsageError) as error:
            make()
        one_sentence(error, str(shelf))


def test_a_file_of_somebody_else_is_told(shelf: Path) -> None:
    path = shelf / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, when=NOW)
    path.chmod(0o000)
    with pytest.raises(UsageError) as error:
        Notebook.open(path)
    one_sentence(error, str(path))


# ---------------------------------------------------------------------------- two at once


def test_whoever_waits_too_long_is_told(bench: Notebook, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schema, "BUSY_SECONDS", 0.1)
    with contextlib.closing(sqlite3.connect(bench.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with Notebook.open(bench.path) as book:
            assert book.sites() == (SITE,)  # reading goes on
            with pytest.raises(DataError) as error:
                book.remove_record(1, when=NOW)
            one_sentence(error, "another program", "0.1 seconds", "nothing was changed")
            other.execute("ROLLBACK")
            book.remove_record(1, when=NOW)


def test_whoever_finds_another_writing_waits_for_its_turn(bench: Notebook) -> None:
    held, done = threading.Event(), []

    def write() -> None:
        with contextlib.closing(sqlite3.connect(bench.path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            other.execute("UPDATE tree SET note = 'first'")
            held.set()
            time.sleep(0.2)
            other.execute("COMMIT")
            done.append(True)

    writer = threading.Thread(target=write)
    writer.start()
    held.wait()
    bench.undo()
    writer.join()
    assert done == [True]
    assert bench.tree("old maple").note == "first"
    assert len(bench.records()) == 2


ADD_HUNDRED = """
import datetime as dt, sys
from pathlib import Path
from timing.notebook.store import Notebook
from timing.notebook.model import WorkDone
now = dt.datetime(2026, 5, 1)
for number in range(100):
    with Notebook.open(Path(sys.argv[1])) as book:
        day = dt.date(2025, 1, 1) + dt.timedelta(days=number)
        book.add_record(WorkDone(sys.argv[2], "light", day), when=now)
"""


def test_two_programs_that_write_at_once_lose_nothing(bench: Notebook) -> None:
    bench.add_tree(replace(MAPLE, name="Young"), when=NOW)
    running = [
        subprocess.Popen(
            [sys.executable, "-c", ADD_HUNDRED, bench.path, tree],
            stderr=subprocess.PIPE,
            text=True,
        )
        for tree in ("Old maple", "Young")
    ]
    assert [(program.communicate()[1], program.returncode) for program in running] == [("", 0)] * 2
    numbers = [record.number for record in bench.records()]
    assert len(set(numbers)) == len(numbers) == 203
    assert len(bench.records(tree="Young")) == 100


# ---------------------------------------------------------------------------- killed

KILLED = """
import datetime as dt, json, os, signal, sys, time
from dataclasses import replace
from pathlib import Path
from timing.notebook.import_folder import import_folder, read_folder
from timing.notebook.model import WorkDone
from timing.notebook.store import Notebook

now = dt.datetime(2026, 5, 1)
path, folder = Path(sys.argv[1]), read_folder(Path(sys.argv[2]))
old = path.read_bytes()

def bring(statements):
    "Read the folder in; kill -9 before one of the SQL statements."
    with Notebook.open(path) as book:
        count = 0
        def step(_):
            nonlocal count
            count += 1
            if count == statements:
                os.kill(os.getpid(), signal.SIGKILL)
        book._db.execute("PRAGMA cache_size = 4")  # so that pages reach the file before the end
        book._db.set_trace_callback(step)
        import_folder(book, folder, when=now)
        return count

def note(report):
    "Note one day's work after another until killed."
    with Notebook.open(path) as book:
        for number in range(1000):
            day = dt.date(2020, 1, 1) + dt.timedelta(days=number)
            book.add_record(WorkDone("Old maple", "light", day), when=now)
            os.write(report, b".")

def killed(run, wait):
    child = os.fork()
    if child == 0:
        run()
        os._exit(0)
    wait(child)
    return os.waitpid(child, 0)[1] == signal.SIGKILL

def state():
    with Notebook.open(path) as book:
        return [len(book.sites()), len(book.trees()), len(book.records()),
                sum(book.span(site.name).days for site in book.sites())]

def half_written():
    return path.read_bytes() != old and path.with_name(path.name + "-journal").exists()

told = []
probe = path.with_name("probe.sqlite")
probe.write_bytes(old)
path, real = probe, path
start = time.perf_counter()
every = bring(None)
lasted = time.perf_counter() - start
path = real
for part in (0.0, 0.2, 0.5, 0.8, 0.9, 0.99, 1.0):
    at = 1 + int(part * (every - 1))
    dead = killed(lambda: bring(at), lambda child: None)
    told.append(["statement", dead, half_written(), state()])
for part in (0.3, 0.7, 1.0):
    def strike(child):
        time.sleep(part * lasted)
        os.kill(child, signal.SIGKILL)
    killed(lambda: bring(None), strike)
    told.append(["moment", True, half_written(), state()])
    path.write_bytes(old)
for enough in (1, 4, 15):
    reading, report = os.pipe()
    seen = 0
    def strike(child):
        global seen
        while seen < enough:
            seen += len(os.read(reading, 1))
        os.kill(child, signal.SIGKILL)
    dead = killed(lambda: note(report), strike)
    os.close(report)
    seen += len(os.read(reading, 10000))
    told.append(["notes", dead, seen, state()])
    path.write_bytes(old)
print(json.dumps(told))
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs kill -9")
def test_a_killed_program_leaves_the_old_state_or_the_new(bench: Notebook, tmp_path: Path) -> None:
    import json  # noqa: PLC0415

    old = [1, 1, 3, 40]
    with Notebook.open(tmp_path / "big.sqlite", create=True) as big:
        for number in range(4):
            big.add_site(replace(SITE, name=f"Site {number}"), readings(4000), when=NOW)
            big.add_tree(replace(MAPLE, name=f"Tree {number}", site=f"Site {number}"), when=NOW)
            big.add_record(WorkDone(f"Tree {number}", "outline", DAY), when=NOW)
        export_folder(big, tmp_path / "folder")
    new = [5, 5, 7, 40 + 4 * 4000]
    bench.close()
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", KILLED, bench.path, tmp_path / "folder"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""
    told = json.loads(done.stdout)
    by_statement = [(dead, half, state) for kind, dead, half, state in told if kind == "statement"]
    assert [(dead, state) for dead, _, state in by_statement] == [(True, old)] * 7
    assert sum(half for _, half, _ in by_statement) >= 3  # killed when half of it was in the file
    assert all(state in (old, new) for kind, _, _, state in told if kind == "moment")
    notes = [(dead, seen, state) for kind, dead, seen, state in told if kind == "notes"]
    assert len(notes) == 3
    for dead, seen, state in notes:
        assert dead
        assert state[2] - 3 in (seen, seen + 1)  # what was reported is there, whole


KILLED_ANYTIME = """
import datetime as dt, json, os, random, signal, sys, time
from pathlib import Path
from timing.notebook.model import WorkDone
from timing.notebook.store import Notebook

now = dt.datetime(2026, 5, 1)
path, moments, told = Path(sys.argv[1]), random.Random(20), []
probe = path.with_name("probe.sqlite")
probe.write_bytes(path.read_bytes())
start = time.perf_counter()
with Notebook.open(probe) as book:
    for number in range(10):
        day = dt.date(2015, 1, 1) + dt.timedelta(days=number)
        book.add_record(WorkDone("Old maple", "light", day), when=now)
one = (time.perf_counter() - start) / 10

def work():
    with Notebook.open(path) as book:  # checks the structure of the file
        return {record.number: record for record in book.records() if isinstance(record, WorkDone)}

before = work()
for _ in range(100):
    reading, report = os.pipe()
    child = os.fork()
    if child == 0:
        with Notebook.open(path) as book:
            os.write(report, b"o")
            for number in range(len(before), len(before) + 1000):
                day = dt.date(2015, 1, 1) + dt.timedelta(days=number)
                book.add_record(WorkDone("Old maple", "light", day), when=now)
                os.write(report, b".")
        os._exit(0)
    os.read(reading, 1)  # it has opened the notebook
    heard = moments.randrange(2)  # changes waited for, however slow the machine is
    for _ in range(heard):
        os.read(reading, 1)
    time.sleep(moments.uniform(0.0, one))
    os.kill(child, signal.SIGKILL)
    dead = os.waitpid(child, 0)[1] == signal.SIGKILL
    os.close(report)
    said = heard + len(os.read(reading, 10000))
    os.close(reading)
    half = path.with_name(path.name + "-journal").exists()
    after = work()
    told.append([dead, said, half, before.items() <= after.items(), len(after) - len(before)])
    before = after
print(json.dumps(told))
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs kill -9")
def test_killed_at_a_hundred_random_moments_it_loses_nothing(bench: Notebook) -> None:
    import json  # noqa: PLC0415

    bench.close()
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", KILLED_ANYTIME, bench.path],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""
    told = json.loads(done.stdout)
    assert len(told) == 100
    for dead, said, _, kept, new in told:
        assert dead and kept
        assert new in (said, said + 1)  # what was reported is there, whole
    assert any(half for _, _, half, _, _ in told)  # some died in the middle of a change
    assert sum(said for _, said, _, _, _ in told) > 20


# ---------------------------------------------------------------------------- folders of CSV


def test_a_folder_holds_what_the_notebook_holds(bench: Notebook, tmp_path: Path) -> None:
    rows = export_folder(bench, tmp_path / "out")
    assert set(rows.values()) == {1}
    assert sorted(str(p.relative_to(tmp_path / "out")) for p in (tmp_path / "out").rglob("*")) == [
        *("observations.csv", "runners.csv", "shelters.csv", "sites.csv", "temperatures"),
        *("temperatures/home.csv", "trees.csv", "work.csv"),
    ]
    assert (tmp_path / "out" / "observations.csv").read_text() == (
        "species,event,date,tree,site,note\nacer-palmatum,bud_break,2026-04-12,Old maple,Home,\n"
    )
    (seen,) = read_observations(tmp_path / "out" / "observations.csv").observations
    assert (seen.species, seen.event, seen.date) == (
        *("acer-palmatum", "bud_break"),
        np.datetime64(DAY),
    )
    record = read_daily_csv(tmp_path / "out" / "temperatures" / "home.csv")
    assert np.array_equal(record.tmin_c, bench.temperature_record().tmin_c)


def test_a_folder_that_exists_is_left_alone(bench: Notebook, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with pytest.raises(UsageError) as error:
        export_folder(bench, tmp_path / "out")
    one_sentence(error, "exists already")
    with pytest.raises(UsageError) as error:
        export_folder(bench, tmp_path / "no" / "out")
    one_sentence(error, "cannot be written")


def test_a_folder_that_cannot_be_finished_is_not_begun(
    bench: Notebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: Path, target: object) -> None:
        raise OSError(28, "No space left on device")

    before = sorted(tmp_path.iterdir())
    monkeypatch.setattr(Path, "rename", full)
    with pytest.raises(UsageError) as error:
        export_folder(bench, tmp_path / "out")
    one_sentence(error, "No space left")
    assert sorted(tmp_path.iterdir()) == before


def test_reading_a_folder_is_one_change(bench: Notebook, tmp_path: Path) -> None:
    export_folder(bench, tmp_path / "out")
    with Notebook.open(tmp_path / "new.sqlite", create=True) as new:
        empty = dump(new)
        done = import_folder(new, read_folder(tmp_path / "out"), when=NOW)
        assert done.added == {"site": 1, "tree": 1, "shelter": 1, "record": 3}
        assert contents(new) == contents(bench)
        again = import_folder(new, read_folder(tmp_path / "out"), when=NOW)
        assert (again.added, again.skipped) == ({}, done.added)
        assert contents(new) == contents(bench)
        assert new.undo() == done.change
        assert dump(new) == empty


def test_one_date_seen_on_two_trees_that_are_gone_stays_two(
    bench: Notebook, tmp_path: Path
) -> None:
    bench.add_tree(replace(MAPLE, name="Young"), when=NOW)
    bench.add_record(ObservedDate("bud_break", DAY, tree="Young", note="low ones"), when=NOW)
    for name in ("Old maple", "Young"):
        bench.remove_tree(name, when=NOW)
    export_folder(bench, tmp_path / "out")
    with Notebook.open(tmp_path / "new.sqlite", create=True) as new:
        import_folder(new, read_folder(tmp_path / "out"), when=NOW)
        assert [record.note for record in new.records()] == ["", "low ones"]
        assert contents(new) == contents(bench)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_survive_a_folder(book: Notebook, tmp_path: Path, name: str) -> None:
    book.add_site(replace(SITE, name=name, tags=(name.replace(";", ""),)), readings(), when=NOW)
    book.add_site(replace(SITE, name=f"{name[:78]} 2"), readings(3), when=NOW)
    shelters = (Shelter(name, 1, 2),)
    book.add_tree(replace(MAPLE, name=name, site=name, note=name, shelters=shelters), when=NOW)
    book.add_record(Runner(name, name, DAY, note=name), when=NOW)
    export_folder(book, tmp_path / "out")
    for file in (tmp_path / "out").glob("*.csv"):
        cells = file.read_text(encoding="utf-8").replace("\n", ",").split(",")
        text = [cell.strip('"') for cell in cells]
        assert [c for c in text if c.startswith(("=", "@", "+")) or c == "-2"] == []
    with Notebook.open(tmp_path / "new.sqlite", create=True) as new:
        import_folder(new, read_folder(tmp_path / "out"), when=NOW)
        assert contents(new) == contents(book)


@given(st.text())
def test_a_guarded_cell_is_no_formula_and_comes_back(text: str) -> None:
    cell = guarded(text)
    assert not cell.startswith(("=", "+", "-", "@"))
    assert unguarded(cell) == text


def valid(make: Callable[[str], object]) -> Callable[[str], bool]:
    def check(text: str) -> bool:
        try:
            make(text)
        except UsageError:
            return False
        return True

    return check


NAMES = st.text(max_size=12).filter(valid(lambda text: replace(SITE, name=text)))
NOTES = st.text(max_size=20).filter(valid(lambda text: replace(MAPLE, note=text)))
DAYS = st.dates(dt.date(1800, 1, 1), NOW.date())
SHELTERS = st.builds(
    lambda kind, low, high, span: Shelter(kind, low, high, *span),
    NAMES,
    st.floats(-30, 30),
    st.floats(-30, 30),
    st.sampled_from([("", ""), ("11-01", "03-31"), ("02-29", "02-29")]),
)


@st.composite
def notebooks(draw: st.DrawFn) -> list[Step]:
    """Steps that fill a notebook."""
    key = {"unique_by": lookup_key}
    sites = draw(st.lists(NAMES, min_size=1, max_size=3, **key))
    trees = draw(st.lists(NAMES, max_size=3, **key))
    steps: list[Step] = []
    for name in sites:
        site = draw(
            st.builds(
                NotebookSite,
                st.just(name),
                st.floats(-90, 90),
                st.floats(-180, 180),
                st.none() | st.floats(-500, 9000),
                st.lists(NAMES.filter(lambda t: ";" not in t), max_size=2).map(tuple),
                NOTES,
                NOTES,
                NOTES,
                hazards=st.lists(st.sampled_from(["oak-wilt", "silver-leaf"])).map(tuple),
                notes=st.lists(NOTES, max_size=2).map(tuple),
                neighbour=NOTES,
                neighbour_credit=NOTES,
            )
        )
        kept, near, ahead = (
            draw(st.none() | st.builds(readings, st.integers(1, 9))) for _ in range(3)
        )
        beside = {"neighbour": near, "forecast": ahead}
        steps.append(
            lambda book, site=site, kept=kept, beside=beside: book.add_site(  # type: ignore[misc]
                site, kept, when=NOW, beside=beside
            )
        )
    for name in trees:
        tree = draw(
            st.builds(
                Tree,
                st.just(name),
                st.sampled_from(["acer-palmatum", "quercus-robur"]),
                st.sampled_from(sites),
                st.sampled_from(["vigorous", "established", "weak"]),
                st.none() | st.floats(1, 500),
                NOTES,
                st.lists(SHELTERS, max_size=2, unique_by=lambda s: lookup_key(s.kind)).map(tuple),
            )
        )
        steps.append(lambda book, tree=tree: book.add_tree(tree, when=NOW))  # type: ignore[misc]
    kinds: list[st.SearchStrategy[Any]] = [
        st.builds(
            ObservedDate,
            st.just("bud_break"),
            DAYS,
            site=st.sampled_from(sites),
            species=st.just("acer-rubrum"),
            note=NOTES,
        )
    ]
    if trees:
        one = st.sampled_from(trees)
        kinds += [
            st.builds(ObservedDate, st.sampled_from(["bud_break", "leaf_fall"]), DAYS, one),
            st.builds(
                WorkDone,
                one,
                st.sampled_from(["heavy", "repotting"]),
                DAYS,
                st.none() | st.floats(0, 1),
                NOTES,
            ),
            st.builds(
                *(Runner, one, NAMES, DAYS, st.none() | st.just(NOW.date()), NOTES),
                looked=st.none() | st.just(NOW.date()),
            ),
        ]
    for record in draw(st.lists(st.one_of(kinds), max_size=6)):
        steps.append(lambda book, record=record: book.add_record(record, when=NOW))  # type: ignore[misc]
    if trees and draw(st.booleans()):
        steps.append(lambda book: book.remove_tree(trees[0], when=NOW))
    return steps


@given(notebooks())
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
def test_any_notebook_survives_a_folder(steps: list[Step]) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        with (
            Notebook.open(folder / "one", create=True) as book,
            Notebook.open(folder / "two", create=True) as other,
        ):
            for step in steps:
                with contextlib.suppress(FieldError):  # the same thing noted twice
                    step(book)
            export_folder(book, folder / "out")
            import_folder(other, read_folder(folder / "out"), when=NOW)
            assert contents(other) == contents(book)


HEADERS = {
    "sites.csv": "name,latitude,longitude,elevation_m,temperatures",
    "trees.csv": "name,species,site,condition,pot_cm",
    "shelters.csv": "tree,kind,tmin_offset_c,tmax_offset_c,starts,until",
    "observations.csv": "species,event,date,tree,site",
    "work.csv": "tree,kind,date,fraction",
    "runners.csv": "tree,place,begun,ended",
}
WRONG = [
    ("sites.csv", "Away,95,7,,", "latitude"),
    ("sites.csv", "Away,45N,7,,", "latitude"),
    ("sites.csv", "Away,45,,,", "longitude"),
    ("sites.csv", "Away,45,7,1e9,", "elevation_m"),
    ("sites.csv", "Away,45,7,,../trees.csv", "temperatures"),
    ("sites.csv", "Home,45,7,,", "name"),  # there, with other values
    ("trees.csv", "A,acer-nullum,Home,,", "species"),
    ("trees.csv", "A,maple,Home,,", "species"),
    ("trees.csv", "A,acer-palmatum,Hume,,", "site"),
    ("trees.csv", "A,acer-palmatum,Home,dead,", "condition"),
    ("trees.csv", "A,acer-palmatum,Home,weak,wide", "pot_cm"),
    ("trees.csv", "old MAPLE,acer-palmatum,Home,weak,", "name"),
    ("shelters.csv", "Old maple,frame,1,1,11-01,", "until"),
    ("shelters.csv", "Old maple,frame,warm,1,,", "tmin_offset_c"),
    ("shelters.csv", "No maple,frame,1,1,,", "tree"),
    ("shelters.csv", "Old maple,wall,1,9,,", ""),
    ("observations.csv", "acer-palmatum,full_bloom,2026-04-01,,Home", "event"),
    ("observations.csv", "acer-palmatum,bud_break,12/4/2026,,Home", "date"),
    ("observations.csv", "acer-palmatum,bud_break,2026-06-01,,Home", "date"),
    ("observations.csv", "acer-palmatum,bud_break,,,Home", "date"),
    ("observations.csv", "acer-rubrum,bud_break,2026-04-01,Old maple,", "species"),
    ("work.csv", "Old maple,pruned,2026-04-01,", "kind"),
    ("work.csv", "Old maple,heavy,2026-04-01,40%", "fraction"),
    ("work.csv", "Old maple,heavy,2026-04-12,0.9", ""),
    ("runners.csv", "Old maple,top,2026-04-01,2026-03-01", "ended"),
]


@pytest.mark.parametrize(("file", "row", "column"), WRONG, ids=[f"{w[0]} {w[1]}" for w in WRONG])
def test_a_wrong_cell_is_named_and_nothing_is_read(
    bench: Notebook, tmp_path: Path, file: str, row: str, column: str
) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "sites.csv").write_text(f"{HEADERS['sites.csv']}\nNew,1,2,,\n")
    text = (folder / file).read_text() if file == "sites.csv" else f"{HEADERS[file]}\n\n"
    (folder / file).write_text(f"{text}{row}\n")
    before = dump(bench)
    with pytest.raises(DataError) as error:
        import_folder(bench, read_folder(folder), when=NOW)
    one_sentence(error, f"{folder / file}, line 3", f", column {column}:" if column else ": ")
    assert dump(bench) == before


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("", "empty"),
        ("name,latitude\n", "no column longitude"),
        ("name,latitude,longitude,altitude\n", "'altitude' is not known"),
        ("name,latitude,longitude,name\n", "twice"),
        ("name,latitude,longitude\nA,1\n", "line 2: 2 cells"),
        ('name,latitude,longitude\n"A,1,2\n', "not readable as CSV"),
    ],
)
def test_a_table_that_is_none_is_refused(tmp_path: Path, text: str, holds: str) -> None:
    (tmp_path / "sites.csv").write_text(text)
    with pytest.raises(DataError) as error:
        read_folder(tmp_path)
    one_sentence(error, "sites.csv", holds)


def test_a_folder_without_tables_is_refused(tmp_path: Path) -> None:
    for folder in (tmp_path, tmp_path / "no"):
        with pytest.raises(UsageError) as error:
            read_folder(folder)
        one_sentence(error, str(folder), "sites.csv")


def test_a_file_of_observed_dates_is_a_folder_that_can_be_read(
    bench: Notebook, tmp_path: Path
) -> None:
    (tmp_path / "observations.csv").write_text(
        "\ufeffspecies,event,date\n"
        "Japanese maple,Leaf-Fall,2025-11-09\n"
        "acer-rubrum,bud_break,2025-04-01\n",
        encoding="utf-8",
    )
    import_folder(bench, read_folder(tmp_path), when=NOW)
    assert [(o.species, o.event) for o in bench.observations()] == [
        ("acer-rubrum", "bud_break"),
        ("acer-palmatum", "leaf_fall"),
        ("acer-palmatum", "bud_break"),
    ]
