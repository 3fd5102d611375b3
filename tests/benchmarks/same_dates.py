"""Do two versions of the library give the same dates and odds on the bundled (invented) samples?

    python tests/benchmarks/same_dates.py write FILE.npz     with the one version, then the other
    python tests/benchmarks/same_dates.py compare OLD.npz NEW.npz

Written are, for every sample and every taxon: all events in every season and draw, the chance of
each of 365 days for each kind of work, for an established tree, a vigorous one and under every
known hazard, and the autumn limits; for eight common taxa also the running season on 20 June.
Compared are values, shapes, what is missing, and how many bits differ.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from timing.answers import COMMON_TAXA, outlook, site_drivers
from timing.events import season_events
from timing.intake.samples import sample_record, samples
from timing.season import Floats
from timing.species.catalogue import load_species, slugs
from timing.species.hazards import hazards_of
from timing.species.model import WORK_KINDS
from timing.windows import work_odds


def everything() -> dict[str, Floats]:
    """Every date and chance by a name that says what it is."""
    found: dict[str, Floats] = {}
    for sample in samples():
        record = sample_record(sample)
        drivers = site_drivers(record, sample.site)
        for slug in slugs():
            species = load_species(slug)
            events = season_events(species, drivers)
            name = f"{sample.name}/{slug}"
            for event, days in events.days.items():
                found[f"{name}/event/{event}"] = days
            known = hazards_of(species)
            for kind in WORK_KINDS:
                odds = work_odds(events, kind)
                found[f"{name}/odds/{kind}"] = odds.chance
                found[f"{name}/limits/{kind}"] = np.hstack((odds.limits.heavy, odds.limits.light))
                vigorous = work_odds(events, kind, condition="vigorous")
                found[f"{name}/vigorous/{kind}"] = vigorous.chance
                if known:
                    found[f"{name}/hazards/{kind}"] = work_odds(events, kind, hazards=known).chance
        on = np.datetime64(f"{sample.last[:4]}-06-20", "D")
        until = record.until(on)
        drivers = site_drivers(until, sample.site)
        for slug in COMMON_TAXA:
            view = outlook(load_species(slug), until, drivers, on=on)
            for kind in WORK_KINDS:
                running = view.odds[kind].running
                assert running is not None
                found[f"{sample.name}/{slug}/running/{kind}"] = running.chance
    return found


def compare(old: Path, new: Path) -> int:
    """Say what differs; returns how many of the arrays hold another date or chance."""
    with np.load(old) as before, np.load(new) as after:
        names = sorted(set(before.files) | set(after.files))
        values = bits = wrong = 0
        largest = 0.0
        for name in names:
            if name not in before.files or name not in after.files:
                print(f"{name}: only in one of them")
                wrong += 1
                continue
            one, other = before[name], after[name]
            if one.shape != other.shape or (np.isnan(one) != np.isnan(other)).any():
                print(f"{name}: another shape, or a date that only one of them has")
                wrong += 1
                continue
            values += one.size
            differ = ~((one == other) | (np.isnan(one) & np.isnan(other)))
            bits += int(differ.sum())
            if differ.any():
                size = float(np.abs(one - other)[differ].max())
                largest = max(largest, size)
                if size > 1e-9:
                    print(f"{name}: differs by up to {size:g}")
                    wrong += 1
    print(f"{len(names)} arrays, {values} values: {bits} differ, by at most {largest:g}; ", end="")
    print(f"{wrong} arrays differ by more than rounding")
    return wrong


def main(words: list[str]) -> int:
    """Run one of the two."""
    if len(words) == 2 and words[0] == "write":
        np.savez(words[1], **everything())  # type: ignore[arg-type]
        return 0
    if len(words) == 3 and words[0] == "compare":
        return int(compare(Path(words[1]), Path(words[2])) > 0)
    print(__doc__, file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
