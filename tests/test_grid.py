"""Dates over arrays of sites × days are those of the single sites, also on a Dask cluster.

What must hold:
- every cell has, to the bit, the dates of its site asked by itself, in both hemispheres;
- chill counted side by side is the chill of each series by itself, to the bit;
- sea, cells with too little record and seasons that are not whole have no date and stop nothing;
- a cell in another unit is named; shapes that do not fit are refused;
- under ``xarray.apply_ufunc(dask="parallelized")`` nothing changes, chunked or on two workers;
- a climate stored as Zarr gives the same dates as one in memory.
"""

from pathlib import Path

import numpy as np
import pytest

from timing.answers import site_drivers
from timing.drivers import Drivers, build_drivers, count_chill
from timing.errors import DataError, UsageError
from timing.events import season_events
from timing.grid import event_days, events_of, seasons_of
from timing.intake.samples import open_sample
from timing.season import Floats
from timing.site import Site
from timing.species.catalogue import load_species
from timing.temperature import record_from_readings
from timing.thermal import chill, chill_portions

FIRST, DAYS = np.datetime64("1996-08-25", "D"), 1410  # three whole seasons, north or south
MAPLE = load_species("acer-palmatum")


def climate(rows: int, columns: int, sample: str = "humid-continental") -> tuple[Floats, ...]:
    """An invented climate: a bundled sample, warmer or colder and wider or narrower by cell."""
    _, record = open_sample(sample)
    at = int((FIRST - record.first).astype(np.int64))
    low, high = (v[at : at + DAYS] for v in (record.tmin_c, record.tmax_c))
    warmth = np.linspace(-3, 4, rows)[:, None, None]
    swing = np.linspace(0.9, 1.1, columns)[None, :, None]
    middle, half = (low + high) / 2 + warmth, (high - low) / 2 * swing
    latitude = np.broadcast_to(np.linspace(36.0, 48.0, rows)[:, None], (rows, columns))
    return middle - half, middle + half, latitude


def one_by_one(low: Floats, high: Floats, latitude: Floats, slug: str) -> Floats:
    """The way of a single site, cell by cell in a plain loop."""
    species = load_species(slug)
    seasons, names = seasons_of(FIRST, DAYS), events_of(species)
    found = np.full((*latitude.shape, len(seasons), len(names)), np.nan)
    for cell in np.ndindex(latitude.shape):
        dates = FIRST + np.arange(DAYS)
        record = record_from_readings(dates, low[cell], high[cell], source="cell")
        drivers = site_drivers(record, Site("cell", float(latitude[cell]), 0.0))
        events = season_events(species, drivers)
        starts = drivers.starts.astype(np.int64)
        for number, name in enumerate(names):
            found[(*cell, drivers.years - seasons[0], number)] = (
                starts + events.quantiles(name, (0.5,))[0]
            )
    return found


@pytest.mark.parametrize("slug", ["acer-palmatum", "ficus-microcarpa"])
@pytest.mark.parametrize("sample", ["humid-continental", "southern-temperate"])
def test_a_cell_has_the_dates_of_its_site(slug: str, sample: str) -> None:
    low, high, latitude = climate(3, 2, sample)
    latitude = -latitude if sample == "southern-temperate" else latitude
    got = event_days(low, high, latitude, species=load_species(slug), first=FIRST)
    expected = one_by_one(low, high, latitude, slug)
    assert got.shape == (3, 2, len(seasons_of(FIRST, DAYS)), len(events_of(load_species(slug))))
    assert np.isfinite(expected).any()
    np.testing.assert_array_equal(got, expected)


def test_chill_side_by_side_is_that_of_each_series(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    hours = 6 + 9 * np.sin(np.arange(1500) / 3.82) + rng.normal(0, 5, (chill.SIDE_BY_SIDE, 1500))
    hours[3, 40:90] = np.nan
    together = chill_portions(hours)
    assert together[:, -1].min() > 5
    for row, alone in zip(together, hours, strict=True):
        np.testing.assert_array_equal(row, chill_portions(alone))


def test_chill_of_several_sites_is_that_of_each() -> None:
    low, high, latitude = climate(3, 3)

    def drivers() -> list[Drivers]:
        dates = FIRST + np.arange(DAYS)
        return [
            build_drivers(
                record_from_readings(dates, low[cell], high[cell], source="cell"),
                Site("cell", float(latitude[cell]), 0.0),
            )
            for cell in np.ndindex(latitude.shape)
        ]

    together = drivers()
    assert sum(len(site.years) for site in together) >= chill.SIDE_BY_SIDE
    count_chill(together)
    for one, other in zip(together, drivers(), strict=True):
        np.testing.assert_array_equal(one.chill_sum, other.chill_sum)


def test_sea_and_short_cells_have_no_dates_and_stop_nothing() -> None:
    low, high, latitude = climate(2, 2)
    low[0, 0] = np.nan  # sea
    low[0, 1, 30:] = np.nan  # a month of record
    high[1, 0, 400:560] = np.nan  # half a year open
    got = event_days(low, high, latitude, species=MAPLE, first=FIRST)
    assert np.isnan(got[0]).all()
    whole = event_days(low[1, 1], high[1, 1], latitude[1, 1], species=MAPLE, first=FIRST)
    np.testing.assert_array_equal(got[1, 1], whole)
    bud_break = events_of(MAPLE).index("bud_break")
    by_season = np.isfinite(got[1, :, :, bud_break])
    assert by_season[0].sum() == by_season[1].sum() - 1


def test_a_cell_in_another_unit_is_named() -> None:
    low, high, latitude = climate(2, 2)
    low[1, 0] += 273.15
    high[1, 0] += 273.15
    with pytest.raises(DataError, match=r"cell 1, 0: .*kelvin"):
        event_days(low, high, latitude, species=MAPLE, first=FIRST)


def test_what_does_not_fit_is_refused() -> None:
    low, high, _ = climate(2, 2)
    with pytest.raises(UsageError, match="shape"):
        event_days(low, high, np.zeros(3), species=MAPLE, first=FIRST)
    with pytest.raises(UsageError, match="cell 0, 0: latitude 95"):
        event_days(low, high, 95.0, species=MAPLE, first=FIRST)
    with pytest.raises(UsageError, match="no days"):
        event_days(1.0, 2.0, 45.0, species=MAPLE, first=FIRST)


def stored(folder: Path, low: Floats, high: Floats, latitude: Floats, rows: int) -> object:
    """The climate written as Zarr and opened in chunks of so many rows."""
    xarray = pytest.importorskip("xarray")
    pytest.importorskip("zarr")
    dims, store = ("y", "x", "time"), folder / "climate.zarr"
    data = xarray.Dataset(
        {"tmin": (dims, low), "tmax": (dims, high), "latitude": (("y", "x"), latitude)}
    )
    data.to_zarr(store, consolidated=False)
    return xarray.open_zarr(store, consolidated=False).chunk({"y": rows, "x": -1, "time": -1})


def applied(data: object, species: object) -> object:
    return pytest.importorskip("xarray").apply_ufunc(
        event_days,
        data["tmin"],  # type: ignore[index]
        data["tmax"],  # type: ignore[index]
        data["latitude"],  # type: ignore[index]
        input_core_dims=[["time"], ["time"], []],
        output_core_dims=[["season", "event"]],
        dask="parallelized",
        output_dtypes=[float],
        dask_gufunc_kwargs={
            "output_sizes": {
                "season": len(seasons_of(FIRST, DAYS)),
                "event": len(events_of(species)),  # type: ignore[arg-type]
            }
        },
        kwargs={"species": species, "first": FIRST},
    )


def test_chunks_of_a_stored_climate_give_the_same_dates(tmp_path: Path) -> None:
    low, high, latitude = climate(4, 2)
    lazy = applied(stored(tmp_path, low, high, latitude, rows=2), MAPLE)
    got = lazy.compute(scheduler="synchronous")  # type: ignore[attr-defined]
    np.testing.assert_array_equal(got.values, one_by_one(low, high, latitude, "acer-palmatum"))


@pytest.mark.slow
def test_two_workers_of_a_cluster_give_the_dates_of_a_plain_loop(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed")
    low, high, latitude = climate(40, 40)
    data = stored(tmp_path, low, high, latitude, rows=5)
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster),
    ):
        got = applied(data, MAPLE).compute().values  # type: ignore[attr-defined]
    np.testing.assert_array_equal(got, one_by_one(low, high, latitude, "acer-palmatum"))


def test_the_example_of_the_docs_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    xarray = pytest.importorskip("xarray")
    pytest.importorskip("zarr")
    pytest.importorskip("netCDF4")
    text = (Path(__file__).parents[1] / "docs" / "survey.md").read_text(encoding="utf-8")
    code = text.split("```python\n")[1].split("```")[0]
    low, high, latitude = climate(2, 2)
    dims = ("y", "x", "time")
    climate_of_days = xarray.Dataset(
        {"tmin": (dims, low), "tmax": (dims, high), "latitude": (("y", "x"), latitude)},
        coords={"time": (FIRST + np.arange(DAYS)).astype("datetime64[ns]")},
    )
    climate_of_days.to_zarr(tmp_path / "climate.zarr", consolidated=False)
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    exec(compile(code, "docs/survey.md", "exec"), names)
    expected = one_by_one(low, high, latitude, "acer-palmatum")
    with xarray.open_dataset("bud_break.nc", decode_times=False) as written:
        np.testing.assert_array_equal(written["day"].values, expected)
