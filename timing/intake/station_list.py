"""The service's list of stations: fetched whole or not at all, kept, and asked."""

from __future__ import annotations

import datetime as dt
import math
import shutil
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from timing.errors import DataError, UsageError
from timing.intake.service import (
    OWN_FILE,
    DamagedError,
    UnreachableError,
    day,
    number,
    plain,
    said,
)
from timing.intake.stations import EARTH_KM, RADIUS_KM, Candidate, Station
from timing.site import Site

LIST_DAYS = 30  # after which the list is fetched again
MOST_STATIONS = 40  # the nearest; their records are looked up
Within = Callable[[Callable[[], Any], Path | None], Any]


class StationList:
    """The list while the service may be asked.

    Every method may raise `timing.intake.service.UnreachableError` or ``DamagedError``.

    Parameters
    ----------
    client : the service's client, set up.
    folder : where the list is kept.
    today : the day of the question.
    within : runs a call under a time limit; told a file whose growth is a sign of life.
    notes : where to say that an old list was used.
    """

    def __init__(
        self, client: Any, folder: Path, today: dt.date, within: Within, notes: list[str]
    ) -> None:
        self._client, self._path, self._today = client, folder / "stations.db", today
        self._within, self._notes = within, notes

    def near(self, site: Site) -> tuple[list[Candidate], int]:
        """Stations within 50 km that have daily minima and maxima, and how many have none."""
        band = math.degrees(RADIUS_KM / EARTH_KM) * 1.01
        found = self._stations(
            "WHERE s.latitude BETWEEN ? AND ?", (site.latitude - band, site.latitude + band)
        )
        close = sorted((item.km_from(site), item.code, item) for item in found)
        inside = [item for km, _, item in close if km <= RADIUS_KM][:MOST_STATIONS]
        measured = self._with_records(inside)
        return measured, len(inside) - len(measured)

    def named(self, code: str) -> Candidate:
        """The station of that code.

        Raises
        ------
        UsageError : there is none, or none with daily minima and maxima.
        """
        found = self._stations("WHERE s.id = ?", (code,))
        if not found:
            raise UsageError(
                f"--station {code}: the service knows no station of that code; leave the option "
                "out to have one chosen"
            )
        measured = self._with_records(found)
        if not measured:
            raise UsageError(
                f"--station {code}: {found[0].name} has no daily minima and maxima; leave the "
                "option out to have one chosen"
            )
        return measured[0]

    def _stations(self, where: str, values: tuple[object, ...]) -> list[Station]:
        """Stations of the list; the client's own search drops those without an English name."""
        query = (
            "SELECT s.id, n.name, s.latitude, s.longitude, s.elevation FROM stations s "
            f"LEFT JOIN names n ON n.station = s.id AND n.language = 'en' {where}"
        )
        rows = self._query(
            lambda: self._client.stations.query(query, params=values).to_dict("records")
        )
        found = {
            str(row["id"]): Station(
                str(row["id"]),
                plain(row["name"]) or "station without a name",
                float(row["latitude"]),
                float(row["longitude"]),
                number(row["elevation"]),
            )
            for row in rows
            if number(row["latitude"]) is not None and number(row["longitude"]) is not None
        }
        return list(found.values())

    def _with_records(self, stations: list[Station]) -> list[Candidate]:
        """Stations whose inventory names both minima and maxima."""
        if not stations:
            return []
        codes, daily = [item.code for item in stations], [self._client.Provider.DAILY]
        inventory = self._query(lambda: self._client.stations.inventory(codes, providers=daily))
        rows = [] if inventory.df is None else inventory.df.reset_index().to_dict("records")
        spans: dict[tuple[str, str], tuple[dt.date, dt.date, float | None]] = {}
        for row in rows:
            first, last = day(row["start"]), day(row["end"])
            if first is not None and last is not None:
                part = first, last, number(row["completeness"])
                spans[str(row["station"]), str(row["parameter"])] = part
        found = []
        for item in stations:
            low, high = spans.get((item.code, "tmin")), spans.get((item.code, "tmax"))
            if low is not None and high is not None:
                known = [share for share in (low[2], high[2]) if share is not None]
                share = min(1.0, *known) if len(known) == 2 else None
                found.append(Candidate(item, max(low[0], high[0]), min(low[1], high[1]), share))
        return found

    def _query(self, ask: Callable[[], Any]) -> Any:
        """Ask the list, fetched first where it is old, missing or damaged."""
        path, whole = self._path, _whole(self._path)
        if not whole or (self._today - _changed(path)).days > LIST_DAYS:
            try:
                self._fetch()
            except DataError:
                if not whole:
                    raise
                self._notes.append(
                    f"no new station list to be had; that of {_changed(path)} was used"
                )
        self._client.config.stations_db_file = str(path)
        try:
            return self._within(ask, None)
        except UnreachableError:
            raise
        except Exception as error:
            raise DamagedError(
                f"the list of stations cannot be read ({said(error)}); try again later, {OWN_FILE}"
            ) from error

    def _fetch(self) -> None:
        place = Path(tempfile.mkdtemp(prefix=".list.", dir=self._path.parent))
        part = place / self._path.name
        self._client.config.stations_db_file = str(part)
        try:
            self._within(lambda: self._client.stations.query("SELECT 1 FROM stations"), part)
            if not _whole(part):
                raise _no_list()
            part.replace(self._path)
        except DataError:
            raise
        except Exception as error:
            if part.exists():
                raise _no_list() from error
            raise UnreachableError(
                "the list of stations cannot be fetched, the weather service cannot be reached; go "
                f"online and try again, {OWN_FILE}"
            ) from error
        finally:
            shutil.rmtree(place, ignore_errors=True)


def _no_list() -> DamagedError:
    return DamagedError(
        "what came as the list of stations is damaged or something else; check that no sign-in "
        f"page stands between you and the network and try again, {OWN_FILE}"
    )


def _whole(path: Path) -> bool:
    """Whether a file is a station list that can be read to its end."""
    if not path.is_file():
        return False
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as db:
            db.execute("SELECT 1 FROM names LIMIT 1")  # may be empty, must be there
            return db.execute("PRAGMA quick_check(1)").fetchone()[0] == "ok" and all(
                db.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone()
                for table in ("stations", "inventory")
            )
    except sqlite3.Error:
        return False


def _changed(path: Path) -> dt.date:
    return dt.date.fromtimestamp(path.stat().st_mtime)
