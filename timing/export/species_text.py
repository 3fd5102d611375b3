"""What is known about a taxon, as a page: facts first, where each came from as notes at the end."""

from __future__ import annotations

import math
from collections.abc import Iterable

from timing.clocks import LEAFING, Clock
from timing.events import SWELLING
from timing.export.answer_text import wrapped
from timing.export.hazard_text import hazard_lines
from timing.reasons import HAPPENS, LIMIT_NAMES
from timing.sap import ROOT_PRESSURE_C, THAW_C
from timing.season import season_start
from timing.species.model import CONDITIONS, EventModel, Point, Rule, Species
from timing.species.tables import read_table
from timing.wording import EVENT_LABELS, WORK_LABELS, day_text

NO_SOURCE = "common practice, no source"
BLEEDS = {
    "none": "",
    "freeze_thaw": ", on thawing days after freezing nights",
    "root_pressure": ", by root pressure as the soil warms",
}
MODEL_TEXTS = {
    "chill": "{need:.0f} chill portions since autumn began",
    "forcing": "{need:.0f} warm days for {what}{place}",
    "growth": "{need:.0f} warm days for leaves{place}",
    "solstice": "{need:.0f} days after midsummer",
    "cooling": "autumn has cooled by {need:.0f} °C·d, as in {days:.0f} days at 10 °C",
    "cold_fortnight": "two weeks of mean below 5 °C after growth stops",
    "warm_start": "ten-day mean of the nights reaches 15 °C",
    "warm_end": "ten-day mean of the nights falls below 15 °C",
}
SWELLS = f"{SWELLING:.0%} of the warmth that bud break needs"
SAP_RISES = {
    "none": f"{SWELLS}, after the winter solstice: the buds begin to swell",
    "freeze_thaw": "after the winter solstice, the first of: three days within ten that freeze and "
    f"pass {THAW_C:.0f} °C; five days of mean above 5 °C once half of the chill is met; {SWELLS}",
    "root_pressure": "after the winter solstice, the first of: a ten-day mean above "
    f"{ROOT_PRESSURE_C:.0f} °C once half of the chill is met; {SWELLS}",
}
SAP_RUNS = {
    "freeze_thaw": "middle of the strongest fortnight of flow before the buds break",
    "root_pressure": "a week before the buds break",
}
# Which part of a plant an event is watched on, where the plain word would mislead.
WATCHED = {
    ("pine_multiflush", "bud_break"): "needles emerge from the candles",
    ("pine_singleflush", "bud_break"): "needles emerge from the candles",
    ("pine_multiflush", "leaf_full_size"): "needles full length",
    ("pine_singleflush", "leaf_full_size"): "needles full length",
    ("conifer_needle", "leaf_full_size"): "needles full length",
    ("deciduous_conifer", "leaf_full_size"): "needles full length",
    ("conifer_scale", "leaf_full_size"): "the new shoots' foliage is full size",
}
# Day of an ordinary northern year, only to list events in the order they come.
USUAL_DAY = {
    "chill_met": 20.0,
    "sap_rise": 50.0,
    "sap_peak": 70.0,
    "full_bloom": 105.0,
    "bud_break": 115.0,
    "warm_start": 140.0,
    "leaf_full_size": 155.0,
    "warm_end": 260.0,
    "leaf_colour": 280.0,
    "season_end": 280.0,
    "leaf_fall": 300.0,
    "dormant": 330.0,
}
MIDSUMMER = 172.0
COMMON_YEAR = 2023
CAUTIONS = {
    "Disease and pests": ("disease", "pest"),
    "Poison and injury": ("poison", "injury"),
    "Cold, heat and sun": ("cold", "heat", "sun"),
    "Law": ("law",),
    "Growth and the rest": ("growth", ""),
}
NEVER_SILENT = {
    "Disease and pests": "None recorded for this taxon; the general rules of hygiene hold.",
    "Poison and injury": "None recorded for this taxon, which is no promise that it is harmless.",
}
INDENT = " " * 24


class Notes:
    """Numbers the sources, each once, and keeps them for the end of the page."""

    def __init__(self) -> None:
        self.numbers: dict[str, int] = {}
        self.grades: dict[str, None] = {}

    def mark(self, source: str, evidence: str = "") -> str:
        """The bracket that stands behind a fact: its grade and the number of its note."""
        if source == NO_SOURCE:
            self.grades["common practice"] = None
            return "[common practice]"
        number = self.numbers.setdefault(source, len(self.numbers) + 1)
        if not evidence:
            return f"[{number}]"
        self.grades[evidence] = None
        return f"[{evidence}, {number}]"

    def lines(self) -> list[str]:
        """The notes."""
        found = ["", "Notes"]
        if "common practice" in self.grades:
            found += wrapped("[common practice] without a number: no source.", "  ")
        if "measured" in self.grades:
            found += wrapped("[measured]: fitted to watched trees; the note says which.", "  ")
        if "borrowed" in self.grades:
            found += wrapped("[borrowed]: measured on relatives, not on this taxon.", "  ")
        if "from memory" in self.grades:
            found += wrapped("[from memory]: nobody could check it.", "  ")
        for source, number in self.numbers.items():
            found += wrapped(f"{number:>2}  {source}", "  ", "      ")
        return found


def species_text(species: Species) -> str:
    """What the program knows about a taxon and where from."""
    notes = Notes()
    lines = wrapped(
        f"{species.common_name} ({species.scientific_name}), {species.habit.replace('_', ' ')}"
    )
    if species.other_names:
        lines += wrapped(f"Also: {', '.join(species.other_names)}", "", "  ")
    bleeding = species.bleeding
    lines += wrapped(
        f"Bleeding: {bleeding.strength}{BLEEDS[bleeding.mechanism]} "
        f"{notes.mark(bleeding.source, bleeding.evidence)}",
        "",
        "  ",
    )
    for kind, rules in species.work.items():
        lines += ["", WORK_LABELS[kind].capitalize()]
        lines += [line for rule in rules for line in _rule(rule, notes)] or ["  None."]
    lines += _closed(species, notes)
    lines += _amounts(species, notes)
    lines += _cautions(species, notes)
    lines += _disagreements(species)
    lines += _events(species, notes)
    lines += notes.lines()
    lines += ["", *wrapped(f"Dates at a place: sapdial events {species.slug} --sample NAME", "")]
    return "\n".join(lines) + "\n"


def _closed(species: Species, notes: Notes) -> list[str]:
    """Closed seasons of the hazards that concern the taxon."""
    lines = []
    for text, source, evidence in hazard_lines(species):
        lines += wrapped(f"{text} {notes.mark(source, evidence)}", "  ", "    ")
    return ["", "Closed seasons, where you say that it occurs", *lines] if lines else []


def _events(species: Species, notes: Notes) -> list[str]:
    """Events in season order, how each is dated, and what the units mean."""
    happen = (
        model
        for model in species.events.values()
        if (model.name, species.bleeding.mechanism) != ("sap_peak", "none")
    )
    models = sorted(happen, key=lambda model: _usual_day(model, species))
    lines = ["", "Events, in the order they come (± from year to year, ± from place to place)"]
    for model in models:
        watched = WATCHED.get((species.habit, model.name))
        text = f"{watched}: " if watched else ""
        text += f"{_model_text(model, species)}; ±{model.spread_days:.0f} d"
        if model.site_spread_days:
            text += f", ±{model.site_spread_days:.0f} d"
        mark = notes.mark(model.source, model.evidence)
        lines += wrapped(f"{EVENT_LABELS[model.name]:<22}{text} {mark}", "  ", INDENT)
    if species.habit == "tropical":
        lines += wrapped(
            "No chill, sap or dormancy: it grows for as long as the nights are warm.", "  "
        )
    elif species.evergreen:
        lines += wrapped(
            "Leaf colour and leaf fall: none to watch, it keeps its leaves through the winter.",
            "  ",
        )
    explained = _units(models)
    return [*lines, "", "What the units mean", *explained] if explained else lines


def _usual_day(model: EventModel, species: Species) -> float:
    if model.model == "solstice":
        return MIDSUMMER + model.requirement
    if model.model in ("lag", "share"):
        after = _usual_day(species.events[model.after], species)
        if model.model == "lag":
            return after + model.requirement
        # part of the way from bud break, or from the first warmth where it leads to bud break
        start = USUAL_DAY["sap_rise" if model.after == "bud_break" else "bud_break"]
        return start + model.requirement * (after - start)
    return USUAL_DAY[model.name]


def _units(models: Iterable[EventModel]) -> list[str]:
    """Chill portions and warm days, in what a thermometer shows."""
    used = {model.model: model for model in models if model.model in ("chill", "growth")}
    clocks = {model.name: model.forcing_clock for model in models if model.model == "forcing"}
    lines: list[str] = []
    if "chill" in used and used["chill"].requirement:
        lines += wrapped(
            "Chill portion: about 29 hours at 6 to 8 °C; hard frost and warmth add none.",
            "  ",
            "    ",
        )
    for name, clock in clocks.items():
        lines += wrapped(
            f"Warm day for {_COUNTED[name]}: since {_start(clock)}, {_worth(clock)}; "
            f"a day of {12 * 2 ** (1 / clock.exponent):.1f} h of light counts twice as much as one "
            "of 12 h." + (PLACED if name == "bud_break" else ""),
            "  ",
            "    ",
        )
    if "growth" in used:
        lines += wrapped(
            f"Warm day for leaves: since {_start(LEAFING)}, or bud break where that is earlier, "
            f"{_worth(LEAFING)}.",
            "  ",
            "    ",
        )
    return lines


PLACED = (
    " A place asks for more or fewer of them than said above, so that its mean date is that of "
    "degree days."
)
_COUNTED = {"bud_break": "buds", "full_bloom": "bloom"}


def _start(clock: Clock) -> str:
    """First day that counts, in the north and in the south."""
    north, south = (
        day_text(season_start(COMMON_YEAR, hemisphere) + clock.start)
        for hemisphere in ("north", "south")
    )
    return f"{north} ({south} in the south)"


def _worth(clock: Clock) -> str:
    tenth = math.log(9) / clock.slope
    when = "a maximum of" if clock.temperature == "maximum" else "an even"
    low, half, high = (clock.midpoint_c + step for step in (-tenth, 0, tenth))
    return (
        f"a day counts a tenth at {when} {low:.0f} °C, half at {half:.0f} °C and nine tenths at "
        f"{high:.0f} °C"
    )


def _model_text(model: EventModel, species: Species) -> str:
    """How an event is dated, in words."""
    if model.model in ("sap_rise", "sap_peak"):
        texts = SAP_RISES if model.model == "sap_rise" else SAP_RUNS
        return texts[species.bleeding.mechanism]
    if model.model == "lag":
        return f"{model.requirement:.0f} days after {HAPPENS[model.after]}"
    if model.model == "share":
        if model.after == "bud_break":
            return f"{model.requirement:.0%} of the warmth that bud break needs"
        return (
            f"{model.requirement:.0%} of the warmth from bud break to when "
            + (HAPPENS[model.after])
        )
    return MODEL_TEXTS[model.model].format(
        need=model.requirement,
        what=_COUNTED.get(model.name, ""),
        place=_place(model),
        days=model.requirement / 5,
    )


def _place(model: EventModel) -> str:
    """Where a requirement stands among the trees somebody watched."""
    if model.name not in ("bud_break", "leaf_full_size") or model.clock is not None:
        return ""
    ranks = read_table("_measured")["pooled"][model.name]["ranks"]
    early, mid, late = (ranks[name] for name in ("early", "mid", "late"))
    if model.requirement <= early:
        place = "in the earliest quarter"
    elif model.requirement <= mid:
        place = "a little early"
    elif model.requirement < late:
        place = "a little late"
    else:
        place = "in the latest quarter"
    return f", {place} among the trees watched"


def _rule(rule: Rule, notes: Notes) -> list[str]:
    """One stretch of safe days: when, on what conditions, why."""
    avoid = "; not in midsummer heat" if "midsummer_heat" in rule.avoid else ""
    lines = wrapped(f"{stretch_text(rule)}{waits_text(rule)}{avoid}.", "  ", "    ")
    for need in rule.only_if:
        lines += wrapped(f"- {need.text}", "    ", "      ")
    return [*lines, *wrapped(f"{rule.why} {notes.mark(rule.source, rule.evidence)}", "    ")]


def stretch_text(rule: Rule) -> str:
    """A rule's stretch in words, without its dates and its second condition on the opening."""
    opens, closes = rule.opens, rule.closes
    if opens.event == closes.event and opens.offset_days * closes.offset_days > 0:
        side = "after" if opens.offset_days > 0 else "before"
        first, last = (abs(point.offset_days) // 7 for point in (opens, closes))
        return f"From {first} to {last} weeks {side} {_event(opens)}"
    starts = "From" if opens.offset_days or opens.event in LIMIT_NAMES else "From when"
    return f"{starts} {_point(opens)} until {_point(closes)}"


def waits_text(rule: Rule) -> str:
    """What a rule waits for besides its opening event, or nothing."""
    return f", not before {_point(rule.not_before)}" if rule.not_before else ""


def _event(point: Point) -> str:
    return LIMIT_NAMES.get(point.event) or HAPPENS[point.event]


def _point(point: Point) -> str:
    weeks = abs(point.offset_days) // 7
    if not weeks:
        return _event(point)
    side = "after" if point.offset_days > 0 else "before"
    return f"{weeks} week{'s' if weeks > 1 else ''} {side} {_event(point)}"


def _amounts(species: Species, notes: Notes) -> list[str]:
    """How much, where on the tree, how long to wait, how cold the roots may become."""
    removal, dominance, recovery = species.removal, species.dominance, species.recovery
    groups: dict[float, list[str]] = {}
    for condition in CONDITIONS:
        groups.setdefault(getattr(removal, condition), []).append(condition)
    parts = [
        f"{f'{share:.0%}' if share else 'nothing'}{f' {removal.text}' if not number else ''} from "
        f"{_ARTICLE[names[0]]} {' or '.join(names)} {'one' if number else 'tree'}"
        for number, (share, names) in enumerate(groups.items())
    ]
    text = f"At most {', '.join(parts)} {notes.mark(removal.source, removal.basis)}"
    lines = ["", "How much at once", *wrapped(text, "  ")]
    for title, item in (("Where on the tree", dominance), ("Recovery", recovery)):
        mark = notes.mark(item.source, item.evidence)
        lines += ["", title, *wrapped(f"{item.text} {mark}", "  ")]
    roots = species.root_zone
    text = "Unknown: no figure for this taxon was found in print."
    if roots:
        limit = f"{roots.coldest_c:g} °C".replace("-", "−")
        mark = notes.mark(roots.source, roots.evidence)
        text = f"Roots may die at {limit}: keep the root zone well above it {mark}"
    return [*lines, "", "Roots in a pot, in winter", *wrapped(text, "  ")]


_ARTICLE = {"vigorous": "a", "established": "an", "weak": "a"}


def _disagreements(species: Species) -> list[str]:
    """Both sides of each question, and what this program does."""
    lines = ["", "Authorities differ"] if species.disagreements else []
    for item in species.disagreements:
        lines += wrapped(item.question, "  ")
        lines += wrapped(f"One side: {item.one_side}.", "    ", "      ")
        lines += wrapped(f"The other: {item.other_side}.", "    ", "      ")
        lines += wrapped(f"Here: {item.handling}", "    ", "      ")
    return lines


def _cautions(species: Species, notes: Notes) -> list[str]:
    lines: list[str] = []
    for title, topics in CAUTIONS.items():
        items = [item for item in species.cautions if item.topic in topics]
        if items or title in NEVER_SILENT:
            lines += ["", title]
        for item in items:
            lines += wrapped(f"{item.text} {notes.mark(item.source)}", "  - ", "    ")
        if not items and title in NEVER_SILENT:
            lines += wrapped(NEVER_SILENT[title], "  ")
    return lines
