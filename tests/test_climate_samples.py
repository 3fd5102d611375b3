"""The invented records are intact, reproducible and plausible.

What must hold:

* every CSV has the SHA-256, first and last day that ``samples.toml`` states, says it is invented,
  and a fresh run of the generator gives the same bytes;
* days follow one another without a gap, and tmin stays at least 0.5 °C below tmax;
* monthly means lie within 1.5 °C of the targets below, median first and last frost within 12 days;
* day-to-day persistence, warming trend, winter skewness, freeze-thaw days, late frosts and heat
  waves have the size a climate of that kind has;
* the three sites of the region share their weather and differ as valley, hillside and coast do.
"""

import hashlib
import itertools
import tomllib
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

import climate_samples
from climate_samples.generate import CLIMATES, Climate, add_spell, skewed, write_samples

FOLDER = Path(climate_samples.__file__).parent
SAMPLES: dict[str, dict[str, Any]] = tomllib.loads(
    (FOLDER / "samples.toml").read_text(encoding="utf-8")
)
SLUGS = tuple(SAMPLES)
REGION = ("valley-floor", "hillside", "coast")

# January to December, °C
MONTHLY_MEANS = {
    "cool-maritime": (4.9, 4.9, 6.4, 8.5, 11.4, 14.1, 16.0, 15.8, 13.7, 10.6, 7.4, 5.4),
    "humid-continental": (-5.0, -3.8, 1.2, 7.6, 13.7, 18.6, 21.1, 20.2, 16.0, 9.7, 3.9, -1.9),
    "mediterranean": (9.2, 9.7, 11.8, 14.0, 17.5, 21.6, 24.8, 25.0, 21.7, 17.8, 12.9, 10.0),
    "humid-subtropical": (7.2, 9.2, 13.2, 17.6, 22.0, 25.6, 27.2, 26.8, 23.8, 18.0, 12.4, 8.5),
    "cold-interior": (-15.0, -12.3, -5.5, 3.8, 11.4, 16.2, 18.4, 17.0, 11.6, 4.2, -5.8, -13.0),
    "southern-temperate": (20.2, 20.3, 18.0, 14.6, 11.4, 8.8, 8.0, 9.0, 11.0, 13.5, 16.0, 18.4),
    "valley-floor": (0.6, 2.2, 5.8, 9.6, 13.6, 17.2, 20.0, 19.4, 15.8, 10.2, 4.8, 1.0),
    "hillside": (0.0, 1.0, 3.8, 7.4, 11.4, 15.2, 18.0, 17.8, 14.0, 8.8, 3.8, 0.6),
    "coast": (6.2, 6.6, 8.2, 10.2, 13.0, 15.6, 17.6, 17.9, 16.2, 13.0, 9.2, 6.9),
}
# (month, day) of the median last and first day with tmin <= 0; frost is too rare elsewhere
LAST_FROST = {
    "cool-maritime": (4, 20),
    "humid-continental": (5, 8),
    "humid-subtropical": (3, 15),
    "cold-interior": (5, 25),
    "southern-temperate": (9, 10),
    "valley-floor": (5, 7),
    "hillside": (4, 22),
}
FIRST_FROST = {
    "cool-maritime": (11, 6),
    "humid-continental": (10, 5),
    "humid-subtropical": (11, 15),
    "cold-interior": (9, 15),
    "southern-temperate": (6, 3),
    "valley-floor": (10, 12),
    "hillside": (10, 24),
}


@dataclass(frozen=True)
class Record:
    dates: list[date]
    tmin: NDArray[np.float64]
    tmax: NDArray[np.float64]
    year: NDArray[np.int_]
    month: NDArray[np.int_]
    day_of_year: NDArray[np.int_]

    @property
    def mean(self) -> NDArray[np.float64]:
        return (self.tmin + self.tmax) / 2.0

    @property
    def whole_years(self) -> range:
        return range(1991, 2026)


@cache
def record(slug: str) -> Record:
    text = (FOLDER / SAMPLES[slug]["file"]).read_text(encoding="ascii")
    header, *lines = text.splitlines()
    assert header == "date,tmin_c,tmax_c"
    rows = [line.split(",") for line in lines]
    dates = [date.fromisoformat(row[0]) for row in rows]
    return Record(
        dates,
        np.array([float(row[1]) for row in rows]),
        np.array([float(row[2]) for row in rows]),
        np.array([day.year for day in dates]),
        np.array([day.month for day in dates]),
        np.array([day.timetuple().tm_yday for day in dates]),
    )


def anomalies(slug: str) -> tuple[NDArray[np.float64], float]:
    """Daily means less season and trend, and the trend in °C per decade."""
    rec = record(slug)
    angle = 2.0 * np.pi * rec.day_of_year / 365.25
    waves = [f(k * angle) for k in (1, 2, 3) for f in (np.cos, np.sin)]
    decades = np.arange(len(rec.dates)) / 3652.5
    columns = np.column_stack([np.ones_like(decades), decades, *waves])
    fit = np.linalg.lstsq(columns, rec.mean, rcond=None)[0]
    return rec.mean - columns @ fit, float(fit[1])


def is_southern(slug: str) -> bool:
    return bool(SAMPLES[slug]["latitude"] < 0)


def frost_days_of_year(slug: str, *, last: bool) -> list[int]:
    """Last frost after midwinter or first frost before it, one value per season that has one.

    A first frost of the northern hemisphere counts on from its autumn's year into January.
    """
    rec = record(slug)
    if is_southern(slug):
        start, length = ((7, 16), 169) if last else ((1, 16), 181)
    else:
        start, length = ((1, 16), 197) if last else ((8, 1), 168)
    found = []
    for year in rec.whole_years:
        begin = (date(year, *start) - rec.dates[0]).days
        frosts = np.flatnonzero(rec.tmin[begin : begin + length] <= 0.0)
        if len(frosts):
            pick = frosts[-1] if last else frosts[0]
            found.append(date(year, *start).timetuple().tm_yday + int(pick))
    return found


def frost_seasons(slug: str) -> float:
    """Share of the whole cold seasons that have a day with tmin <= 0."""
    rec = record(slug)
    start = (1, 1) if is_southern(slug) else (8, 1)
    seasons = [(date(year, *start) - rec.dates[0]).days for year in range(1991, 2025)]
    return float(np.mean([(rec.tmin[i : i + 365] <= 0.0).any() for i in seasons]))


def freeze_thaw_days(slug: str, months: tuple[int, ...]) -> float:
    """Days a year in the months with tmin < 0 and tmax > 4."""
    rec = record(slug)
    days = (rec.tmin < 0.0) & (rec.tmax > 4.0) & np.isin(rec.month, months) & (rec.year > 1990)
    return float(days.sum() / len(rec.whole_years))


def test_nine_samples_that_all_say_they_are_invented() -> None:
    assert len(SLUGS) == 9
    assert set(SLUGS) == set(MONTHLY_MEANS)
    assert {path.stem for path in FOLDER.glob("*.csv")} == set(SLUGS)
    for sample in SAMPLES.values():
        assert "invented" in sample["description"]
    assert len({sample["place"] for sample in SAMPLES.values()}) == 9
    regions = {slug: sample["region"] for slug, sample in SAMPLES.items() if sample["region"]}
    assert tuple(regions) == REGION
    assert len(set(regions.values())) == 1


@pytest.mark.parametrize("slug", SLUGS)
def test_file_matches_its_table(slug: str) -> None:
    sample = SAMPLES[slug]
    content = (FOLDER / sample["file"]).read_bytes()
    assert hashlib.sha256(content).hexdigest() == sample["sha256"]
    assert b"\r" not in content
    assert b"-0.0," not in content
    assert b"-0.0\n" not in content
    rec = record(slug)
    assert rec.dates[0] == sample["first"] == date(1990, 3 if is_southern(slug) else 9, 1)
    assert rec.dates[-1] == sample["last"] == date(2025, 12, 31)


def test_regenerating_gives_the_same_bytes(tmp_path: Path) -> None:
    # PCG64 with standard_normal, random and integers has kept its stream across numpy 2 releases
    assert write_samples(tmp_path) == len(CLIMATES) == 9
    for path in tmp_path.iterdir():
        assert path.read_bytes() == (FOLDER / path.name).read_bytes(), path.name
    assert len(list(tmp_path.iterdir())) == 10


@pytest.mark.parametrize("slug", SLUGS)
def test_days_are_contiguous_and_ordered_within(slug: str) -> None:
    rec = record(slug)
    assert all(b - a == timedelta(days=1) for a, b in itertools.pairwise(rec.dates))
    assert (rec.tmax - rec.tmin).min() > 0.49


@pytest.mark.parametrize("slug", SLUGS)
def test_monthly_means(slug: str) -> None:
    rec = record(slug)
    means = np.array([rec.mean[rec.month == month].mean() for month in range(1, 13)])
    assert np.abs(means - np.array(MONTHLY_MEANS[slug])).max() < 1.5


@pytest.mark.parametrize("slug", SLUGS)
def test_persistence_and_trend(slug: str) -> None:
    residual, trend = anomalies(slug)
    assert 0.5 < np.corrcoef(residual[1:], residual[:-1])[0, 1] < 0.85
    assert 0.0 < trend < 0.6


@pytest.mark.parametrize("slug", ["humid-continental", "cold-interior"])
def test_continental_winters_are_wide_and_negatively_skewed(slug: str) -> None:
    residual, _ = anomalies(slug)
    month = record(slug).month
    winter = residual[np.isin(month, (12, 1, 2))]
    summer = residual[np.isin(month, (6, 7, 8))]
    assert winter.std() > 1.4 * summer.std()
    standard = (winter - winter.mean()) / winter.std()
    assert -1.0 < (standard**3).mean() < -0.1


@pytest.mark.parametrize("slug", LAST_FROST)
def test_median_frost_dates(slug: str) -> None:
    for target, last in ((LAST_FROST[slug], True), (FIRST_FROST[slug], False)):
        median = np.median(frost_days_of_year(slug, last=last))
        assert abs(median - date(2023, *target).timetuple().tm_yday) <= 12, (target, median)


def test_shares_of_seasons_with_frost() -> None:
    assert 0.15 < frost_seasons("mediterranean") <= 0.5
    for slug in LAST_FROST:
        assert frost_seasons(slug) == 1.0


def test_southern_frosts_fall_in_the_southern_winter() -> None:
    rec = record("southern-temperate")
    frost = rec.tmin <= 0.0
    assert np.isin(rec.month[frost], (6, 7, 8, 9)).mean() > 0.85
    assert not np.isin(rec.month[frost], (12, 1, 2)).any()


def test_freeze_thaw_days() -> None:
    assert freeze_thaw_days("humid-continental", (1, 2, 3)) >= 15
    # the thaw of the cold interior comes a month later
    assert freeze_thaw_days("cold-interior", (3, 4)) >= 15
    assert freeze_thaw_days("mediterranean", (1, 2, 3)) < 3


def test_continental_record_has_late_frosts_after_warm_springs() -> None:
    rec = record("humid-continental")
    late = 0
    for year in rec.whole_years:
        spring = (rec.year == year) & (rec.month <= 7)
        warmth = np.cumsum(np.maximum(rec.mean[spring] - 5.0, 0.0))
        late += bool((rec.tmin[spring][warmth >= 150.0] <= -1.0).any())
    assert 3 <= late <= 25


@pytest.mark.parametrize("slug", ["mediterranean", "humid-subtropical", "humid-continental"])
def test_heat_waves(slug: str) -> None:
    hot = record(slug).tmax >= 32.0
    assert (hot[2:] & hot[1:-1] & hot[:-2]).sum() >= 10


@pytest.mark.parametrize(
    ("slug", "lowest", "highest"),
    [
        ("cool-maritime", -13, 34),
        ("humid-continental", -36, 40),
        ("mediterranean", -6, 41),
        ("humid-subtropical", -21, 43),
        ("cold-interior", -50, 41),
        ("southern-temperate", -9, 44),
        ("valley-floor", -25, 43),
        ("hillside", -22, 39),
        ("coast", -12, 38),
    ],
)
def test_records_stay_within_reason(slug: str, lowest: float, highest: float) -> None:
    assert record(slug).tmin.min() > lowest
    assert record(slug).tmax.max() < highest


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(REGION, 2)))
def test_region_shares_its_weather(one: str, other: str) -> None:
    assert np.corrcoef(anomalies(one)[0], anomalies(other)[0])[0, 1] > 0.9
    assert (record(one).tmin != record(other).tmin).mean() > 0.9


def test_region_differs_by_terrain() -> None:
    valley, hill, coast = (record(slug) for slug in REGION)
    winter = np.isin(valley.month, (12, 1, 2))
    span = valley.tmax - valley.tmin
    clear = winter & (span > np.quantile(span[winter], 0.75))
    assert (valley.tmin - hill.tmin)[clear].mean() < -1.5
    assert 2.0 < (valley.tmax - hill.tmax).mean() < 5.0
    assert np.median(frost_days_of_year("valley-floor", last=True)) > np.median(
        frost_days_of_year("hillside", last=True)
    )
    assert (coast.tmax - coast.tmin).mean() < 0.75 * span.mean()

    def yearly_span(rec: Record) -> float:
        july, january = rec.mean[rec.month == 7], rec.mean[rec.month == 1]
        return float(july.mean() - january.mean())

    assert yearly_span(coast) < 0.75 * yearly_span(valley)


@pytest.mark.parametrize("climate", CLIMATES, ids=lambda climate: climate.slug)
def test_warming_asked_for_is_mild(climate: Climate) -> None:
    assert 0.15 <= climate.trend_c_per_decade <= 0.35


@pytest.mark.parametrize("start", [0, 7, 9, 10, 12])
def test_a_spell_at_the_end_of_the_series_is_cut(start: int) -> None:
    series = np.zeros(10)
    add_spell(series, start, 5, 1.0)
    assert np.count_nonzero(series) == max(min(5, 10 - start), 0)


def test_skewing_keeps_mean_and_variance() -> None:
    normal = np.random.Generator(np.random.PCG64(1)).standard_normal(200_000)
    bent = skewed(normal, np.full(normal.shape, -0.6))
    assert abs(bent.mean()) < 0.01
    assert abs(bent.std() - 1.0) < 0.01
    assert -0.7 < (bent**3).mean() < -0.5
