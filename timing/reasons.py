"""Why an answer is what it is, in sentences: which event, which date, how many seasons."""

from __future__ import annotations

import math

import numpy as np

from timing.answers import USUAL_SHARES, Outlook, UsualDate
from timing.closed_seasons import HazardNotice, notice_text
from timing.hazards import left_out, opened
from timing.running import reaches
from timing.same_day import date_at, places
from timing.season import Floats, season_start
from timing.species.catalogue import common_rules
from timing.species.model import EventModel, Point, Rule
from timing.stretches import RuleStretches, capped_at_heavy_limit, chance_of_year
from timing.windows import WorkOdds
from timing.wording import EVENT_LABELS, NEVER, NO_RECORD, WORK_LABELS, day_text, stale_text

HAPPENS = {
    "chill_met": "the winter's chill is met",
    "sap_rise": "sap starts to move",
    "sap_peak": "sap runs strongest",
    "bud_break": "the buds break",
    "full_bloom": "the tree is in full bloom",
    "after_flowering": "the flowers are over",
    "candles_extending": "the candles lengthen",
    "needles_half": "the new needles are half grown",
    "leaf_full_size": "the leaves reach full size",
    "flush_hardened": "the first flush has hardened",
    "growth_stop": "growth stops",
    "flower_bud_set": "next year's flower buds are set",
    "leaf_colour": "the leaves colour",
    "season_end": "broadleaf trees here colour",
    "leaf_fall": "the leaves fall",
    "dormant": "the tree is dormant",
    "warm_start": "nights turn reliably warm",
    "warm_end": "nights turn cool again",
    "last_frost": "the last frost is past",
    "first_frost": "the first frost comes",
}
LIMIT_NAMES = {
    "heavy_limit": "the last safe day for heavy cuts",
    "light_limit": "the last safe day for light work",
}
RARELY = 0.1  # a rule that closed seasons leave no more chance than this is told as closed
LATELY_DAYS = 60  # openings longer past are not told
COMPARED = ("sap_rise", "bud_break", "leaf_full_size", "flush_hardened", "leaf_colour", "leaf_fall")


def shown(celsius: float) -> str:
    """A temperature for people."""
    return f"{celsius:.0f} °C".replace("-", "−")


def rule_reasons(
    outlook: Outlook, odds: WorkOdds, notices: tuple[HazardNotice, ...] = ()
) -> tuple[str, ...]:
    """What hazards close, and up to three sentences a rule: why, when it opens, when it closes."""
    sentences = [notice_text(notice, odds.kind) for notice in notices]
    dropped = [
        f"Closed because {hazard.label} occurs here: {_stretch_name(rule)}."
        for rule in outlook.species.work[odds.kind]
        if (hazard := left_out(rule, outlook.hazards))
    ]
    sentences += dropped
    for stretch in odds.rules:
        rule = stretch.rule
        if chance_of_year((stretch,)).max() <= NEVER:
            sentences.append(f"No window here: {_when_never(outlook, stretch)}.")
            continue
        if odds.closed and chance_of_year(opened((stretch,), odds.closed)).max() < RARELY:
            sentences.append(f"Nearly always inside closed days: {_stretch_name(rule)}.")
            continue
        limits = "; ".join(need.text for need in rule.only_if)
        only = f" Condition: {limits}." if limits else ""
        sentences.append(f"{rule.why}{only} [{rule.source}]")
        sentences.append(f"Opens {_opening(outlook, odds, rule)}.")
        sentences.append(f"Closes {_closing(outlook, odds, rule)}.")
    if not odds.rules and not dropped:
        sentences.append(
            f"The rules give this taxon no {WORK_LABELS[odds.kind]}; see its other kinds of work."
        )
    return tuple(sentences)


def _when_never(outlook: Outlook, stretch: RuleStretches) -> str:
    opens, closes = stretch.rule.opens, stretch.rule.closes
    for point in (opens, closes):
        # A missing last frost opens nothing later than the swelling buds do.
        event = "sap_rise" if point.event == "last_frost" else point.event
        if event in outlook.events.days and outlook.usual(event) is None:
            return outlook.events.why_absent(event)
    return f"it would close ({_name(closes)}) before it opens ({_name(opens)})"


def _stretch_name(rule: Rule) -> str:
    """A rule's stretch without its dates."""
    return f"the days from {_moment(rule.opens)} to {_moment(rule.closes)}"


def _moment(point: Point) -> str:
    """A point as a noun: "the moment when …" where it has no offset and is no limit."""
    bare = point.offset_days == 0 and point.event not in LIMIT_NAMES
    return f"the day on which {_name(point)}" if bare else _name(point)


def _name(point: Point) -> str:
    """A point without its date: "two weeks after the buds break"."""
    weeks = abs(point.offset_days) // 7
    event = LIMIT_NAMES.get(point.event) or HAPPENS[point.event]
    if weeks == 0:
        return event
    side = "after" if point.offset_days > 0 else "before"
    return f"{weeks} week{'s' if weeks > 1 else ''} {side} {event}"


def _opening(outlook: Outlook, odds: WorkOdds, rule: Rule) -> str:
    if rule.opens.event in LIMIT_NAMES and rule.opens.event == rule.closes.event:
        weeks = (rule.closes.offset_days - rule.opens.offset_days) // 7
        text = f"{weeks} weeks before it closes"
    else:
        text = _point(outlook, odds, rule.opens)
    if rule.not_before is not None:
        text += f", and not before {_moment(rule.not_before)}"
        if (usual := outlook.usual(rule.not_before.event)) is not None:
            text += f": {usual_text(usual, outlook.seasons, rule.not_before.offset_days)}"
    return text


def _closing(outlook: Outlook, odds: WorkOdds, rule: Rule) -> str:
    text = _point(outlook, odds, rule.closes)
    limited = bool(np.isfinite(odds.limits.heavy).any())
    if limited and capped_at_heavy_limit(rule, odds.kind) and rule.closes.event != "heavy_limit":
        text += f", and in any case {_limit(outlook, odds, Point('heavy_limit', 0))}"
    return text


def _point(outlook: Outlook, odds: WorkOdds, point: Point) -> str:
    """A point with its usual date and what that rests on."""
    if point.event in LIMIT_NAMES:
        return _limit(outlook, odds, point)
    when = "" if point.offset_days else "when "
    if point.event == "first_frost":
        frost = odds.limits.mean_first_frost
        if np.isnan(frost):
            return f"{when}{_name(point)}, which is too rare here to rule"
        return f"on {_place_day(outlook, frost + point.offset_days)}, {_name(point)} on average"
    usual = outlook.usual(point.event)
    if usual is None:
        share = float(np.isfinite(outlook.events.days[point.event][outlook.used]).mean())
        if share > NEVER:
            return f"{when}{_name(point)}, which happens in only {share:.0%} of seasons here"
        return f"{when}{_name(point)}, but {outlook.events.why_absent(point.event)}"
    return f"{when}{_name(point)}: {usual_text(usual, outlook.seasons, point.offset_days)}"


def usual_text(usual: UsualDate, seasons: int, offset_days: int = 0) -> str:
    """Median date with its 80 % range and the number of seasons behind it."""
    early, median, late = (day_text(day + offset_days) for day in usual.dates(2023))
    often = "" if usual.share > 0.95 else f", in {usual.share:.0%} of seasons"
    return f"usually {median} (8 years in 10 between {early} and {late}; {seasons} seasons{often})"


def _limit(outlook: Outlook, odds: WorkOdds, point: Point) -> str:
    """Date of an autumn limit, which of its rules decided, and what the next would allow."""
    limits = odds.limits
    heavy = point.event == "heavy_limit"
    early = point.offset_days // -7  # weeks before the limit itself
    lead = f"{early} week{'s' if early > 1 else ''} before " if early else ""
    rules: list[tuple[float, str]] = []  # usual place of the last day
    weeks = common_rules().frost_lead_weeks["heavy" if heavy else "light"]
    frost = limits.mean_first_frost
    if not np.isnan(frost):
        day = _place_day(outlook, frost)
        rules.append(
            (frost - 7 * weeks, f"{weeks + early} weeks before the mean first frost ({day})")
        )
    if not np.isnan(limits.early_colour):
        colour = f"early date {_place_day(outlook, limits.early_colour)}"
        if heavy:
            ripe = "the last day from which new shoots still ripen before the leaves colour "
            ripe += f"({colour})"
            rules.append((float(np.median(_places(outlook, odds, limits.regrowth))), lead + ripe))
        else:
            rules.append((limits.early_colour, f"{lead}leaf colour at its {colour}"))
    if heavy:
        flushing = float(np.nanmedian(_places(outlook, odds, limits.flushing)))
        text = "the last day from which new buds still open before growth stops"
        rules.append((flushing, lead + text))
    (_, decided), *others = sorted(rule for rule in rules if np.isfinite(rule[0]))
    days = _places(outlook, odds, limits.heavy if heavy else limits.light)
    text = f"{_on_days(outlook, days + point.offset_days)}, {decided}"
    if others:
        second, other = others[0]
        text += f"; {other} would allow until {_place_day(outlook, second + point.offset_days)}"
    if np.isnan(frost):
        text += f"; frost comes in only {limits.frost_share:.0%} of seasons and does not rule"
    return text


def _places(outlook: Outlook, odds: WorkOdds, offsets: Floats) -> Floats:
    """Places of a limit in the seasons of the odds."""
    return places(offsets, odds.limits.leap)[outlook.used]


def _on_days(outlook: Outlook, days: Floats) -> str:
    """When a limit closes, with its range where it differs from season to season."""
    known = days[np.isfinite(days)]
    early, middle, late = np.quantile(known, USUAL_SHARES, method="median_unbiased")
    first, usual, last = (_place_day(outlook, float(day)) for day in (early, middle, late))
    if first == last:
        return f"on {usual}"
    return f"about {usual} (8 years in 10 between {first} and {last})"


def _place_day(outlook: Outlook, place: float) -> str:
    """The day a place falls into: the last that still counts where something closes there."""
    start = season_start(2023, outlook.site.hemisphere)
    return day_text(date_at(math.floor(place), start))


def season_so_far(outlook: Outlook, odds: WorkOdds, on: np.datetime64) -> tuple[str, ...]:
    """What the running season's record has decided, and what it makes of the openings ahead."""
    if outlook.running is None:
        return (NO_RECORD,)
    drivers = outlook.running.drivers
    start, today = drivers.starts[0], float((on - drivers.starts[0]).astype(np.int64))
    sentences, told = [], ""
    for event in reversed(COMPARED):
        usual = outlook.usual(event)
        day = _median(outlook.running.days.get(event))
        if usual is None or np.isnan(day) or day > today:
            continue
        late = round(day - _median(outlook.events.days[event][outlook.used]))
        apart = f"{abs(late)} day{'s' if abs(late) > 1 else ''}"
        how = f"{apart} {'later' if late > 0 else 'earlier'} than" if late else "just as"
        sentences.append(
            f"This season so far: {EVENT_LABELS[event]} about {day_text(start + round(day))} by "
            f"the record, {how} usual; the odds count that in."
        )
        told = event
        break
    for event in dict.fromkeys(s.rule.opens.event for s in odds.rules):
        days = outlook.running.days.get(event)
        if event == told or days is None or np.isfinite(days).mean() <= 0.5:
            continue
        low, middle, high = np.quantile(
            days[np.isfinite(days)], (0.1, 0.5, 0.9), method="median_unbiased"
        )
        name, about = EVENT_LABELS[event], day_text(start + round(middle))
        span = f"({day_text(start + round(low))} to {day_text(start + round(high))})"
        if middle > today:
            sentences.append(f"This season, {name} is to be expected about {about} {span}.")
        elif middle > today - LATELY_DAYS:
            sentences.append(f"This season: {name} about {about} by the record {span}.")
    return tuple(sentences)


def not_up_to_date(last: np.datetime64, on: np.datetime64) -> str:
    """That a record ends too long before the day asked about, and what it costs; "" if not."""
    if reaches(last, on):
        return ""
    text = stale_text(last, on)
    return f"{text[0].upper()}{text[1:]}."


def _median(days: Floats | None) -> float:
    """Median over seasons and draws; NaN where the event fails in at least half of them."""
    if days is None or np.isnan(days).mean() >= 0.5:
        return float("nan")
    return float(np.nanmedian(days))


def evidence_clause(outlook: Outlook) -> str:
    """What the answer rests on and how thin it is, in a sentence or two."""
    models = outlook.species.events
    parts = []
    if "bud_break" in models:
        parts.append(_provenance("bud break", models["bud_break"]))
    else:
        parts.append("the warm season is read from the nights alone, by a threshold from memory")
    if "flush_hardened" in models:
        lag = models["flush_hardened"]
        parts.append(
            f"the {lag.requirement:.0f} days from full leaf to a hardened flush are thin evidence "
            f"({lag.evidence})"
        )
    if outlook.tuned:
        dates = sum(fit.observations for fit in outlook.tuned.values())
        events = ", ".join(EVENT_LABELS[event] for event in outlook.tuned)
        parts.append(f"{dates} of your own dates tune it ({events})")
    else:
        parts.append("no observations from this site tune it")
    mended = int(np.count_nonzero(outlook.drivers.mended[outlook.used]))
    record = f"{outlook.seasons} seasons of " + (
        "invented weather" if outlook.site.invented else "this site's temperatures"
    )
    if mended:
        record += f", {mended} of them with mended days"
    parts.append(record)
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}."


def _provenance(name: str, model: EventModel) -> str:
    if model.relatives:
        return f"{name} is borrowed from {_taxa(model.relatives)}, watched at Harvard Forest"
    if model.evidence == "measured":
        return f"{name} was fitted to this taxon at Harvard Forest"
    return f"{name} is {model.evidence}, placed by leaf-out order among the taxa watched there"


def _taxa(slugs: tuple[str, ...]) -> str:
    names = [slug.replace("-", " ").capitalize() for slug in slugs]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
