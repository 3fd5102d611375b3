"""The same questions asked of every site of a table, in parallel and resumable.

Sites are read from the table one by one and handed in parts to worker processes, a few at a time,
so that memory does not grow with their number. Workers are started afresh (spawned, not forked),
end when the survey is killed, and write their parts themselves (`timing.survey_parts`).
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from itertools import islice
from multiprocessing import connection, get_context, parent_process
from pathlib import Path

from timing.errors import DataError, UsageError
from timing.export.files import spare
from timing.intake.region_file import ListedSite, WrongLine, listed_sites
from timing.survey_parts import (
    SITES_OF_PART,
    Finished,
    Part,
    Question,
    finish,
    open_folder,
    part_file,
    parts_folder,
    program,
)

AHEAD = 2  # parts a worker has in hand, at work or waiting
TABLE = "sites.csv"


@dataclass(frozen=True)
class Survey:
    """A finished survey: how many sites, the files of its parts in order, and who failed."""

    sites: int
    parts: tuple[Path, ...]
    failed: tuple[tuple[str, str], ...]
    anew: int


def sites_table(path: Path) -> Path:
    """The table of a survey: the file itself, or ``sites.csv`` in a folder.

    Raises
    ------
    UsageError : there is no such file or folder, or the folder has no table.
    """
    if not path.is_dir():
        if not path.exists():
            raise UsageError(f"{path}: there is no such file or folder; name a table of sites")
        return path
    table = path / TABLE
    if not table.is_file():
        raise UsageError(
            f"{path}: the folder has no {TABLE}; it names the sites and their temperature files: "
            "name,latitude,longitude,elevation_m,temperatures"
        )
    return table


def run_survey(
    table: Path,
    output: Path,
    taxa: tuple[str, ...],
    *,
    confidence: float,
    workers: int,
    tell: Callable[[int, int, Finished], None],
) -> Survey:
    """Ask every site of a table; the answers stay in parts beside ``output``.

    Parameters
    ----------
    table : CSV of sites (`timing.intake.region_file`).
    output : where the table of answers will stand; nothing is written there yet.
    taxa : their slugs.
    confidence : chance from which a day counts as safe.
    workers : processes that compute; with one, this process does.
    tell : called after every part with the sites done, the number of sites, and the part.

    Raises
    ------
    UsageError : the table or the folder of parts cannot be opened, or the output is the table or
        one of the files it names.
    DataError : the table cannot be read as a whole, or a worker was ended from outside.
    """
    spare((table,), output)
    total = 0
    for item in listed_sites(table):
        total += 1
        if isinstance(item, ListedSite):
            spare((item.temperatures,), output)
    folder = parts_folder(output)
    open_folder(folder)
    question = Question(taxa, confidence, program())
    done = anew = count = 0
    failed: dict[int, tuple[tuple[str, str], ...]] = {}
    for number, finished in _finished(_parts(table, folder), question, min(workers, total)):
        done += finished.sites
        anew += finished.sites if finished.state == "anew" else 0
        count += 1
        if finished.failed:
            failed[number] = finished.failed
        tell(done, total, finished)
    files = tuple(part_file(folder, number) for number in range(count))
    return Survey(done, files, tuple(f for n in sorted(failed) for f in failed[n]), anew)


def _parts(table: Path, folder: Path) -> Iterator[Part]:
    items: Iterator[ListedSite | WrongLine] = listed_sites(table)
    number = 0
    while chosen := tuple(islice(items, SITES_OF_PART)):
        yield Part(part_file(folder, number), chosen)
        number += 1


def _finished(
    parts: Iterator[Part], question: Question, workers: int
) -> Iterator[tuple[int, Finished]]:
    """Finish the parts in any order; never more than a few are in hand."""
    numbered = enumerate(parts)
    if workers <= 1:
        yield from ((number, finish(part, question)) for number, part in numbered)
        return
    pool = ProcessPoolExecutor(workers, get_context("spawn"), initializer=_begin_worker)
    waiting: dict[Future[Finished], int] = {}
    try:
        while True:
            for number, part in islice(numbered, AHEAD * workers - len(waiting)):
                waiting[pool.submit(finish, part, question)] = number
            if not waiting:
                return
            for future in wait(waiting, return_when=FIRST_COMPLETED).done:
                yield waiting.pop(future), future.result()
    except BrokenProcessPool as error:
        raise DataError(
            "a process of the survey was ended from outside, perhaps for want of memory; run it "
            "again to go on where it stopped, with --jobs 1 if it happens again"
        ) from error
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _begin_worker() -> None:
    """End without a word on Ctrl-C (parts are whole or not there), and when the survey is gone."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    parent = parent_process()
    assert parent is not None

    def watch() -> None:
        connection.wait([parent.sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
