"""``sapdial agenda``: what to do on the bench today and in the coming weeks."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.notebook_options import now, tell_empty
from cli.numbers import Whole
from cli.options import (
    confidence_option,
    format_option,
    hazards_option,
    observations_option,
    temperature_options,
)
from cli.output import echo_json, output_option, spare_inputs, suffix_of

if TYPE_CHECKING:
    import numpy as np

    from timing.agenda import Agenda
    from timing.work_plan import WorkPlan

SUFFIXES = (".ics", ".json", ".csv", ".txt")
BEGIN = {
    "site": "sapdial site add NAME --latitude DEG --longitude DEG --temperatures FILE",
    "tree": "sapdial tree add NAME --species NAME --site NAME",
}


@click.command("agenda")
@click.option(
    "--species",
    multiple=True,
    metavar="NAME",
    help="Only trees of this taxon; where the notebook has none, the taxon itself. May be given "
    "again.",
)
@click.option("--tree", "trees", multiple=True, metavar="NAME", help="Only this tree, or these.")
@hazards_option
@temperature_options
@observations_option
@confidence_option
@click.option(
    "--days",
    metavar="DATES",
    help="Plan the work for these days, such as 2026-06-06,2026-07-04.",
)
@click.option(
    "--per-day",
    type=Whole(1, 1000),
    metavar="N",
    help="Trees a day of --days holds [default: 6].",
)
@click.option(
    "--alarm-days",
    type=Whole(0, 365),
    metavar="N",
    help="Remind so many days before a window closes (-o FILE.ics).",
)
@output_option(".ics (calendar programs) .json .csv .txt")
@format_option("text", "json", "csv")
def command(
    *,
    days: str | None,
    per_day: int | None,
    alarm_days: int | None,
    confidence: float,
    path: Path | None,
    output: str,
    **chosen: Any,
) -> None:
    """What to do on the bench today and in the coming weeks.

    For every tree of the notebook: work whose window closes soon, is open, or opens soon, what
    waiting costs, and what to look at. With --days, the best plan of work for those days.
    """
    from cli.agenda_subjects import subjects_for
    from timing.agenda import agenda
    from timing.agenda_tasks import Asked
    from timing.errors import UsageError
    from timing.work_plan import PER_DAY, plan

    suffix = suffix_of(path, SUFFIXES, output)
    if alarm_days is not None and suffix != ".ics":
        raise UsageError("--alarm-days goes with -o FILE.ics only")
    if per_day is not None and days is None:
        raise UsageError("--per-day goes with --days only")
    if path is not None:
        read = (chosen[key] for key in ("temperatures", "notebook", "observations"))
        spare_inputs((path,), *read)
    dates = None if days is None else _dates(days)
    found = subjects_for(**chosen)
    asked = Asked(found.on, confidence)
    answer = agenda(
        found.subjects,
        found.sites,
        found.on,
        confidence=confidence,
        unanswered=tuple(found.left_out),
        asked=asked,
    )
    planned = None
    if dates is not None:
        planned = plan(found.subjects, dates, asked, per_day=per_day or PER_DAY)
    if found.missing and output == "text":
        tell_empty(found.missing, BEGIN[found.missing.split()[0]])
        return
    if path is not None:
        _save(answer, planned, path, alarm_days)
    elif output == "json":
        from timing.export.agenda_json import agenda_json

        echo_json(agenda_json(answer, planned))
    elif output == "csv":
        from timing.export.agenda_csv import agenda_csv

        click.echo(agenda_csv(answer, planned), nl=False)
    else:
        click.echo(_text(answer, planned), nl=False)


def _dates(text: str) -> list[np.datetime64]:
    """Dates separated by commas."""
    import numpy as np

    from timing.errors import UsageError

    found: list[np.datetime64] = []
    for word in text.replace(",", " ").split():
        try:
            if len(word) != 10:
                raise ValueError
            found.append(np.datetime64(dt.date.fromisoformat(word), "D"))
        except ValueError as error:
            raise UsageError(
                f"--days {word!r} is not a date; write dates as in 2026-06-06,2026-07-04"
            ) from error
    return found


def _text(answer: Agenda, planned: WorkPlan | None) -> str:
    from timing.export.agenda_text import agenda_text, plan_text

    return agenda_text(answer) if planned is None else plan_text(answer, planned)


def _save(answer: Agenda, planned: WorkPlan | None, path: Path, alarm_days: int | None) -> None:
    """Write the file and say in one line what it holds."""
    from timing.export.agenda_calendar import agenda_entries, plan_entries
    from timing.export.agenda_json import agenda_json
    from timing.export.files import write_json, write_text
    from timing.export.icalendar_file import save_icalendar

    tasks = len(answer.tasks) if planned is None else len(planned.planned)
    what = "window" if planned is None else "planned job"
    count = f"{tasks} {what}{'' if tasks == 1 else 's'}"
    suffix = path.suffix.lower()
    if suffix == ".ics":
        entries = (
            agenda_entries(answer, alarm_days)
            if planned is None
            else plan_entries(answer, planned, alarm_days)
        )
        save_icalendar(entries, path, title="Work on trees", stamp=now().astimezone())
    elif suffix == ".json":
        write_json(path, agenda_json(answer, planned))
    elif suffix == ".csv":
        from timing.export.agenda_csv import agenda_csv

        write_text(path, agenda_csv(answer, planned))
    else:
        write_text(path, _text(answer, planned))
    click.echo(f"{path}: {count}, as of {answer.on}")
