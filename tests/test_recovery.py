"""What a season's own observations and the work done change.

What must hold
- an observed bud break replaces the prediction, without a spread, and what follows is counted from
  it; earlier observations move later events earlier, never past the observation
- nothing observed changes nothing
- after a heavy cut no second one before the flush of the next bud break has hardened; the answer
  names the record; light work goes on
- repotting and frost loss make the tree weak until growth stops after at least sixty days
- work done after today, or long ago, counts for nothing
- a running shoot is looked at again by growth: sooner in warm weeks, in spring once growth is over
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from sites import place

from timing.advice import answer
from timing.answers import outlook, site_drivers
from timing.notebook.model import Runner, WorkDone
from timing.recovery import LOOK_DEGREE_DAYS, holds, next_look
from timing.season import season_start
from timing.species.catalogue import load_species

SITE = "humid-continental"


def view(slug="acer-palmatum", on="2025-06-20", **options):
    day = np.datetime64(on, "D")
    here = place(SITE)
    record = here.record.until(day)
    drivers = site_drivers(record, here.site)
    return outlook(load_species(slug), record, drivers, on=day, **options), day


def median(found, event):
    return float(np.nanmedian(found.running.days[event]))


def done(kind, date, fraction=None):
    return WorkDone("Old maple", kind, dt.date.fromisoformat(date), fraction)


# ------------------------------------------------------------------ dates seen this season


def test_a_seen_bud_break_replaces_the_prediction_and_carries_on():
    plain, day = view(on="2025-06-01")
    start = season_start(2025, "north")
    predicted = start + round(median(plain, "bud_break"))
    early = predicted - 8
    seen, _ = view(on="2025-06-01", seen={"bud_break": early})
    row = seen.drivers.row_of(2025)
    assert (start + seen.season_quantiles("bud_break")[:, row].astype(int) == early).all()
    moved = median(seen, "leaf_full_size") - median(plain, "leaf_full_size")
    assert -8 <= moved <= -1, moved
    assert median(seen, "flush_hardened") < median(plain, "flush_hardened")
    hardened = seen.season_quantiles("flush_hardened")[1, row]
    assert start + round(float(hardened)) > early
    assert answer(seen, "heavy", day).chance >= answer(plain, "heavy", day).chance


@pytest.mark.parametrize("event", ["bud_break", "leaf_colour"])
def test_nothing_else_moves(event):
    plain, _ = view(on="2025-12-01" if event == "leaf_colour" else "2025-06-01")
    on = "2025-12-01" if event == "leaf_colour" else "2025-06-01"
    predicted = season_start(2025, "north") + round(median(plain, event))
    seen, _ = view(on=on, seen={event: predicted + 5})
    other = {
        "bud_break": ("leaf_colour", "chill_met", "first_frost"),
        "leaf_colour": ("bud_break",),
    }
    for name in other[event]:
        assert np.allclose(seen.running.days[name], plain.running.days[name], equal_nan=True), name
    past = seen.drivers.years < 2025
    for name, days in seen.events.days.items():
        assert np.allclose(days[past], plain.events.days[name][past], equal_nan=True), name


# ------------------------------------------------------------------------ work done


def test_a_second_heavy_cut_waits_for_the_next_hardened_flush():
    found, day = view(on="2025-07-25")
    assert answer(found, "heavy", day).verdict == "safe"
    held = holds(found, [done("heavy", "2025-07-01", 0.3)], day)
    told = answer(found, "heavy", day, held=held)
    assert told.verdict == "not_safe"
    assert "heavy cut of 30% on 1 July 2025" in told.vetoes[0]
    assert np.datetime64("2026-06-15") < held[0].until < np.datetime64("2026-08-15")
    assert all(window.opens >= held[0].until for window in told.windows)


@pytest.mark.parametrize("kind", ["heavy", "leaf_removal"])
def test_other_work_waits_four_weeks(kind):
    for on, waits in (("2025-07-28", True), ("2025-07-29", False)):
        found, day = view(on=on)
        held = holds(found, [done(kind, "2025-07-01", 0.5)], day)
        told, free = answer(found, "light", day, held=held), answer(found, "light", day)
        assert free.verdict == "safe" and not free.vetoes
        assert told.verdict == ("not_safe" if waits else "safe")
        assert told.windows[0].opens == (
            np.datetime64("2025-07-29") if waits else free.windows[0].opens
        )
        assert any("until 29 July 2025" in veto for veto in told.vetoes) == waits
    rested = holds(found, [done("repotting", "2025-07-01")], day)
    assert answer(found, "light", day, held=rested).verdict == "safe"


def test_a_cut_in_dormancy_waits_for_this_years_flush():
    found, day = view(slug="quercus-robur", on="2025-04-01")
    held = holds(found, [done("heavy", "2025-01-20")], day)
    assert np.datetime64("2025-06-15") < held[0].until < np.datetime64("2025-09-01")
    later, day = view(slug="quercus-robur", on="2025-10-01")
    assert holds(later, [done("heavy", "2025-01-20")], day) == ()


@pytest.mark.parametrize("kind", ["repotting", "frost_loss"])
def test_repotting_and_frost_loss_weaken_the_tree(kind):
    found, day = view(on="2025-07-15")
    held = holds(found, [done(kind, "2025-04-05")], day)
    told = answer(found, "heavy", day, held=held, condition="vigorous")
    assert told.verdict == "not_safe" and told.how_much.fraction == 0
    assert "5 April 2025" in told.vetoes[0]
    light = answer(found, "light", day, held=held)
    assert light.how_much.fraction < answer(found, "light", day).how_much.fraction
    assert any("5 April 2025" in reason for reason in light.reasons)
    following, day = view(on="2025-10-10")
    assert holds(following, [done(kind, "2025-04-05")], day) == ()


def test_what_is_over_or_not_yet_done_holds_nothing():
    found, day = view(on="2025-07-15")
    over = [done("heavy", "2023-07-01"), done("light", "2025-07-01"), done("outline", "2025-01-05")]
    assert holds(found, [*over, done("heavy", "2025-08-01")], day) == ()


def test_the_longest_hold_comes_first():
    found, day = view(on="2025-07-15")
    held = holds(found, [done("repotting", "2025-04-05"), done("heavy", "2025-07-01")], day)
    assert [hold.kind for hold in held] == ["heavy", "repotting"]
    assert answer(found, "heavy", day, held=held).how_much.fraction == 0


# ---------------------------------------------------------------------- running shoots


def test_a_running_shoot_is_looked_at_by_growth():
    found, day = view(on="2025-06-20")
    look = next_look(found, Runner("Old maple", "low left", dt.date(2025, 6, 20)), day)
    early, usual, late = look.dates
    assert early <= usual <= late and day < usual
    start = season_start(2025, "north")
    sums = found.running.drivers.growth_sum
    today, then = (int((moment - start).astype(int)) for moment in (day, usual))
    grown = np.median(sums[:, then] - sums[:, today - 1])
    assert abs(grown - LOOK_DEGREE_DAYS) < 25


def test_growth_in_spring_takes_longer_than_in_summer():
    waits = []
    for begun in ("2025-05-01", "2025-07-01"):
        found, day = view(on=begun)
        look = next_look(found, Runner("Old maple", "top", dt.date.fromisoformat(begun)), day)
        waits.append(int((look.dates[1] - day).astype(int)))
    assert waits[0] > waits[1]


def test_after_growth_has_ended_the_shoot_waits_for_spring():
    found, day = view(on="2025-09-20")
    seen = Runner("Old maple", "top", dt.date(2025, 6, 1), looked=dt.date(2025, 9, 15))
    look = next_look(found, seen, day)
    assert str(look.dates[1])[:4] == "2026"
    cut = Runner("Old maple", "top", dt.date(2025, 6, 1), dt.date(2025, 8, 1))
    assert next_look(found, cut, day) is None
