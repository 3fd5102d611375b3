"""Work month by month.

What must hold:
- every safe day of every band lies in exactly the month it belongs to, and nothing else does;
- work ends in the month of its last safe day, and not at New Year where it goes on in January;
- what ends first stands first; common and leap years; closed days of hazards stand by month.
"""

from dataclasses import replace

import numpy as np
from test_calendar_text import YEAR, band, day, made_up, taxon

from timing.calendar import Band, CalendarRow, days_of
from timing.species.hazards import load_hazard
from timing.species.model import WORK_KINDS
from timing.worklist import month_work


def safe_on(spans: list[tuple[str, str]], year: int = YEAR) -> Band:
    """A heavy band that is safe on these days alone."""
    days = days_of(year)
    chance = np.zeros(len(days))
    for first, last in spans:
        chance[(days >= day(first)) & (days <= day(last))] = 0.95
    return band("heavy", chance, year)


def only(spans: list[tuple[str, str]], year: int = YEAR, name: str = "tree") -> CalendarRow:
    row = taxon(0, name)
    never = [band(kind, np.zeros(len(days_of(year))), year) for kind in WORK_KINDS[1:]]
    return replace(row, bands=(safe_on(spans, year), *never))


def told(*rows: CalendarRow, year: int = YEAR) -> list[list[tuple[str, str, bool]]]:
    months = month_work(replace(made_up(*rows), year=year))
    return [[(str(i.first), str(i.last), i.ends) for i in month.items] for month in months]


def test_a_window_stands_in_each_of_its_months_and_ends_in_its_last() -> None:
    months = told(only([("2025-06-26", "2025-08-13")]))
    assert months[5] == [("2025-06-26", "2025-06-30", False)]
    assert months[6] == [("2025-07-01", "2025-07-31", False)]
    assert months[7] == [("2025-08-01", "2025-08-13", True)]
    assert [number for number, items in enumerate(months) if items] == [5, 6, 7]


def test_a_window_that_closes_on_the_last_of_a_month_ends_there() -> None:
    assert told(only([("2025-04-10", "2025-04-30")]))[3] == [("2025-04-10", "2025-04-30", True)]


def test_a_window_across_new_year_does_not_end_there() -> None:
    months = told(only([("2025-01-01", "2025-01-20"), ("2025-12-05", "2025-12-31")]))
    assert months[0] == [("2025-01-01", "2025-01-20", True)]
    assert months[11] == [("2025-12-05", "2025-12-31", False)]
    assert told(only([("2025-12-05", "2025-12-31")]))[11] == [("2025-12-05", "2025-12-31", True)]
    always = told(only([("2025-01-01", "2025-12-31")]))
    assert not any(ends for items in always for _, _, ends in items)


def test_two_windows_in_a_month_are_two_items_in_order() -> None:
    assert told(only([("2025-05-20", "2025-05-25"), ("2025-05-02", "2025-05-04")]))[4] == [
        ("2025-05-02", "2025-05-04", True),
        ("2025-05-20", "2025-05-25", True),
    ]


def test_what_ends_first_stands_first() -> None:
    rows = [
        only([("2025-03-01", "2025-05-10")], name="a late one"),
        only([("2025-03-10", "2025-03-20")], name="the first"),
        only([("2025-02-01", "2025-03-31")], name="z ends with the month"),
    ]
    march = month_work(made_up(*rows))[2]
    names = [item.species.common_name for item in march.items]
    assert names == ["the first", "z ends with the month", "a late one"]
    assert [item.species.common_name for item in march.ending("heavy")] == names[:2]
    assert march.whole(march.items[2])
    assert not march.whole(march.items[0])


def test_every_safe_day_of_a_leap_year_stands_once_in_its_own_month() -> None:
    draw = np.random.default_rng(4)
    chance = (draw.random(366) > 0.4).astype(float)
    row = replace(taxon(), bands=tuple(band(kind, chance, 2024) for kind in WORK_KINDS))
    months = month_work(replace(made_up(row), year=2024))
    assert months[1].last == day("2024-02-29")
    for kind in WORK_KINDS:
        listed = [
            date
            for month in months
            for item in month.of(kind)
            for date in np.arange(item.first, item.last + 1)
        ]
        assert all(
            item.first.astype("datetime64[M]")
            == item.last.astype("datetime64[M]")
            == np.datetime64(f"2024-{month.month:02d}")
            for month in months
            for item in month.items
        )
        assert sorted(listed) == list(days_of(2024)[chance > 0.5])


def test_closed_days_of_a_hazard_stand_by_month_with_the_work_they_close() -> None:
    wilt = load_hazard("oak-wilt")
    row = only([])
    runs = ((day("2025-04-11"), day("2025-06-05")),)
    bands = (*(replace(b, closed=((wilt, runs),)) for b in row.bands[:2]), row.bands[2])
    months = month_work(made_up(replace(row, bands=bands)))
    found = {
        month.month: [(str(i.first), str(i.last), i.kinds, month.whole(i)) for i in month.closed]
        for month in months
        if month.closed
    }
    both = ("heavy", "light")
    assert found == {
        4: [("2025-04-11", "2025-04-30", both, False)],
        5: [("2025-05-01", "2025-05-31", both, True)],
        6: [("2025-06-01", "2025-06-05", both, False)],
    }
