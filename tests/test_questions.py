"""The page of questions growers ask quotes what the command really answers.

What must hold: every command on the page runs, and the parts of its quotation occur in what it
prints, in their order.
"""

import re
import shlex
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner

from cli.main import sapdial

PAGE = Path(__file__).parents[1] / "docs" / "questions.md"
ROW = re.compile(r"\| (\d+) \|(.*)\|(.*)\|(.*)\|(.*)\|\Z")
GAP = "…"


@dataclass(frozen=True)
class Row:
    number: int
    question: str
    command: str
    quoted: str
    missing: str


def rows() -> list[Row]:
    found = []
    for line in PAGE.read_text(encoding="utf-8").splitlines():
        if match := ROW.match(line):
            number, *cells = match.groups()
            question, command, quoted, missing = (cell.strip() for cell in cells)
            found.append(Row(int(number), question, command.strip("`"), quoted, missing))
    return found


ROWS = rows()
ANSWERED = [row for row in ROWS if row.command != "–"]


@pytest.fixture(scope="module", autouse=True)
def notebook(tmp_path_factory):
    """The invented notebook of the page, kept by the page's own commands."""
    block = PAGE.read_text(encoding="utf-8").split("```sh\n")[1].split("```")[0]
    with pytest.MonkeyPatch.context() as patch:
        path = tmp_path_factory.mktemp("questions") / "notebook.sqlite"
        patch.setenv("SAPDIAL_NOTEBOOK", str(path))
        patch.chdir(PAGE.parents[1])
        for line in block.splitlines():
            result = CliRunner().invoke(sapdial, shlex.split(line)[1:], catch_exceptions=False)
            assert result.exit_code == 0, result.output
        yield


@cache
def answered(command: str) -> str:
    """What a command prints, with every run of blanks and line ends as one blank."""
    name, *arguments = shlex.split(command)
    assert name == "sapdial"
    result = CliRunner().invoke(sapdial, arguments, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


def test_every_question_has_a_row() -> None:
    assert sorted({row.number for row in ROWS}) == list(range(1, 41))
    assert all(row.question for row in ROWS)
    table_lines = [
        line for line in PAGE.read_text(encoding="utf-8").splitlines() if re.match(r"\| \d", line)
    ]
    assert len(table_lines) == len(ROWS)


def test_every_question_is_answered() -> None:
    assert ANSWERED == ROWS


@pytest.mark.parametrize("row", ANSWERED, ids=lambda row: f"{row.number}: {row.question[:40]}")
def test_the_answer_says_what_the_page_quotes(row: Row) -> None:
    text, place = answered(row.command), 0
    parts = [" ".join(part.split()) for part in row.quoted.split(GAP)]
    assert all(parts), row.quoted
    for part in parts:
        place = text.find(part, place)
        assert place >= 0, f"not in the answer, or not in this order: {part}"
        place += len(part)
