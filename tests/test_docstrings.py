"""The worked numbers in docstrings are what the functions give."""

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
WORKED = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for package in ("timing", "cli")
    for path in sorted((ROOT / package).rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("name", WORKED)
def test_worked_numbers_hold(name: str) -> None:
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted > 0
    assert found.failed == 0
