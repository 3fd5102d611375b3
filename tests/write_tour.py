"""Run the commands of docs/tour.md and write what they print into it.

    python tests/write_tour.py

The page is a walk through an invented bench. Every ``sh`` block holds commands; the block after it
holds what they print, standard error included.
"""

import re
import shlex
import shutil
import tempfile
from contextlib import chdir
from pathlib import Path

import pytest
from click.testing import CliRunner

from cli.main import sapdial

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "tour.md"
BLOCK = re.compile(r"```sh\n(?P<commands>.*?)```\n\n```\n(?P<printed>.*?)```\n", re.DOTALL)
SAMPLE = "climate_samples/humid-continental.csv"


def commands(block: str) -> list[list[str]]:
    """The words of every command of a block; a line that ends in a backslash goes on."""
    return [shlex.split(line) for line in block.replace("\\\n", " ").splitlines()]


def walked(text: str, folder: Path) -> str:
    """The page with what its commands print when they are run one after another in a folder."""
    (folder / SAMPLE).parent.mkdir()
    shutil.copy(ROOT / SAMPLE, folder / SAMPLE)

    def run(block: re.Match[str]) -> str:
        printed = ""
        for name, *words in commands(block["commands"]):
            if name == "export":
                patch.setenv(*words[0].split("=", 1))
                continue
            assert name == "sapdial", name
            result = CliRunner().invoke(sapdial, words, catch_exceptions=False)
            assert result.exit_code == 0, result.output
            printed += result.output
        return f"```sh\n{block['commands']}```\n\n```\n{printed}```\n"

    with pytest.MonkeyPatch.context() as patch, chdir(folder):
        return BLOCK.sub(run, text)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        PAGE.write_text(walked(PAGE.read_text("utf-8"), Path(place)), "utf-8")
