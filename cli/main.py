"""Entry point of the ``sapdial`` command.

Commands are imported only when they run, so that ``--help`` stays quick, and every error the
library raises on purpose becomes one sentence and an exit status.
"""

from __future__ import annotations

import importlib
import os
import sys

import click

from cli.terminal import plain_streams

LONGEST = 900  # characters of an error
COMMANDS = {
    "agenda": "What to do on the bench today and in the coming weeks.",
    "assess": "How good the dates are here, on seasons they never saw.",
    "ask": "May I cut today; if not, when, how much and why.",
    "calendar": "Print a year's calendar of safe days.",
    "compare": "Tell whether this spring is early or late, beside all others.",
    "events": "Date the season's events in every season of the record.",
    "record": "Keep dates you saw and work you did; undo, export and import.",
    "samples": "List the bundled climates (invented).",
    "site": "Keep the places where your trees stand, with their temperatures.",
    "species": "Show what is known about the taxa.",
    "survey": "Ask the same of every site of a table; dates and windows as one table.",
    "tree": "Keep your trees, and the walls and frames they stand under.",
}


class LazyGroup(click.Group):
    """A group whose commands are imported when they are used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of the commands."""
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command, or None when there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        command = importlib.import_module(f"cli.{cmd_name}").command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(sorted(COMMANDS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="sapdial", prog_name="sapdial")
def sapdial() -> None:
    """When is it safe to cut a container-grown tree?

    Reads a site's daily temperatures and answers from them: season events, safe windows for
    heavy cuts, light refinement and winter outline work, how sure that is, and how much may
    come off.
    """


def main() -> None:
    """Run the command and turn every foreseen error into one line and an exit status."""
    with plain_streams():
        _run()


def _run() -> None:
    try:
        with sapdial.make_context("sapdial", sys.argv[1:]) as context:
            sapdial.invoke(context)
        sys.stdout.flush()
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.exceptions.NoArgsIsHelpError as bare:
        click.echo(bare.format_message(), err=True)
        sys.exit(bare.exit_code)
    except click.ClickException as error:
        where = getattr(error, "ctx", None)
        hint = f" (see '{where.command_path} --help')" if where else ""
        _fail(f"{error.format_message().rstrip('.')}{hint}", error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        _fail("stopped", 130)
    except OSError as error:
        if error.filename is not None:
            _fail(f"{error.filename}: {error.strerror}; name another file", 2)
        _discard_stdout()
        if isinstance(error, BrokenPipeError):
            sys.exit(0)
        _fail(f"the answer cannot be written: {error.strerror}", 1)
    except Exception as error:
        from timing.errors import SapdialError

        if not isinstance(error, SapdialError):
            raise
        _fail(str(error), error.exit_code)


def _discard_stdout() -> None:
    """Send what is still buffered nowhere, so that the interpreter ends quietly."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _fail(message: str, status: int) -> None:
    """Print one line; what is wrong stands at its beginning, what would be right at its end."""
    text = " ".join(message.split())
    if len(text) > LONGEST:
        text = f"{text[: LONGEST // 2]} … {text[-LONGEST // 2 :]}"
    click.echo(f"sapdial: {text}", err=True)
    sys.exit(status)


if __name__ == "__main__":
    main()
