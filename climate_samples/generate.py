"""Draw the invented daily records of this package; no number comes from an observation.

``python -m climate_samples.generate`` rewrites every CSV and ``samples.toml``, byte for byte the
same each time. A sample is a :class:`Climate`, whose numbers were chosen by hand to make a
plausible record of one climate, laid over the :class:`Weather` drawn from its seed. Samples with
the same ``weather_seed`` lie in one region and live through the same weather.
"""

import hashlib
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Series = NDArray[np.float64]

YEAR_DAYS = 365.25
LAST_DAY = date(2025, 12, 31)
TREND_ZERO = date(2008, 1, 1)  # the trend adds nothing here, near the middle of every record
SMALLEST_RANGE_C = 0.5  # tmax stays at least this far above tmin


@dataclass(frozen=True, kw_only=True)
class Climate:
    """One invented place and the numbers its weather is scaled by.

    Days of the year count from 0 on 1 January. A pair (winter, summer) is blended smoothly by
    season. Temperatures of the cycle are those of the air above the night's cold layer.
    """

    slug: str
    place: str
    description: str
    latitude: float
    longitude: float
    elevation_m: int
    region: str = ""
    first: date = date(1990, 9, 1)
    weather_seed: int  # shared by the samples of a region
    local_seed: int  # the small part of the weather that is the site's own
    annual_mean_c: float
    annual_amplitude_c: float  # half the span of the yearly wave
    warmest_day: float
    second_amplitude_c: float  # the half-yearly wave
    second_day: float  # day of its first crest
    trend_c_per_decade: float
    persistence: float = 0.66  # day-to-day autocorrelation of the passing weather
    spread_c: tuple[float, float]  # standard deviation of the passing weather
    skewness: tuple[float, float]  # its skewness; negative has deep cold outbreaks
    season_anomaly_c: tuple[float, float]  # slow swings that set one year apart from the next
    spell_c: tuple[float, float]  # height of a typical warm or cold spell
    false_springs: float = 0.2  # share of years with a long early warm spell and a frost after it
    range_c: float  # diurnal range, averaged over the year
    range_amplitude_c: float
    range_day: float  # day of the widest diurnal range
    cloud_effect: float = 0.44  # how far cloud narrows and clear sky widens the range
    clear_if_warm: tuple[float, float]  # correlation of clear sky with warmth
    cold_pool_c: float = 0.0  # further fall of the night in cold still air under a clear sky
    inversion_c: float = 0.0  # fall of the whole winter day under a clear sky
    local_noise_c: float = 0.5


@dataclass(frozen=True)
class Weather:
    """Random series of unit size, one value a day, before any climate scales them."""

    passing: Series  # highs and lows, days long
    slow: Series  # anomalies of whole seasons
    spells: Series  # sum of warm (positive) and cold (negative) spells
    sky: Series  # clear (positive) or cloudy, apart from what warmth has to do with it


def autoregressive(noise: Series, persistence: float) -> Series:
    """First-order autoregressive series of unit variance driven by unit white noise."""
    values = np.empty_like(noise)
    values[0] = noise[0]
    share = (1.0 - persistence**2) ** 0.5
    for i in range(1, len(noise)):
        values[i] = persistence * values[i - 1] + share * noise[i]
    return values


def add_spell(series: Series, start: int, length: int, height: float) -> None:
    """Add a half-sine bump to the series in place, cut where the series ends."""
    bump = height * np.sin(np.pi * (np.arange(length) + 0.5) / length)
    series[start : start + length] += bump[: max(len(series) - start, 0)]


def draw_spells(
    rng: np.random.Generator, days: int, midwinter: int, false_springs: float
) -> Series:
    """Warm and cold spells in equal number, and now and then a false spring and its frost."""
    spells = np.zeros(days)
    for onset in np.flatnonzero(rng.random(days) < 14.0 / YEAR_DAYS):
        sign = 1.0 if rng.random() < 0.5 else -1.0
        add_spell(spells, int(onset), int(rng.integers(4, 13)), sign * (0.5 + rng.random()))
    for year in range(int(days / YEAR_DAYS) + 1):
        chance, height = rng.random(), 1.0 + 0.6 * rng.random()
        start = int(midwinter + year * YEAR_DAYS + int(rng.integers(55, 85)))
        length = int(rng.integers(14, 22))
        if chance < false_springs and start < days:
            add_spell(spells, start, length, height)
            add_spell(spells, start + length, 7, -height)
    return spells


def draw_weather(climate: Climate, days: int) -> Weather:
    """Draw the weather of a region from its seed."""
    rng = np.random.Generator(np.random.PCG64(climate.weather_seed))
    midwinter = round(climate.warmest_day + YEAR_DAYS / 2 - climate.first.timetuple().tm_yday)
    return Weather(
        passing=autoregressive(rng.standard_normal(days), climate.persistence),
        slow=autoregressive(rng.standard_normal(days), 0.98),
        sky=autoregressive(rng.standard_normal(days), 0.45),
        spells=draw_spells(rng, days, midwinter % 365, climate.false_springs),
    )


def skewed(series: Series, skewness: Series) -> Series:
    """Bend a standard normal series to about the given skewness (within ±1), variance kept."""
    bend = skewness / 6.0
    return (series + bend * (series**2 - 1.0)) / np.sqrt(1.0 + 2.0 * bend**2)


def make_record(climate: Climate) -> tuple[list[date], Series, Series]:
    """Days, tmin and tmax (°C, one decimal) of one invented record."""
    count = (LAST_DAY - climate.first).days + 1
    dates = [climate.first + timedelta(days=i) for i in range(count)]
    weather = draw_weather(climate, count)
    since_zero = np.arange(count, dtype=np.float64) + (climate.first - TREND_ZERO).days

    def wave(crest_day: float, per_year: int = 1) -> Series:
        angle = 2.0 * np.pi * per_year * (since_zero - crest_day) / YEAR_DAYS
        return np.asarray(np.cos(angle), dtype=np.float64)

    summer = (1.0 + wave(climate.warmest_day)) / 2.0

    def blend(pair: tuple[float, float]) -> Series:
        return pair[0] + (pair[1] - pair[0]) * summer

    passing = skewed(weather.passing, blend(climate.skewness))
    mean = (
        climate.annual_mean_c
        + climate.annual_amplitude_c * wave(climate.warmest_day)
        + climate.second_amplitude_c * wave(climate.second_day, per_year=2)
        + climate.trend_c_per_decade * since_zero / (10.0 * YEAR_DAYS)
        + blend(climate.spread_c) * passing
        + blend(climate.season_anomaly_c) * weather.slow
        + blend(climate.spell_c) * weather.spells
    )
    tie = blend(climate.clear_if_warm)
    warmth = weather.passing + 0.5 * weather.spells
    clear = np.tanh((np.sqrt(1.0 - tie**2) * weather.sky + tie * warmth) / 1.5)
    usual_range = climate.range_c + climate.range_amplitude_c * wave(climate.range_day)
    half_range = 0.5 * usual_range * (1.0 + 1.6 * climate.cloud_effect * clear)
    still = np.maximum(clear, 0.0)
    mean -= climate.inversion_c * (1.0 - summer) * still
    noise = np.random.Generator(np.random.PCG64(climate.local_seed)).standard_normal((2, count))
    tmin = mean - half_range - climate.cold_pool_c * still + climate.local_noise_c * noise[0]
    tmax = mean + half_range + climate.local_noise_c * noise[1]
    # adding 0.0 turns a rounded -0.0 into 0.0
    tmin = np.round(tmin, 1) + 0.0
    tmax = np.round(np.maximum(tmax, tmin + SMALLEST_RANGE_C), 1) + 0.0
    return dates, tmin, tmax


def csv_bytes(climate: Climate) -> bytes:
    """The CSV file of one sample."""
    rows = zip(*make_record(climate), strict=True)
    lines = [f"{day.isoformat()},{low:.1f},{high:.1f}\n" for day, low, high in rows]
    return ("date,tmin_c,tmax_c\n" + "".join(lines)).encode("ascii")


def toml_table(climate: Climate, sha256: str) -> str:
    """The table of one sample in ``samples.toml``."""
    return (
        f"\n[{climate.slug}]\n"
        f'place = "{climate.place}"\n'
        f'description = "{climate.description}"\n'
        f"latitude = {climate.latitude}\n"
        f"longitude = {climate.longitude}\n"
        f"elevation_m = {climate.elevation_m}\n"
        f'region = "{climate.region}"\n'
        f'file = "{climate.slug}.csv"\n'
        f"first = {climate.first.isoformat()}\n"
        f"last = {LAST_DAY.isoformat()}\n"
        f'sha256 = "{sha256}"\n'
    )


def write_samples(folder: Path) -> int:
    """Write every CSV and ``samples.toml`` into the folder; return the number of samples."""
    text = "# Invented places with invented records. Written by climate_samples/generate.py.\n"
    for climate in CLIMATES:
        content = csv_bytes(climate)
        (folder / f"{climate.slug}.csv").write_bytes(content)
        text += toml_table(climate, hashlib.sha256(content).hexdigest())
    (folder / "samples.toml").write_bytes(text.encode("utf-8"))
    return len(CLIMATES)


CLIMATES = (
    Climate(
        slug="cool-maritime",
        place="Skaunwith Haven",
        description="An invented west coast with cool summers and few hard frosts.",
        latitude=53.1, longitude=-4.9, elevation_m=30,
        weather_seed=5301, local_seed=5302,
        annual_mean_c=9.85, annual_amplitude_c=5.7, warmest_day=208,
        second_amplitude_c=0.5, second_day=36, trend_c_per_decade=0.22,
        spread_c=(2.5, 1.7), skewness=(-0.4, 0.2), season_anomaly_c=(0.8, 0.6), spell_c=(2.4, 2.2),
        range_c=7.0, range_amplitude_c=1.2, range_day=150, clear_if_warm=(-0.55, 0.3),
        cold_pool_c=1.5,
    ),
    Climate(
        slug="humid-continental",
        place="Ambrick Corners",
        description="An invented inland valley with snowy winters, thaws and hot spells.",
        latitude=43.2, longitude=-74.6, elevation_m=210,
        weather_seed=4301, local_seed=4302,
        annual_mean_c=8.5, annual_amplitude_c=12.9, warmest_day=204,
        second_amplitude_c=0.4, second_day=115, trend_c_per_decade=0.27,
        spread_c=(4.9, 2.7), skewness=(-0.8, -0.1), season_anomaly_c=(1.2, 0.7), spell_c=(4.2, 2.8),
        range_c=11.0, range_amplitude_c=1.2, range_day=150, clear_if_warm=(-0.4, 0.3),
        cold_pool_c=1.2, false_springs=0.3,
    ),
    Climate(
        slug="mediterranean",
        place="Cala Verrodina",
        description="An invented mild shore with dry hot summers and frost in some winters only.",
        latitude=41.1, longitude=5.4, elevation_m=45,
        weather_seed=4101, local_seed=4102,
        annual_mean_c=16.35, annual_amplitude_c=7.9, warmest_day=211,
        second_amplitude_c=1.0, second_day=44, trend_c_per_decade=0.3,
        spread_c=(1.75, 1.5), skewness=(-0.4, 0.2), season_anomaly_c=(0.6, 0.5), spell_c=(1.5, 1.8),
        range_c=7.6, range_amplitude_c=0.9, range_day=190, clear_if_warm=(-0.2, 0.6),
        cloud_effect=0.36,
    ),
    Climate(
        slug="humid-subtropical",
        place="Pinewattle Bend",
        description="An invented lowland with long hot summers and winters of sudden change.",
        latitude=32.4, longitude=-84.2, elevation_m=95,
        weather_seed=3201, local_seed=3202,
        annual_mean_c=17.7, annual_amplitude_c=10.0, warmest_day=199,
        second_amplitude_c=0.7, second_day=74, trend_c_per_decade=0.2,
        spread_c=(3.8, 1.3), skewness=(-0.4, -0.2), season_anomaly_c=(1.2, 0.4), spell_c=(3.6, 1.3),
        range_c=11.6, range_amplitude_c=0.8, range_day=110, clear_if_warm=(-0.45, 0.55),
        cold_pool_c=0.8, false_springs=0.3,
    ),
    Climate(
        slug="cold-interior",
        place="Ostervane",
        description="An invented northern plain with a deep winter and a short quick summer.",
        latitude=52.3, longitude=-104.7, elevation_m=520,
        weather_seed=5201, local_seed=5202,
        annual_mean_c=2.9, annual_amplitude_c=16.6, warmest_day=198,
        second_amplitude_c=1.1, second_day=98, trend_c_per_decade=0.3,
        spread_c=(5.6, 2.9), skewness=(-0.3, -0.1), season_anomaly_c=(1.5, 0.8), spell_c=(4.6, 2.9),
        range_c=11.4, range_amplitude_c=1.6, range_day=155, clear_if_warm=(-0.4, 0.4),
        cold_pool_c=2.4,
    ),
    Climate(
        slug="southern-temperate",
        place="Morrowbine",
        description="An invented southern town with mild summers and frosts from June.",
        latitude=-37.4, longitude=158.5, elevation_m=180, first=date(1990, 3, 1),
        weather_seed=3751, local_seed=3752,
        annual_mean_c=14.1, annual_amplitude_c=6.05, warmest_day=22,
        second_amplitude_c=0.5, second_day=60, trend_c_per_decade=0.2,
        spread_c=(2.0, 2.7), skewness=(-0.2, 0.4), season_anomaly_c=(0.6, 0.7), spell_c=(1.8, 2.6),
        range_c=9.8, range_amplitude_c=1.8, range_day=25, clear_if_warm=(-0.5, 0.4),
        cold_pool_c=1.7,
    ),
    Climate(
        slug="valley-floor",
        place="Nether Ardlesk",
        description="An invented valley floor where cold air gathers on clear nights.",
        latitude=46.1, longitude=-123.1, elevation_m=140, region="Ardlesk",
        weather_seed=4651, local_seed=4652,
        annual_mean_c=10.7, annual_amplitude_c=9.6, warmest_day=200,
        second_amplitude_c=0.9, second_day=56, trend_c_per_decade=0.25,
        spread_c=(3.0, 2.4), skewness=(-0.5, 0.1), season_anomaly_c=(1.0, 0.8), spell_c=(2.8, 2.4),
        range_c=11.3, range_amplitude_c=2.0, range_day=180, clear_if_warm=(-0.35, 0.6),
        cloud_effect=0.4, cold_pool_c=3.6, inversion_c=1.5,
    ),
    Climate(
        slug="hillside",
        place="Ardlesk Shelf",
        description="An invented hillside about 500 m above the valley floor.",
        latitude=46.2, longitude=-122.8, elevation_m=640, region="Ardlesk",
        weather_seed=4651, local_seed=4653,
        annual_mean_c=8.8, annual_amplitude_c=9.1, warmest_day=203,
        second_amplitude_c=0.9, second_day=46, trend_c_per_decade=0.25,
        spread_c=(3.0, 2.5), skewness=(-0.5, 0.1), season_anomaly_c=(1.0, 0.8), spell_c=(2.8, 2.5),
        range_c=7.0, range_amplitude_c=1.6, range_day=195, clear_if_warm=(-0.35, 0.6),
    ),
    Climate(
        slug="coast",
        place="Ardlesk Strand",
        description="An invented shore with small seasons and small days.",
        latitude=46.1, longitude=-123.9, elevation_m=10, region="Ardlesk",
        weather_seed=4651, local_seed=4654,
        annual_mean_c=11.75, annual_amplitude_c=5.9, warmest_day=211,
        second_amplitude_c=0.6, second_day=55, trend_c_per_decade=0.22,
        spread_c=(2.1, 1.7), skewness=(-0.5, 0.3), season_anomaly_c=(0.8, 0.6), spell_c=(1.9, 1.6),
        range_c=6.6, range_amplitude_c=0.4, range_day=195, clear_if_warm=(-0.35, 0.6),
        cold_pool_c=0.6,
    ),
)  # fmt: skip


if __name__ == "__main__":
    print(f"wrote {write_samples(Path(__file__).parent)} invented samples")
