"""What the checks of a record found, as text of eighty columns; the grower decides what to do."""

from __future__ import annotations

from timing import check_words as words
from timing.coverage import SeasonCoverage
from timing.export.answer_text import place_lines, wrapped
from timing.record_check import RecordCheck

SHOWN = 6  # gaps, and seasons


def check_text(check: RecordCheck) -> str:
    """Everything found; some fifty lines where much was."""
    lines = [*place_lines(check.site, check.record), "", *wrapped(words.headline(check))]
    for heading, part in (
        ("Coverage", _coverage(check)),
        ("Steps", _steps(check)),
        ("Slow changes", _drift(check)),
        ("Readings", _readings(check)),
        ("Neighbour", _neighbour(check)),
        ("What you can do", [line for text in words.advice(check) for line in _item(text)]),
        ("What to keep in mind", _caveats(check)),
    ):
        if part:
            lines += ["", heading, *part]
    return "\n".join(lines) + "\n"


def _coverage(check: RecordCheck) -> list[str]:
    found = check.coverage
    read = sum(year.read for year in found.years)
    days = read + sum(year.mended + year.open for year in found.years)
    lines = [f"  {read} of {days} days read ({int(1000 * read / days) / 10:.1f}%)"]
    if found.gaps:
        lines.append(f"  {words.counted(len(found.gaps), 'gap')} of more than three days:")
    lines += [f"    {gap.days:>5} days, {gap.first} to {gap.last}, {gap.treated}"
              for gap in found.gaps[:SHOWN]]  # fmt: skip
    if len(found.gaps) > SHOWN:
        lines.append(f"    and {len(found.gaps) - SHOWN} shorter than these")
    if beside := check.record.neighbour_days:
        lines.append(f"  {words.counted(beside, 'day')} filled from a neighbour, not read here")
    if found.short_gaps:
        lines.append(f"  {words.counted(found.short_gaps, 'gap')} of up to three days, mended")
    counts = sum(season.counts for season in found.seasons)
    lines += wrapped(
        "; ".join(
            part
            for part in (
                f"{words.counted(counts, 'season')} of {len(found.seasons)} "
                f"{'counts' if counts == 1 else 'count'} in the odds",
                words.ends_text(check),
            )
            if part
        ),
        "  ",
        "    ",
    )
    lost = [season for season in found.seasons if season.gaps]
    lines += [f"    {words.lost_text(season)}" for season in lost[:SHOWN]]
    if len(lost) > SHOWN:
        lines += wrapped(words.same_reasons(lost[SHOWN:]), "    ")
    return lines + _phases(check)


def _phases(check: RecordCheck) -> list[str]:
    """Seasons that count although days are missing, the worst first."""

    def missing(season: SeasonCoverage) -> int:
        return max(season.spring.missing, season.autumn.missing)

    some = [season for season in check.coverage.seasons if season.counts and missing(season)]
    some.sort(key=lambda season: (-missing(season), season.season))
    if not some:
        return []
    names = words.phase_names(check.site.hemisphere)
    worst = "; ".join(
        f"{season.season} {season.spring.share:.0%} and {season.autumn.share:.0%}"
        for season in some[:SHOWN]
    )
    more = f"; {len(some) - SHOWN} more with less" if len(some) > SHOWN else ""
    return wrapped(
        f"days missing ({names[0]}, and {names[1]}) in seasons that count: {worst}{more}",
        "  ",
        "    ",
    )


def _steps(check: RecordCheck) -> list[str]:
    if not check.tested:
        return wrapped(words.TOO_SHORT, "  ")
    lines = []
    for item in check.breaks:
        lines += wrapped(f"{words.when_text(item)}: {words.sizes_text(item)}", "  ", "    ")
        lines += wrapped(f"{words.found_text(item)}. {words.meaning(check, item)}", "    ")
    return lines or [f"  none found in {words.years_tested(check)} years with ten months or more"]


def _drift(check: RecordCheck) -> list[str]:
    if not check.tested:
        return []
    lines = [
        line for item in check.drifts for line in wrapped(words.drift_text(item), "  ", "    ")
    ]
    return lines or ["  none found"]


def _readings(check: RecordCheck) -> list[str]:
    whole = len(check.precision) == 1
    runs = [words.precision_text(run, whole=whole) for run in check.precision]
    lines = wrapped("; ".join(runs), "  ", "    ")
    if not any(finding.kind not in ("missing", "neighbour") for finding in check.record.findings):
        lines.append("  none stuck, none set aside")
    return lines


def _neighbour(check: RecordCheck) -> list[str]:
    beside = check.neighbour
    if beside is None:
        return []
    lines = wrapped(
        f"{beside.record.source}, {words.counted(beside.days, 'day')} in common; daily means "
        f"move together (correlation {beside.likeness:.2f})"
        if beside.likeness == beside.likeness
        else f"{beside.record.source}, {words.counted(beside.days, 'day')} in common, too few to "
        "compare",
        "  ",
        "    ",
    )
    lines += wrapped(words.neighbour_credit(check), "  ", "    ")
    for shift in beside.shifts:
        text = words.shift_text(shift)
        lines += wrapped(f"{text}. {words.shift_meaning(shift)}", "  ", "    ")
    return lines


def _caveats(check: RecordCheck) -> list[str]:
    return [line for text in words.caveats(check) for line in _item(text)]


def _item(text: str) -> list[str]:
    return wrapped(text, "  - ", "    ")
