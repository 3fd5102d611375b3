"""What a check of a record found, in words that text, data and picture share."""

from __future__ import annotations

import math

import numpy as np

from timing.coverage import SeasonCoverage
from timing.drivers import AUTUMN, SPRING
from timing.neighbour import DayShift
from timing.plain_text import signed_tenths
from timing.precision import PrecisionRun
from timing.record_check import BESIDE, Break, Drift, Name, RecordCheck, Size
from timing.season import season_start
from timing.site import Hemisphere
from timing.windows import FEWEST_SEASONS
from timing.wording import MONTHS, short_day

NAMES: dict[Name, str] = {
    "range": "daily range",
    "tmin": "minima",
    "tmax": "maxima",
    "day order": "which day's maximum a minimum goes with",
    "tmin less neighbour": "minima less the neighbour's",
    "tmax less neighbour": "maxima less the neighbour's",
}
PRECISIONS = {
    "whole °C": "whole degrees Celsius",
    "whole °F": "whole degrees Fahrenheit",
    "finer": "finer than whole degrees",
}
METHOD = (
    "Yearly means of monthly departures, standard normal homogeneity test (Alexandersson 1986), "
    "chances from simulated series with the record's own memory; a line is taken out of minima and "
    "maxima; sizes ± standard error; nine true dates in ten lie in the months given."
)
RATES = (
    "Of 40-year records without a step about one in fifty is flagged. A step of 1 °C in the minima "
    "alone is told in about four of five, in one of three as a step; one that minima and maxima "
    "share in one of ten, beside a neighbour far more often (docs/check.md)."
)
ALIKE = (
    "A real change of the climate or of the surroundings looks like a step too. Nothing has been "
    "changed: you decide."
)
WEAKLY_ALIKE = 0.7  # correlation of daily means (our own)
TOO_SHORT = "Too short to look for steps and drifts: ten years with ten months each are needed."


def headline(check: RecordCheck) -> str:
    """The whole check in one sentence."""
    found = found_parts(check)
    if found:
        return f"Worth a look before you trust it: {listed(found)}."
    if not check.tested:
        return "Nothing found, but the record is too short to look for steps."
    return "Nothing found that speaks against this record."


def found_parts(check: RecordCheck) -> list[str]:
    """What was found, a few words each."""
    parts = []
    if check.breaks:
        parts.append(counted(len(check.breaks), "step"))
    parts += [
        f"{'slow change or step' if item.step else 'drift'} of the {NAMES[item.series]}"
        for item in check.drifts
    ]
    if check.neighbour is not None:
        shifted = list(dict.fromkeys(NAMES[shift.element] for shift in check.neighbour.shifts))
        parts += [f"{' and '.join(shifted)} a day out of step"] if shifted else []
    lost = sum(season.gaps for season in check.coverage.seasons)
    whole = sum(season.counts for season in check.coverage.seasons)
    if whole < FEWEST_SEASONS:
        parts.append(f"{counted(whole, 'whole season')} where odds need {FEWEST_SEASONS}")
    if lost:
        parts.append(f"{counted(lost, 'season')} lost to gaps")
    days = sum(year.open for year in check.coverage.years)
    if days and not lost:
        parts.append(f"{counted(days, 'day')} left open")
    kinds = {finding.kind: finding.days for finding in check.record.findings}
    for kind, words in (("stuck", "with stuck values"), ("constant", "that repeat one value")):
        if kind in kinds:
            parts.append(f"{counted(kinds[kind], 'day')} {words}")
    aside = sum(kinds.get(kind, 0) for kind in ("impossible", "crossed"))
    if aside:
        parts.append(f"{counted(aside, 'day')} set aside as impossible")
    return parts


# ---------------------------------------------------------------------------- steps and drifts


def years_tested(check: RecordCheck) -> int:
    """Years of the record's own series, where they are enough to be tested; else 0."""
    own = check.series["range"]
    return len(own.years) if own.steps is not None else 0


def when_text(item: Break) -> str:
    """The month of a step, and the months it may be."""
    month, early, late = (month_text(one) for one in (item.month, item.early, item.late))
    return month if early == late else f"{month} ({early} to {late})"


def sizes_text(item: Break, names: tuple[Name, ...] = ("tmin", "tmax", "range")) -> str:
    """Sizes of a step in some series."""
    return ", ".join(
        f"{NAMES[name]} {signed(item.sizes[name])} °C" for name in names if name in item.sizes
    )


def found_text(item: Break) -> str:
    """In which series a step was found, and how sure."""
    return f"Found in: {', '.join(NAMES[name] for name in item.series)}; by chance {chance(item.p)}"


def meaning(check: RecordCheck, item: Break) -> str:
    """What a step may mean."""
    if any(name in BESIDE for name in item.series):
        return (
            f"The neighbour does not share it ({sizes_text(item, BESIDE)}): something changed at "
            "one of the two places."
        )
    if "day order" in item.series:
        return (
            "Minima go with the maxima of another day than before: the hour of reading changed, or "
            "the day to which a reading is written."
        )
    if "range" in item.series and all(name in item.sizes for name in BESIDE):
        (low, low_error), (high, high_error) = (item.sizes[name] for name in BESIDE)
        left = high - low, math.hypot(low_error, high_error)
        return _beside(f"daily range {signed(left)} °C", left, item.sizes["range"])
    own: tuple[Name, Name] = ("tmin", "tmax")
    element = max(own, key=lambda name: abs(item.sizes.get(name, (0.0, 0.0))[0]))
    beside: Name = "tmin less neighbour" if element == "tmin" else "tmax less neighbour"
    if beside in item.sizes:
        said = f"{NAMES[element]} {signed(item.sizes[beside])} °C"
        return _beside(said, item.sizes[beside], item.sizes[element])
    if "range" in item.series:
        return (
            "Minima and maxima parted or closed up, which a change of the climate seldom does "
            "within a year."
        )
    return "Without a neighbour a run of warm or cold years looks the same."


def _beside(said: str, left: Size, own: Size) -> str:
    if abs(left[0]) < max(2 * left[1], abs(own[0]) / 2):
        return (
            f"Less the neighbour, little of it is left ({said}): more likely the weather of the "
            "region than this station."
        )
    return f"Less the neighbour, it stands as well ({said})."


def drift_text(item: Drift) -> str:
    """One drift: of what, how fast, how sure, and the step that looks much the same."""
    trend = item.trend
    said = (
        f"{NAMES[item.series]} {signed_tenths(10 * trend.slope)} °C a decade "
        f"({signed_tenths(10 * trend.low)} to {signed_tenths(10 * trend.high)}) over "
        f"{trend.first}–{trend.last}; by chance {chance(trend.p)}"
    )
    if item.step is None:
        return said
    return (
        f"{said}. Or a step of {signed((item.step.size, item.step.error))} °C about "
        f"{month_text(item.step.month)}, by chance {chance(item.step.p)}: the series cannot tell "
        "which"
    )


# ---------------------------------------------------------------------------- readings


def precision_text(run: PrecisionRun, *, whole: bool) -> str:
    """Years with one precision; ``whole`` where they are all years."""
    years = f"{run.first_year}–{run.last_year}" if run.last_year > run.first_year else ""
    return f"{'all years' if whole else years or run.first_year}: {PRECISIONS[run.unit]}"


def shift_text(shift: DayShift) -> str:
    """Years in which a reading stands a day beside the neighbour's."""
    side = "later" if shift.days > 0 else "earlier"
    return (
        f"{NAMES[shift.element]} of {years_text(shift.years)} stand a day {side} than the "
        f"neighbour's (correlation {shift.shifted:.2f}, on the same day {shift.same_day:.2f})"
    )


def shift_meaning(shift: DayShift) -> str:
    """What such a shift may mean."""
    if shift.days < 0:
        return "One of the two was moved back a day without need, or the neighbour trails."
    if shift.element == "tmin":
        return "Rows may stand a day late, or the neighbour's a day early."
    return "Read in the morning, a maximum belongs to the day before."


def neighbour_credit(check: RecordCheck, before: str = "") -> str:
    """Whom to name for the neighbour's temperatures; empty where nobody asks for it."""
    credit = check.neighbour.credit if check.neighbour is not None else ""
    return f"{before}Source of its temperatures: {credit}." if credit else ""


# ---------------------------------------------------------------------------- coverage


def phase_names(hemisphere: Hemisphere) -> tuple[str, str]:
    """The two phases whose gaps decide whether a season counts."""
    start = season_start(2023, hemisphere)
    spring, last, autumn = (
        short_day(start + day) for day in (SPRING.start, SPRING.stop - 1, AUTUMN.start)
    )
    return f"{spring}–{last}", f"{autumn} on"


def lost_text(season: SeasonCoverage) -> str:
    """A season that does not count, and why."""
    return f"{season.season}: {season.why}"


def same_reasons(seasons: list[SeasonCoverage]) -> str:
    """More seasons that do not count."""
    return f"and for such reasons {years_text(tuple(season.season for season in seasons))}"


def ends_text(check: RecordCheck) -> str:
    """Seasons that the record's ends cut."""
    cut = [item.season for item in check.coverage.seasons if not item.counts and not item.gaps]
    return f"cut by the record's ends: {listed([str(year) for year in cut])}" if cut else ""


# ---------------------------------------------------------------------------- what to do


def advice(check: RecordCheck) -> list[str]:
    """What the grower can do about what was found, a sentence or two each."""
    parts = []
    if check.breaks:
        parts.append(
            "Look for a move, a new instrument or screen, a new hour of reading, a new building or "
            "felled trees at that time. To answer from one side only, leave the rows before the "
            "step out of the file and give it anew ('sapdial site change NAME --temperatures "
            "FILE'); three whole seasons are the least, thirty are what the odds like."
        )
    if check.neighbour is None and check.tested:
        parts.append(
            "--neighbour FILE, the record of a place nearby, shows steps and wrong days far better."
        )
    if check.drifts:
        parts.append(
            "A drift may be a growing town or hedge, an ageing instrument or the climate: recent "
            "years then tell more than old ones."
        )
    if check.neighbour is not None and check.neighbour.shifts:
        parts.append(
            "Days out of step: move them in the file; where all maxima were read in the morning, "
            "'--temperatures FILE --morning-maximum' with 'site change' does it."
        )
    if any(season.gaps for season in check.coverage.seasons):
        parts.append("Readings found on paper, put into the blank cells, bring seasons back.")
    if any(run.unit != "finer" for run in check.precision):
        parts.append(
            "Whole degrees move sums little; a frost date can move where minima lie within half a "
            "degree of the threshold."
        )
    return parts


def caveats(check: RecordCheck) -> list[str]:
    """What a reader must keep in mind."""
    parts = [ALIKE] if check.breaks or check.drifts else []
    if check.tested:
        parts.append(RATES)
    if check.neighbour is not None and check.neighbour.likeness < WEAKLY_ALIKE:
        parts.append("The neighbour's weather is another's too often to tell much.")
    return parts


# ---------------------------------------------------------------------------- small words


def counted(count: int, word: str) -> str:
    """A number with its noun."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def listed(parts: list[str]) -> str:
    """Parts joined by commas and one "and"."""
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def years_text(years: tuple[int, ...]) -> str:
    """Years, runs joined.

    >>> years_text((1964, 1966, 1967, 1968))
    '1964 and 1966–1968'
    """
    runs: list[list[int]] = []
    for year in years:
        if runs and year == runs[-1][-1] + 1:
            runs[-1].append(year)
        else:
            runs.append([year])
    return listed([str(run[0]) if len(run) == 1 else f"{run[0]}–{run[-1]}" for run in runs])


def month_text(month: np.datetime64) -> str:
    """A month in full with its year.

    >>> month_text(np.datetime64("2001-02"))
    'February 2001'
    """
    year, number = str(month.astype("datetime64[M]")).split("-")
    return f"{MONTHS[int(number) - 1]} {year}"


def short_month(month: np.datetime64) -> str:
    """The same with three letters of the month."""
    name, year = month_text(month).split()
    return f"{name[:3]} {year}"


def signed(size: Size) -> str:
    """A change and its standard error, which is never told as nothing."""
    return f"{signed_tenths(size[0])} ± {max(size[1], 0.1):.1f}"


def chance(p: float) -> str:
    """A chance in percent, no smaller than a thousand simulations can tell."""
    return "under 0.2%" if p < 0.002 else f"{100 * p:.1f}%"
