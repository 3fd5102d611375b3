"""Every option of every command refuses what it cannot mean, and says which option it was.

The tree of commands is walked, so that a new option is tried without anybody naming it here: each
gets values of the wrong sort in a call that would be answered without them. What must hold: exit
status 2 (or 1 where a file is not what it should be), one line on stderr that names the option or
quotes what was given, nothing on stdout, no control character, no traceback, and the notebook is
as it was.
"""

import functools
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from test_cli import Command, daily_file, sapdial

from cli.main import sapdial as group

__all__ = ["sapdial"]  # the fixture

ESCAPE = "\x1b[31mred\x9b2J\u202e"
LONG = "n" * 10_000
PLACE = "--latitude 45 --longitude 7"
FILE = f"{PLACE} --temperatures {{file}}"
ANSWERED = f"{FILE} --on 2022-05-10"  # after four seasons

# A call of each command that would be answered, its first word the one argument it takes.
CALLS = {
    "agenda": "--species acer-rubrum",
    "ask": "acer-palmatum",
    "assess": "",
    "calendar": "acer-palmatum",
    "compare": "acer-palmatum",
    "events": "acer-palmatum",
    "record add": "heavy --tree Maple",
    "record change": "2",
    "record export": "{folder}/new",
    "record import": "{folder}/out",
    "record list": "",
    "record remove": "1",
    "record show": "1",
    "record undo": "",
    "samples": "",
    "site add": f"Attic {FILE}",
    "site change": "Yard",
    "site check": "",
    "site list": "",
    "site remove": "Yard --yes",
    "site show": "Yard",
    "site update": "Yard",
    "species hazards": "",
    "species list": "",
    "species show": "acer-rubrum",
    "tree add": "Young --species acer-rubrum",
    "tree change": "Maple",
    "tree list": "",
    "tree remove": "Maple --yes",
    "tree shelter": "Maple --kind frame --warmer-nights 1 --warmer-days 1",
    "survey": "{sites} -o {folder}/survey.csv",
    "tree show": "Maple",
    "tree unshelter": "Maple --kind shed",
}
# What an option needs beside it, in every command or in one, where its place there differs.
BESIDE = {
    "--units": FILE,
    "--latitude": FILE,
    "--longitude": FILE,
    "--elevation": FILE,
    "--temperatures": PLACE,
    "--time-zone": FILE,
    "--on": ANSWERED,
    "--confidence": ANSWERED,
    "--year": ANSWERED,
    "--season": ANSWERED,
    "--observations": ANSWERED,
    "--hazard": ANSWERED,
    "--species": ANSWERED,
    "--neighbour": ANSWERED,
    "--output": ANSWERED,
    "species": ANSWERED,
    "species show species": "",
    "--language": ANSWERED,
    "--days": ANSWERED,
    "--alarm-days": f"{ANSWERED} -o {{folder}}/new.ics",
    "--paper": f"{ANSWERED} -o {{folder}}/new.pdf",
    "--per-day": f"{ANSWERED} --days 2022-06-01",
    "assess --format": f"{ANSWERED} --observations {{seen}}",
    "survey --confidence": "",
    "survey --map": "--species acer-rubrum",
    "survey --output": "",
    "survey --species": "",
    "site change --units": FILE,
    "site change --time-zone": FILE,
    "site change --station": FILE,
    "record change --notebook": "--note x",
    "record change number": "--note x",
    "tree change --notebook": "--note x",
    "site change --notebook": "--tag x",
}
INSTEAD = {
    "agenda --tree": "",
    "ask --tree": "",
    "record add --on": "light --tree Maple",
    "record add --place": "running --tree Maple",
    "record add --site": "bud_break --species acer-rubrum",
    "record add --species": "bud_break",
    "record add --tree": "light",
    "record change --ended": "3",
    "record change --place": "3",
    "site add --since": PLACE.join(("Attic ", " --download")),
    "site add --temperatures": f"Attic {PLACE}",
    "tree add --species": "Young",
    "tree shelter --calibrate-with": "Maple --kind frame",
    "tree shelter --from": "Maple --kind frame --warmer-nights 1 --warmer-days 1 --until 02-01",
    "tree shelter --until": "Maple --kind frame --warmer-nights 1 --warmer-days 1 --from 02-01",
    "tree shelter --kind": "Maple --warmer-nights 1 --warmer-days 1",
    "tree unshelter --kind": "Maple",
}
APART = (  # what they need is said above; the others take temperatures from anywhere
    *("record add", "record change", "tree add", "tree change"),
    *("site add", "site change", "site list", "tree list"),
)
MAKES_ONE = (  # a notebook that is not there yet is begun, or an empty list
    *("agenda", "site add", "site list", "tree list", "record list", "record import"),
)
WRITES = ("--output", "folder")
NEW_NAMES = ("--rename", "site add name", "tree add name")  # anything that can be shown will do
TEXTS = ("--note", "--place", "--attribution", "--licence", "--tag", "--kind")
ANY_TAG = "site list --tag"  # a tag that no site bears is an answer


Case = tuple[str, str, click.Parameter]


@functools.cache
def parameters() -> tuple[Case, ...]:
    """Every parameter that takes a value: words of its command, its own name, what click knows."""
    found: list[Case] = []

    def walk(command: click.Command, words: tuple[str, ...], context: click.Context) -> None:
        if isinstance(command, click.Group):
            for name in command.list_commands(context):
                below = command.get_command(context, name)
                assert below is not None
                walk(below, (*words, name), click.Context(below, parent=context, info_name=name))
            return
        for item in command.params:
            if not getattr(item, "is_flag", False):
                found.append((" ".join(words), item.opts[-1], item))

    walk(group, (), click.Context(group, info_name="sapdial"))
    return tuple(found)


def wrong_values(words: str, name: str, item: click.Parameter) -> tuple[str, ...]:
    """Values the parameter cannot take."""
    sort, meant = item.type, item.metavar or ""
    values = ["", "x", ESCAPE, "../../etc/passwd", "' OR 1=1 --", "\U0001f332", LONG]
    if isinstance(sort, click.Choice):
        values = ["", "x", ESCAPE]
    elif isinstance(sort, click.types.IntParamType):
        values = ["", "x", ESCAPE, "1.5", "9" * 30, "1e3", "nan", "1_0"]
    elif isinstance(sort, click.types.FloatParamType):
        values = ["", "x", ESCAPE, "1,5", "nan", "inf", "1e400", "-1e9", "½", "4_5", "9" * 5000]
    elif isinstance(sort, click.Path) and name in WRITES and words != "record import":
        values = ["{folder}/none/new.txt", "{folder}/new.exe/x", f"{{folder}}/{LONG[:300]}.txt"]
    elif isinstance(sort, click.Path):
        values = ["{bytes}", f"{{folder}}/{LONG[:300]}", "{folder}"]
        values += [] if words in MAKES_ONE and name == "--notebook" else ["{none}"]
    elif "DATE" in meant:
        values = ["x", ESCAPE, "yesterday", "31.12.2024", "2024-02-30", "9999-12-31", "0000-01-01"]
        values += ["-2024-01-01", "10000-01-01", "1799-12-31", "2024-01-01T10:00", LONG]
    elif meant == "MM-DD":
        values = ["x", ESCAPE, "02-30", "13-01", "1-1", LONG]
    elif f"{words} {name}" in NEW_NAMES or name in NEW_NAMES:
        values = ["", " ", ESCAPE, LONG]
    elif name in TEXTS:
        values = [ESCAPE, LONG]
    elif name == "--hazard" and words.startswith("site "):
        values.remove("")  # none
    return tuple(values)


CASES = [(words, name, item) for words, name, item in parameters() if f"{words} {name}" != ANY_TAG]


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a notebook, a daily file, observed dates and bytes that are none of these."""
    folder = tmp_path_factory.mktemp("shelf")
    daily = daily_file(folder / "file.csv")
    (folder / "bytes.bin").write_bytes(bytes(range(256)) * 4)
    (folder / "places.csv").write_text(
        "name,latitude,longitude,elevation_m,temperatures\nYard,45,7,,file.csv\n"
    )
    (folder / "seen.csv").write_text("species,event,date\nacer-rubrum,bud_break,2020-04-01\n")
    runner = "--place low --on 2024-05-01"
    for line in (
        f"site add Yard --latitude 45 --longitude 7 --temperatures {daily}",
        "tree add Maple --species acer-palmatum",
        "tree shelter Maple --kind shed --warmer-nights 1 --warmer-days 1",
        "record add bud_break --tree Maple --on 2024-04-12",
        "record add heavy --tree Maple --on 2024-06-02",
        f"record add running --tree Maple {runner}",
        f"record export {folder / 'out'}",
    ):
        done = CliRunner().invoke(
            group, line.split(), env={"SAPDIAL_NOTEBOOK": str(folder / "notebook.sqlite")}
        )
        assert done.exit_code == 0, done.output
    return folder


def places(shelf: Path) -> dict[str, Path]:
    """What stands for a path in a call."""
    return {
        "folder": shelf,
        "file": shelf / "file.csv",
        "seen": shelf / "seen.csv",
        "bytes": shelf / "bytes.bin",
        "none": shelf / "none.csv",
        "sites": shelf / "places.csv",
    }


def call(words: str, name: str, item: click.Parameter, value: str, shelf: Path) -> list[str]:
    """A call that would be answered, but for the value."""
    key = f"{words} {name}"
    rest = INSTEAD.get(key, CALLS[words]).split()
    beside = BESIDE.get(key, "" if words in APART else BESIDE.get(name, "")).split()
    if isinstance(item, click.Argument):
        given = [*words.split(), *rest[1:], *beside, "--", value]
    else:
        given = [*words.split(), *rest, *beside, f"{name}={value}"]
    return [word.format(**places(shelf)) for word in given]


def names_it(message: str, name: str, value: str) -> bool:
    """The message names the option, or shows the beginning of what was given."""
    plain = name.lstrip("-")
    shown = repr(value[:30])[1:-1]
    return (
        plain in message.lower()
        or plain.replace("-", "_") in message
        or (f"{shown}'" if len(value) < 10 else shown) in message
    )


def assert_refused(run_command: Command, case: Case, values: tuple[str, ...], shelf: Path) -> None:
    words, name, item = case
    notebook = shelf / "notebook.sqlite"
    before = notebook.read_bytes(), sorted(shelf.iterdir())
    for value in values:
        given = call(words, name, item, value, shelf)
        run = run_command(*given)
        text = f"{given}: {run}"
        file = isinstance(item.type, click.Path) or name == "--region"  # wrong in itself, or inside
        assert run.status == 2 or (run.status == 1 and file), text
        assert run.out == "", text
        assert run.err.startswith("sapdial: "), text
        assert run.err.count("\n") == 1, text
        assert run.err.strip().isprintable(), text
        assert len(run.err) < 950, text
        assert names_it(run.err, name, value.format(**places(shelf))), text
    assert (notebook.read_bytes(), sorted(shelf.iterdir())) == before


@pytest.fixture
def run_command(sapdial: Command, shelf: Path, monkeypatch: pytest.MonkeyPatch) -> Command:
    monkeypatch.setenv("SAPDIAL_NOTEBOOK", str(shelf / "notebook.sqlite"))
    monkeypatch.setenv("SAPDIAL_CACHE", str(shelf / "cache"))
    return sapdial


@pytest.mark.parametrize("number", range(len(CASES)), ids=[f"{w} {n}" for w, n, _ in CASES])
def test_a_wrong_value_is_one_line_that_names_the_option(
    run_command: Command, shelf: Path, number: int
) -> None:
    values = wrong_values(*CASES[number])
    assert_refused(run_command, CASES[number], values[number % 3 :: 3], shelf)  # by turns


@pytest.mark.slow
def test_every_wrong_value_of_every_option(run_command: Command, shelf: Path) -> None:
    tried = 0
    for case in CASES:
        assert_refused(run_command, case, wrong_values(*case), shelf)
        tried += len(wrong_values(*case))
    assert tried > 1200


def test_every_command_is_tried() -> None:
    assert {words for words, _, _ in parameters()} == set(CALLS)
    known = {f"{words} {name}" for words, name, _ in parameters()} | {
        name for _, name, _ in parameters()
    }
    assert set(BESIDE) | set(INSTEAD) <= known
