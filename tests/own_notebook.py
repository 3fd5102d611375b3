"""The command beside a notebook of the test's own."""

from pathlib import Path

import pytest
from test_cli import Command


@pytest.fixture
def sapdial(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Command:
    monkeypatch.setenv("SAPDIAL_NOTEBOOK", str(tmp_path / "notebook.sqlite"))
    return Command(monkeypatch, capsys)
