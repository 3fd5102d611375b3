"""A comparison in plain words: headline, ranks, sums so far, trends, caveats."""

from __future__ import annotations

from collections import Counter

from timing.comparison import Comparison, TaxonComparison
from timing.event_comparison import NOTICEABLE_DAYS, EventComparison, Rank, Standing
from timing.plain_text import signed_tenths
from timing.same_day import place_of
from timing.season import FIRST_JULY
from timing.so_far import Alike, Measure, SoFar
from timing.trend import FEWEST_FOR_TREND, SURE, Trend
from timing.wording import (
    EVENT_LABELS,
    beside_text,
    credit_text,
    day_text,
    percent,
    short_day,
    source_name,
)

FEW_SEASONS = 10
FEW_TAXA = 3  # more get their leading event only
MAIN_EVENTS = ("bud_break", "full_bloom", "flush_hardened", "warm_start", "warm_end")
FEWEST_TO_CHOOSE = 3
STANDINGS: dict[Standing, str] = {"early": "early", "usual": "about usual", "late": "late"}
NOUNS = {"bud_break": "spring", "warm_start": "warm season"}
HAPPENED = {"bud_break": "buds of {name} broke", "warm_start": "nights turned warm for {name}"}
EXPECTED = {
    "bud_break": "buds of {name} are expected to break",
    "warm_start": "nights are expected to turn warm for {name}",
}
UNITS: dict[Measure, str] = {"heat": "°C·d above 5 °C", "chill": "chill portions"}
ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")
NO_TRENDS = f"None: at least {FEWEST_FOR_TREND} seasons are needed."
RULE = (
    "Early or late: outside the middle third of the other seasons and "
    f"{NOTICEABLE_DAYS} days or more from their median, which is called usual. Places count the "
    "season itself, and only seasons in which the event happens."
)
METHOD = (
    "Dates are the middle of the model's draws in each season, from warmth, chill and day length."
)
TREND_RULE = (
    "Theil-Sen slope with its 95% range, Mann-Kendall p, both widened for the likeness of "
    f"neighbouring years (Hamed & Rao 1998). Sure: p below {SURE:g} and zero outside the range; "
    "one trend in twenty looks so by chance."
)
ALIKE_RULE = (
    "Alike means a small root mean square difference of the daily sums of {measures}, in standard "
    "deviations of the seasons."
)
ALIKE_CAUTION = "Likeness so far does not bind the rest of the season."


def title(comparison: Comparison) -> str:
    """A few words: is it early?"""
    leads = [item for taxon in comparison.taxa if (item := taxon.leading)]
    standings = Counter(item.standing for item in leads if item.standing)
    noun = _noun(leads)
    if not standings:
        return f"{noun.capitalize()} {comparison.season} beside {_others(comparison.others.size)}"
    if len(standings) == 1:
        ahead = any(item.ahead for item in leads)
        return f"{_opening(comparison, noun, ahead=ahead)} {STANDINGS[next(iter(standings))]}"
    parts = [f"{STANDINGS[name]} for {count}" for name, count in standings.most_common()]
    first = parts[0] + f" of {standings.total()} taxa"
    return f"{noun.capitalize()} {comparison.season}: {', '.join([first, *parts[1:]])}"


def headline(comparison: Comparison, taxon: TaxonComparison) -> str:
    """One taxon's season in a sentence."""
    name, item = taxon.species.common_name, taxon.leading
    if item is None:
        reasons = [why for event, why in taxon.not_compared.items() if event in NOUNS]
        why = reasons[0] if reasons else "none of its events depends on the weather"
        return f"No spring of {name} to compare here: {why}."
    noun = NOUNS[item.event]
    if item.date is None:
        return (
            f"No date of {name} for {noun} {comparison.season} ({EVENT_LABELS[item.event]}): "
            f"{item.reason}."
        )
    words = (EXPECTED if item.ahead else HAPPENED)[item.event].format(name=name)
    when = f"{words} about {day_text(item.date)}"
    if item.ahead:
        assert item.early is not None and item.late is not None
        when += f" ({day_text(item.early)} to {day_text(item.late)})"
    if item.standing is None or item.rank is None or item.usual_date is None:
        return f"{when[0].upper()}{when[1:]}; it happens in no other season of the record."
    opening = f"{_opening(comparison, noun, ahead=item.ahead)} {STANDINGS[item.standing]}"
    away = f"{away_text(item, ' than usual')} ({day_text(item.usual_date)})"
    rank = rank_text(item.rank)
    if not item.ahead:
        return f"{opening}: {when}, {away}, {rank}."
    chance = ""
    if item.earlier_chance is not None:
        chance = f"; chance {percent(item.earlier_chance)} of coming before its usual date"
    return f"{opening}: {when}, {away}; that would be {rank}{chance}."


def away_text(item: EventComparison, than: str = "") -> str:
    """How far from usual: "9 days earlier", "on the usual day"."""
    away = item.days_from_usual
    if away is None:
        return ""
    if away == 0:
        return "on the usual day"
    return f"{_days(abs(away))} {'earlier' if away < 0 else 'later'}{than}"


def rank_text(rank: Rank) -> str:
    """A place in words, from the nearer end.

    >>> rank_text(Rank(3, 32, 0, 34))
    'third earliest of 34'
    >>> rank_text(Rank(30, 1, 1, 31))
    'equal latest of 31'
    """
    if rank.equal and 2 * rank.equal >= rank.of - 1:
        return f"the same day as in {rank.equal} of {rank.of - 1} others"
    if rank.from_earliest == rank.from_latest:
        return f"in the middle of {rank.of}"
    place, end = min((rank.from_earliest, "earliest"), (rank.from_latest, "latest"))
    words = [] if place == 1 else [_ordinal(place)]
    if rank.equal:
        words.insert(0, "equal")
    return f"{' '.join([*words, end])} of {rank.of}"


def place_text(rank: Rank) -> str:
    """A place from the earliest in figures: "=9th of 35"."""
    number = rank.from_earliest
    return f"{'=' if rank.equal else ''}{number}{_ending(number)} of {rank.of}"


def sum_text(item: SoFar) -> str:
    """How much heat or chill so far, beside the others on the same day."""
    value, median, count = round(item.value), round(item.median), len(item.years)
    more = value - median
    beside = "as much as" if more == 0 else f"{abs(more)} {'more' if more > 0 else 'less'} than"
    below = "all" if item.below == count else str(item.below)
    place = f"more than in {below} of them" if item.below else "none of them had less"
    return (
        f"{item.measure.capitalize()} from {day_text(item.since_date)} to "
        f"{day_text(item.until_date)}: {value} {UNITS[item.measure]}, {beside} the median of "
        f"{_others(count)} on the same day ({median}), {place}."
    )


def trend_text(found: Trend | None, count: int) -> str:
    """Days a decade with the 95% range and p; minus is earlier.

    >>> trend_text(None, 4)
    'none from 4 seasons; at least 10 are needed'
    >>> trend_text(Trend(0.04, 0.0, 0.08, 0.014, 1.0, 85, 1931, 2015), 85)
    ' +0.4 (0.0 to +0.8), p 0.014, not sure: zero is in the range'
    >>> trend_text(Trend(0.0, 0.0, 0.0, 0.039, 1.0, 35, 1985, 2019), 35)
    '  0.0 (no range: too many equal dates), p 0.039, not sure'
    """
    if found is None:
        return f"none from {count} seasons; at least {FEWEST_FOR_TREND} are needed"
    slope, low, high = (signed_tenths(10 * value) for value in (found.slope, found.low, found.high))
    p = "p < 0.001" if found.p < 0.001 else f"p {found.p:.3f}"
    if not found.ranged:
        return f"{slope:>5} (no range: too many equal dates), {p}, not sure"
    verdict = "sure" if found.sure else "not sure"
    if found.p < SURE and not found.sure:
        verdict += ": zero is in the range"
    return f"{slope:>5} ({low} to {high}), {p}, {verdict}"


def alike_text(comparison: Comparison) -> tuple[str, ...]:
    """Seasons most like this one, and when each taxon's spring began in them."""
    alike, count = comparison.alike, comparison.others.size
    if count < FEWEST_TO_CHOOSE:
        return (f"Seasons most like this one: too few to choose from ({count}).",)
    if alike is None:
        return ("Seasons most like this one: none can be told yet.",)
    years = [year for year, _ in alike.seasons]
    until, listed = day_text(alike.until), ", ".join(map(str, years))
    sentences = [f"Seasons most like this one up to {until}, the most alike first: {listed}."]
    for taxon in comparison.taxa:
        lead = taxon.leading
        dates = [lead.date_in(year) for year in years] if lead else []
        if lead and any(date is not None for date in dates):
            days = ", ".join("-" if date is None else short_day(date) for date in dates)
            words = HAPPENED[lead.event].format(name=taxon.species.common_name)
            sentences.append(f"There {words} {days}.")
    return tuple(sentences)


def alike_rule(alike: Alike) -> str:
    """What alike means."""
    return ALIKE_RULE.format(measures=" and ".join(alike.measures))


def any_trend(comparison: Comparison) -> bool:
    """Whether any event has seasons enough for a trend."""
    events = (item for taxon in comparison.taxa for item in taxon.events)
    return any(item.trend for item in (*events, *comparison.frosts))


def any_ahead(comparison: Comparison) -> bool:
    """Whether any date compared is still to come, from a running season."""
    events = (item for taxon in comparison.taxa for item in taxon.events)
    return comparison.running and any(item.ahead for item in (*events, *comparison.frosts))


def not_compared_text(taxon: TaxonComparison) -> str:
    """Events that are left out, and why."""
    parts = (f"{EVENT_LABELS[event]} ({why})" for event, why in taxon.not_compared.items())
    return f"Not compared: {'; '.join(parts)}."


def record_text(comparison: Comparison) -> str:
    """What the comparison rests on."""
    record, count = comparison.record, comparison.record.missing_days
    mended = f"{record.repaired_days} mended{beside_text(record)}"
    missing = f"{_days(count)} missing, {mended}" if count else "no day missing"
    return (
        f"Temperatures: {source_name(record)}, {record.first} to {record.last}; {missing}; "
        f"{_others(comparison.others.size)} compared.{credit_text(comparison.site, ' ')}"
    )


def trees_text(comparison: Comparison) -> str:
    """Whose taxa are compared, where none was named; "" where they were."""
    if not comparison.trees:
        return ""
    named = "; ".join(
        f"{taxon.species.common_name} ({', '.join(comparison.trees[taxon.species.slug])})"
        for taxon in comparison.taxa
    )
    text = f"Compared are the taxa of your trees here: {named}."
    if comparison.sheltered:
        text += (
            f" {', '.join(comparison.sheltered)} under a shelter: the dates are those of the open "
            "site."
        )
    return text


def caveats(comparison: Comparison) -> tuple[str, ...]:
    """What to keep in mind, most pressing first."""
    found = []
    if comparison.note:
        found.append(comparison.note)
    if comparison.stand_in:
        name = comparison.taxa[0].species.common_name
        found.append(f"No species was named: {name} stands in; name your own.")
    if comparison.trees:
        found.append(trees_text(comparison))
    count = comparison.others.size
    if count < FEW_SEASONS:
        found.append(f"Only {_others(count)}: what is usual, and the ranks, are thin.")
    if any_ahead(comparison):
        found.append(
            f"What lies ahead is this season's record continued by {comparison.remainders} past "
            "seasons; the middle of them lies nearer to usual than the season itself may end."
        )
    elif comparison.partial and not comparison.running:
        found.append(
            f"The record covers season {comparison.season} up to "
            f"{min(comparison.record.last, comparison.on)} only."
        )
    if comparison.mended_days:
        found.append(
            f"{_days(comparison.mended_days)} of season {comparison.season} without readings of "
            "their own, mended from the days around or from other years where that could be done."
        )
    if comparison.autumn_gappy:
        found.append(f"Too many days are missing in the autumn of season {comparison.season}.")
    years = comparison.others.tolist()
    inner = [year for year in comparison.left_out if years and years[0] < year < years[-1]]
    if inner:
        found.append(f"Not counted, too many days missing: {', '.join(map(str, inner))}.")
    watched = [taxon for taxon in comparison.taxa if taxon.observations]
    if watched:
        named = ", ".join(f"{taxon.species.common_name} {taxon.observations}" for taxon in watched)
        found.append(
            f"Dates are tuned to what you saw here (dates used: {named}); one you saw this season "
            "stands as seen beside computed dates of the others."
        )
    found.append(
        "All dates are computed from temperatures by one model that errs by several days, not "
        "observed; autumn dates lean on their mean and bud break on day length, so their "
        "differences and trends are damped."
    )
    found.append(
        "A moved station or changed surroundings are not known here; they look like a trend."
    )
    return tuple(found)


def _opening(comparison: Comparison, noun: str, *, ahead: bool) -> str:
    """The sentence up to its adjective: "This spring is", "Spring 2012 was"."""
    if not comparison.running:
        return f"{noun.capitalize()} {comparison.season} was"
    verb = "is" if place_of(comparison.on, comparison.start) < FIRST_JULY else "was"
    return f"{'So far this' if ahead else 'This'} {noun} {verb}"


def _noun(leads: list[EventComparison]) -> str:
    nouns = {NOUNS[item.event] for item in leads}
    return nouns.pop() if len(nouns) == 1 else "season"


def _days(count: int) -> str:
    return f"{count} day" if count == 1 else f"{count} days"


def _others(count: int) -> str:
    return f"{count} other season" if count == 1 else f"{count} other seasons"


def _ordinal(number: int) -> str:
    """An ordinal, in letters up to ninth.

    >>> _ordinal(3), _ordinal(11), _ordinal(22)
    ('third', '11th', '22nd')
    """
    if number <= len(ORDINALS):
        return ORDINALS[number - 1]
    return f"{number}{_ending(number)}"


def _ending(number: int) -> str:
    last = 0 if number % 100 in (11, 12, 13) else number % 10
    return {1: "st", 2: "nd", 3: "rd"}.get(last, "th")
