"""Read the species files: one TOML a taxon, merged with its group, checked key by key.

``_groups.toml`` holds what a whole group shares, ``_measured.toml`` the requirements fitted
to observed trees by `timing.species.fit_measured`. Nobody edits code to add a species.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from timing.errors import UsageError
from timing.species.model import (
    EVENT_ORDER,
    HABITS,
    WORK_KINDS,
    Bleeding,
    Caution,
    CommonRules,
    Disagreement,
    Dominance,
    EventModel,
    LighterWork,
    Point,
    Recovery,
    Removal,
    Requirement,
    RootZone,
    Rule,
    Species,
)
from timing.species.tables import TableReader, naming_the_file, read_point, read_table

LEAFOUT_RANKS = ("very_early", "early", "mid", "late", "very_late")
MODELS = (
    "chill",
    "forcing",
    "growth",
    "lag",
    "share",
    "solstice",
    "cooling",
    "sap_rise",
    "sap_peak",
    "cold_fortnight",
    "warm_start",
    "warm_end",
)
TOPICS = ("disease", "pest", "poison", "injury", "cold", "heat", "sun", "law", "growth")
VETOES = ("midsummer_heat",)
TABLES = {
    "scientific_name",
    "common_name",
    "genus_name",
    "other_names",
    "habit",
    "bleeding",
    "events",
    "work",
    "removal",
    "dominance",
    "recovery",
    "root_zone",
    "cautions",
    "disagreements",
}
PROVENANCE = ("evidence", "source")
KEYS = {  # of the tables inside a file
    "bleeding": ("strength", "mechanism", *PROVENANCE),
    "removal": ("vigorous", "established", "weak", "basis", "text", "source"),
    "dominance": ("part", "text", *PROVENANCE),
    "recovery": ("text", *PROVENANCE),
    "root_zone": ("coldest_c", *PROVENANCE),
    "cautions": ("topic", "text", "source"),
    "disagreements": ("question", "one_side", "other_side", "handling"),
    "work": ("opens", "closes", "not_before", "avoid", "only_if", "why", *PROVENANCE),
    "events": (
        *("model", "need", "measured", "relatives", "rank", "pooled", "of", "after", "days"),
        *("share", "spread_days", "site_spread_days", *PROVENANCE),
    ),
}
NEEDED_EVENTS = ("chill_met", "bud_break", "leaf_full_size")  # of every taxon with a winter
LIMITS = ("heavy_limit", "light_limit")  # points of the site's autumn, see timing.windows
SITE_EVENTS = ("last_frost", "first_frost")  # dated from the record alone


def slugs() -> tuple[str, ...]:
    """Every taxon with a file, in alphabetical order."""
    names = (entry.name for entry in files("timing.species").iterdir())
    return tuple(
        sorted(name[:-5] for name in names if name.endswith(".toml") and not name.startswith("_"))
    )


@cache
def load_species(slug: str) -> Species:
    """Load and check one taxon.

    Raises
    ------
    UsageError : there is no such taxon.
    DataError : its file is incomplete; the message names the file and the key.
    """
    if slug not in slugs():
        raise UsageError(f"no species {slug!r}; see 'sapdial species list'")
    return read_species(slug, read_table(slug))


def read_species(slug: str, table: Mapping[str, Any]) -> Species:
    """Turn one table into a `Species`, or name the file and the key that is wrong."""
    with naming_the_file(slug):
        return _Reader(slug, table).species()


@cache
def common_rules() -> CommonRules:
    """Load what every taxon shares."""
    groups = read_table("_groups")
    lighter = groups["lighter_work"]
    return CommonRules(
        frost_lead_weeks={kind: int(groups["frost_lead_weeks"][kind]) for kind in WORK_KINDS[:2]},
        new_buds_degree_days=float(groups["regrowth"]["new_buds_degree_days"]),
        lighter_work=LighterWork(
            {kind: float(lighter[kind]["fraction"]) for kind in WORK_KINDS[1:]},
            {kind: str(lighter[kind]["text"]) for kind in WORK_KINDS[1:]},
            lighter["evidence"],
            lighter["source"],
        ),
        cautions=tuple(
            Caution(item["text"], item["source"], item["topic"]) for item in groups["cautions"]
        ),
    )


class _Reader(TableReader):
    """Turns one species table into a `Species`, naming file and key when it cannot."""

    def __init__(self, slug: str, table: Mapping[str, Any]) -> None:
        super().__init__(slug)
        self.slug = slug
        self.table = table
        self.groups = read_table("_groups")

    def part(self, key: str) -> Mapping[str, Any]:
        value = self.table.get(key)
        if not isinstance(value, dict):
            raise self.fail(key, "this table is missing")
        self.known(value, key, KEYS[key])
        return value

    def items(self, key: str) -> list[Mapping[str, Any]]:
        found = list(self.table.get(key, ()))
        for item in found:
            self.known(item, key, KEYS[key])
        return found

    def species(self) -> Species:
        self.known(self.table, "", TABLES)
        if unknown := set(self.table.get("work", {})) - set(WORK_KINDS):
            raise self.fail(f"work.{min(unknown)}", f"kinds of work are {', '.join(WORK_KINDS)}")
        habit = self.one_of(self.table, "habit", "", HABITS)
        events = self.events(habit)
        work = {kind: self.rules(kind, events) for kind in WORK_KINDS}
        if not work["heavy"]:
            raise self.fail("work.heavy", "at least one rule is needed")
        removal = self.part("removal")
        bleeding = self.part("bleeding")
        dominance = self.part("dominance")
        recovery = self.part("recovery")
        shares = {
            name: self.number(removal, name, "removal")
            for name in ("vigorous", "established", "weak")
        }
        if not 0 <= shares["weak"] <= shares["established"] <= shares["vigorous"] <= 0.7:
            raise self.fail("removal", "shares must rise from weak to vigorous, at most 0.7")
        return Species(
            slug=self.slug,
            scientific_name=self.text(self.table, "scientific_name", ""),
            common_name=self.text(self.table, "common_name", ""),
            genus_name=self.text(self.table, "genus_name", ""),
            other_names=tuple(self.table.get("other_names", ())),
            habit=habit,
            bleeding=Bleeding(
                self.one_of(bleeding, "strength", "bleeding", ("none", "moderate", "strong")),
                self.one_of(
                    bleeding, "mechanism", "bleeding", ("none", "freeze_thaw", "root_pressure")
                ),
                *self.provenance(bleeding, "bleeding"),
            ),
            events=events,
            work=work,
            removal=Removal(
                **shares,
                basis=self.one_of(removal, "basis", "removal", ("published", "common practice")),
                text=self.text(removal, "text", "removal"),
                source=self.text(removal, "source", "removal"),
            ),
            dominance=Dominance(
                self.one_of(dominance, "part", "dominance", ("apex", "lower branches", "even")),
                self.text(dominance, "text", "dominance"),
                *self.provenance(dominance, "dominance"),
            ),
            recovery=Recovery(
                self.text(recovery, "text", "recovery"), *self.provenance(recovery, "recovery")
            ),
            root_zone=self.root_zone(),
            cautions=tuple(
                Caution(
                    self.text(item, "text", "cautions"),
                    self.text(item, "source", "cautions"),
                    self.one_of(item, "topic", "cautions", TOPICS),
                )
                for item in self.items("cautions")
            ),
            disagreements=tuple(
                Disagreement(
                    *(self.text(item, key, "disagreements") for key in KEYS["disagreements"])
                )
                for item in self.items("disagreements")
            ),
        )

    def root_zone(self) -> RootZone | None:
        if "root_zone" not in self.table:
            return None
        table = self.part("root_zone")
        return RootZone(
            self.number(table, "coldest_c", "root_zone"), *self.provenance(table, "root_zone")
        )

    def events(self, habit: str) -> dict[str, EventModel]:
        merged: dict[str, Any] = {}
        for group in self.lineage(habit):
            shared = self.groups["events"][group]
            merged.update({name: value for name, value in shared.items() if name != "inherits"})
        merged.update(self.table.get("events", {}))
        events = {name: self.event(name, value) for name, value in merged.items()}
        needed = NEEDED_EVENTS if habit != "tropical" else ("warm_start", "warm_end")
        for name in needed:
            if name not in events:
                raise self.fail(f"events.{name}", "this event is missing")
        for name, model in events.items():
            if model.model in ("lag", "share") and model.after not in events:
                raise self.fail(f"events.{name}.after", f"there is no event {model.after!r}")
            if name not in EVENT_ORDER:
                raise self.fail(f"events.{name}", "there is no such event")
        return events

    def lineage(self, habit: str) -> list[str]:
        chain = [habit]
        while parent := self.groups["events"][chain[-1]].get("inherits"):
            chain.append(parent)
        return chain[::-1]

    def event(self, name: str, table: Mapping[str, Any]) -> EventModel:
        where = f"events.{name}"
        self.known(table, where, KEYS["events"])
        model = self.one_of(table, "model", where, MODELS)
        evidence, source = self.provenance(table, where)
        requirement, spread, site_spread, place = self.requirement(name, model, table, where)
        grown = self.growth_degree_days(table) if model == "growth" else 0.0
        return EventModel(
            name=name,
            model=model,
            requirement=requirement,
            after=str(table.get("after", table.get("of", ""))),
            spread_days=float(table.get("spread_days", spread)),
            site_spread_days=float(table.get("site_spread_days", site_spread)),
            relatives=tuple(table.get("relatives", ())),
            evidence=evidence,
            source=source,
            growth_degree_days=grown,
            place_requirement=place,
        )

    def growth_degree_days(self, table: Mapping[str, Any]) -> float:
        """Degree days from bud break to full leaves: of the relatives, else of all taxa."""
        measured = read_table("_measured")
        taxa = [table["measured"]] if "measured" in table else table.get("relatives", ())
        fits = [measured["taxa"][taxon]["leaf_full_size"] for taxon in taxa] or [
            measured["pooled"]["leaf_full_size"]
        ]
        return sum(float(fit["growth_degree_days"]) for fit in fits) / len(fits)

    def requirement(
        self, name: str, model: str, table: Mapping[str, Any], where: str
    ) -> tuple[float, float, float, float]:
        """Requirement, spread from season to season and between sites [days]; that of the place."""
        if model == "chill":
            need = self.one_of(table, "need", where, ("none", "low", "medium", "high"))
            return float(self.groups["chill_needs"][need]), 4.0, 10.0, 0.0
        if model in ("forcing", "growth", "cooling"):
            return self.borrowed(str(table.get("of", name)), table, where)
        if model in ("lag", "solstice"):
            return self.number(table, "days", where), 0.0, 0.0, 0.0
        if model == "share":
            return self.number(table, "share", where), 0.0, 0.0, 0.0
        return 0.0, 0.0, 0.0, 0.0

    def borrowed(
        self, event: str, table: Mapping[str, Any], where: str
    ) -> tuple[float, float, float, float]:
        """Take a requirement from measured taxa, from a leaf-out rank or from all of them."""
        measured = read_table("_measured")
        carrying = self.groups["carrying"]
        keys = [key for key in ("measured", "relatives", "rank", "pooled") if key in table]
        if len(keys) != 1:
            raise self.fail(where, "exactly one of measured, relatives, rank, pooled is needed")
        if keys[0] == "pooled":
            fit = measured["pooled"][event]
            place = fit.get("place_requirement", 0.0)
            return fit["requirement"], fit["spread_days"], carrying["relatives"], place
        if keys[0] == "rank":
            rank = self.one_of(table, "rank", where, LEAFOUT_RANKS)
            fit = measured["pooled"][event]
            place = fit.get("place_ranks", {}).get(rank, 0.0)
            return fit["ranks"][rank], fit["spread_days"], carrying["rank"], place
        taxa = [table["measured"]] if keys[0] == "measured" else list(table["relatives"])
        if not taxa:
            raise self.fail(where, "relatives names no taxon, and at least one is needed")
        for taxon in taxa:
            if event not in measured["taxa"].get(taxon, {}):
                raise self.fail(where, f"{taxon} has no measured {event}")
        fits = [measured["taxa"][taxon][event] for taxon in taxa]
        requirement = sum(fit["requirement"] for fit in fits) / len(fits)
        spread = (sum(fit["spread_days"] ** 2 for fit in fits) / len(fits)) ** 0.5
        place = sum(fit.get("place_requirement", 0.0) for fit in fits) / len(fits)
        return requirement, spread, carrying[keys[0]], place

    def rules(self, kind: str, events: Mapping[str, EventModel]) -> tuple[Rule, ...]:
        rules = []
        for number, table in enumerate(self.table.get("work", {}).get(kind, ()), start=1):
            where = f"work.{kind} {number}"
            self.known(table, where, KEYS["work"])
            avoid = tuple(table.get("avoid", ()))
            if unknown := set(avoid) - set(VETOES):
                raise self.fail(f"{where}.avoid", f"unknown {', '.join(sorted(unknown))}")
            evidence, source = self.provenance(table, where)
            rules.append(
                Rule(
                    opens=self.point(table, "opens", where, events),
                    closes=self.point(table, "closes", where, events),
                    not_before=(
                        self.point(table, "not_before", where, events)
                        if "not_before" in table
                        else None
                    ),
                    avoid=avoid,
                    only_if=tuple(self.condition(name, where) for name in table.get("only_if", ())),
                    why=self.text(table, "why", where),
                    source=source,
                    evidence=evidence,
                )
            )
        return tuple(rules)

    def condition(self, name: str, where: str) -> Requirement:
        entry = self.groups["conditions"].get(name)
        if entry is None:
            raise self.fail(f"{where}.only_if", f"unknown condition {name!r}")
        return Requirement(name, entry["kind"], entry["text"])

    def point(
        self, table: Mapping[str, Any], key: str, where: str, events: Mapping[str, EventModel]
    ) -> Point:
        text = self.text(table, key, where)
        point = read_point(text)
        if point is None:
            raise self.fail(f"{where}.{key}", f"{text!r} is not an event such as bud_break-4w")
        if point.event not in {*events, *LIMITS, *SITE_EVENTS}:
            raise self.fail(f"{where}.{key}", f"this taxon has no event {point.event!r}")
        return point
