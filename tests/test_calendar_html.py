"""The year's calendar as a page.

What must hold:
- one file: nothing is asked from elsewhere, and the policy names the only script and style by
  their hashes;
- a hostile name of a site, a source or a taxon stays text: it makes no element and runs nothing;
- the height of a band on a day is the chance of that day in whole per cent, rounded down; the
  table behind it has every window and every event; cautions, record, method, whom to credit and
  the notice of an invented place are said, with and without JavaScript;
- in Chromium, at 360, 768 and 1280 px: no word on the console, nothing wider than the window, a
  picture that is not blank; dark where the reader wants dark; it prints;
- the filter follows the address and the form; arrow keys and a click tell the odds of a day; the
  line of the day is the reader's own;
- axe-core finds nothing serious;
- sixty taxa make a page below one megabyte that loads and filters at once.
"""

import base64
import hashlib
import re
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import Browser, axe_core
from PIL import Image
from sites import place
from test_calendar_text import YEAR, band, hump, made_up, taxon

from timing.calendar import YearCalendar, year_calendar
from timing.export.calendar_html import calendar_html
from timing.export.calendar_svg import band_path, chance_list, percents
from timing.language import language
from timing.region import region_calendar
from timing.region_year import shared_year
from timing.site import Site
from timing.species.model import WORK_KINDS
from timing.wording import window_spans

HOSTILE = (
    "</script><script>window.hacked=1</script>",
    "<img src=x onerror=window.hacked=2>",
    "\"' onfocus=window.hacked=3 autofocus x='",
    "--></style></title><b>bold</b>{month}{0}",
    "\u202eright to left \u05e9\u05dc\u05d5\u05dd \U0001f333",
)
PLAIN = "an ordinary name"
OPEN_ALL = "document.querySelectorAll('details').forEach(item => item.open = true)"


class Elements(HTMLParser):
    """Counts the elements of a page and keeps its text and attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.count: Counter[str] = Counter()
        self.attributes: list[tuple[str, str, str]] = []
        self.text: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.count[tag] += 1
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


@cache
def real(*slugs: str) -> YearCalendar:
    site = place("humid-continental")
    return year_calendar(
        [site.outlook(slug) for slug in slugs],
        YEAR,
        confidence=0.9,
        today=np.datetime64("2025-06-20", "D"),
    )


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    opened = Browser(tmp_path_factory.mktemp("profile"))
    opened.set_clock("2025-06-20")
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "year.html"
    slugs = ("acer-palmatum", "ulmus-parvifolia", "acer-buergerianum", "pinus-thunbergii")
    path.write_text(calendar_html(real(*slugs)), encoding="utf-8")
    return path


# ---------------------------------------------------------------------------- the file


def test_the_policy_names_the_only_script_and_style(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    found = Elements(text)
    (policy,) = (
        value for tag, name, value in found.attributes if tag == "meta" and "default-src" in value
    )
    assert policy.startswith("default-src 'none'; ")
    for tag in ("script", "style"):
        (inner,) = re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.S)
        digest = base64.b64encode(hashlib.sha256(inner.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert {name for _, name, _ in found.attributes} & {"src", "style", "onclick"} == set()
    assert all(v.startswith("#") for _, name, v in found.attributes if name == "href")
    assert set(re.findall(r"[\w.]+://[^\s\"']*", text)) <= {"http://www.w3.org/2000/svg"}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_stays_text(name: str) -> None:
    def written(text: str) -> Elements:
        row = taxon(0, text, text)
        row = replace(row, bands=(replace(row.bands[0], limits=(text,)), *row.bands[1:]))
        site = Site(text, 45.0, 7.0, 300.0, attribution=text)
        calendar = made_up(row, site=site)
        file = text.replace("/", "\N{DIVISION SLASH}")  # of a path the page names the last part
        return Elements(
            calendar_html(replace(calendar, record=replace(calendar.record, source=file)))
        )

    plain, hostile = written(PLAIN), written(name)
    assert hostile.count == plain.count
    assert Counter(n for _, n, _ in hostile.attributes) == Counter(
        n for _, n, _ in plain.attributes
    )
    told = "".join(hostile.text).replace("\N{DIVISION SLASH}", "/")
    assert told.count(name) == "".join(plain.text).count(PLAIN) >= 6


def test_the_path_is_the_chance_of_every_day() -> None:
    chance = np.linspace(0.0, 1.0, 365)
    chance[40:60] = 0.0
    found = band("heavy", chance)
    heights: list[int] = []
    up = 0
    for step, size in re.findall(r"([vh])(-?\d+)", band_path(found)):
        if step == "v":
            up -= int(size)
        else:
            heights += [up] * int(size)
    assert heights == [int(100 * value + 1e-6) for value in chance] == percents(found)
    runs = [run.partition("*") for run in chance_list(found).split(" ")]
    assert [v for value, _, n in runs for v in [int(value)] * int(n or 1)] == heights


def test_the_table_has_every_window_and_event() -> None:
    calendar = real("acer-palmatum")
    row = calendar.rows[0]
    text = calendar_html(calendar)
    rows = [r for r in re.findall(r"<tr.*?</tr>", text) if "<td>" in r]
    windows = [w for b in row.bands for w in (*b.safe, *b.marginal)]
    assert len(rows) == len(windows) + len(row.marks) > 10
    for window in windows:
        assert any(f'"{window.opens}"' in r and f'"{window.closes}"' in r for r in rows)
    for mark in row.marks:
        assert any(f'"{mark.date}"' in r for r in rows)
    for kind in WORK_KINDS:
        for rule in row.species.work[kind]:
            assert rule.why.replace("'", "&#x27;") in text


def test_what_must_be_said_is_said() -> None:
    site = Site("Garden", 45.0, 7.0, attribution="A & B, CC BY 4.0")
    for calendar, invented in ((made_up(), True), (made_up(site=site), False)):
        text = calendar_html(calendar)
        assert ("INVENTED PLACE" in text) == invented == ("No such place" in text)
        assert ("Source of temperatures: A &amp; B, CC BY 4.0." in text) != invented
        for words in ("Local rules", "nesting birds", "quarantine", "made-up.csv", "Degree days",
                      "borrows from its relatives", "90% or more", "small cuts only"):  # fmt: skip
            assert words in text, words


# ---------------------------------------------------------------------------- in a browser


def state(browser: Browser) -> Any:
    return browser.value("""({
        taxa: [...document.querySelectorAll('article')].filter(a => a.offsetHeight).map(a => a.id),
        kinds: [...new Set([...document.querySelectorAll('.row[data-kind]')]
            .filter(r => r.offsetHeight).map(r => r.dataset.kind))],
        shown: document.getElementById('shown').textContent})""")


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_it_fits_the_window_and_is_not_blank(browser: Browser, page: Path, width: int) -> None:
    pictures = {}
    for dark in (False, True) if width == 360 else (False,):
        browser.look(width, dark=dark)
        browser.open(page, "open=acer-palmatum&day=2025-07-20")
        browser.value(OPEN_ALL)
        assert browser.said == []
        assert browser.asked_for == [page.as_uri()]
        assert browser.value("document.documentElement.scrollWidth") <= width
        beyond = browser.value(f"""[...document.querySelectorAll('body *:not(svg *)')]
            .filter(e => e.getBoundingClientRect().right > {width} + 1 && e.offsetWidth > 1)
            .map(e => e.outerHTML.slice(0, 80))""")
        assert beyond == []
        picture = Image.open(BytesIO(browser.picture(whole=False))).convert("RGB")
        assert picture.width == width
        assert len(picture.getcolors(1 << 20) or range(1 << 20)) > 50
        pictures[dark] = np.asarray(picture.convert("L"), float)
    assert pictures[False].mean() > 200
    assert width > 360 or pictures[True].mean() < 80


@pytest.mark.parametrize("code", ["de", "es"])
def test_longer_words_fit_a_phone(browser: Browser, tmp_path: Path, code: str) -> None:
    path = tmp_path / "year.html"
    calendar = replace(real("acer-palmatum", "ulmus-parvifolia"), language=language(code))
    path.write_text(calendar_html(calendar), encoding="utf-8")
    browser.look(360)
    browser.open(path, "open=acer-palmatum&day=2025-07-20")
    browser.value(OPEN_ALL)
    assert browser.said == []
    assert browser.value("document.documentElement.scrollWidth") <= 360


def test_full_colour_stands_on_the_safe_days_only(browser: Browser, page: Path) -> None:
    browser.look(1280, 1000)
    browser.open(page)
    left, top, wide = browser.value("""(() => { const b = document.querySelector(
        '#acer-palmatum .heavy > svg').getBoundingClientRect(); return [b.x, b.y, b.width]; })()""")
    picture = np.asarray(Image.open(BytesIO(browser.picture(whole=False))).convert("RGB"), int)
    found = real("acer-palmatum").rows[0].bands[0]
    seen = Counter[str]()
    for day in range(3, 362):
        column = picture[round(top) : round(top) + 30, round(left + wide * (day + 0.5) / 365)]
        full, pale = (
            np.abs(column - colour).max(axis=1).min() < 12
            for colour in ((0x7A, 0x2E, 0x22), (0xDC, 0xB9, 0xAE))
        )
        near = found.chance[day - 2 : day + 3]
        if near.min() >= 0.9:
            assert full, day
            seen["safe"] += 1
        elif near.max() < 0.9:
            assert not full, day
            assert pale or near.min() < 0.2, day
            seen["pale" if near.min() >= 0.2 else "low"] += 1
    assert min(seen["safe"], seen["pale"], seen["low"]) > 5


def test_the_filter_follows_the_address(browser: Browser, page: Path) -> None:
    browser.look(1280)
    browser.open(page)
    assert state(browser) == {
        "taxa": ["acer-palmatum", "ulmus-parvifolia", "acer-buergerianum", "pinus-thunbergii"],
        "kinds": ["heavy", "light", "outline"],
        "shown": "4 of 4 taxa shown",
    }
    browser.open(page, "work=heavy&taxon=maple")
    assert state(browser) == {
        "taxa": ["acer-palmatum", "acer-buergerianum"],
        "kinds": ["heavy"],
        "shown": "2 of 4 taxa shown",
    }
    browser.open(page, "taxon=no%20such%20tree")
    assert state(browser)["taxa"] == []
    assert "Empty the search box" in state(browser)["shown"]


def test_the_form_filters_and_the_address_remembers(browser: Browser, page: Path) -> None:
    browser.look(1280)
    browser.open(page)
    browser.value("document.querySelector('input[value=light]').click()")
    browser.value("document.getElementById('find').focus()")
    browser.call("Input.insertText", text="ÉLM chinese")
    assert state(browser)["taxa"] == ["ulmus-parvifolia"]
    assert state(browser)["kinds"] == ["heavy", "outline"]
    fragment = browser.value("location.hash")
    browser.open(page, fragment[1:])
    assert state(browser)["taxa"] == ["ulmus-parvifolia"]
    assert state(browser)["kinds"] == ["heavy", "outline"]


def told(browser: Browser, slug: str) -> str:
    text = browser.value(f"document.querySelector('#{slug} .day').innerText")
    assert isinstance(text, str)
    return text


def test_arrow_keys_tell_the_odds_of_a_day(browser: Browser, page: Path) -> None:
    row = real("acer-palmatum").rows[0]
    browser.look(360)
    browser.open(page)
    browser.value("document.getElementById('find').focus()")
    reached = []
    for _ in range(30):
        browser.key("Tab", 9)
        reached.append(browser.value("document.activeElement.className"))
        if reached[-1] == "slider":
            break
    assert "slider" in reached
    assert told(browser, "acer-palmatum").startswith("20 June")
    for _ in range(30):
        browser.key("ArrowRight", 39)
    browser.key("ArrowLeft", 37)
    day = 170 + 29
    text = told(browser, "acer-palmatum")
    assert text.startswith("19 July")
    for found in row.bands:
        assert f"{int(100 * found.chance[day] + 1e-6)}%" in text
    assert row.species.work["heavy"][0].why in text
    spoken = browser.value("document.activeElement.getAttribute('aria-valuetext')")
    assert spoken.startswith("19 July. heavy cuts: ")
    (span,) = window_spans(row.bands[0].safe, YEAR)
    assert f"inside {span}, at least" in spoken


@pytest.mark.parametrize("width", [360, 1280])
def test_a_click_tells_the_day_under_it(browser: Browser, page: Path, width: int) -> None:
    browser.look(width)
    for day, words in ((10, "11 January"), (350, "17 December")):
        browser.open(page)
        x, y = browser.value(f"""(() => {{ const e = document.querySelector(
            '#acer-palmatum .heavy > svg'); e.scrollIntoView({{block: 'center'}});
            const b = e.getBoundingClientRect();
            return [b.x + b.width * {(day + 0.5) / 365}, b.y + b.height / 2]; }})()""")
        browser.click(x, y)
        assert told(browser, "acer-palmatum").startswith(words)


def test_a_window_tells_its_odds(browser: Browser, page: Path) -> None:
    row = real("ulmus-parvifolia").rows[0]
    (span,) = window_spans(row.bands[2].safe, YEAR)
    browser.look(1280)
    browser.open(page)
    browser.value("document.querySelector('#ulmus-parvifolia .outline button').click()")
    text = told(browser, "ulmus-parvifolia")
    assert re.search(rf"winter outline work: \d+%, safe – inside {span}, at least \d+%", text)


def test_the_line_of_the_day_is_the_readers(browser: Browser, page: Path) -> None:
    browser.look(1280)
    try:
        browser.set_clock("2025-12-30")
        browser.open(page)
        at = browser.value("document.querySelector('#grid .today').getAttribute('x1')")
        assert float(at.rstrip("%")) == pytest.approx(100 * 363.5 / 365, abs=0.01)
        assert browser.value("document.getElementById('clock').innerText") == ""
        assert "today, 30 December" in browser.value(
            "document.getElementById('months').textContent"
        )
        browser.set_clock("2026-01-02")
        browser.open(page)
        assert browser.value("document.querySelector('#grid .today')") is None
        assert browser.value("document.getElementById('clock').innerText") == (
            "This page is for 2025. Your clock says 2 January 2026: make a new one."
        )
    finally:
        browser.set_clock("2025-06-20")


def test_it_reads_without_javascript(browser: Browser, page: Path) -> None:
    browser.look(360)
    browser.call("Emulation.setScriptExecutionDisabled", value=True)
    try:
        browser.call("Page.navigate", url="about:blank")
        browser.call("Page.navigate", url=page.as_uri())
        time.sleep(0.5)
    finally:
        browser.call("Emulation.setScriptExecutionDisabled", value=False)
    assert browser.value("document.getElementById('filter').offsetHeight") == 0
    text = browser.value("document.body.innerText")
    for found in real("acer-palmatum").rows[0].bands:
        for span in window_spans(found.safe, YEAR):
            assert span in text
    assert "Local rules" in text
    assert browser.value("document.querySelectorAll('.slider, #grid .today').length") == 0


@pytest.mark.parametrize("dark", [False, True])
def test_axe_finds_nothing_serious(browser: Browser, tmp_path: Path, dark: bool) -> None:
    """In light the page of a site, in dark that of a region."""
    engine = axe_core()
    calendar = real("acer-palmatum")
    if dark:
        shore = replace(calendar, site=replace(calendar.site, name="Shore", elevation_m=5.0))
        calendar = shared_year(region_calendar("Hills", [calendar, shore], on=calendar.today))
    page = tmp_path / "year.html"
    page.write_text(calendar_html(calendar), encoding="utf-8")
    browser.look(360, dark=dark)
    browser.open(page, "open=acer-palmatum&day=2025-07-20")
    assert browser.said == []
    assert browser.value("document.documentElement.scrollWidth") <= 360
    assert ("worst site" in browser.value("document.body.innerText")) == dark
    browser.value(OPEN_ALL)
    browser.value(f"{engine};0")
    found = browser.value("""axe.run().then(r => ({passes: r.passes.length, wrong: r.violations.map(
        v => [v.id, v.impact, v.nodes.map(n => n.html.slice(0, 120))])}))""")
    assert found["passes"] > 20
    assert [item for item in found["wrong"] if item[1] in ("serious", "critical")] == []


@pytest.mark.parametrize(("wide", "high"), [(8.27, 11.69), (8.5, 11.0)])
def test_it_prints(browser: Browser, page: Path, wide: float, high: float) -> None:
    browser.look(1280, dark=True)
    browser.open(page)
    pdf = browser.pdf(paperWidth=wide, paperHeight=high)
    assert pdf.startswith(b"%PDF")
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 2  # four taxa and the foot
    browser.look(round(96 * (wide - 0.94)), print_=True, dark=True)
    assert browser.value("document.getElementById('filter').offsetHeight") == 0
    assert browser.value("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert browser.value("document.documentElement.scrollWidth <= innerWidth")


def test_hostile_names_run_nothing(browser: Browser, tmp_path: Path) -> None:
    rows = [taxon(n, name, name) for n, name in enumerate(HOSTILE)]
    path = tmp_path / "hostile.html"
    site = Site(" ".join(HOSTILE), 45.0, 7.0, attribution=HOSTILE[1])
    path.write_text(calendar_html(made_up(*rows, site=site)), encoding="utf-8")
    browser.look(360)
    browser.open(path, "open=acer-fictum-1&day=2025-07-20&taxon=%3Cimg%20src=x%3E")
    assert browser.value("window.hacked === undefined")
    assert browser.said == []
    assert browser.asked_for == [path.as_uri()]
    assert browser.value("document.documentElement.scrollWidth") <= 360


def test_sixty_taxa_stay_quick(browser: Browser, tmp_path: Path) -> None:
    base = real("acer-palmatum")
    row = base.rows[0]
    rows = tuple(
        replace(row, species=replace(row.species, slug=f"tree-{n}", common_name=f"tree {n}"))
        for n in range(60)
    )
    path = tmp_path / "sixty.html"
    path.write_text(calendar_html(replace(base, rows=rows)), encoding="utf-8")
    assert path.stat().st_size < 1_000_000
    browser.look(360)
    assert browser.open(path) < 4.0
    spent = browser.value("""(() => { const began = performance.now();
        const find = document.getElementById('find'); find.value = 'tree 7';
        find.dispatchEvent(new Event('input', {bubbles: true})); document.body.offsetHeight;
        return performance.now() - began; })()""")
    assert spent < 1000
    assert state(browser)["taxa"] == [f"tree-{n}" for n in (7, 17, 27, 37, 47, 57)]


def test_a_band_that_never_opens(browser: Browser, tmp_path: Path) -> None:
    row = taxon()
    never = band("heavy", hump(100, 20, 0.015))
    row = replace(row, bands=(never, *row.bands[1:]))
    path = tmp_path / "never.html"
    path.write_text(calendar_html(made_up(row)), encoding="utf-8")
    browser.look(360)
    browser.open(path, "open=acer-fictum-0&day=2025-01-05")
    text = told(browser, "acer-fictum-0")
    assert text.startswith("5 January")
    assert "heavy cuts: 0%, not safe – no safe days this year." in text
    assert "winter outline work: 100%, safe – inside 5 Dec – 28 Jan" in text
