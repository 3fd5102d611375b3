"""Hazards in plain sentences, unwrapped: for answers, for a taxon's page and as a list."""

from __future__ import annotations

from timing.advice import Answer
from timing.closed_seasons import forbidden, grounds, part_text, season_text
from timing.site import Site
from timing.species.hazards import authority_text, hazards_of
from timing.species.model import Hazard, Species


def closed_sections(answers: list[Answer], site: Site) -> dict[str, list[str]]:
    """Heading and sentences of every hazard in the answers for one taxon, each season once."""
    hazards = {notice.hazard.name: notice.hazard for item in answers for notice in item.hazards}
    sections = {}
    for name, hazard in hazards.items():
        seasons = dict.fromkeys(
            part_text(part, site.hemisphere)
            for item in answers
            for notice in item.hazards
            if notice.hazard.name == name
            for part in notice.parts
        )
        noted = " (noted for this site)" if name in site.hazards else ""
        sections[f"Closed season: {hazard.label}{noted}"] = [*seasons, _besides(hazard)]
    return sections


def hazard_sentences(hazard: Hazard) -> list[str]:
    """Closed seasons of a hazard, wherever the site, with their sources, and what else to do."""
    return [
        *(f"{forbidden(s)}: {season_text(s)}. {grounds(s)}" for s in hazard.closed),
        _besides(hazard),
    ]


def hazard_lines(species: Species) -> list[tuple[str, str, str]]:
    """What the hazards that concern a taxon close: sentence, source and evidence of each season."""
    return [
        (
            f"{hazard.label} (--hazard {hazard.name}): {forbidden(season).lower()}, "
            f"{season_text(season)}.",
            season.source,
            season.evidence,
        )
        for hazard in hazards_of(species)
        for season in hazard.closed
    ]


def _besides(hazard: Hazard) -> str:
    return f"{hazard.handling} {authority_text()}"
