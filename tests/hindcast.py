"""How well the running season is foreseen: every past spring, pretended to be under way.

On 1 February, 1 March, 1 April and 1 May of every season the record is cut off, the season is
continued once with each of the thirty seasons nearest in time (itself left out) and the result
is compared with what the whole record says later, and with dates that were observed. Beside it
stands climatology: the same thirty seasons without the season's own record.

CRPS is the continuous ranked probability score (Gneiting & Raftery 2007, J. Am. Stat. Assoc.
102:359) of the whole distribution, in days: lower is better.

How far a score is chance is told by a bootstrap over seasons (Efron 1979, Ann. Statist. 7:1): a
site's seasons are drawn anew with replacement, the same ones for every event and day.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from timing.drivers import Drivers
from timing.events import season_events
from timing.intake.observations import Observation
from timing.running import splice
from timing.season import NEW_YEAR, Floats
from timing.species.model import Species
from timing.tuning import tune

DAYS = {"1 Feb": 31, "1 Mar": 59, "1 Apr": 90, "1 May": 120}  # days after 1 January
NEIGHBOURS = 30
BOOTSTRAPS = 2000
ASKED = 0.85  # share of what is reachable that should be reached
WORTH = 0.10  # where less is reachable, a share of it says nothing


@dataclass(frozen=True)
class Foresight:
    """One event of one taxon foreseen on one day of one season [days from the truth].

    Parameters
    ----------
    now, usual : CRPS of the running season's answer and of climatology.
    error, usual_error : their medians minus the truth.
    inside : the truth lies in the answer's 80 % range.
    """

    season: int
    taxon: str
    event: str
    day: str
    now: float
    usual: float
    error: float
    usual_error: float
    inside: bool


def crps(members: Floats, truth: float) -> float:
    """Continuous ranked probability score of a sample against one value.

    >>> round(crps(np.array([0.0, 1.0, 3.0]), 2.0), 6)
    0.666667
    """
    x = np.sort(members[np.isfinite(members)])
    rank = np.arange(1, x.size + 1)
    pairs = float(np.sum((2 * rank - x.size - 1) * x)) / x.size**2
    return float(np.abs(x - truth).mean()) - pairs


def without_error(species: Species) -> Species:
    """The taxon as if its models were perfect."""
    events = {
        name: replace(model, spread_days=0.0, site_spread_days=0.0)
        for name, model in species.events.items()
    }
    return replace(species, events=events)


def foresee(
    drivers: Drivers,
    taxa: Sequence[Species],
    events: Sequence[str],
    truth: dict[tuple[str, str], Floats],
    *,
    seasons: NDArray[np.int64] | None = None,
) -> Iterator[Foresight]:
    """Foresee events of every season on the four days.

    Parameters
    ----------
    drivers : the site's seasons.
    taxa, events : what to foresee.
    truth : (taxon, event) → offset in every row of the drivers; NaN where not known.
    seasons : rows to try; all covered ones unless told.
    """
    covered = np.flatnonzero(drivers.covered)
    whole = {taxon.slug: season_events(taxon, drivers) for taxon in taxa}
    for row in covered if seasons is None else seasons:
        others = covered[covered != row]
        nearest = np.sort(others[np.argsort(np.abs(others - row), kind="stable")[:NEIGHBOURS]])
        for name, after in DAYS.items():
            today = drivers.starts[row] + NEW_YEAR + after
            cut = replace(drivers, last=today, _forcing={}, _forcing_sums={})
            spliced = splice(cut, nearest, today)
            assert spliced is not None
            for taxon in taxa:
                running = season_events(taxon, spliced, reference=whole[taxon.slug])
                for event in events:
                    known = truth.get((taxon.slug, event))
                    if known is None or np.isnan(known[row]):
                        continue
                    now = running.days[event].ravel()
                    usual = whole[taxon.slug].days[event][nearest].ravel()
                    what = int(drivers.years[row]), taxon.slug, event, name
                    yield _score(what, now, usual, float(known[row]))


def _score(what: tuple[int, str, str, str], now: Floats, usual: Floats, truth: float) -> Foresight:
    early, middle, late = np.nanquantile(now, (0.1, 0.5, 0.9), method="median_unbiased")
    return Foresight(
        *what,
        crps(now, truth),
        crps(usual, truth),
        float(middle - truth),
        float(np.nanmedian(usual) - truth),
        bool(early <= truth <= late),
    )


def full_record(drivers: Drivers, taxon: Species, events: Sequence[str]) -> dict[str, Floats]:
    """What the whole record says of each event, without the models' error, by row."""
    nominal = season_events(without_error(taxon), drivers)
    return {event: nominal.days[event][:, 0] for event in events if event in nominal.days}


def better(items: Sequence[Foresight]) -> float:
    """Share by which the CRPS is better than climatology's."""
    return 1 - sum(item.now for item in items) / sum(item.usual for item in items)


def nearer(items: Sequence[Foresight]) -> float:
    """Share by which the root mean square error of the date is better than climatology's."""
    now = np.sqrt(np.mean([item.error**2 for item in items]))
    usual = np.sqrt(np.mean([item.usual_error**2 for item in items]))
    return float(1 - now / usual)


@dataclass(frozen=True)
class Case:
    """One event at one site on one day: what the answer and models without error foresaw."""

    site: str
    label: str
    day: str
    told: list[Foresight]
    perfect: list[Foresight]

    def row(self) -> str:
        """The case as a table row."""
        return (
            f"| {self.site} | {self.label} | {self.day} | {len(self.told)} | "
            f"{nearer(self.told):.0%} | {nearer(self.perfect):.0%} | {better(self.perfect):.0%} | "
            f"{better(self.told):.0%} |"
        )


def weather_cases(name: str, drivers: Drivers, taxa: Sequence[Species]) -> list[Case]:
    """Cases of one site, against what the whole record says; every second season."""
    events = ("bud_break", "full_bloom", "flush_hardened")
    bare = [without_error(taxon) for taxon in taxa]
    truth = {
        (taxon.slug, event): days
        for taxon in taxa
        for event, days in full_record(drivers, taxon, events).items()
    }
    seasons = np.flatnonzero(drivers.covered)[::2]
    told = list(foresee(drivers, taxa, events, truth, seasons=seasons))
    perfect = list(foresee(drivers, bare, events, truth, seasons=seasons))
    cases = []
    for taxon in taxa:
        for event in events:
            for day in DAYS:
                now, best = (
                    [i for i in found if (i.taxon, i.event, i.day) == (taxon.slug, event, day)]
                    for found in (told, perfect)
                )
                if now:
                    label = f"{taxon.common_name}, {event.replace('_', ' ')}"
                    cases.append(Case(name, label, day, now, best))
    return cases


def drawn_anew(seasons: int) -> Floats:
    """How often each season is drawn in every bootstrap, shape (bootstraps, seasons)."""
    generator = np.random.default_rng(1)
    return generator.multinomial(seasons, [1 / seasons] * seasons, size=BOOTSTRAPS).astype(float)


def by_season(
    items: Sequence[Foresight], years: Sequence[int], score: Callable[[Foresight], float]
) -> Floats:
    """Sum of a score over the items of each season, shape (seasons,)."""
    place = np.searchsorted(years, [item.season for item in items])
    return np.bincount(place, [score(item) for item in items], minlength=len(years))


def better_range(items: Sequence[Foresight]) -> tuple[float, float]:
    """90 % range of `better` over the bootstraps."""
    years = sorted({item.season for item in items})
    drawn = drawn_anew(len(years))
    now, usual = (
        drawn @ by_season(items, years, score)
        for score in (lambda item: item.now, lambda item: item.usual)
    )
    low, high = np.quantile(1 - now / usual, (0.05, 0.95))
    return float(low), float(high)


def nearer_drawn(items: Sequence[Foresight], years: Sequence[int], drawn: Floats) -> Floats:
    """`nearer` in every bootstrap, shape (bootstraps,)."""
    now, usual = (
        drawn @ by_season(items, years, score)
        for score in (lambda item: item.error**2, lambda item: item.usual_error**2)
    )
    shares: Floats = 1 - np.sqrt(now / usual)
    return shares


def reached_rows(cases: Sequence[Case]) -> tuple[list[str], str]:
    """How much of what is reachable is reached: the cases below what is asked, and all together.

    Returns
    -------
    Table rows of the cases in which less than `ASKED` is reached, each with the 90 % range of its
    share, and a sentence on the cases in which `WORTH` or more is reachable.
    """
    worth = [case for case in cases if nearer(case.perfect) >= WORTH]
    drawn_by_case = []
    for site in dict.fromkeys(case.site for case in worth):
        here = [case for case in worth if case.site == site]
        years = sorted({item.season for case in here for item in case.told})
        drawn = drawn_anew(len(years))
        for case in here:
            both = (nearer_drawn(items, years, drawn) for items in (case.told, case.perfect))
            drawn_by_case.append((case, *both))
    rows, missed = [], 0
    for case, now, best in drawn_by_case:
        share = nearer(case.told) / nearer(case.perfect)
        if share < ASKED:
            nothing = np.full(BOOTSTRAPS, np.inf)  # where nothing can be reached, all of it is
            shares = np.divide(now, best, out=nothing, where=best > 0)
            low, high = np.quantile(shares, (0.05, 0.95), method="lower")
            missed += bool(high < ASKED)
            what = f"| {case.site} | {case.label} | {case.day} |"
            rows.append(f"{what} {share:.0%} | {low:.0%} to {high:.0%} |")
    parts = []
    for day in ("", "1 Mar"):
        chosen = [item for item in drawn_by_case if day in ("", item[0].day)]
        now, best = (sum(item[part] for item in chosen) for part in (1, 2))
        reached, reachable = (
            sum(nearer(items) for items in found)
            for found in zip(*((case.told, case.perfect) for case, _, _ in chosen), strict=True)
        )
        low, high = np.quantile(now / best, (0.05, 0.95))
        parts.append(f"{reached / reachable:.0%} ({low:.0%} to {high:.0%})")
    text = (
        f"Cases in which {WORTH:.0%} or more is reachable: {len(worth)}. Together they reach "
        f"{parts[0]} of it, those of 1 March {parts[1]}. Cases that reach less than {ASKED:.0%}: "
        f"{len(rows)}; those of them whose range leaves out {ASKED:.0%}: {missed}."
    )
    return rows, text


def observed_rows(
    name: str, drivers: Drivers, taxa: Sequence[Species], observed: Sequence[Observation]
) -> list[str]:
    """Table rows of one site, against observed dates, tuned to the other seasons' dates."""
    event = observed[0].event
    truth = {(taxon.slug, event): np.full(len(drivers.years), np.nan) for taxon in taxa}
    years = np.array([int(str(item.date)[:4]) for item in observed])
    for item, year in zip(observed, years, strict=True):
        row = drivers.row_of(year)
        if row is not None:
            truth[item.species, event][row] = float((item.date - drivers.starts[row]).astype(int))
    found: list[Foresight] = []
    for row in np.flatnonzero(drivers.covered & np.isin(drivers.years, years)):
        rest = [i for i, y in zip(observed, years, strict=True) if y != drivers.years[row]]
        tuned = tune(drivers, taxa, rest).species
        known = [tuned[taxon.slug] for taxon in taxa]
        found += foresee(drivers, known, (event,), truth, seasons=np.array([row]))
    rows = []
    for day in DAYS:
        items = [item for item in found if item.day == day]
        error, usual = (
            float(np.sqrt(np.mean(np.square(values))))
            for values in ([i.error for i in items], [i.usual_error for i in items])
        )
        inside = np.mean([item.inside for item in items])
        low, high = better_range(items)
        rows.append(
            f"| {name} | {event.replace('_', ' ')} | {day} | {len(items)} | {error:.1f} | "
            f"{usual:.1f} | {better(items):.0%} | {low:.0%} to {high:.0%} | {inside:.0%} |"
        )
    return rows
