"""The wheel holds what the command needs and nothing else.

What must hold:

* its top-level packages are timing, cli and climate_samples, and there are no tests in it;
* every module, species file, sample, catalogue of texts and part of the page is in it, byte for
  byte;
* it declares the command and the typed marker;
* the source package holds as much (slow);
* in an environment that held nothing before, the README's first command answers (slow).
"""

import configparser
import re
import shlex
import subprocess
import sys
import tarfile
import venv
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
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the checkout, so that building leaves nothing beside the source."""
    source = tmp_path_factory.mktemp("checkout") / "source"
    for path in ROOT.rglob("*"):
        inside = path.relative_to(ROOT)
        hidden = any(part.startswith((".", "__pycache__")) for part in inside.parts)
        wanted = inside.parts[0] in COPIED or len(inside.parts) == 1
        if path.is_file() and wanted and not hidden:
            (source / inside).parent.mkdir(parents=True, exist_ok=True)
            (source / inside).write_bytes(path.read_bytes())
    return source


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory, source: Path) -> zipfile.ZipFile:
    """A wheel built from the copy."""
    folder = tmp_path_factory.mktemp("wheel")
    pip(sys.executable, "wheel", "--no-deps", "-w", str(folder), str(source))
    (built,) = folder.glob("*.whl")
    return zipfile.ZipFile(built)


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """The python of an environment that holds nothing but pip."""
    venv.create(tmp_path / ".venv", with_pip=True)
    return tmp_path / ".venv" / "bin" / "python"


def pip(python: str | Path, *words: str) -> None:
    """Run pip; skip the test where packages cannot be had."""
    done = subprocess.run(
        [python, "-m", "pip", *words, "--quiet", "--disable-pip-version-check", "--retries", "1"],
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    if done.returncode and any(sign in done.stderr for sign in NO_BACKEND):
        pytest.skip("packages cannot be had here (no network?)")
    assert done.returncode == 0, done.stderr


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


@pytest.mark.slow
def test_the_source_package_holds_what_the_wheel_holds(
    tmp_path: Path, bare: Path, source: Path, wheel: zipfile.ZipFile
) -> None:
    pip(bare, "install", "setuptools>=77")
    build = f"from setuptools.build_meta import build_sdist; build_sdist({str(tmp_path)!r})"
    subprocess.run([bare, "-c", build], cwd=source, check=True, capture_output=True)
    (package,) = tmp_path.glob("*.tar.gz")
    with tarfile.open(package) as held:
        names = {name.partition("/")[2] for name in held.getnames()}
    assert packed(wheel) | {"README.md", "LICENSE", "pyproject.toml"} <= names


@pytest.mark.slow
def test_a_bare_environment_answers_the_first_command_of_the_readme(
    tmp_path: Path, bare: Path, wheel: zipfile.ZipFile
) -> None:
    pip(bare, "install", str(wheel.filename))
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    block = readme.partition("```sh\n")[2].partition("```")[0]
    commands = re.findall(r"^\.venv/bin/sapdial .*?(?= &&$|$)", block, re.MULTILINE)
    assert [command.split()[1] for command in commands] == ["ask", "calendar"]
    answer, chart = (
        subprocess.run(
            shlex.split(command), cwd=tmp_path, capture_output=True, encoding="utf-8", check=False
        )
        for command in commands
    )
    assert (answer.returncode, answer.stderr) == (0, "")
    assert "Japanese maple" in answer.stdout
    assert (chart.returncode, chart.stderr) == (0, "")
    assert (tmp_path / "calendar.png").read_bytes().startswith(b"\x89PNG")
