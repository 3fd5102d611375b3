"""What the days ahead forbid: frost or heat that a weather service expects.

A forecast is kept apart from the record. It closes days and never opens one: no event, no odds
and no window is computed from it.
"""

from __future__ import annotations

import numpy as np

from timing.reasons import shown
from timing.temperature import Forecast, TemperatureRecord
from timing.wording import day_text

NEXT_DAYS = 5  # the day itself and four more; later ones are seldom forecast well (from memory)


def forecast_vetoes(
    record: TemperatureRecord,
    on: np.datetime64,
    *,
    freeze: tuple[float, str],
    heat: tuple[float, int] | None,
) -> tuple[str, ...]:
    """Vetoes for the next five days, empty where nothing is forecast or nothing forbids.

    Parameters
    ----------
    record : the record with what is forecast after it.
    on : the day asked about.
    freeze : a minimum that forbids cuts, as lower ones do [°C], and why in half a sentence.
    heat : a maximum and for how many days in a row it forbids cuts [°C, days], days already
        recorded counted in; None where heat is no matter.
    """
    ahead = record.ahead.known_on(on) if record.ahead is not None else None
    if ahead is None:
        return ()
    inside = (ahead.days >= on) & (ahead.days < on + NEXT_DAYS)
    vetoes = []
    cold = inside & (ahead.tmin_c <= freeze[0])
    if cold.any():
        at = int(np.argmin(np.where(cold, ahead.tmin_c, np.inf)))
        vetoes.append(
            f"hard frost forecast: {shown(float(ahead.tmin_c[at]))} on {day_text(ahead.days[at])} "
            f"({_source(ahead)}); {freeze[1]}"
        )
    if heat is not None:
        last = _end_of_heat(record, ahead, on, *heat)
        if last is not None:
            vetoes.append(
                f"heat forecast: {heat[1]} days at {shown(heat[0])} or more up to "
                f"{day_text(last)} ({_source(ahead)}); wait for cooler days and shade the pot "
                "(common practice, no source)"
            )
    return tuple(vetoes)


def _end_of_heat(
    record: TemperatureRecord, ahead: Forecast, on: np.datetime64, hot_c: float, days: int
) -> np.datetime64 | None:
    """Last day of the first run of hot days that ends on a forecast one, or None."""
    maxima = dict(zip(ahead.days.tolist(), ahead.tmax_c.tolist(), strict=True))
    run = 0
    for step in range(1 - days, NEXT_DAYS):
        day = on + step
        place = int((day - record.first).astype(np.int64))
        recorded = 0 <= place < len(record.tmax_c)
        value = record.tmax_c[place] if recorded else maxima.get(day.item(), np.nan)
        run = run + 1 if value >= hot_c else 0
        if run >= days and not recorded:
            return day
    return None


def _source(ahead: Forecast) -> str:
    return f"as the weather service expected on {day_text(ahead.made)}"
