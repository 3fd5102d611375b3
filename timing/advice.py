"""May I cut? The answer for one taxon, one kind of work and one day.

The verdict weighs two things that are kept apart: the *odds* of the day, from past seasons and
from this season's record so far, and *vetoes*: frost and heat (`timing.weather_vetoes`), what is
wrong with the tree, the closed season of a hazard. A veto overrules good odds; nothing overrules
bad ones.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from timing.answers import Outlook
from timing.closed_seasons import HazardNotice, hazard_notices, veto_brief, veto_text
from timing.reasons import evidence_clause, rule_reasons, season_so_far
from timing.recovery import Hold
from timing.running import reaches
from timing.season import season_of, year_of
from timing.species.catalogue import common_rules
from timing.species.model import Caution, Condition, Disagreement, Species, WorkKind
from timing.weather_vetoes import often_forbidden, weather_vetoes
from timing.windows import MARGINAL, Window, WorkOdds, wilson_range
from timing.wording import WORK_LABELS

Verdict = Literal["safe", "marginal", "not_safe"]
VetoTopic = Literal["record", "hazard", "tree", "weather"]

CONFIDENCE = 0.9
WEAK = "weak tree: no heavy cut until it has grown freely for a full season"


@dataclass(frozen=True)
class HowMuch:
    """Share of the foliage that may come off at once."""

    fraction: float
    basis: Literal["published", "common practice"]
    text: str


@dataclass(frozen=True)
class Veto:
    """What forbids a kind of work on a day, whatever the odds.

    Parameters
    ----------
    topic : a record of the tree, a hazard's closed season, the tree's condition, or the weather.
    text : a sentence without its full stop.
    brief : the same in a few words where the sentence is long, or "".
    """

    topic: VetoTopic
    text: str
    brief: str = ""


@dataclass(frozen=True)
class Answer:
    """Everything the program says about one taxon, one kind of work and one day.

    Parameters
    ----------
    chance : chance that the work is safe on the day.
    chance_range : 95 % sampling range of that share.
    barred : what this season's record, the tree's condition or a hazard forbids, whatever the
        odds.
    phase : what the tree is doing.
    windows, marginal_windows : coming runs at or above the confidence, and above one half.
    next_window : the window that is open, else the next to open; None when there is none.
    best_day : the coming day with the highest chance; None when no day is ever safe.
    reasons, conditions, cautions : sentences.
    evidence : one clause on how thin the ground is.
    tuned : whether observations at the site adjusted the taxon's dates.
    hazards : what the hazards named for the site close to this work.
    spread_days : half of the 80 % range of the event that opens the window, or None.
    """

    species: Species
    work: WorkKind
    on: np.datetime64
    condition: Condition
    confidence: float
    verdict: Verdict
    chance: float
    chance_range: tuple[float, float]
    barred: tuple[Veto, ...]
    phase: str
    windows: tuple[Window, ...]
    marginal_windows: tuple[Window, ...]
    next_window: Window | None
    best_day: tuple[np.datetime64, float] | None
    reasons: tuple[str, ...]
    how_much: HowMuch
    conditions: tuple[str, ...]
    cautions: tuple[Caution, ...]
    disagreements: tuple[Disagreement, ...]
    evidence: str
    seasons: int
    spread_days: float | None
    tuned: bool
    hazards: tuple[HazardNotice, ...] = ()

    @property
    def vetoes(self) -> tuple[str, ...]:
        """The sentences of what is barred."""
        return tuple(veto.text for veto in self.barred)


def answer(
    outlook: Outlook,
    work: WorkKind,
    on: np.datetime64,
    *,
    condition: Condition = "established",
    confidence: float = CONFIDENCE,
    held: tuple[Hold, ...] = (),
) -> Answer:
    """Answer for one day.

    Parameters
    ----------
    outlook : events and odds of the taxon, from a record that ends on ``on`` or before.
    work : heavy, light or outline.
    on : the day asked about.
    condition : the tree's condition.
    confidence : chance from which a day counts as safe.
    held : records of the tree that forbid heavy cuts for a while, some of them other work too
        (`timing.recovery.holds`).
    """
    odds = outlook.odds[work]
    hemisphere = outlook.site.hemisphere
    chance = odds.on(on)
    strength: Condition = "weak" if any(hold.weakens for hold in held) else condition
    heavy = work == "heavy"
    begin = max((on, *(hold.until if heavy else hold.rested for hold in held)))
    notices = hazard_notices(outlook, work, on)
    closed = ((notice, text) for notice in notices if (text := veto_text(notice, work, on)))
    vetoes = (
        *(Veto("record", hold.text) for hold in held if heavy),
        *(Veto("record", hold.rest_text) for hold in held if not heavy and hold.rested > on),
        *(Veto("hazard", text, veto_brief(notice, on)) for notice, text in closed),
        *(Veto("tree", WEAK) for _ in range(condition == "weak" and heavy)),
        *(Veto("weather", text) for text in weather_vetoes(outlook, odds, on)),
    )
    windows = _from(begin, odds.windows(confidence, begin, hemisphere), bool(begin > on))
    marginal = odds.windows(min(MARGINAL, confidence), begin, hemisphere)
    best = odds.best_day(begin)
    target = windows[0].opens if windows else (best[0] if best else begin)
    verdict: Verdict = "not_safe"
    if not vetoes and chance >= confidence - 1e-9:
        verdict = "safe"
    elif not vetoes and chance >= MARGINAL:
        verdict = "marginal"
    return Answer(
        species=outlook.species,
        work=work,
        on=on,
        condition=condition,
        confidence=confidence,
        verdict=verdict,
        chance=chance,
        chance_range=wilson_range(chance, odds.seasons),
        barred=vetoes,
        phase=phase(outlook, on),
        windows=windows,
        marginal_windows=_from(begin, marginal, bool(begin > on)),
        next_window=windows[0] if windows else None,
        best_day=best,
        reasons=(
            *rule_reasons(outlook, odds, notices),
            *season_so_far(outlook, odds, on),
            *(often_forbidden(outlook, odds, max(target, on)) if best else ()),
            *_lighter(held, work),
        ),
        how_much=how_much(outlook.species, work, strength),
        conditions=_conditions(odds, max(target, on)),
        cautions=(*outlook.species.cautions, *common_rules().cautions),
        disagreements=outlook.species.disagreements,
        evidence=evidence_clause(outlook),
        seasons=odds.seasons,
        spread_days=_opening_spread(outlook, odds),
        tuned=bool(outlook.tuned),
        hazards=notices,
    )


def _from(day: np.datetime64, windows: tuple[Window, ...], clip: bool) -> tuple[Window, ...]:
    """Windows as they stand for a tree that may be cut again from a day on."""
    if not clip:
        return windows
    return tuple(replace(window, opens=max(window.opens, day)) for window in windows)


def _lighter(held: tuple[Hold, ...], work: WorkKind) -> tuple[str, ...]:
    """What a record that weakens the tree means for work other than heavy cuts."""
    weakened = [hold for hold in held if hold.weakens]
    if work == "heavy" or not weakened:
        return ()
    return (f"{weakened[0].text}; until then half of the usual amount at most.",)


def how_much(species: Species, work: WorkKind, condition: Condition) -> HowMuch:
    """What may come off at once in this kind of work."""
    removal = species.removal
    if not species.work[work]:
        none = f"nothing: the rules give this taxon no {WORK_LABELS[work]}"
        return HowMuch(0.0, "common practice", none)
    if work == "heavy":
        fraction: float = getattr(removal, condition)
        if fraction == 0:
            return HowMuch(0.0, removal.basis, "nothing: a weak tree keeps all it has")
        text = f"up to {fraction:.0%} {removal.text} ({condition} tree; {removal.source})"
        return HowMuch(fraction, removal.basis, text)
    lighter = common_rules().lighter_work
    share = lighter.fraction[work] / (2 if condition == "weak" else 1)
    share = min(share, removal.vigorous)
    text = f"about {share:.0%} at most: {lighter.text[work]} ({lighter.source})"
    return HowMuch(share, "common practice", text)


def phase(outlook: Outlook, on: np.datetime64) -> str:
    """What the tree is doing on a day: by this season's record where it reaches, else usually."""
    days = outlook.events.days
    if any(np.isinf(days[event][outlook.used]).mean() > 0.5 for event in WARMTH if event in days):
        return "in warm growth, as nights stay warm all year"
    if "bud_break" in days and outlook.usual("bud_break") is None:
        return f"unknown: {NO_YEAR}"
    reached = _season_phase(outlook, on) if reaches(outlook.record.last, on) else None
    return reached or _usual_phase(outlook, on)


NO_YEAR = "this site gives the taxon no usable year"
WARMTH = ("warm_start", "warm_end")
SAP_RUNS_DAYS = 150  # a tree that falls dormant so soon after its sap rose has it moving still
PHASES = {
    "sap_rise": "sap rising, buds still closed",
    "bud_break": "leaves unfolding",
    "leaf_full_size": "first flush at full size, not yet hardened",
    "flush_hardened": "first flush hardened, in growth",
    "growth_stop": "growth over, leaves at work",
    "leaf_colour": "leaves colouring",
    "season_end": "slowing down for winter",
    "leaf_fall": "leaves falling",
    "dormant": "dormant",
    "warm_start": "in warm growth",
    "warm_end": "resting through cool nights",
}


def _season_phase(outlook: Outlook, on: np.datetime64) -> str | None:
    drivers = outlook.drivers
    row = drivers.row_of(season_of(on, outlook.site.hemisphere))
    if row is None:
        return None
    today = float((on - drivers.starts[row]).astype(np.int64))
    latest: tuple[float, str] | None = None
    for event, text in PHASES.items():
        if event in outlook.events.days:
            day = float(outlook.events.quantiles(event, (0.5,))[0, row])
            if not np.isnan(day) and day <= today and (latest is None or day >= latest[0]):
                latest = (day, text)
    return latest[1] if latest else None


def _usual_phase(outlook: Outlook, on: np.datetime64) -> str:
    today = int((on - on.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64))
    year = year_of(on)
    since: dict[str, int] = {}
    for event in PHASES:
        usual = outlook.usual(event)
        if usual is not None:
            day = int((usual.dates(year)[1] - np.datetime64(f"{year}-01-01")).astype(np.int64))
            since[event] = (today - day) % 366
    if not since:
        return f"unknown: {NO_YEAR}"
    latest = min(reversed(since), key=since.__getitem__)
    if latest == "dormant" and since.get("sap_rise", 366) <= SAP_RUNS_DAYS:
        latest = "sap_rise"
    return f"usually {PHASES[latest]}"


def _conditions(odds: WorkOdds, day: np.datetime64) -> tuple[str, ...]:
    """What the rules in force on a day ask for besides the date."""
    found: dict[str, None] = {}
    for rule in odds.in_force(day):
        for need in rule.only_if:
            found.setdefault(need.text, None)
    return tuple(found)


def _opening_spread(outlook: Outlook, odds: WorkOdds) -> float | None:
    for stretch in odds.rules:
        event = stretch.rule.opens.event
        if event in outlook.events.days:
            return outlook.spread_days(event)
    return None
