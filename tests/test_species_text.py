"""The page about a taxon reads well and hides nothing.

What must hold, for every taxon:

* every text and every source of its data is on the page, each source once, as a numbered note,
  and every number points to a note;
* nothing is said twice in one bracket, and a share of nothing is called nothing;
* events come in the order of a season, and none that never happens is listed;
* a root limit that nobody published is called unknown; poison and disease are never passed over;
* the units are explained in what a thermometer shows, as the library counts them.
"""

import re

import numpy as np
import pytest

from timing.clocks import CLOCKS, LEAFING, Clock
from timing.export.species_text import species_text
from timing.species.catalogue import load_species, slugs
from timing.species.hazards import hazards_of
from timing.species.model import Species
from timing.thermal import chill_portions
from timing.wording import EVENT_LABELS

SLUGS = slugs()
IN_ORDER = (
    ("chill_met", "bud_break"),
    ("sap_rise", "sap_peak", "bud_break"),
    ("candles_extending", "bud_break", "needles_half", "leaf_full_size"),
    ("bud_break", "leaf_full_size", "flush_hardened", "growth_stop", "leaf_colour", "leaf_fall"),
    ("leaf_fall", "dormant"),
    ("full_bloom", "after_flowering", "season_end", "dormant"),
    ("leaf_full_size", "flower_bud_set", "leaf_colour"),
    ("warm_start", "warm_end"),
)
EARLY_STOPPERS = ("pine_singleflush", "conifer_needle")  # growth stops as the needles lengthen


def page(slug: str) -> str:
    return species_text(load_species(slug))


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def sources(species: Species) -> set[str]:
    rules = [rule for kind in species.work.values() for rule in kind]
    shown = [
        model
        for model in species.events.values()
        if model.name != "sap_peak" or species.bleeding.mechanism != "none"
    ]
    items = [*shown, *rules, *species.cautions, species.bleeding, species.removal]
    items += [species.dominance, species.recovery]
    items += [species.root_zone] if species.root_zone else []
    items += [season for hazard in hazards_of(species) for season in hazard.closed]
    return {item.source for item in items} - {"common practice, no source"}


@pytest.mark.parametrize("slug", SLUGS)
def test_every_source_is_one_note_and_every_number_leads_to_one(slug: str) -> None:
    text = page(slug)
    body, _, notes = text.partition("\nNotes\n")
    listed = re.findall(r"(?m)^ {2,3}(\d+)  ", notes)
    assert listed == [str(number) for number in range(1, len(listed) + 1)]
    used = re.findall(r"\[(?:[a-z\s]+,\s+)?(\d+)\]", body)
    assert set(used) == set(listed)
    species = load_species(slug)
    assert len(listed) == len(sources(species))
    for source in sources(species):
        assert squeezed(source) in squeezed(notes), source


@pytest.mark.parametrize("slug", SLUGS)
def test_every_text_is_on_the_page(slug: str) -> None:
    species, text = load_species(slug), squeezed(page(slug))
    rules = [rule for kind in species.work.values() for rule in kind]
    words = [rule.why for rule in rules]
    words += [need.text for rule in rules for need in rule.only_if]
    words += [species.dominance.text, species.recovery.text, *(c.text for c in species.cautions)]
    for item in species.disagreements:
        words += [item.question, item.one_side, item.other_side, item.handling]
    assert [word for word in words if squeezed(word) not in text] == []


@pytest.mark.parametrize("slug", SLUGS)
def test_it_reads_plainly(slug: str) -> None:
    text = page(slug)
    assert [line for line in text.splitlines() if len(line) > 80] == []
    assert "common practice: common practice" not in text
    assert not re.search(r"(?<!\d)0%", text)
    assert "units of warmth" not in text
    assert "nothing from a weak" in " ".join(text.split())
    for title in ("Disease and pests", "Poison and injury", "Roots in a pot, in winter"):
        assert f"\n{title}\n" in text
    assert ("Unknown: no figure" in text) == (load_species(slug).root_zone is None)
    assert text.count("\nAuthorities differ\n") == bool(load_species(slug).disagreements)


@pytest.mark.parametrize("slug", SLUGS)
def test_events_come_in_the_order_of_a_season(slug: str) -> None:
    species, text = load_species(slug), page(slug)
    places = {name: text.find(f"\n  {EVENT_LABELS[name]:<22}") for name in species.events}
    missing = {name for name, place in places.items() if place < 0}
    dry = species.bleeding.mechanism == "none"
    assert missing == ({"sap_peak"} & set(places) if dry else set())
    for names in IN_ORDER:
        found = [
            places[name]
            for name in names
            if places.get(name, -1) >= 0
            and not (name == "growth_stop" and species.habit in EARLY_STOPPERS)
        ]
        assert found == sorted(found), names


def worth(clock: Clock, celsius: float) -> float:
    return 1 / (1 + np.exp(-clock.slope * (celsius - clock.midpoint_c)))


def test_a_warm_day_is_worth_what_the_page_says() -> None:
    text = " ".join(page("prunus-yedoensis").split())
    stated = re.findall(
        r"a day counts a tenth at (?:a maximum of|an even) (\d+) °C, half at (\d+) °C and "
        r"nine tenths at (\d+) °C",
        text,
    )
    clocks = (CLOCKS["full_bloom"], CLOCKS["bud_break"], LEAFING)
    assert len(stated) == len(clocks)
    for clock, temperatures in zip(clocks, stated, strict=True):
        shares = [worth(clock, float(celsius)) for celsius in temperatures]
        assert shares == pytest.approx([0.1, 0.5, 0.9], abs=0.02)
    for clock, hours in zip(
        clocks, re.findall(r"a day of ([\d.]+) h of light", text), strict=False
    ):
        assert (float(hours) / 12) ** clock.exponent == pytest.approx(2, rel=0.02)


@pytest.mark.parametrize("celsius", [6.0, 8.0])
def test_a_chill_portion_takes_the_hours_the_page_says(celsius: float) -> None:
    hours = 24 * 60
    portions = float(np.asarray(chill_portions(np.full(hours, celsius)))[-1])
    assert "about 29 hours at 6 to 8 °C" in page("acer-palmatum")
    assert hours / portions == pytest.approx(29, abs=1)
