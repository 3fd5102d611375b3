"""Why an answer is what it is, in sentences: which event, which date, how many seasons."""

from __future__ import annotations

import numpy as np

from timing.answers import Outlook, UsualDate
from timing.season import season_of, season_start
from timing.species.catalogue import common_rules
from timing.species.model import EventModel, Point
from timing.windows import RuleStretches, WorkOdds
from timing.wording import day_text

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
COMPARED = ("bud_break", "leaf_full_size", "flush_hardened", "leaf_colour", "leaf_fall")


def shown(celsius: float) -> str:
    """A temperature for people."""
    return f"{celsius:.0f} °C".replace("-", "−")


def rule_reasons(outlook: Outlook, odds: WorkOdds) -> tuple[str, ...]:
    """Two or three sentences a rule: when it opens, when it closes, and why."""
    sentences = []
    for stretch in odds.rules:
        rule = stretch.rule
        limits = [need.text for need in rule.only_if]
        only = f" ({'; '.join(limits)})" if limits else ""
        sentences.append(
            f"{rule.why}{only} [{rule.source}]"
            if not _never(stretch)
            else f"No window here: {_when_never(outlook, stretch)}"
        )
        sentences.append(f"Opens {_point_text(outlook, odds, rule.opens)}.")
        sentences.append(f"Closes {_closing_text(outlook, odds, stretch)}.")
    if not odds.rules:
        sentences.append(
            f"This taxon has no window for {odds.kind} work in the rules; see its other kinds."
        )
    return tuple(sentences)


def _never(stretch: RuleStretches) -> bool:
    return not bool(np.any(stretch.closes >= stretch.opens))


def _when_never(outlook: Outlook, stretch: RuleStretches) -> str:
    for point in (stretch.rule.opens, stretch.rule.closes):
        if point.event in outlook.events.days and outlook.usual(point.event) is None:
            return outlook.events.reasons.get(point.event, f"no {point.event} at this site")
    return "it would close before it opens"


def _offset(point: Point) -> str:
    weeks = abs(point.offset_days) // 7
    if weeks == 0:
        return ""
    return (
        f"{weeks} week{'s' if weeks > 1 else ''} {'after' if point.offset_days > 0 else 'before'} "
    )


def _point_text(outlook: Outlook, odds: WorkOdds, point: Point) -> str:
    offset = _offset(point)
    if point.event in ("heavy_limit", "light_limit"):
        return f"{offset}{'the' if offset else 'at the'} {_limit_text(outlook, odds, point.event)}"
    if point.event == "first_frost":
        frost = odds.limits.mean_first_frost
        day = "comes too rarely here" if np.isnan(frost) else _offset_day(outlook, frost)
        return f"{offset}mean first frost ({day})"
    usual = outlook.usual(point.event)
    happens = HAPPENS[point.event]
    if usual is None:
        reason = outlook.events.reasons.get(point.event, "it does not happen here")
        return f"{offset or 'when '}{happens}, which has no usual date here ({reason})"
    return f"{offset or 'when '}{happens}: {usual_text(usual, outlook.seasons)}"


def usual_text(usual: UsualDate, seasons: int) -> str:
    """Median date with its 80 % range and the number of seasons behind it."""
    early, median, late = (day_text(day) for day in usual.dates(2023))
    often = "" if usual.share > 0.95 else f", in {usual.share:.0%} of seasons"
    return f"usually {median} (8 years in 10 between {early} and {late}; {seasons} seasons{often})"


def _closing_text(outlook: Outlook, odds: WorkOdds, stretch: RuleStretches) -> str:
    text = _point_text(outlook, odds, stretch.rule.closes)
    capped = odds.kind == "heavy" and "heavy_limit" not in (
        stretch.rule.opens.event,
        stretch.rule.closes.event,
    )
    opening = outlook.usual(stretch.rule.opens.event)
    if capped and opening and stretch.rule.opens.event not in ("dormant", "season_end"):
        text += f", and in any case at the {_limit_text(outlook, odds, 'heavy_limit')}"
    return text


def _limit_text(outlook: Outlook, odds: WorkOdds, name: str) -> str:
    """Name the autumn limit and say which of its rules decided."""
    limits = odds.limits
    weeks = common_rules().frost_lead_weeks["heavy" if name == "heavy_limit" else "light"]
    frost = limits.mean_first_frost - 7 * weeks
    frost_text = (
        ""
        if np.isnan(frost)
        else f"{weeks} weeks before the mean first frost of "
        + _offset_day(outlook, limits.mean_first_frost)
    )
    if name == "heavy_limit":
        other = float(np.nanmedian(limits.regrowth_limit[outlook.used]))
        other_text = (
            "the last day from which regrowth would still ripen before the leaves colour "
            f"(early date {_offset_day(outlook, limits.early_colour)})"
        )
        label = "last safe day for heavy cuts"
    else:
        other = limits.early_colour
        other_text = "the early date of leaf colour"
        label = "last safe day for light work"
    if np.isnan(frost):
        return (
            f"{label}, {_offset_day(outlook, other)}: {other_text}; frost comes in only "
            f"{limits.frost_share:.0%} of seasons and does not rule"
        )
    first, second = (frost, other) if frost <= other else (other, frost)
    first_text, second_text = (
        (frost_text, other_text) if frost <= other else (other_text, frost_text)
    )
    return (
        f"{label}, {_offset_day(outlook, first)}: {first_text}; the other rule, {second_text}, "
        f"would allow until {_offset_day(outlook, second)}"
    )


def _offset_day(outlook: Outlook, offset: float) -> str:
    start = season_start(2023, outlook.site.hemisphere)
    return day_text(start + round(offset))


def season_so_far(outlook: Outlook, on: np.datetime64) -> tuple[str, ...]:
    """How the running season compares, for the latest event that its record has decided."""
    drivers = outlook.drivers
    season = season_of(on, outlook.site.hemisphere)
    rows = np.flatnonzero(drivers.years == season)
    if rows.size == 0 or outlook.record.last < on - 3:
        return ()
    row = int(rows[0])
    today = float((on - drivers.starts[row]).astype(np.int64))
    for event in reversed(COMPARED):
        usual = outlook.usual(event)
        if usual is None:
            continue
        day = float(outlook.events.quantiles(event, (0.5,))[0, row])
        if np.isnan(day) or day > today:
            continue
        date = drivers.starts[row] + round(day)
        middle = float(np.nanmedian(outlook.events.days[event][outlook.used]))
        late = round(day - middle)
        how = f"{abs(late)} days {'later' if late > 0 else 'earlier'} than" if late else "just as"
        return (
            f"This season {HAPPENS[event]} about {day_text(date)} by the record, {how} usual; the "
            "odds above are those of past seasons.",
        )
    return ()


def evidence_clause(outlook: Outlook) -> str:
    """What the answer rests on and how thin it is, in a sentence or two."""
    events = outlook.species.events
    parts = []
    if "bud_break" in events:
        parts.append(_provenance("bud break", events["bud_break"]))
    else:
        parts.append("the warm season is read from the nights alone, by a threshold from memory")
    if "flush_hardened" in events:
        lag = events["flush_hardened"]
        parts.append(
            f"the {lag.requirement:.0f} days from full leaf to a hardened flush are thin evidence "
            f"({lag.evidence})"
        )
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
