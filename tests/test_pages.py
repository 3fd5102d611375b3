"""The pages of an agenda and of a region quote what the commands beside the quotation print.

What must hold: every line quoted is printed, in its order; `…` stands for lines left out.
"""

import re
import shlex
from pathlib import Path

import pytest
from test_cli import Command, sapdial

__all__ = ["sapdial"]  # the fixture

ROOT = Path(__file__).parents[1]


def blocks(page: str) -> list[tuple[str, str]]:
    """Language and text of the fenced blocks of a page."""
    text = (ROOT / "docs" / page).read_text(encoding="utf-8")
    return re.findall(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def commands(block: str) -> list[list[str]]:
    return [shlex.split(line)[1:] for line in block.replace("\\\n", " ").splitlines()]


def assert_quoted(block: str, printed: str) -> None:
    rest = iter(printed.splitlines())
    quoted = [line for line in block.splitlines() if line.strip() not in ("", "…")]
    assert quoted
    for line in quoted:
        assert line in rest, line  # and what is quoted next stands after it


def test_the_agenda_of_the_example(
    sapdial: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SAPDIAL_NOTEBOOK", str(tmp_path / "notebook.sqlite"))
    monkeypatch.chdir(ROOT)
    begin, agenda, ask, plan = [block for _, block in blocks("agenda.md")][:4]
    for block, shown in ((begin, agenda), (ask, plan)):
        printed = [sapdial.answered(*words) for words in commands(block)]
        assert_quoted(shown, printed[-1])


def test_the_text_of_the_region_of_the_picture(sapdial: Command) -> None:
    found = blocks("region.md")
    (drawn,) = [words for words in commands(found[0][1]) if "docs/region.png" in words]
    (quoted,) = [block for language, block in found if not language]
    assert_quoted(quoted, sapdial.answered(*drawn[: drawn.index("-o")]))
