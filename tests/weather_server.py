"""A weather service on this machine: serves the files the public one serves, or misbehaves.

Stations, places and temperatures are invented.
"""

from __future__ import annotations

import datetime as dt
import gzip
import http.server
import math
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

SCHEMA = """
CREATE TABLE stations (id TEXT PRIMARY KEY, country TEXT, region TEXT,
    latitude REAL, longitude REAL, elevation INTEGER, timezone TEXT);
CREATE TABLE names (station TEXT, language TEXT, name TEXT, PRIMARY KEY (station, language));
CREATE TABLE identifiers (station TEXT, key TEXT, value TEXT, PRIMARY KEY (station, key));
CREATE TABLE inventory (station TEXT, provider TEXT, parameter TEXT,
    start TEXT, end TEXT, completeness REAL);
"""
HEADER = "year,month,day,temp,temp_source,tmin,tmin_source,tmax,tmax_source"
PAGE = b"<!doctype html><html><body>Sign in to the guest network</body></html>"

Reading = tuple[float | None, str, float | None, str]
Answer = Callable[[http.server.BaseHTTPRequestHandler], None]


@dataclass(frozen=True)
class Place:
    """An invented station and what its inventory claims."""

    latitude: float
    longitude: float
    elevation: int | None
    name: str | None
    first: int = 1991
    last: str = "2024-06-14"
    share: float | None = 0.99
    measured: tuple[str, ...] = ("temp", "tmin", "tmax")


STATIONS = {
    "ZZ001": Place(47.00, 8.00, 450, "Invented Valley"),
    "ZZ002": Place(47.10, 8.10, 900, "Invented Ridge"),
    "ZZ003": Place(47.05, 8.00, None, "Invented Mill"),
    "ZZ004": Place(47.02, 8.03, 480, "Invented Rain Gauge", measured=("prcp",)),
}


@cache
def season(code: str, day: dt.date) -> tuple[float, float]:
    """Invented minimum and maximum of a day [°C]."""
    number = day.toordinal()
    lower = 3.0 if code == "ZZ002" else 0.0
    mean = 9.0 - 10.0 * math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365.25) - lower
    mean += 3 * math.sin(number * 1.7) + 2 * math.sin(number * 0.37)
    return round(mean - 4 - number % 3, 1), round(mean + 5 + number % 4, 1)


@dataclass
class Weather:
    """What the service serves; tests change it."""

    url: str = ""
    stations: dict[str, Place] = field(default_factory=lambda: dict(STATIONS))
    days: dict[tuple[str, dt.date], Reading | None] = field(default_factory=dict)
    files: dict[tuple[str, int], Answer] = field(default_factory=dict)
    station_list: Answer | None = None
    until: dt.date = dt.date(2024, 6, 14)
    ahead: int = 5  # forecast days after it
    requests: list[str] = field(default_factory=list)
    stop: threading.Event = field(default_factory=threading.Event)

    def list_file(self, path: Path) -> bytes:
        """The list of stations."""
        path.unlink(missing_ok=True)
        with closing(sqlite3.connect(path)) as db:
            db.executescript(SCHEMA)
            for code, place in self.stations.items():
                where = (place.latitude, place.longitude, place.elevation)
                db.execute(
                    "INSERT INTO stations VALUES (?, 'ZZ', 'AA', ?, ?, ?, 'UTC')", (code, *where)
                )
                if place.name is not None:
                    db.execute("INSERT INTO names VALUES (?, 'en', ?)", (code, place.name))
                for parameter in place.measured:
                    span = (f"{place.first}-01-01", place.last, place.share)
                    db.execute(
                        "INSERT INTO inventory VALUES (?, 'daily', ?, ?, ?, ?)",
                        (code, parameter, *span),
                    )
            db.commit()
        return path.read_bytes()

    def year(self, code: str, year: int) -> bytes | None:
        """One year of a station, or None where there is none."""
        place = self.stations.get(code)
        end = min(dt.date(year, 12, 31), self.until + dt.timedelta(days=self.ahead))
        if place is None or year < place.first or dt.date(year, 1, 1) > end:
            return None
        lines = [HEADER]
        for number in range((end - dt.date(year, 1, 1)).days + 1):
            day = dt.date(year, 1, 1) + dt.timedelta(days=number)
            source = "ghcnd" if day <= self.until else "dwd_mosmix"
            low, high = season(code, day)
            reading = self.days.get((code, day), (low, source, high, source))
            if reading is not None:
                cells = ["" if cell is None else str(cell) for cell in reading]
                lines.append(f"{day.year},{day.month},{day.day},,,{','.join(cells)}")
        return gzip.compress("\n".join([*lines, ""]).encode(), compresslevel=1)


def send(handler: http.server.BaseHTTPRequestHandler, body: bytes, status: int = 200) -> None:
    """Answer with a body."""
    handler.send_response(status)
    handler.send_header("Content-Length", str(len(body)))
    handler.end_headers()
    handler.wfile.write(body)


def status(code: int) -> Answer:
    """Answer with an error status."""
    return lambda handler: send(handler, b"no", code)


def body(content: bytes) -> Answer:
    """Answer with these bytes, whatever was asked."""
    return lambda handler: send(handler, content)


def sign_in_page(handler: http.server.BaseHTTPRequestHandler) -> None:
    """Answer as a guest network does."""
    send(handler, PAGE)


class Server:
    """The service while it runs."""

    def __init__(self, folder: Path) -> None:
        weather = self.weather = Weather()

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                weather.requests.append(self.path)
                with suppress(BrokenPipeError, ConnectionResetError):
                    self.serve()

            def serve(self) -> None:
                parts = self.path.strip("/").split("/")
                if parts == ["stations.db"]:
                    if weather.station_list is not None:
                        weather.station_list(self)
                        return
                    path = folder / f"list-{len(weather.requests)}.db"
                    send(self, weather.list_file(path))
                    return
                year, code = int(parts[1]), parts[2].removesuffix(".csv.gz")
                if answer := weather.files.get((code, year)):
                    answer(self)
                    return
                content = weather.year(code, year)
                send(self, content or b"none", 404 if content is None else 200)

            def log_message(self, *_: Any) -> None:
                pass

        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        weather.url = f"http://127.0.0.1:{self._server.server_address[1]}"
        threading.Thread(target=self._server.serve_forever, args=(0.01,), daemon=True).start()

    def silence(self, handler: http.server.BaseHTTPRequestHandler) -> None:
        """Accept and never answer."""
        self.weather.stop.wait(60)

    def drip(self, handler: http.server.BaseHTTPRequestHandler) -> None:
        """Answer a byte at a time, for ever."""
        handler.send_response(200)
        handler.send_header("Content-Length", "1000000")
        handler.end_headers()
        while not self.weather.stop.wait(0.1):
            handler.wfile.write(b"\x1f")
            handler.wfile.flush()

    def close(self) -> None:
        """Go away."""
        self.weather.stop.set()
        self._server.shutdown()
        self._server.server_close()
