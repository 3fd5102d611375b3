"""What the notebook's commands share: where the file lies, dates, and the present time."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from timing.notebook.journal import Change
    from timing.notebook.store import Notebook

F = TypeVar("F", bound=Callable[..., Any])

VARIABLE = "SAPDIAL_NOTEBOOK"
FILE_NAME = "notebook.sqlite"

notebook_option = click.option(
    "--notebook",
    type=click.Path(path_type=Path),
    envvar=VARIABLE,
    show_envvar=True,
    metavar="FILE",
    help="The notebook [default: a file of yours, see docs/notebook.md].",
)

yes_option = click.option("--yes", is_flag=True, help="Do not ask.")


def as_day(_context: click.Context, _option: click.Parameter, value: str | None) -> dt.date | None:
    """Turn what the user typed into a date."""
    if value is None:
        return None
    try:
        if len(value) != 10:
            raise ValueError
        return dt.date.fromisoformat(value)
    except ValueError as error:
        raise click.BadParameter(
            f"{value!r} is not a date; write year-month-day, as in 2025-06-20"
        ) from error


def as_name(_context: click.Context, _option: click.Parameter, value: str | None) -> str | None:
    """A name the user gave; an empty one is a slip, not the want of one."""
    if value is not None and not value.strip():
        raise click.BadParameter("the name is empty; write one, or leave the option out")
    return value


def now() -> dt.datetime:
    """The present time at the user's place; what is noted lies before it."""
    return dt.datetime.now()


def notebook_path(given: Path | None) -> Path:
    """The notebook the user named, or the default one."""
    if given is not None:
        return given
    import platformdirs

    return platformdirs.user_data_path("sapdial") / FILE_NAME


@contextmanager
def open_notebook(given: Path | None, *, create: bool = False) -> Iterator[Notebook]:
    """Open the notebook; with ``create`` begin it, and the default folder, where there is none."""
    from timing.errors import UsageError
    from timing.notebook.store import Notebook

    path = notebook_path(given)
    if create and given is None:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UsageError(f"{path.parent}: cannot be made ({error.strerror})") from error
    with Notebook.open(path, create=create) as book:
        yield book


@contextmanager
def open_for_list(given: Path | None) -> Iterator[Notebook | None]:
    """Open the notebook to list what it holds; None where there is none yet."""
    from timing.notebook.schema import NoNotebookError
    from timing.notebook.store import Notebook

    try:
        book = Notebook.open(notebook_path(given))
    except NoNotebookError:
        yield None
        return
    with book:
        yield book


def tell_empty(what: str, how: str) -> None:
    """Say that the notebook holds nothing of a sort, and how to begin."""
    click.echo(f"No {what} in the notebook yet; begin with\n    {how}")


def remove_when_sure(question: str, yes: bool, remove: Callable[[], Change]) -> None:
    """Ask before something is removed, and say afterwards how it comes back.

    Raises
    ------
    UsageError : nobody can be asked.
    """
    if not yes and (sys.stdin is None or not sys.stdin.isatty()):
        from timing.errors import UsageError

        raise UsageError("nobody can be asked whether to remove it; add --yes to remove it")
    if not yes:
        click.confirm(question, abort=True, err=True)
    click.echo(remove().what)
    click.echo("'sapdial record undo' brings it back")
