"""The languages of the calendar.

What must hold:
- every catalogue has the same keys and the same placeholders in every text, and none in vain;
- in a German or Spanish calendar no fixed text is English, whatever the form: what is left of
  English are names of taxa, rules and conditions, and the calendar says so;
- dates read as they are written in the language;
- the chart keeps its texts apart and on the page in every language.
"""

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from string import Formatter

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from test_calendar_chart import check_apart, crowd
from test_calendar_text import made_up, taxon

import timing
from timing.calendar import YearCalendar
from timing.charts.booklet import draw_booklet
from timing.charts.calendar_chart import draw_calendar
from timing.charts.region_chart import draw_region
from timing.events import EVENT_ORDER
from timing.export.calendar_files import calendar_entries
from timing.export.calendar_html import calendar_html
from timing.export.calendar_text import calendar_strip
from timing.export.region_text import region_strip
from timing.language import ENGLISH, LANGUAGES, Language, language
from timing.region import RegionCalendar, region_calendar
from timing.region_year import shared_year
from timing.site import Site
from timing.species.catalogue import common_rules
from timing.species.model import WORK_KINDS
from timing.wording import dated, day_text, percent, place_text, run_spans, span_text

PACKAGE = Path(timing.__file__).parent
OTHERS = [code for code in LANGUAGES if code != "en"]
FORMS = ("page", "chart", "strip", "booklet", "region text", "region chart")
SAME = {  # words that are rightly the same in two languages
    "Jan", "Feb", "Mar", "Apr", "Jun", "Jul", "Aug", "Sep", "Nov", "April", "August", "September",
    "November", "de", "es", "no",
}  # fmt: skip


def day(text: str) -> np.datetime64:
    return np.datetime64(text, "D")


def placeholders(text: str) -> list[str]:
    return sorted(name for _, name, _, _ in Formatter().parse(text) if name)


@pytest.mark.parametrize("code", OTHERS)
def test_catalogues_have_the_same_keys_and_placeholders(code: str) -> None:
    other = language(code)
    assert list(other.texts) == list(ENGLISH.texts)
    for key, text in ENGLISH.texts.items():
        assert placeholders(other.texts[key]) == placeholders(text), key
        assert other.texts[key] or not text, key


def test_every_text_is_asked_for_somewhere() -> None:
    """By its whole key, with its table, or in a key whose end stands apart, as in "work.{kind}"."""
    code = "\n".join(path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py"))
    quoted = set(re.findall(r"[\"']([\w. ]+)[\"']", code))
    begun = tuple(re.findall(r"f[\"'](\w+\.\w*)\{", code))
    whole = {"short_months", *re.findall(r"\.table\([\"'](\w+)[\"']\)", code)}
    for key in ENGLISH.texts:
        ends = {key.removeprefix(start) for start in begun if key.startswith(start)}
        ends |= {end.replace("_", " ") for end in ends}
        assert key in quoted or key.partition(".")[0] in whole or ends & quoted, key


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_event_kind_and_month_has_a_text(code: str) -> None:
    found = language(code)
    assert set(found.table("events")) >= set(EVENT_ORDER)
    assert tuple(found.table("work")) == tuple(found.table("short_work")) == WORK_KINDS
    assert list(found.table("months")) == [str(number) for number in range(1, 13)]
    assert len({name[:3].lower() for name in found.table("months").values()}) == 12


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("en", ("20 June", "20 June 2025", "16–20 Jul", "16 Jul – 2 Aug", "all year", "89%")),
        ("de", ("20. Juni", "20. Juni 2025", "16.–20. Juli", "16. Juli – 2. Aug.",
                "das ganze Jahr", "89 %")),
        ("es", ("20 de junio", "20 de junio de 2025", "16–20 jul", "16 jul – 2 ago",
                "todo el año", "89 %")),
    ],
)  # fmt: skip
def test_dates_read_as_they_are_written(code: str, words: tuple[str, ...]) -> None:
    found = language(code)
    whole = (day("2024-01-01"), day("2024-12-31"))
    assert words == (
        day_text(day("2025-06-20"), found),
        dated(day("2025-06-20"), found),
        span_text(day("2025-07-16"), day("2025-07-20"), found),
        span_text(day("2025-07-16"), day("2025-08-02"), found),
        run_spans([whole], 2024, found)[0],
        percent(0.899, found),
    )


def test_a_run_from_the_second_of_january_is_not_all_year() -> None:
    assert run_spans([(day("2024-01-02"), day("2024-12-31"))], 2024) == ["2 Jan – 31 Dec"]


def test_coordinates_follow_the_language() -> None:
    site = Site("x", -33.5, 151.25)
    assert place_text(site) == "33.50° S, 151.25° E, elevation unknown"
    assert place_text(site, language("de")) == "33,50° S, 151,25° O, Höhe unbekannt"


def nameless(code: str) -> YearCalendar:
    """A calendar in which the user's and the species files' texts have no words."""
    row = taxon(0, "Xx", "Xx")
    row = replace(
        row,
        bands=tuple(replace(band, limits=("Xx",)) for band in row.bands),
        species=replace(row.species, work=dict.fromkeys(WORK_KINDS, ()), cautions=()),
    )
    calendar = made_up(row, site=Site("Xx", 45.0, 7.0, None, True, "Xx"))
    calendar = replace(calendar, record=replace(calendar.record, source="Xx"))
    return replace(calendar, language=language(code))


@cache
def written(code: str, form: str) -> str:
    """All words of a form, as one text."""
    calendar = nameless(code)
    return {
        "page": page_words,
        "chart": lambda year: chart_words(draw_calendar(year)),
        "strip": calendar_strip,
        "booklet": lambda year: chart_words(*draw_booklet(year)),
        "entries": lambda year: " ".join(
            f"{e.summary} {e.description}" for e in calendar_entries(year)
        ),
        "region text": lambda year: region_strip(two_sites(year)),
        "region chart": lambda year: chart_words(draw_region(two_sites(year))),
        "region page": lambda year: page_words(shared_year(two_sites(year))),
    }[form](calendar)


def page_words(calendar: YearCalendar) -> str:
    page = re.sub(r"<(style|script)[ >].*?</\1>", " ", calendar_html(calendar), flags=re.S)
    labels = " ".join(re.findall(r'(?:aria-label|title|placeholder)="(.*?)"', page))
    return f"{re.sub(r'<[^>]+>', ' ', page)} {labels}"


def chart_words(*figures: Figure) -> str:
    return " ".join(text.get_text() for figure in figures for text in figure.findobj(Text))


def two_sites(calendar: YearCalendar) -> RegionCalendar:
    site = replace(calendar.site, name="Xy", elevation_m=600.0)
    return region_calendar("Xx", [calendar, replace(calendar, site=site)], on=calendar.today)


def words_of(text: str) -> set[str]:
    return set(re.findall(r"[^\W\d_]{2,}", text))


RULES_OF_ALL = words_of(" ".join(f"{c.text} {c.source}" for c in common_rules().cautions))


@pytest.mark.parametrize("code", OTHERS)
@pytest.mark.parametrize("form", [*FORMS, "entries", "region page"])
def test_no_fixed_text_is_left_in_english(code: str, form: str) -> None:
    own = words_of(" ".join(language(code).texts.values()))
    english = words_of(" ".join(ENGLISH.texts.values())) - own - SAME
    text = written(code, form)
    rules = RULES_OF_ALL if form == "booklet" else set()  # these stay English
    assert words_of(text) & english - rules == set()
    known = {word.lower() for full in own for word in (full, full[:3])} | {"xx", "xy"}
    assert {word.lower() for word in words_of(text)} - known - {
        word.lower() for word in rules
    } == set()
    assert len(words_of(written("en", form)) & english) > 20


@pytest.mark.parametrize("code", OTHERS)
def test_it_says_that_names_stay_english(code: str) -> None:
    note = language(code).text("notice.names_stay_english")
    for form in FORMS:
        assert note in " ".join(written(code, form).split()), form


@pytest.mark.parametrize("code", OTHERS)
def test_the_chart_keeps_its_texts_apart(code: str) -> None:
    check_apart(draw_calendar(replace(crowd(4), language=language(code))))
    check_apart(draw_region(two_sites(replace(crowd(3), language=language(code)))))


def test_a_sentence_keeps_one_full_stop() -> None:
    german = language("de")
    day_of = german.text("dates.short_day", day=8, month="Feb.")
    assert german.text("booklet.last_safe_day", listed=day_of) == "Letzter sicherer Tag: 8. Feb."
    assert ".." not in written("de", "booklet")


def test_values_may_hold_braces() -> None:
    found = Language("xx", {"a.b": "{name}!"})
    assert found.text("a.b", name="{evil} {0}") == "{evil} {0}!"
