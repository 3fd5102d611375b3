"""Thirty years of hours, chill portions and degree days beside xclim's, on the same readings.

pip install xclim && python tests/benchmarks/beside_xclim.py
"""

from __future__ import annotations

import warnings

import numpy as np
import xarray
import xclim.indices
from pairs import HEADER, call, compare
from xclim.indices.helpers import make_hourly_temperature

from timing.intake.samples import open_sample
from timing.thermal.chill import chill_portions
from timing.thermal.degree_days import degree_days
from timing.thermal.hourly import hourly_temperatures

SAMPLE = "humid-continental"


def main() -> None:
    """Print a row each for hours, chill and heat."""
    warnings.simplefilter("ignore")
    print(HEADER)
    sample, record = open_sample(SAMPLE)
    days = record.first + np.arange(len(record.tmin_c))
    thirty = (days >= np.datetime64("1991-01-01")) & (days < np.datetime64("2021-01-01"))
    tmin, tmax = record.tmin_c[thirty], record.tmax_c[thirty]
    latitude = xarray.DataArray(sample.site.latitude, attrs={"units": "degrees_north"})

    def series(name: str, values: np.ndarray, step: str) -> xarray.DataArray:
        times = np.datetime64("1991-01-01") + np.arange(len(values)) * np.timedelta64(1, step)
        coordinates = {"time": times.astype("datetime64[ns]"), "lat": latitude}
        return xarray.DataArray(values, coordinates, ["time"], name=name, attrs={"units": "degC"})

    low, high = series("tasmin", tmin, "D"), series("tasmax", tmax, "D")
    hours = hourly_temperatures(tmin, tmax, np.full(len(tmin), 12.0)).ravel()
    hourly = series("tas", hours, "h")
    compare(
        "hours from minima and maxima, 30 years / xclim",
        call(lambda: hourly_temperatures(tmin, tmax, np.full(len(tmin), 12.0))),
        call(lambda: make_hourly_temperature(low, high).load()),
        "",
    )
    compare(
        "chill portions, 30 years of hours / xclim",
        call(lambda: chill_portions(hours[: 30 * 8760].reshape(30, -1))),
        call(lambda: xclim.indices.chill_portions(hourly).load()),
        "1/25",
        runs=3,
    )
    mean = (low + high).assign_attrs(units="degC") / 2
    mean.attrs["units"] = "degC"
    compare(
        "degree days by mean, 30 years / xclim",
        call(lambda: degree_days(tmin, tmax, 4.0, method="average")),
        call(lambda: xclim.indices.growing_degree_days(mean).load()),
        "",
    )


if __name__ == "__main__":
    main()
