"""The year's calendar as text.

What must hold:
- no line is longer than eighty characters, whatever the names, and strips are plain ASCII;
- a cell is safe only if its worst day reaches the confidence, doubtful if its best day has an
  even chance, in common and in leap years;
- every taxon stands there with three strips, its safe days, its events and its conditions;
- months are named at top and bottom in the columns of their cells; today points at its cell;
- site, record, confidence, cautions and the invented notice are said; a southern site works;
- every event the library dates has a label.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from timing.answers import outlook, site_drivers
from timing.calendar import (
    MARKED_EVENTS,
    Band,
    CalendarRow,
    EventMark,
    YearCalendar,
    days_of,
    year_calendar,
)
from timing.events import EVENT_ORDER
from timing.export.calendar_text import calendar_strip, cells
from timing.intake.samples import open_sample
from timing.site import Site
from timing.species.catalogue import load_species
from timing.species.model import (
    WORK_KINDS,
    Bleeding,
    Dominance,
    Recovery,
    Removal,
    Species,
    WorkKind,
)
from timing.temperature import BRIDGED, OBSERVED, OPEN, TemperatureRecord
from timing.windows import Window
from timing.wording import EVENT_LABELS, WORK_LABELS, span_text, window_spans

Chance = NDArray[np.float64]
YEAR = 2025


def species(slug: str, common: str, scientific: str) -> Species:
    note = ("from memory", "made up")
    return Species(
        slug=slug,
        scientific_name=scientific,
        common_name=common,
        genus_name="tree",
        other_names=(),
        habit="deciduous",
        bleeding=Bleeding("none", "none", *note),
        events={},
        work=dict.fromkeys(WORK_KINDS, ()),
        removal=Removal(0.4, 0.3, 0.1, "common practice", "a third", "made up"),
        dominance=Dominance("apex", "strongest at the top", *note),
        recovery=Recovery("a year", *note),
        root_zone=None,
        cautions=(),
        disagreements=(),
    )


def hump(peak: int, width: float, height: float = 1.0, days: int = 365) -> Chance:
    """Chance that rises to ``height`` around a day of the year, across New Year if need be."""
    away = np.abs((np.arange(days) - peak + days // 2) % days - days // 2)
    return np.clip(1.5 - away / width, 0.0, 1.0) * height


def band(
    kind: WorkKind,
    chance: Chance,
    year: int = YEAR,
    confidence: float = 0.9,
    limits: tuple[str, ...] = (),
) -> Band:
    days = days_of(year)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], chance >= confidence, [0]))))
    safe = tuple(
        Window(days[a], days[b - 1], float(chance[a:b].min()), year)
        for a, b in edges.reshape(-1, 2)
    )
    return Band(kind, chance, safe, (), 30, limits)


def day(text: str) -> np.datetime64:
    return np.datetime64(text, "D")


MARKS = (
    EventMark("sap_rise", day("2024-12-20"), day("2025-01-04"), day("2025-02-01")),
    EventMark("bud_break", day("2025-04-20"), day("2025-05-01"), day("2025-05-12")),
    EventMark("last_frost", day("2025-04-18"), day("2025-05-03"), day("2025-05-20")),
    EventMark("full_bloom", day("2025-04-28"), day("2025-05-05"), day("2025-05-19")),
    EventMark("first_frost", day("2025-10-01"), day("2025-10-12"), day("2025-10-25")),
)


def taxon(
    number: int = 0, common: str = "made-up maple", scientific: str = "Acer fictum"
) -> CalendarRow:
    slug = f"acer-fictum-{number}"
    bands = (
        band("heavy", hump(200, 40)),
        band("light", hump(200, 90, 0.62), limits=("small cuts only", "on a dry day")),
        band("outline", hump(0, 45), limits=("on a dry day",)),
    )
    return CalendarRow(species(slug, common, scientific), bands, MARKS)


def made_up(
    *rows: CalendarRow, site: Site | None = None, today: str | None = "2025-06-20"
) -> YearCalendar:
    days = 3000
    record = TemperatureRecord(
        day("2010-01-01"),
        np.zeros(days),
        np.ones(days),
        np.repeat(np.array([OBSERVED, BRIDGED, OPEN], np.int8), days // 3),
        (),
        "made-up.csv",
        np.zeros(days),
        np.ones(days),
    )
    return YearCalendar(
        year=YEAR,
        site=site or Site("Nowhere", 45.0, 7.0, 300.0, invented=True),
        record=record,
        confidence=0.9,
        today=day(today) if today else None,
        seasons=30,
        rows=rows or (taxon(),),
    )


def strips(text: str, kind: str) -> list[str]:
    lines = (line for line in text.splitlines() if line.startswith(f"  {kind}"))
    return [line.split("|", 1)[1].replace("|", "") for line in lines if "|" in line]


def test_no_line_is_longer_than_eighty_characters() -> None:
    name = "the exceedingly long-named weeping cut-leaved maple " * 4 + "x" * 200
    row = taxon(1, name, name)
    long = replace(row.bands[0], limits=("a condition that goes on and on " * 9,))
    row = replace(row, bands=(long, *row.bands[1:]))
    text = calendar_strip(made_up(row, taxon(2), site=Site(name, -33.0, 151.0, None, True)))
    assert max(map(len, text.splitlines())) <= 80
    assert "elevation unknown" in text


def test_cells_follow_the_worst_and_the_best_day() -> None:
    chance = np.zeros(365)
    chance[0:31] = 0.9  # January safe
    chance[10] = 0.89  # but for one day of its second quarter
    chance[31] = 0.5  # an even chance on one day of February
    chance[38] = 0.49
    assert cells(chance, YEAR, 0.9)[:8] == "#+##+..."
    assert cells(chance, YEAR, 0.9)[8:] == "." * 40
    assert cells(chance, YEAR, 0.95)[:4] == "++++"


@pytest.mark.parametrize(("year", "days"), [(2025, 365), (2024, 366)])
def test_every_day_belongs_to_one_cell(year: int, days: int) -> None:
    for one in range(days):
        chance = np.zeros(days)
        chance[one] = 1.0
        drawn = cells(chance, year, 0.9)
        assert len(drawn) == 48
        assert drawn.count("+") == 1
        month = int(str(days_of(year)[one])[5:7]) - 1
        assert drawn.index("+") // 4 == month
    assert cells(np.ones(days), year, 0.9) == "#" * 48


def test_all_taxa_with_three_strips_dates_and_conditions() -> None:
    rows = [taxon(n, f"tree {n}", f"Arbor {n}") for n in range(7)]
    text = calendar_strip(made_up(*rows))
    for number in range(7):
        assert f"tree {number} (Arbor {number})" in text
    for kind in WORK_KINDS:
        drawn = strips(text, kind)
        assert len(drawn) == 7
        assert all(len(strip) == 48 and set(strip) <= set("#+.") for strip in drawn)
    assert "heavy 26 Jun – 13 Aug" in text
    assert "outline 5 Dec – 28 Jan" in text
    assert "none (best 62% on 20 July)" in text
    assert "sap rises 4 Jan (20 Dec–1 Feb)" in text
    assert "light, outline: on a dry day" in text


def test_months_and_today_stand_over_their_cells() -> None:
    lines = calendar_strip(made_up()).splitlines()
    initials = [line for line in lines if line.split() == list("JFMAMJJASOND")]
    assert len(initials) == 2
    strip = next(line for line in lines if line.startswith("  heavy"))
    bars = [at for at, sign in enumerate(strip) if sign == "|"]
    for number, letter in enumerate("JFMAMJJASOND"):
        assert letter in initials[0][bars[number] : bars[number + 1]]
    pointer = next(line for line in lines if "today, 20 June" in line)
    assert bars[5] + 3 == pointer.index("v today")
    late = calendar_strip(made_up(today="2025-12-31"))
    pointer = next(line for line in late.splitlines() if "today, 31 December" in line)
    assert pointer.endswith("v")
    assert len(pointer) - 1 == bars[12] - 1
    assert "today" not in calendar_strip(made_up(today=None))


def test_says_what_it_rests_on() -> None:
    text = " ".join(calendar_strip(made_up()).split())
    assert text.count("INVENTED PLACE AND WEATHER") == 2
    assert "45.00° N, 7.00° E, 300 m" in text
    assert "made-up.csv, 1 January 2010 to 19 March 2018" in text
    assert "30 seasons used; 2000 days missing, 1000 of them repaired" in text
    assert "chance 90% or more" in text
    assert "nesting birds" in text
    assert "quarantine" in text
    real = calendar_strip(made_up(site=Site("Garden", 45.0, 7.0)))
    assert "INVENTED" not in real


def test_a_southern_sample_from_end_to_end() -> None:
    sample, record = open_sample("southern-temperate")
    look = outlook(load_species("acer-palmatum"), record, site_drivers(record, sample.site))
    calendar = year_calendar([look], YEAR, confidence=0.8)
    text = calendar_strip(calendar)
    assert "° S" in text
    assert text.startswith("Safe days for cuts, 2025")
    (light,) = strips(text, "light")
    expected = cells(calendar.rows[0].bands[1].chance, YEAR, 0.8)
    assert light == expected
    assert max(map(len, text.splitlines())) <= 80


def test_spans_in_words() -> None:
    def window(opens: str, closes: str) -> Window:
        return Window(day(opens), day(closes), 0.9, YEAR)

    ends = (window("2025-01-01", "2025-02-05"), window("2025-11-27", "2025-12-31"))
    assert window_spans(ends, YEAR) == ["27 Nov – 5 Feb"]
    assert window_spans((window("2025-01-01", "2025-12-31"),), YEAR) == ["all year"]
    assert window_spans((), YEAR) == []
    assert span_text(day("2025-03-01"), day("2025-03-01")) == "1 Mar"
    assert span_text(day("2025-03-01"), day("2025-03-09")) == "1–9 Mar"


def test_every_event_and_kind_of_work_has_a_label() -> None:
    assert set(EVENT_ORDER) | set(MARKED_EVENTS) <= set(EVENT_LABELS)
    assert set(WORK_LABELS) == set(WORK_KINDS)
    assert len(set(EVENT_LABELS.values())) == len(EVENT_LABELS)
