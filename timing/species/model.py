"""What the library knows about one taxon, as plain frozen data.

Everything here comes from the TOML files beside this module; nothing is computed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from timing.clocks import CLOCKS, Clock

WorkKind = Literal["heavy", "light", "outline"]
Condition = Literal["vigorous", "established", "weak"]

WORK_KINDS: tuple[WorkKind, ...] = ("heavy", "light", "outline")
CONDITIONS: tuple[Condition, ...] = ("vigorous", "established", "weak")
HABITS = (
    "deciduous",
    "flowering_deciduous",
    "deciduous_conifer",
    "broadleaf_evergreen",
    "pine_multiflush",
    "pine_singleflush",
    "conifer_scale",
    "conifer_needle",
    "tropical",
)
EVENT_ORDER = (
    "chill_met",
    "bud_break",
    "sap_rise",
    "sap_peak",
    "candles_extending",
    "full_bloom",
    "after_flowering",
    "leaf_full_size",
    "needles_half",
    "flush_hardened",
    "growth_stop",
    "flower_bud_set",
    "leaf_colour",
    "season_end",
    "leaf_fall",
    "dormant",
    "warm_start",
    "warm_end",
)
EVIDENCE = ("measured", "published", "borrowed", "common practice", "from memory")


@dataclass(frozen=True)
class Bleeding:
    """How a taxon loses sap from cuts before the leaves are out."""

    strength: Literal["none", "moderate", "strong"]
    mechanism: Literal["none", "freeze_thaw", "root_pressure"]
    evidence: str
    source: str


@dataclass(frozen=True)
class EventModel:
    """How one event of one taxon is dated.

    Parameters
    ----------
    name : the event.
    model : which rule of `timing.events` dates it.
    requirement : heat, chill, cooling or days the rule asks for, in the rule's own unit.
    after : event a lag or a share is counted from.
    spread_days : standard deviation from season to season [days].
    site_spread_days : standard deviation of a constant error at a site [days].
    relatives : measured taxa the requirement was borrowed from.
    evidence, source : where the value comes from.
    """

    name: str
    model: str
    requirement: float
    after: str
    spread_days: float
    site_spread_days: float
    relatives: tuple[str, ...]
    evidence: str
    source: str
    clock: Clock | None = None  # None: the usual clock of the event
    growth_degree_days: float = 0.0  # leaf_full_size: above 5 °C from bud break, for regrowth
    place_requirement: float = 0.0  # bud_break: of the clock PLACE; 0 once placed at a site
    shift_days: float = 0.0  # constant correction from observations at the site

    @property
    def forcing_clock(self) -> Clock:
        """The clock of a forcing event: its own, or the usual one."""
        return self.clock or CLOCKS[self.name]


@dataclass(frozen=True)
class Point:
    """An event with an offset in days, written ``event``, ``event+2w`` or ``event-6w``."""

    event: str
    offset_days: int


@dataclass(frozen=True)
class Requirement:
    """Something a rule asks for: of the work (limit), of the tree, or of the place (hazard)."""

    name: str
    kind: Literal["limit", "tree", "hazard"]
    text: str


@dataclass(frozen=True)
class Rule:
    """One stretch of the year in which a kind of work is safe, and why."""

    opens: Point
    closes: Point
    avoid: tuple[str, ...]
    only_if: tuple[Requirement, ...]
    why: str
    source: str
    evidence: str
    not_before: Point | None = None  # a second event that must have come, whatever opens it


@dataclass(frozen=True)
class Removal:
    """Share of the foliage that may come off at once, by the tree's condition."""

    vigorous: float
    established: float
    weak: float
    basis: Literal["published", "common practice"]
    text: str
    source: str


@dataclass(frozen=True)
class Dominance:
    """Which part of the tree is strongest and takes the harder cut."""

    part: Literal["apex", "lower branches", "even"]
    text: str
    evidence: str
    source: str


@dataclass(frozen=True)
class Recovery:
    """How long the tree must grow before the next heavy cut."""

    text: str
    evidence: str
    source: str


@dataclass(frozen=True)
class RootZone:
    """Coldest root-zone temperature the roots are known to survive [°C]."""

    coldest_c: float
    evidence: str
    source: str


@dataclass(frozen=True)
class Caution:
    """A warning and its source; topic is empty for warnings of one taxon."""

    text: str
    source: str
    topic: str = ""


@dataclass(frozen=True)
class Disagreement:
    """A question on which authorities differ, both sides, and what this library does."""

    question: str
    one_side: str
    other_side: str
    handling: str


@dataclass(frozen=True)
class Species:
    """Everything known about one taxon."""

    slug: str
    scientific_name: str
    common_name: str
    genus_name: str
    other_names: tuple[str, ...]
    habit: str
    bleeding: Bleeding
    events: dict[str, EventModel]
    work: dict[WorkKind, tuple[Rule, ...]]
    removal: Removal
    dominance: Dominance
    recovery: Recovery
    root_zone: RootZone | None
    cautions: tuple[Caution, ...]
    disagreements: tuple[Disagreement, ...]

    @property
    def evergreen(self) -> bool:
        """Whether the taxon keeps its leaves through the winter."""
        return "season_end" in self.events or self.habit == "tropical"


@dataclass(frozen=True)
class HeatRange:
    """A pest's flight by warmth.

    Parameters
    ----------
    base_c : threshold of the degree days, counted from 1 January (1 July south) [°C].
    first, last : sums between which it flies [°C·d].
    before : month and day, northern, from which it is over whatever the sum.
    """

    base_c: float
    first: float
    last: float
    before: tuple[int, int]


@dataclass(frozen=True)
class ClosedSeason:
    """One stretch of the year in which a hazard forbids kinds of work; one of three forms.

    Parameters
    ----------
    work : kinds of work it closes.
    heat : a flight by warmth.
    months : first and last month, whole, northern; a first after the last runs across New Year.
    events : events of the tree that open and close it.
    why, source, evidence : as in a rule.
    """

    work: tuple[WorkKind, ...]
    heat: HeatRange | None
    months: tuple[int, int] | None
    events: tuple[Point, Point] | None
    why: str
    source: str
    evidence: str


@dataclass(frozen=True)
class Hazard:
    """A disease or pest of the place, and when it forbids cuts on its hosts.

    Parameters
    ----------
    name, label : how the user spells it, and how people say it.
    hosts : genera.
    condition : the rule condition that asks for a place without it, or "".
    closed : its closed seasons; the days of all of them are closed.
    handling : what else to do where it occurs.
    """

    name: str
    label: str
    hosts: tuple[str, ...]
    condition: str
    closed: tuple[ClosedSeason, ...]
    handling: str

    def concerns(self, species: Species) -> bool:
        """Whether a taxon is one of its hosts."""
        return species.scientific_name.split()[0] in self.hosts


@dataclass(frozen=True)
class LighterWork:
    """What light and outline work may take, for every taxon."""

    fraction: dict[WorkKind, float]
    text: dict[WorkKind, str]
    evidence: str
    source: str


@dataclass(frozen=True)
class CommonRules:
    """Values every taxon shares."""

    frost_lead_weeks: dict[WorkKind, int]
    new_buds_degree_days: float
    lighter_work: LighterWork
    cautions: tuple[Caution, ...]
