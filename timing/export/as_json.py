"""Complete, stable JSON of what the commands answer: ISO dates, units in key names."""

from __future__ import annotations

from typing import Any

from timing.advice import Answer
from timing.answers import Outlook, season_dates, why_undated
from timing.assessment import Assessment
from timing.calendar import YearCalendar
from timing.closed_seasons import HazardNotice, YearsOfSeason
from timing.intake.samples import Sample
from timing.reasons import not_up_to_date
from timing.season import Floats
from timing.site import Site
from timing.species.hazards import authority_text, hazards_of
from timing.species.model import Hazard, Species
from timing.temperature import TemperatureRecord
from timing.windows import Window
from timing.wording import few_seasons_text

Json = dict[str, Any]


def day_json(day: object) -> str | None:
    """A date, or None where there is none."""
    return None if day is None else str(day)


def rounded(value: float | None, digits: int) -> float | None:
    """A value with so many decimals, or None where there is none."""
    return None if value is None else round(value, digits)


def site_json(site: Site) -> Json:
    """Where."""
    return {
        "name": site.name,
        "latitude": site.latitude,
        "longitude": site.longitude,
        "elevation_m": site.elevation_m,
        "hemisphere": site.hemisphere,
        "invented": site.invented,
        "attribution": site.attribution or None,
        "hazards": list(site.hazards),
    }


def record_json(record: TemperatureRecord) -> Json:
    """The temperature record and what was mended."""
    return {
        "first": str(record.first),
        "last": str(record.last),
        "missing_days": record.missing_days,
        "repaired_days": record.repaired_days,
        "neighbour_days": record.neighbour_days,
        "warnings": list(record.warnings),
    }


def events_json(outlooks: list[Outlook]) -> Json:
    """Events of every season the record covers well enough, and of the running one."""
    first = outlooks[0]
    return {
        "schema": "sapdial-events-1",
        "site": site_json(first.site),
        "record": record_json(first.record),
        "species": [
            {
                "species": outlook.species.slug,
                "tuned": {
                    event: {"observations": fit.observations, "rmse_days": round(fit.rmse_days, 2)}
                    for event, fit in outlook.tuned.items()
                },
                "usual": {name: _usual_json(outlook, name) for name in outlook.event_names()},
                "seasons": seasons_json(outlook),
            }
            for outlook in outlooks
        ],
    }


def _usual_json(outlook: Outlook, event: str) -> Json:
    """Usual date of an event, month and day, with its 80% range; or why it has none."""
    usual = outlook.usual(event)
    if usual is None:
        return {"median": None, "reason": outlook.events.why_absent(event)}
    early, median, late = (str(day)[5:] for day in usual.dates(2023))
    return {"early": early, "median": median, "late": late, "share": round(usual.share, 3)}


def seasons_json(outlook: Outlook, last: int | None = None) -> list[Json]:
    """Events of the seasons (or the last few): early, median and late dates, or why not."""
    names = outlook.event_names()
    quantiles = {name: outlook.season_quantiles(name) for name in names}
    rows = range(len(outlook.drivers.years))[-last if last else None :]
    return [
        {
            "season": int(outlook.drivers.years[row]),
            "events": {name: _event_json(outlook, name, row, quantiles[name]) for name in names},
        }
        for row in rows
    ]


def _event_json(outlook: Outlook, name: str, row: int, quantiles: Floats) -> Json:
    early, date, late = season_dates(quantiles[:, row], outlook.drivers.starts[row])
    if date is None:
        return {"date": None, "reason": why_undated(outlook, name, row)}
    return {"date": str(date), "early": str(early), "late": str(late)}


def window_json(window: Window | None) -> Json | None:
    """A run of safe days."""
    if window is None:
        return None
    return {
        "opens": str(window.opens),
        "closes": str(window.closes),
        "chance_min": round(window.chance_min, 3),
        "season": window.season,
    }


def answers_json(answers: list[Answer], site: Site, record: TemperatureRecord) -> Json:
    """Answers of `sapdial ask`."""
    return {
        "schema": "sapdial-ask-1",
        "site": site_json(site),
        "record": record_json(record),
        "not_up_to_date": not_up_to_date(record.last, answers[0].on) or None,
        "few_seasons": few_seasons_text(min(answer.seasons for answer in answers)) or None,
        "answers": [_answer_json(answer) for answer in answers],
    }


def _answer_json(answer: Answer) -> Json:
    best = answer.best_day
    return {
        "species": answer.species.slug,
        "work": answer.work,
        "on": str(answer.on),
        "condition": answer.condition,
        "confidence": answer.confidence,
        "verdict": answer.verdict,
        "chance": round(answer.chance, 3),
        "chance_range": [round(value, 3) for value in answer.chance_range],
        "vetoes": list(answer.vetoes),
        "phase": answer.phase,
        "windows": [window_json(window) for window in answer.windows],
        "marginal_windows": [window_json(window) for window in answer.marginal_windows],
        "next_window": window_json(answer.next_window),
        "best_day": {"date": str(best[0]), "chance": round(best[1], 3)} if best else None,
        "reasons": list(answer.reasons),
        "how_much": {
            "fraction": round(answer.how_much.fraction, 3),
            "basis": answer.how_much.basis,
            "text": answer.how_much.text,
        },
        "where": {
            "stronger_part": answer.species.dominance.part,
            "text": answer.species.dominance.text,
        },
        "recovery": {"text": answer.species.recovery.text},
        "conditions": list(answer.conditions),
        "cautions": [caution.text for caution in answer.cautions],
        "disagreements": [
            {
                "question": item.question,
                "one_side": item.one_side,
                "other_side": item.other_side,
                "handling": item.handling,
            }
            for item in answer.disagreements
        ],
        "evidence": answer.evidence,
        "basis": {
            "seasons": answer.seasons,
            "tuned": answer.tuned,
            "spread_days": rounded(answer.spread_days, 1),
        },
        "hazards": [_notice_json(notice) for notice in answer.hazards],
    }


def _notice_json(notice: HazardNotice) -> Json:
    """What a hazard closes to one kind of work: now or next, and season by season."""
    return {
        "name": notice.hazard.name,
        "label": notice.hazard.label,
        "closed": [{"from": str(run.first), "to": str(run.last)} for run in notice.runs],
        "past": _years_json(notice.past),
        "closed_seasons": [
            {
                "from": str(part.run.first) if part.run else None,
                "to": str(part.run.last) if part.run else None,
                "past": _years_json(part.past),
                "source": part.season.source,
                "evidence": part.season.evidence,
            }
            for part in notice.parts
        ],
        "handling": notice.hazard.handling,
        "authority": authority_text(),
    }


def _years_json(past: YearsOfSeason | None) -> Json | None:
    """How a closed season fell in past seasons; the usual ends as month and day."""
    if past is None:
        return None
    return {
        "usual": {"from": str(past.usual[0])[5:], "to": str(past.usual[1])[5:]},
        **{
            name: {"season": season, "from": str(first), "to": str(last)}
            for name, (season, first, last) in (
                ("earliest", past.earliest),
                ("latest", past.latest),
            )
        },
        "seasons": past.seasons,
    }


def hazard_json(hazard: Hazard) -> Json:
    """A hazard as the library holds it; months and dates are northern."""
    return {
        "name": hazard.name,
        "label": hazard.label,
        "hosts": list(hazard.hosts),
        "closed_seasons": [
            {
                "work": list(season.work),
                "heat": vars(season.heat) if season.heat else None,
                "months": list(season.months) if season.months else None,
                "events": [vars(point) for point in season.events] if season.events else None,
                "why": season.why,
                "source": season.source,
                "evidence": season.evidence,
            }
            for season in hazard.closed
        ],
        "handling": hazard.handling,
        "authority": authority_text(),
    }


def calendar_json(calendar: YearCalendar) -> Json:
    """A year's calendar: chance of every day, windows and usual events."""
    return {
        "schema": "sapdial-calendar-1",
        "year": calendar.year,
        "site": site_json(calendar.site),
        "record": record_json(calendar.record),
        "confidence": calendar.confidence,
        "condition": calendar.condition,
        "seasons": calendar.seasons,
        "few_seasons": few_seasons_text(calendar.seasons) or None,
        "usual_weather": list(calendar.weather),
        "species": [
            {
                "species": row.species.slug,
                "common_name": row.species.common_name,
                "work": {
                    band.kind: {
                        "seasons": band.seasons,
                        "safe": [window_json(window) for window in band.safe],
                        "marginal": [window_json(window) for window in band.marginal],
                        "conditions": list(band.limits),
                        "closed": [
                            {"hazard": hazard.name, "from": str(first), "to": str(last)}
                            for hazard, runs in band.closed
                            for first, last in runs
                        ],
                        "chance_by_day": [round(float(value), 3) for value in band.chance],
                    }
                    for band in row.bands
                },
                "events": {
                    mark.event: {
                        "date": str(mark.date),
                        "early": str(mark.early),
                        "late": str(mark.late),
                    }
                    for mark in row.marks
                },
            }
            for row in calendar.rows
        ],
    }


def samples_json(samples: tuple[Sample, ...]) -> Json:
    """The bundled climates."""
    return {
        "schema": "sapdial-samples-1",
        "samples": [
            {
                "sample": sample.name,
                "description": sample.description,
                "latitude": sample.site.latitude,
                "longitude": sample.site.longitude,
                "elevation_m": sample.site.elevation_m,
                "first": sample.first,
                "last": sample.last,
                "region": sample.region,
            }
            for sample in samples
        ],
    }


def species_json(species: Species) -> Json:
    """Everything known about a taxon."""
    return {
        "schema": "sapdial-species-1",
        "species": species.slug,
        "scientific_name": species.scientific_name,
        "common_name": species.common_name,
        "genus_name": species.genus_name,
        "other_names": list(species.other_names),
        "habit": species.habit,
        "bleeding": vars(species.bleeding),
        "events": {
            name: {**vars(model), "relatives": list(model.relatives)}
            for name, model in species.events.items()
        },
        "work": {
            kind: [
                {
                    "opens": {"event": rule.opens.event, "offset_days": rule.opens.offset_days},
                    "closes": {"event": rule.closes.event, "offset_days": rule.closes.offset_days},
                    "not_before": vars(rule.not_before) if rule.not_before else None,
                    "avoid": list(rule.avoid),
                    "only_if": [need.text for need in rule.only_if],
                    "conditions": [vars(need) for need in rule.only_if],
                    "why": rule.why,
                    "source": rule.source,
                    "evidence": rule.evidence,
                }
                for rule in rules
            ]
            for kind, rules in species.work.items()
        },
        "removal": vars(species.removal),
        "dominance": vars(species.dominance),
        "recovery": vars(species.recovery),
        "root_zone": vars(species.root_zone) if species.root_zone else None,
        "cautions": [vars(item) for item in species.cautions],
        "disagreements": [vars(item) for item in species.disagreements],
        "hazards": [hazard_json(hazard) for hazard in hazards_of(species)],
    }


def assess_json(assessments: list[Assessment], site: Site) -> Json:
    """Scores of `sapdial assess`."""
    return {
        "schema": "sapdial-assess-1",
        "site": site_json(site),
        "results": [
            {
                key: round(value, 3) if isinstance(value, float) else value
                for key, value in vars(item).items()
            }
            for item in assessments
        ],
    }
