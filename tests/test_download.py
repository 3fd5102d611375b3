"""A site by its place alone: the real client of the weather service against one on this machine.

What must hold:

* the best station's years up to yesterday are kept as measured, with a stated correction for
  height; readings of models, days to come and impossible days are not;
* whoever asks for credit is named in every output made from the data;
* an update adds the missing days, revises the last thirty, leaves the rest and says so; it never
  puts nothing in the place of something;
* a service that is away, broken or silent ends in one sentence with a way out, soon, with status 1
  and the notebook as it was;
* nothing but --download and update goes online.

Stations, places and temperatures are invented.
"""

from __future__ import annotations

import csv
import datetime as dt
import http.server
import io
import json
import logging
import os
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from test_cli import Command, Run, assert_one_line, daily_file, strict_json
from test_startup import imported_by
from weather_server import (
    STATIONS,
    Place,
    Server,
    Weather,
    body,
    season,
    sign_in_page,
    status,
)

import cli.site
import cli.station
from timing.intake import station_client
from timing.intake.station_cache import read_kept
from timing.notebook.store import Notebook

meteostat = pytest.importorskip(
    "meteostat", reason="the client of the weather service is not installed"
)

NOW = dt.datetime(2024, 6, 15, 12)
HOME = ("Mill bench", "--latitude", "47.02", "--longitude", "8.02", "--elevation", "420")
DOWNLOAD = ("site", "add", *HOME, "--download", "--since", "2020")
WIDTH = 80
STALL_S = 1.2


@dataclass
class Service:
    """The service, the command that asks it, and where things are kept."""

    server: Server
    sapdial: Command
    folder: Path
    patch: pytest.MonkeyPatch

    @property
    def weather(self) -> Weather:
        return self.server.weather

    @property
    def notebook(self) -> Path:
        return self.folder / "notebook.sqlite"

    @property
    def cache(self) -> Path:
        return self.folder / "cache"

    def on(self, day: str) -> None:
        """Make it another day, with data up to the day before."""
        now = dt.datetime.fromisoformat(f"{day} 12:00")
        for module in (cli.site, cli.station):
            self.patch.setattr(module, "now", lambda: now)
        self.weather.until = now.date() - dt.timedelta(days=1)

    def offline(self) -> None:
        """Go where nobody answers."""
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.point_at(f"http://127.0.0.1:{free.getsockname()[1]}")

    def point_at(self, url: str) -> None:
        """Tell the client where the service is; it copies one address when first used."""
        from meteostat.providers.meteostat import daily  # noqa: PLC0415

        files = url + "/daily/{year}/{station}.csv.gz"
        self.patch.setattr(meteostat.config, "stations_db_endpoints", [f"{url}/stations.db"])
        self.patch.setattr(meteostat.config, "daily_endpoint", files)
        self.patch.setattr(daily, "ENDPOINT", files)

    def added(self, *more: str) -> Run:
        """Add the site of this file; it must work."""
        run = self.sapdial(*DOWNLOAD, *more)
        assert run.status == 0, run.err
        return run

    def held(self) -> dict[dt.date, tuple[float, float]]:
        """What the notebook holds, as measured."""
        with Notebook.open(self.notebook) as book:
            readings = book.readings()
        assert readings is not None
        pairs = zip(readings.tmin_c.tolist(), readings.tmax_c.tolist(), strict=True)
        return dict(zip(readings.days.tolist(), pairs, strict=True))

    def refused(self, run: Run, *holds: str, status: int = 1) -> None:
        assert_one_line(run, status, holds[0])
        for word in holds:
            assert word in run.err

    def asked(self) -> list[str]:
        """Files asked for since the last time."""
        found, self.weather.requests[:] = self.weather.requests[:], []
        return found


@pytest.fixture
def service(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Iterator[Service]:
    (tmp_path / "served").mkdir()
    server = Server(tmp_path / "served")
    found = Service(server, Command(monkeypatch, capsys), tmp_path, monkeypatch)
    monkeypatch.setenv("SAPDIAL_NOTEBOOK", str(found.notebook))
    monkeypatch.setenv("SAPDIAL_CACHE", str(found.cache))
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    found.point_at(server.weather.url)
    found.on("2024-06-15")
    yield found
    server.close()


# ---------------------------------------------------------------------------- a download


def test_a_place_is_enough(service: Service) -> None:
    run = service.sapdial("site", "add", *HOME, "--download")
    assert (run.status, run.err) == (0, "")
    held = service.held()
    assert next(iter(held)) == dt.date(1991, 1, 1)
    assert list(held)[-1] == dt.date(2024, 6, 14)
    assert len(held) == 12219  # days from 1 January 1991 to 14 June 2024
    assert all(pair == season("ZZ001", day) for day, pair in held.items())  # as measured
    for words in (
        "Station Invented Valley (ZZ001), 2.7 km away, 30 m higher than the site",
        "6 points (distance 3, height 3)",
        "Next: Invented Mill (ZZ003)",
        "Next: Invented Ridge (ZZ002)",
        "1 more within 50 km without daily minima and maxima",
        "raised by 0.2 °C",
        "cold air",
        "Source: Meteostat; CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/); modified.",
        "12219 days",
    ):
        assert words in " ".join(run.out.split())
    assert max(map(len, run.out.splitlines()[:-1])) <= WIDTH


def test_the_correction_is_applied_and_can_be_undone(service: Service) -> None:
    service.added()
    day = np.datetime64("2024-06-01")
    low, high = season("ZZ001", dt.date(2024, 6, 1))

    def read() -> tuple[float, float]:
        with Notebook.open(service.notebook) as book:
            record = book.temperature_record()
        at = int((day - record.first).astype(int))
        return float(record.tmin_c[at]), float(record.tmax_c[at])

    # 30 m × 6.5 °C a km = 0.195 °C, kept in hundredths
    assert read() == pytest.approx((low + 0.2, high + 0.2))
    service.sapdial.answered("site", "change", "Mill bench", "--elevation", "1450")
    assert read() == pytest.approx((low - 6.5, high - 6.5))
    service.sapdial.answered("site", "change", "Mill bench", "--correction", "0")
    assert read() == pytest.approx((low, high))
    service.sapdial.answered("record", "undo")
    assert read() == pytest.approx((low - 6.5, high - 6.5))


def test_a_site_tells_its_station(service: Service) -> None:
    service.added()
    text = " ".join(service.sapdial.answered("site", "show", "Mill bench").split())
    for words in (
        "station: Invented Valley (ZZ001), 2.7 km away, 30 m higher than the site",
        "fetched on 2024-06-15",
        "raised by 0.2 °C",
        "to 2024-06-14",
        "attribution: Meteostat",
        "licence: CC BY 4.0",
    ):
        assert words in text
    (found,) = service.sapdial.json("site", "list")["sites"]
    assert found["station"] == {
        "code": "ZZ001",
        "name": "Invented Valley",
        "latitude": 47.0,
        "longitude": 8.0,
        "elevation_m": 450,
        "distance_km": 2.7,
        "height_difference_m": 30,
        "offset_c": 0.2,
        "fetched": "2024-06-15",
    }


def test_credit_is_given_in_every_output(service: Service, tmp_path: Path) -> None:
    poi = {
        ("ZZ001", dt.date(2024, 6, day)): (5.0, "dwd_poi", 15.0 + day / 10, "dwd_poi")
        for day in (1, 2)
    }
    service.weather.days.update(poi)
    service.added()
    credit = "Meteostat, Deutscher Wetterdienst; CC BY 4.0"
    on = ("--on", "2024-06-14")
    for words in (
        ("ask", "acer-palmatum", "--work", "light", *on),
        ("ask", "maple", "--work", "light", *on),
        ("events", "acer-palmatum", *on),
        ("calendar", "acer-palmatum", *on),
        ("compare", "acer-palmatum", *on),
    ):
        assert credit in " ".join(service.sapdial.answered(*words).split()), words
        if words[0] != "calendar":
            found = service.sapdial.json(*words)["site"]["attribution"]
            assert found.startswith(credit)
            assert found.endswith("modified")
    for words in (("ask", "maple", *on), ("events", "acer-palmatum", *on)):
        text = service.sapdial.answered(*words, "--format", "csv")
        rows = list(csv.DictReader(io.StringIO(text)))
        assert all(row["attribution"].startswith(credit) for row in rows)
    for command in ("calendar", "compare"):
        for suffix in ("json", "svg", "txt"):
            if (command, suffix) != ("compare", "txt"):
                path = tmp_path / f"{command}.{suffix}"
                service.sapdial.answered(command, "acer-palmatum", *on, "-o", path)
                assert "Deutscher" in path.read_text(encoding="utf-8"), path
    service.sapdial.answered("record", "export", tmp_path / "out")
    assert "Meteostat, Deutscher Wetterdienst" in (tmp_path / "out" / "sites.csv").read_text(
        encoding="utf-8"
    )
    (kept,) = (service.cache / "stations").iterdir()
    assert "Meteostat, Deutscher Wetterdienst" in kept.read_text(encoding="utf-8")


def test_a_station_travels_in_a_folder_and_is_undone(service: Service, tmp_path: Path) -> None:
    service.added()
    before = service.sapdial.json("site", "list")
    service.sapdial.answered("record", "export", tmp_path / "out")
    other = ("--notebook", tmp_path / "other.sqlite")
    service.sapdial.answered("record", "import", tmp_path / "out", *other)
    assert service.sapdial.json("site", "list", *other) == before
    assert "already there: 1 site" in service.sapdial.answered(
        "record", "import", tmp_path / "out", *other
    )
    service.sapdial.answered("record", "undo")
    assert service.sapdial.json("site", "list")["sites"] == []


def test_a_file_takes_the_place_of_a_station(service: Service, tmp_path: Path) -> None:
    service.added()
    daily = daily_file(tmp_path / "own.csv")
    service.sapdial.answered("site", "change", "Mill bench", "--temperatures", daily)
    (found,) = service.sapdial.json("site", "list")["sites"]
    assert (found["station"], found["source"]) == (None, "own.csv")
    assert (found["attribution"], found["licence"]) == ("", "")
    service.refused(service.sapdial("site", "update", "Mill bench"), "no", "station", status=2)


# ---------------------------------------------------------------------------- which rows count


def test_rows_of_models_and_impossible_days_stay_out(service: Service) -> None:
    def at(day: int, *reading: Any) -> None:
        service.weather.days["ZZ001", dt.date(2024, 5, day)] = reading or None

    at(1, 5.0, "isd_lite dwd_mosmix", 15.0, "isd_lite dwd_mosmix")
    at(2, 5.0, "dwd_mosmix", 15.0, "dwd_mosmix")
    at(3, 5.0, "ghcnd", 15.0, "ghcnd dwd_mosmix")
    at(4, 16.0, "ghcnd", 15.0, "ghcnd")
    at(5)
    at(6, None, "", 15.0, "ghcnd")
    at(7, 5.0, "brand_new", 15.0, "brand_new")
    at(8, 5.0, "ghcnd", 99.9, "ghcnd")
    run = service.added()
    held = service.held()
    may = {day.day: held.get(day) for day in (dt.date(2024, 5, n) for n in range(1, 10))}
    assert [n for n, pair in may.items() if pair is None] == [1, 2, 4, 5]
    for number, gap in ((3, 1), (6, 0), (8, 1)):
        assert np.isnan(may[number][gap]), number
        assert not np.isnan(may[number][1 - gap])
    assert may[7] == (5, 15)
    assert may[9] == season("ZZ001", dt.date(2024, 5, 9))
    assert max(held) == dt.date(2024, 6, 14)
    for words in ("5 readings of a model", "2 readings left out: minimum above", "brand_new"):
        assert words in run.err


def test_forecast_days_come_apart(service: Service) -> None:
    from timing.intake.download import download  # noqa: PLC0415
    from timing.site import Site  # noqa: PLC0415

    found = download(
        Site("x", 47.02, 8.02, 420), today=NOW.date(), since=2019, folder=service.cache
    )
    assert found.fetched.days.days[-1].item() == dt.date(2024, 6, 14)
    assert found.fetched.forecast.days.tolist() == [dt.date(2024, 6, n) for n in range(15, 20)]
    assert "mosmix" not in (service.cache / "stations" / "ZZ001.csv").read_text(encoding="utf-8")
    assert "\n2024-06-15" not in (service.cache / "stations" / "ZZ001.csv").read_text()


def test_a_forecast_forbids_and_changes_nothing_else(service: Service) -> None:
    service.weather.stations = {"ZZ001": STATIONS["ZZ001"]}
    cold = dt.date(2024, 6, 17)
    service.weather.days["ZZ001", cold] = (-20.0, "dwd_mosmix", -5.0, "dwd_mosmix")
    service.weather.days["ZZ001", dt.date(2024, 6, 18)] = (9.0, "dwd_mosmix", 5.0, "dwd_mosmix")
    service.added()
    assert max(service.held()) == dt.date(2024, 6, 14)
    with Notebook.open(service.notebook) as book:
        expected = book.readings(None, "forecast")
    assert expected is not None
    assert [day.day for day in expected.days.tolist()] == [15, 16, 17, 19]  # 18: impossible
    (site,) = service.sapdial.json("site", "list")["sites"]
    assert site["forecast"] == {"first": "2024-06-15", "last": "2024-06-19", "days": 4}
    assert site["temperatures"]["last"] == "2024-06-14"
    shown = service.sapdial.answered("site", "show", "Mill bench")
    assert "forecast 2024-06-15 to 2024-06-19, kept apart" in shown

    def asked(on: str) -> dict[str, Any]:
        words = ("ask", "acer-palmatum", "--work", "heavy", "--on", on)
        (found,) = service.sapdial.json(*words)["answers"]
        return dict(found)

    warned = asked("2024-06-15")
    (veto,) = [text for text in warned["vetoes"] if "forecast" in text]
    assert veto.startswith("hard frost forecast: −20 °C on 17 June")
    assert warned["verdict"] == "not_safe"
    assert not any("forecast" in text for text in asked("2024-06-14")["vetoes"])
    # the next day's update brings a mild forecast: the veto goes, chances were never touched
    del service.weather.days["ZZ001", cold]
    assert service.sapdial("site", "update").status == 0
    mild = asked("2024-06-15")
    assert not any("forecast" in text for text in mild["vetoes"])
    assert (mild["chance"], mild["windows"]) == (warned["chance"], warned["windows"])
    service.sapdial.answered("record", "undo")
    assert asked("2024-06-15") == warned


def test_the_forecast_reaches_over_new_year(service: Service) -> None:
    service.added()
    service.on("2024-12-29")
    assert service.sapdial("site", "update").status == 0
    with Notebook.open(service.notebook) as book:
        expected = book.readings(None, "forecast")
    assert expected is not None
    assert expected.days[-1] == np.datetime64("2025-01-02")
    assert max(service.held()) == dt.date(2024, 12, 28)


def test_notes_of_a_download_are_kept_and_renewed_by_an_update(service: Service) -> None:
    bad = service.weather.days
    bad["ZZ001", dt.date(2022, 5, 1)] = (16.0, "ghcnd", 15.0, "ghcnd")
    service.added()
    (site,) = service.sapdial.json("site", "list")["sites"]
    assert site["notes"] == ["2 readings left out: minimum above maximum"]
    assert "note: 2 readings left out" in service.sapdial.answered("site", "show", "Mill bench")
    for day, number in (("2024-07-10", 1), ("2024-07-20", 1)):
        service.on(day)
        bad["ZZ001", dt.date(2024, 7, 9)] = (5.0, "dwd_mosmix", 15.0, "ghcnd")
        assert service.sapdial("site", "update").status == 0
        (site,) = service.sapdial.json("site", "list")["sites"]
        assert site["notes"] == [
            "2 readings left out: minimum above maximum",
            f"last update, {day}: {number} readings of a model or forecast left out",
        ]


# ---------------------------------------------------------------------------- which station


def test_a_station_of_unknown_height_is_used_where_it_is_best(service: Service) -> None:
    service.weather.stations = {"ZZ003": STATIONS["ZZ003"]}
    run = service.added()
    assert "Invented Mill (ZZ003)" in run.out
    assert "height difference unknown" in run.out
    assert "that of the station is unknown" in " ".join(run.out.split())
    assert service.sapdial.json("site", "list")["sites"][0]["station"]["offset_c"] == 0


def test_stations_without_heights_names_or_shares_are_ranked(service: Service) -> None:
    near = Place(47.02, 8.021, None, None, share=None)
    service.weather.stations = {"ZZ008": near, "ZZ009": replace(near, latitude=47.3)}
    run = service.added()
    assert "station without a name (ZZ008), 0.1 km away" in " ".join(run.out.split())


def test_an_unknown_height_of_the_site_is_said(service: Service) -> None:
    run = service.sapdial("site", "add", *HOME[:5], "--download", "--since", "2020")
    assert run.status == 0
    assert "that of the site is unknown; give --elevation" in " ".join(run.out.split())


def test_a_station_that_promised_too_much_makes_way(service: Service) -> None:
    hollow = {
        ("ZZ001", dt.date(year, month, day)): None
        for year in range(2020, 2025)
        for month in range(1, 13)
        for day in range(1, 28)
    }
    service.weather.days.update(hollow)  # type: ignore[arg-type]
    service.weather.stations["ZZ002"] = replace(STATIONS["ZZ002"], elevation=500)
    run = service.added()
    assert "Station Invented Ridge (ZZ002)" in run.out
    assert service.held()[dt.date(2024, 6, 1)] == season("ZZ002", dt.date(2024, 6, 1))


def test_a_station_asked_for_is_taken(service: Service) -> None:
    run = service.added("--station", "ZZ002")
    assert "Station Invented Ridge (ZZ002)" in run.out
    assert "Chosen" not in run.out
    for code, word in (("ZZ777", "ZZ777"), ("ZZ004", "no daily"), ("../x", "letters and digits")):
        words = ("site", "add", "Other", *HOME[1:], "--download", "--station", code)
        service.refused(service.sapdial(*words), word, "--station", status=2)


def test_a_record_that_ended_is_used_but_said(service: Service) -> None:
    service.weather.until, service.weather.ahead = dt.date(2023, 12, 31), 0
    assert "cannot follow the season under way" in service.added().err


# ---------------------------------------------------------------------------- kept years


def test_settled_years_are_fetched_once(service: Service) -> None:
    service.added()
    first = service.asked()
    assert first[0] == "/stations.db"
    assert first[1:] == [f"/daily/{year}/ZZ001.csv.gz" for year in range(2020, 2025)]
    service.sapdial.answered("record", "undo")
    service.added()
    assert service.asked() == ["/daily/2024/ZZ001.csv.gz"]


# ---------------------------------------------------------------------------- an update


def test_an_update_brings_what_is_missing(service: Service) -> None:
    service.added()
    before = service.held()
    service.on("2024-06-29")
    changed = [dt.date(2024, 6, 3), dt.date(2024, 6, 10)]
    old = dt.date(2024, 4, 1)  # older than thirty days: not touched
    gone = dt.date(2024, 6, 5)
    for day in (*changed, old):
        service.weather.days["ZZ001", day] = (1.25, "ghcnd", 11.25, "ghcnd")
    service.weather.days["ZZ001", gone] = None
    service.asked()
    text = service.sapdial.answered("site", "update")
    assert "14 days added, 2 revised; up to 2024-06-28" in text
    assert service.asked() == ["/daily/2024/ZZ001.csv.gz"]
    held = service.held()
    assert {day for day in before if held[day] != before[day]} == set(changed)
    assert sorted(set(held) - set(before)) == [dt.date(2024, 6, n) for n in range(15, 29)]
    (site,) = service.sapdial.json("site", "list")["sites"]
    assert site["station"]["fetched"] == "2024-06-29"
    assert "0 days added, 0 revised" in service.sapdial.answered("site", "update", "mill bench")
    service.sapdial.answered("record", "undo")


def test_an_update_over_new_year_asks_for_both_years(service: Service) -> None:
    service.on("2024-01-05")
    service.added()
    service.asked()
    service.on("2024-01-20")
    assert "15 days added" in service.sapdial.answered("site", "update")
    assert [path.split("/")[2] for path in service.asked()] == ["2023", "2024"]


def test_an_update_is_undone(service: Service) -> None:
    service.added()
    before = service.held(), service.sapdial.json("site", "list")
    service.on("2024-06-29")
    service.sapdial.answered("site", "update")
    assert "taken back: updated site Mill bench" in service.sapdial.answered("record", "undo")
    assert (service.held(), service.sapdial.json("site", "list")) == before


def test_a_change_made_while_an_update_fetches_is_not_lost(service: Service) -> None:
    service.added()
    service.on("2024-06-29")

    def change_first(handler: http.server.BaseHTTPRequestHandler) -> None:
        del service.weather.files["ZZ001", 2024]
        with Notebook.open(service.notebook) as book:
            held = book.readings()
            assert held is not None
            both = held, held.shifted(1)
            book.update_site("Mill bench", both, lambda same: same, "warmer", when=NOW)
        content = service.weather.year("ZZ001", 2024)
        assert content is not None
        body(content)(handler)

    service.weather.files["ZZ001", 2024] = change_first
    service.refused(service.sapdial("site", "update"), "changed meanwhile")
    low, high = season("ZZ001", dt.date(2024, 6, 1))
    assert service.held()[dt.date(2024, 6, 1)] == (low + 1, high + 1)
    assert "14 days added" in service.sapdial.answered("site", "update")


def test_update_without_a_station_is_refused(service: Service, tmp_path: Path) -> None:
    daily = daily_file(tmp_path / "own.csv", days=400)
    place = ("--latitude", "45", "--longitude", "7")
    service.sapdial.answered("site", "add", "File", *place, "--temperatures", daily)
    service.refused(service.sapdial("site", "update"), "no site has", status=2)
    service.refused(service.sapdial("site", "update", "file"), "site File has", status=2)
    assert service.asked() == []


# ---------------------------------------------------------------------------- when it goes wrong


def wrong_first_time(service: Service, *holds: str) -> float:
    """A first download that fails: one line, a way out, no notebook; returns how long it took."""
    begun = time.perf_counter()
    run = service.sapdial(*DOWNLOAD)
    took = time.perf_counter() - begun
    service.refused(run, "--temperatures", *holds)
    assert not service.notebook.exists()
    assert took < 10 * STALL_S
    return took


def test_offline_from_the_start(service: Service) -> None:
    service.offline()
    wrong_first_time(service, "list of stations", "go online")


def test_a_station_list_that_is_refused(service: Service) -> None:
    for code in (404, 500, 503):
        service.weather.station_list = status(code)
        wrong_first_time(service, "list of stations")


@pytest.mark.parametrize("kind", ["page", "half", "empty", "other"])
def test_a_station_list_that_is_none(service: Service, kind: str) -> None:
    whole = service.weather.list_file(service.folder / "whole.db")
    service.weather.station_list = {
        "page": sign_in_page,
        "half": body(whole[: len(whole) // 2]),
        "empty": body(b""),
        "other": body(b"SQLite format 3\0" + b"\xa5" * 5000),
    }[kind]
    wrong_first_time(service, "list of stations", "sign-in page")
    service.weather.station_list = None
    service.added()  # nothing broken stays behind


def test_a_kept_station_list_that_broke_is_fetched_again(service: Service) -> None:
    service.added()
    path = service.cache / "stations.db"
    content = path.read_bytes()
    service.sapdial.answered("record", "undo")
    for broken in (content[:4096], content[:4096] + b"\xa5" * (len(content) - 4096), b""):
        path.write_bytes(broken)
        service.asked()
        service.added()
        assert "/stations.db" in service.asked()
        service.sapdial.answered("record", "undo")


def test_an_old_station_list_is_fetched_again_and_used_offline(service: Service) -> None:
    service.added()
    path = service.cache / "stations.db"
    os.utime(path, (0, 0))
    service.sapdial.answered("record", "undo")
    service.asked()
    service.added()
    assert service.asked()[0] == "/stations.db"
    os.utime(path, (0, 0))
    content = path.read_bytes()
    service.sapdial.answered("record", "undo")
    service.offline()
    run = service.added()
    assert "that of 1970-01-01 was used" in run.err
    assert path.read_bytes() == content


def test_offline_the_years_kept_will_do(service: Service) -> None:
    service.added()
    before = service.held()
    kept = (service.cache / "stations" / "ZZ001.csv").read_bytes()
    service.sapdial.answered("record", "undo")
    service.offline()
    service.on("2024-06-29")
    run = service.added()
    assert "what was fetched on 2024-06-15 was used" in run.err
    assert service.held() == before
    (site,) = service.sapdial.json("site", "list")["sites"]
    assert site["station"]["fetched"] == "2024-06-15"
    assert (service.cache / "stations" / "ZZ001.csv").read_bytes() == kept


def test_an_update_offline_changes_nothing(service: Service) -> None:
    service.added()
    kept, book = (service.cache / "stations" / "ZZ001.csv"), service.notebook.read_bytes()
    content = kept.read_bytes()
    os.utime(kept, (0, 0))  # however old
    service.offline()
    service.on("2024-06-29")
    service.refused(service.sapdial("site", "update"), "cannot be reached", "--temperatures")
    assert (kept.read_bytes(), service.notebook.read_bytes()) == (content, book)


def test_years_the_service_has_not_are_gaps(service: Service) -> None:
    service.weather.files["ZZ001", 2022] = status(404)
    run = service.added()
    assert "365 days without a full pair" in run.err
    assert not any(day.year == 2022 for day in service.held())


def test_a_year_that_is_gone_later_stays(service: Service) -> None:
    service.added()
    before = service.held()
    service.weather.files["ZZ001", 2024] = status(404)
    service.on("2024-06-29")
    service.sapdial("site", "update")
    assert service.held() == before
    assert len(read_kept(service.cache, "ZZ001").days) == len(before)


@pytest.mark.parametrize("kind", ["half", "page", "words", "503", "twice"])
def test_a_year_that_comes_broken(service: Service, kind: str) -> None:
    whole = service.weather.year("ZZ001", 2021)
    assert whole is not None
    import gzip  # noqa: PLC0415

    lines = gzip.decompress(whole).splitlines()
    service.weather.files["ZZ001", 2021] = {
        "half": body(whole[: len(whole) // 2]),
        "page": sign_in_page,
        "words": body(gzip.compress(b"<html>sign in</html>")),
        "503": status(503),
        "twice": body(gzip.compress(b"\n".join([*lines, lines[-1], b""]))),
    }[kind]
    wrong_first_time(service, "year 2021 of Invented Valley (ZZ001)")
    asked = service.asked().count("/daily/2021/ZZ001.csv.gz")
    assert asked == (1 if kind == "503" else 2)
    assert sorted(read_kept(service.cache, "ZZ001").fetched) == [2020]
    del service.weather.files["ZZ001", 2021]
    service.added()
    assert "/daily/2020/ZZ001.csv.gz" not in service.asked()  # what came was kept
    assert len(service.held()) == 1627  # days from 1 January 2020 to 14 June 2024


def test_a_broken_year_in_an_update_changes_nothing(service: Service) -> None:
    service.added()
    book, kept = service.notebook.read_bytes(), service.cache / "stations" / "ZZ001.csv"
    content = kept.read_bytes()
    service.on("2024-06-29")
    service.weather.files["ZZ001", 2024] = sign_in_page
    service.refused(service.sapdial("site", "update"), "year 2024", "sign-in page")
    assert (service.notebook.read_bytes(), kept.read_bytes()) == (book, content)


@pytest.mark.parametrize("kind", ["silence", "drip"])
@pytest.mark.parametrize("what", ["list", "year"])
def test_a_service_that_never_answers_is_left_soon(service: Service, kind: str, what: str) -> None:
    service.patch.setattr(station_client, "STALL_SECONDS", STALL_S)
    answer = getattr(service.server, kind)
    if what == "list":
        service.weather.station_list = answer
    else:
        service.weather.files["ZZ001", 2022] = answer
    before = socket.getdefaulttimeout()
    took = wrong_first_time(service, "weather service")
    assert took < 4 * STALL_S
    assert socket.getdefaulttimeout() == before
    if what == "year":  # one silence is enough: no other year is asked for
        assert service.asked()[-1] == "/daily/2022/ZZ001.csv.gz"


@pytest.mark.slow
@pytest.mark.parametrize("what", ["list", "year"])
@pytest.mark.parametrize("kind", ["silence", "drip"])
def test_the_real_limit_ends_within_thirty_seconds(service: Service, kind: str, what: str) -> None:
    answer = getattr(service.server, kind)
    if what == "list":
        service.weather.station_list = answer
    else:
        service.weather.files = {("ZZ001", year): answer for year in range(1990, 2100)}
    begun = time.perf_counter()
    run = installed(service, dt.date.today().year - 5)
    assert time.perf_counter() - begun < 30
    service.refused(run, "--temperatures")


def test_corrupt_files_of_the_client_are_not_read(service: Service) -> None:
    service.added()
    service.sapdial.answered("record", "undo")
    (service.cache / "stations" / "ZZ001.csv").write_bytes(b"\x80garbage")
    client = service.cache / "client"
    client.mkdir(exist_ok=True)
    from meteostat.core.cache import cache_service  # noqa: PLC0415
    from meteostat.providers.meteostat.daily import get_df  # noqa: PLC0415

    for year in range(2020, 2025):
        name = cache_service._func_to_uid(get_df.__wrapped__, ("ZZ001", year), {})
        (client / f"{name}.pickle").write_bytes(b"not a pickle")
    service.added()
    assert len(service.held()) == 1627


def test_a_station_without_any_year_makes_way_or_is_said(service: Service) -> None:
    for year in range(2020, 2025):
        service.weather.files["ZZ001", year] = status(404)
    assert "Station Invented Mill (ZZ003)" in service.added().out
    service.sapdial.answered("record", "undo")
    service.notebook.unlink()
    for code in STATIONS:
        for year in range(2020, 2025):
            service.weather.files[code, year] = status(404)
    (service.cache / "stations" / "ZZ003.csv").unlink()
    wrong_first_time(service, "no station within 50 km", "--station")


def test_nothing_within_fifty_kilometres(service: Service) -> None:
    service.weather.stations = {"ZZ001": replace(STATIONS["ZZ001"], latitude=48.0)}
    wrong_first_time(service, "no station within 50 km", "there is none", "--station")
    service.added("--station", "ZZ001")


def test_a_young_station_is_not_enough(service: Service) -> None:
    service.weather.stations = {"ZZ001": replace(STATIONS["ZZ001"], first=2022)}
    wrong_first_time(service, "4 years", "1 station")
    service.refused(service.sapdial(*DOWNLOAD, "--station", "ZZ001"), "fewer than 4 years")


def test_a_folder_that_cannot_be_written(service: Service) -> None:
    service.cache.touch()
    service.refused(service.sapdial(*DOWNLOAD), "SAPDIAL_CACHE")


def test_a_name_that_is_taken_is_refused_before_anything_is_fetched(service: Service) -> None:
    service.added()
    service.asked()
    service.refused(service.sapdial(*DOWNLOAD), "already", status=2)
    assert service.asked() == []


@pytest.mark.parametrize(
    ("words", "holds"),
    [
        ((*DOWNLOAD, "--temperatures", "x.csv"), "either"),
        (("site", "add", *HOME, "--station", "ZZ001"), "--download"),
        (("site", "add", *HOME, "--since", "2000", "--temperatures", "x.csv"), "--download"),
        (("site", "add", *HOME[:3], "--download"), "--longitude"),
        (("site", "add", *HOME, "--download", "--since", "2021"), "2020 or earlier"),
        (("site", "add", *HOME, "--download", "--since", "soon"), "soon"),
    ],
)
def test_a_wrong_option_asks_nobody(service: Service, words: tuple[str, ...], holds: str) -> None:
    service.refused(service.sapdial(*words), holds, status=2)
    assert service.asked() == []
    assert not service.notebook.exists()


# ---------------------------------------------------------------------------- what is left alone


def test_the_clients_own_settings_come_back(service: Service) -> None:
    names = ("cache_enable", "cache_directory", "stations_db_file", "network_max_retries")
    before = [getattr(meteostat.config, name) for name in names]
    logger = logging.getLogger("meteostat")
    heard = logger.level, logger.propagate
    service.added()
    assert [getattr(meteostat.config, name) for name in names] == before
    assert (logger.level, logger.propagate) == heard
    assert not Path(meteostat.config.stations_db_file).is_relative_to(service.folder)


def test_answers_from_a_station_stay_offline_and_light(service: Service) -> None:
    service.added()
    service.asked()
    loaded = imported_by(
        ("site", "list"),
        ("site", "show", "Mill bench"),
        ("ask", "acer-palmatum", "--work", "light", "--on", "2024-06-14"),
    )
    assert loaded[-1] & {"meteostat", "pandas", "requests", "matplotlib"} == set()
    assert service.asked() == []


def installed(service: Service, since: int) -> Run:
    """Download in a process of its own, the service named by the environment."""
    url = service.weather.url
    done = subprocess.run(
        [
            *(Path(sys.executable).with_name("sapdial"), "site", "add", *HOME),
            *("--download", "--since", str(since)),
        ],
        capture_output=True,
        encoding="utf-8",
        check=False,
        env={
            **os.environ,
            "MS_DAILY_ENDPOINT": url + "/daily/{year}/{station}.csv.gz",
            "MS_STATIONS_DB_ENDPOINTS": json.dumps([f"{url}/stations.db"] * 2),
        },
    )
    return Run(done.returncode, done.stdout, done.stderr)


def test_the_installed_command_downloads(service: Service) -> None:
    today = dt.date.today()
    service.weather.until = today - dt.timedelta(days=1)
    service.weather.stations = {
        "ZZ001": replace(STATIONS["ZZ001"], last=service.weather.until.isoformat())
    }
    run = installed(service, today.year - 5)
    assert (run.status, run.err) == (0, "")
    assert "added site Mill bench" in run.out
    assert max(service.held()) == service.weather.until


def test_a_notebook_of_the_first_version_gains_stations(service: Service, tmp_path: Path) -> None:
    from timing.notebook.schema import APPLICATION_ID, VERSION_1  # noqa: PLC0415

    with sqlite3.connect(service.notebook) as db:
        for statement in VERSION_1:
            db.execute(statement)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute("PRAGMA user_version = 1")
        db.execute("INSERT INTO site VALUES (1, 'Old', 'old', 45, 7, 300, '', 'f.csv', '', '')")
        db.execute("INSERT INTO numbering VALUES ('site', 1)")
        db.execute("INSERT INTO change VALUES (1, '2024-01-01T00:00:00', 'old change')")
    db.close()
    service.added()
    sites = service.sapdial.json("site", "list")["sites"]
    assert [(site["site"], site["station"] is None) for site in sites] == [
        ("Mill bench", False),
        ("Old", True),
    ]
    service.sapdial.answered("record", "undo")
    service.refused(service.sapdial("record", "undo"), "nothing to undo")
    assert strict_json(service.sapdial.answered("site", "list", "--format", "json"))
