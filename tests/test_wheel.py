"""The wheel holds what the command needs and nothing else.

What must hold:

* its top-level packages are timing, cli and climate_samples, and there are no tests in it;
* every module, species file, sample, catalogue of texts and part of the page is in it, byte for
  byte;
* it declares the command and the typed marker.
"""

import configparser
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = {"timing", "cli", "climate_samples"}
COPIED = {*PACKAGES, "tests", "docs"}
NO_BACKEND = (
    "No matching distribution",
    "Could not find a version",
    "Connection",
    "ConnectTimeout",
    "No module named pip",
    "Temporary failure in name resolution",
)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    """A wheel built from a copy of the checkout, so that nothing is left beside the source."""
    folder = tmp_path_factory.mktemp("wheel")
    source = folder / "source"
    for path in ROOT.rglob("*"):
        inside = path.relative_to(ROOT)
        hidden = any(part.startswith((".", "__pycache__")) for part in inside.parts)
        wanted = inside.parts[0] in COPIED or len(inside.parts) == 1
        if path.is_file() and wanted and not hidden:
            (source / inside).parent.mkdir(parents=True, exist_ok=True)
            (source / inside).write_bytes(path.read_bytes())
    done = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--no-deps", "--quiet",
         "--disable-pip-version-check", "--retries", "1", "-w", str(folder / "out"), str(source)],
        capture_output=True,
        encoding="utf-8",
        check=False,
    )  # fmt: skip
    if done.returncode and any(sign in done.stderr for sign in NO_BACKEND):
        pytest.skip("the build backend cannot be had here (no network?)")
    assert done.returncode == 0, done.stderr
    (built,) = (folder / "out").glob("*.whl")
    return zipfile.ZipFile(built)


def packed(wheel: zipfile.ZipFile) -> set[str]:
    """Files of the wheel outside its metadata folder."""
    return {name for name in wheel.namelist() if ".dist-info/" not in name}


def metadata(wheel: zipfile.ZipFile, file: str) -> str:
    (name,) = (item for item in wheel.namelist() if item.endswith(f".dist-info/{file}"))
    return wheel.read(name).decode("utf-8")


def checkout(*patterns: str) -> set[str]:
    return {
        path.relative_to(ROOT).as_posix()
        for package in PACKAGES
        for pattern in patterns
        for path in (ROOT / package).rglob(pattern)
    }


def test_top_level_packages_are_exactly_three(wheel: zipfile.ZipFile) -> None:
    assert {name.partition("/")[0] for name in packed(wheel)} == PACKAGES
    assert set(metadata(wheel, "top_level.txt").split()) == PACKAGES


def test_no_test_is_packed(wheel: zipfile.ZipFile) -> None:
    assert [name for name in wheel.namelist() if "test" in name.lower()] == []


def test_every_module_is_packed(wheel: zipfile.ZipFile) -> None:
    assert {name for name in packed(wheel) if name.endswith(".py")} == checkout("*.py")


def test_every_data_file_is_packed(wheel: zipfile.ZipFile) -> None:
    data = checkout("*.toml", "*.csv", "*.css", "*.js")
    assert len([name for name in data if name.startswith("timing/species/")]) > 20
    assert "climate_samples/samples.toml" in data
    assert "timing/languages/de.toml" in data
    assert {"timing/export/calendar_page.css", "timing/export/calendar_page.js"} < data
    assert data <= packed(wheel)
    for name in data:
        assert wheel.read(name) == (ROOT / name).read_bytes()


def test_the_typed_marker_and_the_command_are_declared(wheel: zipfile.ZipFile) -> None:
    assert "timing/py.typed" in packed(wheel)
    scripts = configparser.ConfigParser()
    scripts.read_string(metadata(wheel, "entry_points.txt"))
    assert dict(scripts["console_scripts"]) == {"sapdial": "cli.main:main"}


def test_metadata_carries_licence_and_readme(wheel: zipfile.ZipFile) -> None:
    text = metadata(wheel, "METADATA")
    assert "\nName: sapdial\n" in text
    assert "\nLicense-Expression: MIT\n" in text
    assert "\nLicense-File: LICENSE\n" in text
    body = text.partition("\n\n")[2]
    assert body.strip() == (ROOT / "README.md").read_text(encoding="utf-8").strip()
