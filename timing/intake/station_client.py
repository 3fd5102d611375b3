"""The weather service, asked through its public client; the only module that imports it.

The client answers "nothing" alike for a year that was never measured, a damaged file and a service
that is away, and tells which in its log only. It waits for ever for a server that never answers,
and writes empty files over its own cache. So it runs here without a cache, with time limits, one
calendar year a call, and its log is read for the reason.
"""

from __future__ import annotations

import datetime as dt
import logging
import math
import socket
import threading
import warnings
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from gzip import BadGzipFile
from http.client import HTTPException
from pathlib import Path
from typing import Any
from urllib.error import HTTPError

from timing.errors import DataError
from timing.intake.credits import Credit
from timing.intake.service import (
    OWN_FILE,
    DamagedError,
    UnreachableError,
    number,
    plain,
    said,
    silent,
)
from timing.intake.station_days import Row
from timing.intake.station_list import StationList
from timing.intake.stations import Station

STALL_SECONDS = 20.0  # without any sign of life, from one call to the next
SOCKET_SECONDS = 6.0  # for one read from a connection
SIGN_OF_LIFE = 65_536  # bytes of a growing file that count as one
TICK = 0.05
DAMAGED = (BadGzipFile, EOFError, zlib.error, ValueError, KeyError, IndexError, HTTPException)
_NOBODY = logging.NullHandler()  # hears a thread left behind, which would else print


class _Log(logging.Handler):
    """Keeps the exceptions that the client logs, instead of printing them."""

    def __init__(self) -> None:
        super().__init__(logging.INFO)
        self.errors: list[BaseException] = []

    def emit(self, record: logging.LogRecord) -> None:
        error = record.exc_info[1] if record.exc_info else None
        if error is not None:
            self.errors.append(error)


class Client:
    """The service while it may be asked; made by `connected`.

    Parameters
    ----------
    stations : its list of stations.
    notes : what to tell of how it was asked.
    """

    def __init__(
        self, client: Any, folder: Path, today: dt.date, log: _Log, stall_s: float
    ) -> None:
        self._client, self._log, self._stall_s = client, log, stall_s
        self.notes: list[str] = []
        self.stations = StationList(client, folder, today, self._within, self.notes)

    def year(self, station: Station, year: int) -> tuple[Row, ...] | None:
        """Rows of one calendar year of a station, or None where the service has none.

        Raises
        ------
        UnreachableError : the service is away, refuses, or does not answer in time.
        DamagedError : its file cannot be read, the second time neither.
        """
        try:
            return self._year(station, year)
        except DamagedError:  # a file may break on its way
            return self._year(station, year)

    def credit(self, source: str) -> Credit | None:
        """Whom a source wants named, and its terms; None where the client does not know it."""
        from meteostat.core.providers import provider_service  # noqa: PLC0415 - as in `connected`

        known = provider_service.get_provider(source)
        terms = known.license if known else None
        return Credit(terms.attribution or "", terms.name or "") if terms else None

    def _year(self, station: Station, year: int) -> tuple[Row, ...] | None:
        client, self._log.errors = self._client, []
        place = client.Station(  # whole, so that the client need not look it up
            id=station.code,
            name=station.name,
            latitude=station.latitude,
            longitude=station.longitude,
            elevation=station.elevation_m,
        )
        wanted = [client.Parameter.TMIN, client.Parameter.TMAX]

        def ask() -> Any:
            first, last = dt.date(year, 1, 1), dt.date(year, 12, 31)
            return client.daily(place, first, last, parameters=wanted).fetch(sources=True)

        what = f"year {year} of {station.label}"
        try:
            frame = self._within(ask)
        except Exception as error:
            raise _reason(error, what) from error
        if self._log.errors:
            raise _reason(self._log.errors[-1], what)
        if frame is None or frame.empty:
            return None
        return tuple(
            Row(
                item["time"].date(),
                number(item.get("tmin"), math.nan),
                plain(item.get("tmin_source")),
                number(item.get("tmax"), math.nan),
                plain(item.get("tmax_source")),
            )
            for item in frame.reset_index().to_dict("records")
        )

    def _within(self, ask: Callable[[], Any], growing: Path | None = None) -> Any:
        """Ask in a thread that is left behind when it shows no sign of life for too long."""
        answers: list[Any] = []
        failures: list[BaseException] = []

        def run() -> None:
            try:
                answers.append(ask())
            except BaseException as error:  # raised again by the one who waits
                failures.append(error)

        worker = threading.Thread(target=run, daemon=True)
        worker.start()
        waited, seen = 0.0, 0
        while worker.is_alive() and waited < self._stall_s:
            worker.join(TICK)
            waited += TICK
            size = growing.stat().st_size if growing is not None and growing.exists() else 0
            if size >= seen + SIGN_OF_LIFE:
                waited, seen = 0.0, size
        if worker.is_alive():
            raise silent()
        if failures:
            raise failures[0]
        return answers[0]


def _reason(error: BaseException, what: str) -> DataError:
    """What an exception of the client means to somebody who asked for ``what``."""
    if isinstance(error, UnreachableError | DamagedError):
        return error
    if isinstance(error, HTTPError):
        return UnreachableError(
            f"the weather service refused {what} (HTTP status {error.code}); try again later, "
            f"{OWN_FILE}"
        )
    if isinstance(error, DAMAGED) or not isinstance(error, OSError):
        return DamagedError(
            f"{what} came damaged or as something else ({said(error)}); check that no sign-in page "
            "stands between you and the network and try again later, choose another station with "
            f"--station, {OWN_FILE}"
        )
    if isinstance(error, TimeoutError) or isinstance(getattr(error, "reason", None), TimeoutError):
        return silent()
    return UnreachableError(
        f"the weather service cannot be reached ({said(error)}); go online and try again, "
        f"{OWN_FILE}"
    )


@contextmanager
def connected(folder: Path, *, today: dt.date, stall_s: float | None = None) -> Iterator[Client]:
    """Set the client up for the time of the block, and put everything back afterwards.

    Parameters
    ----------
    folder : where the station list is kept.
    today : the day of the question.
    stall_s : longest wait without a sign of life [s].

    Raises
    ------
    DataError : the client is not installed, or the folder cannot be made.
    """
    limit = STALL_SECONDS if stall_s is None else stall_s
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            import meteostat  # noqa: PLC0415 - slow, and wanted by downloads only
        except ImportError as error:
            raise DataError(
                f"downloads need the package meteostat ({said(error)}); install it, {OWN_FILE}"
            ) from error
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise DataError(
                f"{folder}: cannot be made ({error.strerror}); name a folder that can be written "
                "in SAPDIAL_CACHE"
            ) from error
        log = _Log()
        with _settings(meteostat.config, folder, limit), _heard(log), _impatient(limit):
            yield Client(meteostat, folder, today, log, limit)


@contextmanager
def _settings(config: Any, folder: Path, limit: float) -> Iterator[None]:
    settings = {
        "cache_enable": False,  # ours cannot be overwritten by emptier files
        "cache_autoclean": False,
        "cache_directory": str(folder / "client"),
        "cache_ttl": 2**40,  # the age of the station list is judged by `StationList`
        "stations_db_ttl": 2**40,
        "stations_db_file": str(folder / "stations.db"),
        "network_timeout": _patience(limit),
        "network_max_retries": 0,
        "block_large_requests": True,
        "include_model_data": True,  # its own filter keeps mixed rows: `station_days` sifts
    }
    before = {name: getattr(config, name) for name in settings}
    try:
        for name, value in settings.items():
            setattr(config, name, value)
        yield
    finally:
        for name, value in before.items():
            setattr(config, name, value)


@contextmanager
def _heard(log: _Log) -> Iterator[None]:
    """Read what the client logs; nobody else does meanwhile."""
    logger = logging.getLogger("meteostat")
    level, passed_on = logger.level, logger.propagate
    try:
        logger.addHandler(_NOBODY)
        logger.addHandler(log)
        logger.setLevel(logging.INFO)
        logger.propagate = False
        yield
    finally:
        logger.propagate = passed_on
        logger.setLevel(level)
        logger.removeHandler(log)


@contextmanager
def _impatient(limit: float) -> Iterator[None]:
    """Give every new connection a time limit: files are fetched without one."""
    before = socket.getdefaulttimeout()
    try:
        socket.setdefaulttimeout(_patience(limit))
        yield
    finally:
        socket.setdefaulttimeout(before)


def _patience(limit: float) -> float:
    """For one read: short enough that two mirrors of the station list fit into the limit [s]."""
    return min(SOCKET_SECONDS, limit / 3)
