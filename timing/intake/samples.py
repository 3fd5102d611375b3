"""The bundled climates: invented places with invented weather, for trying things out."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from timing.errors import UsageError
from timing.intake.daily_csv import parse_daily_csv
from timing.site import Site
from timing.temperature import TemperatureRecord

if TYPE_CHECKING:
    import numpy as np


@dataclass(frozen=True)
class Sample:
    """One bundled climate and where it is supposed to be."""

    name: str
    description: str
    site: Site
    region: str
    first: str
    last: str
    file: str


def samples() -> tuple[Sample, ...]:
    """Every bundled climate."""
    text = (files("climate_samples") / "samples.toml").read_text(encoding="utf-8")
    return tuple(_sample(name, table) for name, table in tomllib.loads(text).items())


def _sample(name: str, table: dict[str, Any]) -> Sample:
    site = Site(
        name=f"{table['place']} (invented)",
        latitude=table["latitude"],
        longitude=table["longitude"],
        elevation_m=table["elevation_m"],
        invented=True,
    )
    return Sample(
        name,
        table["description"],
        site,
        table["region"],
        str(table["first"]),
        str(table["last"]),
        table["file"],
    )


def find_sample(name: str) -> Sample:
    """The sample of that name.

    Raises
    ------
    UsageError : there is no such sample; the message lists them.
    """
    known = {sample.name: sample for sample in samples()}
    if name not in known:
        raise UsageError(f"no sample {name!r}; the samples are {', '.join(known)}")
    return known[name]


def sample_record(sample: Sample, *, until: np.datetime64 | None = None) -> TemperatureRecord:
    """Temperatures of a sample, as `timing.intake.daily_csv.read_daily_csv` reads them."""
    text = (files("climate_samples") / sample.file).read_text(encoding="utf-8")
    return parse_daily_csv(text, source=f"sample {sample.name}", until=until)


def open_sample(name: str) -> tuple[Sample, TemperatureRecord]:
    """The sample of that name and its whole record."""
    sample = find_sample(name)
    return sample, sample_record(sample)
