"""The species files are complete, honest about their evidence and safe.

What must hold:

* every file loads; there are at least twenty taxa and every group growers ask about has one;
* every value carries a source and a legal grade of evidence, and so does what the groups share;
* every event a rule, a lag or a share refers to exists; every temperate taxon can be dated;
* a trade fact without a source is never called published;
* maples and pines are strongest at the apex, boxwood and azaleas in the lower branches;
* strong bleeders and hornbeams have no heavy rule that opens before the flush has hardened;
* no heavy rule of a deciduous taxon opens between leaf colour and dormancy, none of a conifer
  between the end of extension and four weeks after the season's end;
* heavy work of the growing season stops at the heavy limit, of azaleas before bud set;
* every deciduous taxon has light and outline rules, flowering cherries no outline and a reason;
* weak trees get no heavy cut, and more than a quarter off an established one is explained;
* a broken file is refused, and the message names the file and the key: so is every required key
  that is missing, and every text and source that is empty;
* the disagreements and the poisons that handbooks name are in the files of their groups, and
  every caution says what it is about;
* names find taxa in any case, with hyphens, by genus; an unknown one lists the nearest.
"""

import copy
import re
import tomllib
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from timing.errors import DataError, UsageError
from timing.species import catalogue, tables
from timing.species.catalogue import common_rules, load_species, slugs
from timing.species.model import EVIDENCE, WORK_KINDS, Rule, Species
from timing.species.names import find_species
from timing.stretches import capped_at_heavy_limit

SLUGS = slugs()
DECIDUOUS = ("deciduous", "flowering_deciduous", "deciduous_conifer")
CONIFERS = ("pine_multiflush", "pine_singleflush", "conifer_scale", "conifer_needle")
REQUIRED_GENERA = {
    *("maple", "birch", "beech", "hornbeam", "elm", "zelkova", "oak", "larch", "ginkgo"),
    *("cherry", "crab apple", "azalea", "box", "juniper", "pine", "spruce", "fig"),
}
# Winter work would let in disease (cherries and plums), cost the bloom (camellia), or never
# comes (tropicals, olive); cypresses and their like do not shoot again from bare wood.
NO_OUTLINE = {
    "bougainvillea-glabra",
    "camellia-japonica",
    "carmona-retusa",
    "chamaecyparis-obtusa",
    "citrus-microcarpa",
    "cryptomeria-japonica",
    "ficus-microcarpa",
    "olea-europaea",
    "portulacaria-afra",
    "prunus-avium",
    "prunus-cerasifera",
    "prunus-jamasakura",
    "prunus-mume",
    "prunus-serotina",
    "prunus-serrulata",
    "prunus-yedoensis",
    "thuja-occidentalis",
}
STRONG_RESHOOTERS = {
    "acer-buergerianum",
    "bougainvillea-glabra",
    "ficus-microcarpa",
    "lagerstroemia-indica",
    "ligustrum-sinense",
    "olea-europaea",
    "portulacaria-afra",
    "punica-granatum",
    "salix-babylonica",
    "taxodium-distichum",
    "ulmus-parvifolia",
}
AUTUMN_EVENTS = ("growth_stop", "flower_bud_set", "leaf_colour", "season_end", "leaf_fall")
DORMANT_SPAN = re.compile(r"dormant|season_end|sap_rise|bud_break|last_frost")
TROPICAL = {slug for slug in SLUGS if load_species(slug).habit == "tropical"}


def table(slug: str) -> dict[str, Any]:
    text = (files("timing.species") / f"{slug}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def all_species() -> list[Species]:
    return [load_species(slug) for slug in SLUGS]


def rules(species: Species) -> list[Rule]:
    return [rule for kind in WORK_KINDS for rule in species.work[kind]]


# ---------------------------------------------------------------------------- the whole set


def test_required_groups_are_present():
    assert len(SLUGS) >= 20
    assert {species.genus_name for species in all_species()} >= REQUIRED_GENERA


@pytest.mark.parametrize("slug", SLUGS)
def test_every_value_has_evidence_and_a_source(slug: str):
    species = load_species(slug)
    graded = [
        *species.events.values(),
        *rules(species),
        species.bleeding,
        species.dominance,
        species.recovery,
        *([species.root_zone] if species.root_zone else []),
    ]
    for item in graded:
        assert item.evidence in EVIDENCE, item
        assert item.source.strip(), item
        if item.source == "common practice, no source":
            assert item.evidence == "common practice", item
    assert species.removal.source.strip()
    for caution in species.cautions:
        assert caution.text.strip()
        assert caution.source.strip()


def test_shared_values_have_sources():
    shared = common_rules()
    assert shared.lighter_work.evidence in EVIDENCE
    assert all(caution.source.strip() for caution in shared.cautions)
    assert {"hygiene", "tools", "protected", "quarantine"} <= {c.topic for c in shared.cautions}


@pytest.mark.parametrize("slug", SLUGS)
def test_measured_evidence_is_claimed_only_for_measured_values(slug: str):
    for name, event in table(slug).get("events", {}).items():
        assert (event["evidence"] == "measured") == ("measured" in event), name
        if "relatives" in event:
            assert event["evidence"] == "borrowed", name


@pytest.mark.parametrize("slug", SLUGS)
def test_texts_are_whole_sentences(slug: str):
    species = load_species(slug)
    texts = [rule.why for rule in rules(species)]
    texts += [species.dominance.text, species.recovery.text, *(c.text for c in species.cautions)]
    texts += [dispute.handling for dispute in species.disagreements]
    for text in texts:
        assert text[0].isupper(), text
        assert text.endswith("."), text


# ---------------------------------------------------------------------------- events and rules


@pytest.mark.parametrize("slug", SLUGS)
def test_events_refer_to_events_the_taxon_has(slug: str):
    species = load_species(slug)
    for event in species.events.values():
        if event.model in ("lag", "share"):
            assert event.after in species.events, event
        assert event.spread_days > 0 or event.requirement == 0, event


@pytest.mark.parametrize("slug", sorted(set(SLUGS) - TROPICAL))
def test_temperate_taxa_can_be_dated(slug: str):
    species = load_species(slug)
    assert {"chill_met", "bud_break", "leaf_full_size", "flush_hardened"} <= set(species.events)
    assert species.work["heavy"]
    if "after_flowering" in species.events:
        assert "full_bloom" in species.events


@pytest.mark.parametrize("slug", sorted(TROPICAL))
def test_tropical_taxa_work_by_warmth(slug: str):
    species = load_species(slug)
    assert "bud_break" not in species.events
    assert not species.work["outline"]
    assert {rule.opens.event for rule in rules(species)} == {"warm_start"}
    assert {rule.closes.event for rule in rules(species)} == {"warm_end"}


@pytest.mark.parametrize("slug", SLUGS)
def test_rules_with_one_event_open_before_they_close(slug: str):
    for rule in rules(load_species(slug)):
        if rule.opens.event == rule.closes.event:
            assert rule.opens.offset_days < rule.closes.offset_days


def test_bleeders_are_not_cut_hard_before_the_flush_has_hardened():
    bleeders = [s for s in all_species() if s.bleeding.strength == "strong"]
    hornbeams = [s for s in all_species() if s.genus_name == "hornbeam"]
    assert {"maple", "birch"} <= {s.genus_name for s in bleeders}
    for species in bleeders + hornbeams:
        assert species.bleeding.mechanism != "none", species.slug
        for rule in species.work["heavy"]:
            assert rule.opens.event == "flush_hardened", species.slug
            assert rule.opens.offset_days >= 0
            assert rule.closes.event == "heavy_limit", species.slug
        for rule in rules(species):
            if rule.closes.event == "sap_rise":
                assert rule.closes.offset_days < 0, species.slug


def test_no_heavy_rule_of_a_deciduous_taxon_opens_in_autumn():
    for species in all_species():
        if species.habit in DECIDUOUS:
            for rule in species.work["heavy"]:
                assert rule.opens.event not in AUTUMN_EVENTS, species.slug
                if rule.opens.event == "dormant":
                    assert rule.opens.offset_days >= 28, species.slug


def test_conifers_are_not_cut_hard_while_they_harden():
    for species in all_species():
        if species.habit in CONIFERS:
            for rule in species.work["heavy"]:
                assert rule.opens.event not in set(AUTUMN_EVENTS) - {"season_end"}, species.slug
                if rule.opens.event == "season_end":
                    assert rule.opens.offset_days >= 28, species.slug


def test_growing_season_heavy_work_stops_at_the_limit():
    for species in all_species():
        if species.slug in TROPICAL:
            continue
        for rule in species.work["heavy"]:
            if DORMANT_SPAN.match(rule.opens.event):
                continue
            if rule.opens.event == "after_flowering":  # soon over, and cut off at the limit too
                assert capped_at_heavy_limit(rule, "heavy")
                continue
            assert rule.closes.event == "heavy_limit", species.slug
            assert rule.closes.offset_days <= 0, species.slug


@pytest.mark.parametrize("slug", SLUGS)
def test_light_and_outline_rules_are_there_or_explained(slug: str):
    species = load_species(slug)
    assert species.work["light"]
    assert (not species.work["outline"]) == (slug in NO_OUTLINE)


def test_cherries_say_why_winter_work_is_missing():
    species = load_species("prunus-serrulata")
    assert any("No outline work in winter" in caution.text for caution in species.cautions)
    for rule in rules(species):
        assert rule.opens.event == "after_flowering"
        assert "dry" in {need.name for need in rule.only_if}


def test_vector_diseases_close_the_growing_season():
    for genus, hazard in (("elm", "no_ded_area"), ("oak", "no_oak_wilt_area")):
        for slug in find_species(genus):
            for rule in rules(load_species(slug)):
                if rule.opens.event == "flush_hardened":
                    assert hazard in {need.name for need in rule.only_if}, slug


# ---------------------------------------------------------------------------- amounts and form


@pytest.mark.parametrize("slug", SLUGS)
def test_shares_fall_with_the_trees_condition(slug: str):
    removal = load_species(slug).removal
    assert removal.weak == 0
    assert 0 < removal.established <= removal.vigorous <= 0.6
    if removal.established > 0.25:
        assert slug in STRONG_RESHOOTERS or "published" in removal.source
    if removal.basis == "published":
        assert removal.vigorous <= 0.25
        assert "A300" in removal.source


def test_dominance_by_group():
    for genus, part in (
        ("maple", "apex"),
        ("pine", "apex"),
        ("box", "lower branches"),
        ("azalea", "lower branches"),
    ):
        for slug in find_species(genus):
            assert load_species(slug).dominance.part == part, slug


@pytest.mark.parametrize("genus", ["maple", "birch", "beech", "pine", "cherry", "box", "juniper"])
def test_known_disagreements_show_both_sides(genus: str):
    for slug in find_species(genus):
        assert load_species(slug).disagreements, slug


# Words of the question and of both sides that each group must carry.
DISAGREEMENTS = {
    "maple": ("does bleeding harm", "lose a large branch", "early in dormancy"),
    "hornbeam": ("does bleeding harm", "lose a large branch"),
    "birch": ("does bleeding harm", "mid-summer", "borers"),
    "beech": ("dormancy", "closed more slowly"),
    "elm": ("growing season",),
    "oak": ("close sooner", "sap beetles"),
    "pine": ("october to january", "by candles", "pine roots"),
    **dict.fromkeys(("cherry", "plum", "apricot"), ("summer", "dormancy")),
    "box": ("december to february", "after frost"),
    "juniper": ("late winter to early spring", "tip blight"),
    "azalea": ("azalea roots", "-18 °c", "-12 °c"),
    "magnolia": ("star magnolia",),
    **dict.fromkeys(
        (
            "crab apple",
            "hawthorn",
            "firethorn",
            "cotoneaster",
            "flowering quince",
            "Chinese quince",
            "serviceberry",
            "chokeberry",
        ),
        ("disinfected between cuts", "bleach"),
    ),
}


@pytest.mark.parametrize("genus", DISAGREEMENTS)
def test_each_group_carries_the_disagreements_about_it(genus: str):
    for slug in find_species(genus):
        items = load_species(slug).disagreements
        text = " ".join(f"{d.question} {d.one_side} {d.other_side}" for d in items).lower()
        missing = [words for words in DISAGREEMENTS[genus] if words not in text]
        assert missing == [], slug


POISONS = {
    "fig": "latex",
    "yew": "poisonous to people and livestock",
    "wisteria": "seeds and pods",
    "azalea": "poisonous if eaten",
    "box": "poisonous if eaten",
    **dict.fromkeys(("cherry", "plum", "apricot"), "wilted leaves"),
    "privet": "berries are poisonous",
    "arborvitae": "thujone",
    "oak": "acorns",
    "elder": "unripe berries",
    "juniper": "irritates skin",
    "ginkgo": "irritates skin",
    "red maple": "wilted leaves are poisonous to horses",
}


@pytest.mark.parametrize("name", POISONS)
def test_each_group_carries_the_poisons_it_holds(name: str):
    for slug in find_species(name):
        harmful = [c for c in load_species(slug).cautions if c.topic in ("poison", "injury")]
        assert any(POISONS[name] in caution.text.lower() for caution in harmful), slug


@pytest.mark.parametrize("slug", SLUGS)
def test_every_caution_says_what_it_is_about(slug: str):
    assert [c.text for c in load_species(slug).cautions if not c.topic] == []


def test_root_zone_limits_are_plausible():
    limits = {s.slug: s.root_zone.coldest_c for s in all_species() if s.root_zone}
    assert limits["buxus-sempervirens"] == -3.9
    assert all(-30 < value < 0 for value in limits.values())


# ---------------------------------------------------------------------------- broken files


def broken(path: tuple[str | int, ...], value: Any) -> catalogue._Reader:
    """Reader of a maple's table with one value replaced, or removed where it is None."""
    copied = copy.deepcopy(table("acer-palmatum"))
    place: Any = copied
    for key in path[:-1]:
        place = place[key]
    if value is None:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return catalogue._Reader("acer-palmatum", copied)


@pytest.mark.parametrize(
    ("path", "value", "key"),
    [
        (("work", "heavy", 0, "source"), None, "work.heavy 1.source"),
        (("work", "light", 1, "evidence"), "hearsay", "work.light 2.evidence"),
        (("work", "light", 1, "only_if"), ["full_moon"], "work.light 2.only_if"),
        (("work", "heavy", 0, "avoid"), ["monday"], "work.heavy 1.avoid"),
        (("work", "heavy", 0, "opens"), "candles_extending", "work.heavy 1.opens"),
        (("work", "outline", 0, "closes"), "sap_rise-2", "work.outline 1.closes"),
        (("work", "heavy", 0, "why"), "  ", "work.heavy 1.why"),
        (("events", "bud_break", "relatives"), ["acer-nowhere"], "events.bud_break"),
        (("events", "bud_break", "relatives"), [], "events.bud_break"),
        (("events", "bud_break", "rank"), "early", "events.bud_break"),
        (("events", "chill_met", "need"), "some", "events.chill_met.need"),
        (("events", "leaf_fall", "source"), None, "events.leaf_fall.source"),
        (("removal",), None, "removal"),
        (("removal", "vigorous"), "half", "removal.vigorous"),
        (("removal", "established"), 0.9, "removal"),
        (("bleeding",), None, "bleeding"),
        (("dominance", "part"), "roots", "dominance.part"),
        (("recovery", "source"), None, "recovery.source"),
        (("root_zone", "coldest_c"), None, "root_zone.coldest_c"),
        (("cautions", 0, "source"), None, "cautions.source"),
        (("disagreements", 0, "handling"), None, "disagreements.handling"),
        (("habit",), "shrubby", "habit"),
        (("common_name",), None, "common_name"),
    ],
)
def test_a_broken_file_is_refused_by_name_and_key(
    path: tuple[str | int, ...], value: Any, key: str
):
    with pytest.raises(DataError) as refusal:
        broken(path, value).species()
    assert "acer-palmatum.toml" in str(refusal.value)
    assert key in str(refusal.value)


# A maple, and an azalea for what a maple lacks: flowers, lags, two spreads.
BROKEN_IN_TURN = ("acer-palmatum", "rhododendron-kurume")
OPTIONAL = {"other_names", "avoid", "only_if", "topic", "spread_days", "site_spread_days"}


def damaged(slug: str) -> Iterator[tuple[str, str, str, str]]:
    """A file with one required line taken out, or its text emptied: key, section, what, text."""
    lines = (files("timing.species") / f"{slug}.toml").read_text(encoding="utf-8").splitlines()
    section = ""
    for number, line in enumerate(lines):
        if line.startswith("["):
            section = line.strip("[]")
        key, equals, value = line.partition(" = ")
        if not equals or key in OPTIONAL:
            continue
        without = [*lines[:number], *lines[number + 1 :]]
        yield key, section, "missing", "\n".join(without)
        if value.startswith('"'):
            emptied = [*lines[:number], f'{key} = "  "', *lines[number + 1 :]]
            yield key, section, "empty", "\n".join(emptied)


@pytest.fixture
def species_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder of species files of one's own, read instead of the shipped ones."""
    for name in ("_groups.toml", "_measured.toml"):
        text = (files("timing.species") / name).read_text(encoding="utf-8")
        (tmp_path / name).write_text(text, encoding="utf-8")
    cached = (load_species, common_rules)
    shipped = catalogue.read_table
    own = {name: shipped(name) for name in ("_groups", "_measured")}

    def read_table(stem: str) -> dict[str, Any]:
        return own.get(stem) or shipped.__wrapped__(stem)

    for module in (catalogue, tables):
        monkeypatch.setattr(module, "files", lambda _package: tmp_path)
    monkeypatch.setattr(catalogue, "read_table", read_table)
    for function in cached:
        function.cache_clear()
    yield tmp_path
    for function in cached:
        function.cache_clear()


@pytest.mark.parametrize("slug", BROKEN_IN_TURN)
def test_every_required_key_of_a_file_is_asked_for_by_name(slug: str, species_folder: Path):
    path = species_folder / f"{slug}.toml"
    checked = 0
    for key, section, what, text in damaged(slug):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(DataError) as refusal:
            load_species(slug)
            pytest.fail(f"{section}.{key} {what}: accepted")
        message = str(refusal.value)
        assert message.startswith(f"species file {slug}.toml, "), (section, key, message)
        assert key in message, (section, key, message)
        assert section.split(".")[0] in message, (section, key, message)
        assert len(message) < 200 and "\n" not in message, message
        checked += 1
    assert checked > 100


@pytest.mark.parametrize("slug", BROKEN_IN_TURN)
def test_a_whole_part_that_is_missing_is_asked_for_by_name(slug: str, species_folder: Path):
    text = (files("timing.species") / f"{slug}.toml").read_text(encoding="utf-8")
    for part in ("bleeding", "removal", "dominance", "recovery", "events.chill_met",
                 "events.bud_break", "events.leaf_full_size"):  # fmt: skip
        shorter, found = re.subn(rf"\[{re.escape(part)}\]\n(?:[a-z_]+ = .*\n)+", "", text)
        assert found == 1, part
        (species_folder / f"{slug}.toml").write_text(shorter, encoding="utf-8")
        with pytest.raises(DataError, match=rf"species file {slug}\.toml, {re.escape(part)}: "):
            load_species(slug)


@pytest.mark.parametrize(
    ("right", "wrong", "where"),
    [
        ('need = "', 'nead = "', "events.chill_met.nead"),
        ('avoid = ["midsummer_heat"]', 'avoids = ["midsummer_heat"]', "work.heavy 1.avoids"),
        ('handling = "', 'handeling = "', "disagreements.handeling"),
        ("coldest_c = ", "coldest = ", "root_zone.coldest"),
    ],
)
def test_a_misspelt_key_is_named(right: str, wrong: str, where: str, species_folder: Path):
    text = (files("timing.species") / "acer-palmatum.toml").read_text(encoding="utf-8")
    assert right in text
    path = species_folder / "acer-palmatum.toml"
    path.write_text(text.replace(right, wrong, 1), encoding="utf-8")
    with pytest.raises(DataError, match=re.escape(where)):
        load_species("acer-palmatum")


def test_the_unbroken_table_is_accepted():
    assert broken(("other_names",), []).species().slug == "acer-palmatum"


# ---------------------------------------------------------------------------- names


@pytest.mark.parametrize(
    "name",
    ["Acer palmatum", "japanese maple", "JAPANESE-MAPLE", "acer-palmatum", " acer_palmatum "],
)
def test_one_taxon_by_any_of_its_names(name: str):
    assert find_species(name) == ("acer-palmatum",)


@pytest.mark.parametrize("name", ["maple", "Acer", "MAPLE"])
def test_a_genus_finds_all_its_taxa(name: str):
    assert find_species(name) == tuple(slug for slug in SLUGS if slug.startswith("acer-"))


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("shimpaku", "juniperus-chinensis"),
        ("boxwood", "buxus-sempervirens"),
        ("satsuki", "rhododendron-indicum"),
        ("kuromatsu", "pinus-thunbergii"),
        ("crabapple", "malus-halliana"),
    ],
)
def test_growers_words_find_the_taxon(name: str, slug: str):
    assert find_species(name) == (slug,)


def test_full_names_point_to_one_taxon_only():
    for species in all_species():
        assert find_species(species.scientific_name) == (species.slug,)
        assert find_species(species.common_name) == (species.slug,)


def test_an_unknown_name_lists_the_nearest():
    with pytest.raises(UsageError, match=r"japanse maple.*nearest: .*japanese maple"):
        find_species("japanse maple")
    with pytest.raises(UsageError, match="species list"):
        find_species("xqzw")
    with pytest.raises(UsageError, match="no species 'acer-nowhere'"):
        load_species("acer-nowhere")
