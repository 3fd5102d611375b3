"""The plan of work for the days a grower has.

What must hold
- no distribution of jobs over days is worth more: brute force on small cases with every kind of
  bond, linear assignment where a day holds one job, and brute force over the rules of real trees
- a day holds no more trees than it may, and no tree twice
- four weeks between a tree's heavy cut and its other work, also after a cut on record
- nothing is planned on a day below the confidence, on a held or weak tree's account, or for work
  that was done in its window; what is left over says why
- of equal plans the earlier days win; the order and doubling of the days change nothing; past days
  are refused
"""

from __future__ import annotations

import datetime as dt
import itertools

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment
from sites import place

from timing.agenda_tasks import Asked, Subject
from timing.answers import outlook, site_drivers
from timing.assignment import Claim, assign
from timing.errors import UsageError
from timing.notebook.model import WorkDone
from timing.recovery import holds
from timing.species.catalogue import load_species
from timing.work_plan import plan

ON = np.datetime64("2025-06-20")
SUMMER = ("2025-07-12", "2025-07-26", "2025-08-02", "2025-08-30")
YEAR = ("2025-07-12", "2025-08-02", "2025-11-29", "2026-03-07")
VIEWS = {}


def view(slug, condition="established"):
    if (slug, condition) not in VIEWS:
        here = place("humid-continental").as_of(ON)
        VIEWS[slug, condition] = outlook(
            load_species(slug), here.record, here.drivers, on=ON, condition=condition
        )
    return VIEWS[slug, condition]


def tree(name, slug="acer-palmatum", condition="established", **options):
    return Subject(name, "Yard", view(slug, condition), condition=condition, **options)


def done(kind, day):
    return WorkDone("x", kind, dt.date.fromisoformat(day))


def planned(trees, days, per_day=6, confidence=0.9):
    dates = [np.datetime64(day) for day in days]
    return plan(trees, dates, Asked(ON, confidence), per_day=per_day)


def slots(found):
    return {(item.job.subject.name, item.job.work, str(item.day)) for item in found.planned}


# ------------------------------------------------------------------------ the distribution


def total(claims, chosen):
    return sum(
        claim.values[day] for claim, day in zip(claims, chosen, strict=True) if day is not None
    )


def allowed(claims, chosen, places):
    taken = [(claim, day) for claim, day in zip(claims, chosen, strict=True) if day is not None]
    days = [day for _, day in taken]
    visits = [(claim.owner, day) for claim, day in taken]
    gates = [claim.gate for claim, _ in taken if claim.gate is not None]
    return (
        all(days.count(day) <= places for day in set(days))
        and len(visits) == len(set(visits))
        and len(gates) == len(set(gates))
    )


@pytest.mark.parametrize("seed", range(60))
def test_no_distribution_is_worth_more(seed):
    rng = np.random.default_rng(seed)
    places = int(rng.integers(1, 3))
    claims = []
    for _ in range(int(rng.integers(1, 6))):
        values = {day: int(rng.integers(1, 50)) for day in range(3) if rng.random() < 0.7}
        gate = int(rng.integers(0, 2)) if rng.random() < 0.3 else None
        claims.append(Claim(int(rng.integers(0, 3)), values, gate))
    chosen = assign(claims, places)
    assert allowed(claims, chosen, places)
    options = [[None, *claim.values] for claim in claims]
    assert total(claims, chosen) == max(
        total(claims, other)
        for other in itertools.product(*options)
        if allowed(claims, other, places)
    )


@pytest.mark.parametrize(("jobs", "days", "places"), [(25, 30, 1), (30, 12, 1), (40, 6, 4)])
def test_jobs_without_bonds_are_a_linear_assignment(jobs, days, places):
    worth = np.random.default_rng(jobs).integers(1, 1000, (jobs, days))
    claims = [Claim(row, dict(enumerate(map(int, worth[row])))) for row in range(jobs)]
    seats = np.repeat(worth, places, axis=1)
    rows, columns = linear_sum_assignment(seats, maximize=True)
    assert total(claims, assign(claims, places)) == int(seats[rows, columns].sum())


def test_a_job_that_costs_more_than_it_brings_stays_out():
    # both jobs placed: 1 + 1; the better one on the shared day alone: 10
    claims = [Claim(0, {0: 10, 1: 1}), Claim(1, {0: 1})]
    assert assign(claims, 1) == [0, None]
    assert assign([], 1) == [] and assign([Claim(0, {})], 3) == [None]


# ---------------------------------------------------------------------------- plans of trees


def jobs_by_hand(trees, dates):
    """Every job's days with their worth, and its bond, written from the rules of the plan."""
    found = []
    for owner, subject in enumerate(trees):
        odds = subject.outlook.odds
        safe = {
            work: [day for day in dates if odds[work].on(day) >= 0.9]
            for work in ("heavy", "light", "outline")
        }
        own = []
        for work, days in safe.items():
            wait = 0
            if days:
                (window, *_) = odds[work].windows(0.9, days[-1], "north")
                later = odds[work].windows(0.9, window.closes + 1, "north")
                wait = min(int((later[0].opens - window.closes).astype(int)), 365)
            free = [
                day
                for day in days
                if work == "heavy"
                or not any(0 < abs(int((day - cut).astype(int))) < 28 for cut in safe["heavy"])
            ]
            worth = {day: odds[work].on(day) * (1 + wait / 365) for day in free or days}
            own.append((owner, work, worth, len(days) > 0 and not free))
        tied = any(bound for *_, bound in own)
        found += [(o, w, worth, bound or (tied and w == "heavy")) for o, w, worth, bound in own]
    return found


@pytest.mark.parametrize("days", [SUMMER, YEAR], ids=["summer", "year"])
@pytest.mark.parametrize("per_day", [1, 2])
@pytest.mark.parametrize(
    "slugs", [("acer-palmatum", "juniperus-chinensis"), ("fagus-crenata", "ulmus-parvifolia")]
)
def test_a_plan_is_the_best_there_is(slugs, per_day, days):
    trees = [tree(slug, slug) for slug in slugs]
    found = planned(trees, days, per_day)
    jobs = jobs_by_hand(trees, [np.datetime64(day) for day in days])
    best = 0.0
    for choice in itertools.product(*([None, *worth] for _, _, worth, _ in jobs)):
        taken = [(job, day) for job, day in zip(jobs, choice, strict=True) if day is not None]
        used = [day for _, day in taken]
        visits = [(job[0], day) for job, day in taken]
        bound = [job[0] for job, _ in taken if job[3]]
        if (
            all(used.count(day) <= per_day for day in set(used))
            and len(visits) == len(set(visits))
            and len(bound) == len(set(bound))
        ):
            best = max(best, sum(job[2][day] for job, day in taken))
    assert found.worth == pytest.approx(best, abs=1e-5)


def test_a_plan_keeps_its_rules():
    trees = [
        tree(f"{slug} {number}", slug)
        for slug in (
            "acer-palmatum",
            "juniperus-chinensis",
            "ulmus-parvifolia",
            "buxus-sempervirens",
        )
        for number in range(3)
    ]
    for days in (SUMMER, YEAR, ("2025-07-12", "2025-07-13", "2025-07-19", "2025-08-09")):
        for per_day in (1, 3, 100):
            found = planned(trees, days, per_day)
            for day in found.days:
                names = [item.job.subject.name for item in found.on(day)]
                assert len(names) == len(set(names)) <= per_day
            for item in found.planned:
                assert item.chance == item.job.subject.outlook.odds[item.job.work].on(item.day)
                assert item.chance >= 0.9
            cuts = {i.job.subject.name: i.day for i in found.planned if i.job.work == "heavy"}
            for item in found.planned:
                cut = cuts.get(item.job.subject.name)
                if item.job.work != "heavy" and cut is not None:
                    assert abs(int((item.day - cut).astype(int))) >= 28
            told = [(i.job.subject.name, i.job.work) for i in (*found.planned, *found.left)]
            assert len(told) == len(set(told))
            assert all(item.reason for item in (*found.left, *found.unsafe))


def test_work_that_cannot_keep_clear_shares_a_place_with_the_cut():
    maple = [tree("Maple")]
    for near in (("2025-07-26", "2025-08-02"), ("2025-07-26", "2025-08-02", "2025-08-09")):
        found = planned(maple, near)
        assert len(found.planned) == 1
        (rest,) = found.left
        assert "four weeks between a heavy cut and other work" in rest.reason
    assert slots(planned(maple, ("2025-07-26", "2025-08-23"))) == {
        ("Maple", "heavy", "2025-07-26"),
        ("Maple", "light", "2025-08-23"),  # four weeks to the day
    }
    (rest,) = planned(maple, ("2025-07-26",)).left
    assert rest.reason == "other work of this tree is planned on 26 July"


def test_what_is_held_weak_or_done_is_not_planned():
    maple = view("acer-palmatum")
    cut = (done("heavy", "2025-06-10"),)
    held = tree("Held", held=holds(maple, cut, ON), work=cut)
    weak = tree("Weak", condition="weak")
    boxes = [tree("Done", "juniperus-chinensis", work=(done("light", "2025-06-19"),))]
    found = planned([held, weak, *boxes], ("2025-07-05", "2025-07-12"))
    assert not {item for item in slots(found) if item[:2] in {("Held", "heavy"), ("Weak", "heavy")}}
    reasons = {(i.job.subject.name, i.job.work): i.reason for i in (*found.left, *found.unsafe)}
    assert reasons["Held", "heavy"].startswith("heavy cut on 10 June 2025")
    assert ("Weak", "heavy") not in reasons
    assert ("Held", "light", "2025-07-12") in slots(found)  # four weeks are over on 8 July
    early = planned([held], ("2025-07-05",), confidence=0.5)
    assert (
        "other work waits four weeks, until 8 July 2025"
        in {i.job.work: i.reason for i in early.left}["light"]
    )


def test_work_done_in_its_window_is_not_planned_again():
    on = np.datetime64("2025-07-20")
    here = place("humid-continental").as_of(on)
    maple = outlook(load_species("acer-palmatum"), here.record, here.drivers, on=on)
    subject = Subject("Maple", "Yard", maple, work=(done("light", "2025-07-18"),))
    found = plan([subject], [np.datetime64("2025-08-02")], Asked(on, 0.9))
    assert slots(found) == {("Maple", "heavy", "2025-08-02")}
    (left,) = found.left
    assert (left.job.work, left.reason) == ("light", "noted as done on 18 July")


def test_marginal_jobs_stand_apart():
    found = planned([tree("Azalea", "rhododendron-indicum")], ("2025-07-01", "2025-07-05"))
    assert not found.planned and not found.left
    for item in found.unsafe:
        assert item.reason.startswith("no safe day among these; best is ")
        assert 0.5 <= item.job.best[1] < 0.9
    assert found.unsafe or [subject.name for subject in found.idle] == ["Azalea"]


def test_the_order_of_the_days_changes_nothing():
    trees = [tree(f"Maple {number}") for number in range(5)]
    plain = planned(trees, YEAR, 2)
    mixed = planned(trees, (*YEAR[::-1], YEAR[1], YEAR[1]), 2)
    assert slots(plain) == slots(mixed) and plain.days == mixed.days
    # equally safe days: the earlier one
    odds = view("juniperus-chinensis").odds
    summer = np.arange("2025-07-10", "2025-08-20", dtype="M8[D]")
    days = [day for day in summer if all(odds[work].on(day) == 1.0 for work in ("heavy", "light"))]
    assert len(days) > 2
    found = planned([tree("Juniper", "juniperus-chinensis")], [str(day) for day in days])
    assert [item.day for item in found.planned] == [days[0]]


@pytest.mark.parametrize(
    ("days", "says"),
    [(("2025-06-19", "2025-07-05"), "past"), (("2026-06-20",), "too far ahead"), ((), "at least")],
)
def test_days_that_cannot_be_planned_are_refused(days, says):
    with pytest.raises(UsageError, match=f"^--days .*{says}"):
        planned([tree("Maple")], days)


def test_today_is_closed_by_a_frost_on_record():
    here = place("humid-continental").as_of("2025-07-20").with_last_days(tmin_c=[-12.0])
    on = here.record.last
    drivers = site_drivers(here.record, here.site)
    maple = outlook(load_species("acer-palmatum"), here.record, drivers, on=on)
    found = plan([Subject("Maple", "Yard", maple)], [on], Asked(on, 0.5))
    assert not found.planned
    assert all("frost" in item.reason for item in found.left) and found.left
