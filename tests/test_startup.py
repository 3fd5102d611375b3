"""The command starts light and the library depends one way only.

What must hold:

* help imports click and nothing heavy; an answer in text or JSON imports neither pandas nor
  matplotlib;
* modules of `timing` import only modules below them in the order written down here, never `cli`;
* matplotlib is imported in `timing.charts` alone, the weather client in one module alone;
* no module of `timing` prints, asks or reads the clock, and but that one none opens a connection.
"""

import ast
import json
import subprocess
import sys
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path

import pytest

import timing

ROOT = Path(timing.__file__).resolve().parent
MODULES = {
    ".".join(("timing", *path.relative_to(ROOT).with_suffix("").parts)).removesuffix(
        ".__init__"
    ): path
    for path in sorted(ROOT.rglob("*.py"))
}
HEAVY = {"numpy", "pandas", "matplotlib", "scipy", "astral", "meteostat", "reportlab"}
PDF_WRITER = "timing.charts.pdf_pages"  # the one module that writes PDF pages itself
OF_GRIDS = {"pyarrow", "netCDF4", "xarray", "dask", "zarr", "h5py"}
OF_THE_NOTEBOOK = {"sqlite3", "platformdirs"}
COMMANDS = (
    *((), ("agenda",), ("ask",), ("calendar",), ("compare",), ("events",), ("samples",)),
    *(("species",), ("species", "list"), ("species", "show")),
    *(("site",), ("site", "add"), ("site", "update"), ("tree", "shelter")),
    *(("record", "add"), ("record", "import"), ("survey",)),
)
TELL_IMPORTS = """
import json, sys
from cli.main import main
for words in json.loads(sys.argv[1]):
    sys.argv = ["sapdial", *words]
    try:
        main()
    except SystemExit as stop:
        assert not stop.code, (words, stop.code)
    print(json.dumps(sorted({name.partition(".")[0] for name in sys.modules})), file=sys.stderr)
"""

# From the ground up: a module may import from its own line and from the lines above it.
LAYERS = (
    ("timing.errors", "timing.assignment", "timing.plain_text"),
    ("timing.site",),
    ("timing.season",),
    ("timing.same_day",),
    ("timing.clocks",),
    ("timing.quality", "timing.daylength", "timing.thermal"),
    ("timing.neighbour_fill",),
    ("timing.temperature",),
    ("timing.calibration",),
    ("timing.intake", "timing.intake.text", "timing.intake.credits"),
    ("timing.intake.stations", "timing.intake.station_days", "timing.intake.service"),
    ("timing.intake.station_cache", "timing.intake.station_list"),
    ("timing.intake.station_client",),
    ("timing.intake.download",),
    ("timing.intake.daily_csv", "timing.intake.samples"),
    ("timing.intake.units", "timing.intake.cells", "timing.intake.dates"),
    ("timing.intake.headers", "timing.intake.archives"),
    ("timing.intake.tables", "timing.intake.series"),
    ("timing.intake.ghcn", "timing.intake.plain", "timing.intake.hourly"),
    ("timing.intake.ghcn_wide", "timing.intake.ghcn_long", "timing.intake.ghcn_fixed"),
    ("timing.intake.dwd", "timing.intake.ecad"),
    ("timing.intake.temperatures", "timing.intake.region_file"),
    ("timing.draws", "timing.crossings", "timing.quantiles"),
    ("timing.drivers",),
    ("timing.species.model",),
    ("timing.species.tables",),
    ("timing.species.catalogue",),
    ("timing.species.hazards",),
    ("timing.species.names",),
    ("timing.intake.observations",),
    ("timing.observed_dates",),
    ("timing.notebook",),
    ("timing.sap", "timing.warm_nights"),
    ("timing.placing",),
    ("timing.events",),
    ("timing.tuning",),
    ("timing.assessment",),
    ("timing.species.fit_measured",),  # a script that fits species files, used by nobody
    ("timing.limits",),
    ("timing.stretches",),
    ("timing.hazards",),
    ("timing.windows",),
    ("timing.running",),
    ("timing.language",),
    ("timing.wording",),
    ("timing.answers",),
    ("timing.grid", "timing.survey_rows"),
    ("timing.recovery",),
    ("timing.closed_seasons",),
    ("timing.trend",),
    ("timing.so_far",),
    ("timing.event_comparison",),
    ("timing.comparison",),
    ("timing.comparison_words",),
    ("timing.day_order",),
    ("timing.coverage", "timing.monthly", "timing.neighbour", "timing.precision"),
    ("timing.steps",),
    ("timing.step_dates",),
    ("timing.homogeneity",),
    ("timing.record_check",),
    ("timing.check_words",),
    ("timing.reasons",),
    ("timing.forecast",),
    ("timing.weather_vetoes",),
    ("timing.calendar",),
    ("timing.calendar_words",),
    ("timing.region_split",),
    ("timing.region_windows",),
    ("timing.region",),
    ("timing.region_words",),
    ("timing.region_year",),
    ("timing.worklist",),
    ("timing.advice",),
    ("timing.agenda_tasks",),
    ("timing.agenda_marginal", "timing.agenda_notices"),
    ("timing.agenda", "timing.work_plan"),
    ("timing.export", "timing.charts"),
    ("timing.survey_parts",),
    ("timing.survey", "timing.charts.survey_map"),
    ("timing.export.survey_netcdf", "timing.export.survey_parquet"),
    ("timing.export.survey_table",),
)
CLIENT = "timing.intake.station_client"  # the one module that goes online
WITHOUT_CODE = {"timing", "timing.notebook", "timing.species"}


def imported_by(*runs: Sequence[str]) -> list[set[str]]:
    """Top-level modules loaded after each of several runs of the command in one process."""
    done = subprocess.run(
        [sys.executable, "-c", TELL_IMPORTS, json.dumps(runs)],
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout
    return [set(json.loads(line)) for line in done.stderr.splitlines()[-len(runs) :]]


# ---------------------------------------------------------------------------- what a run imports


def test_help_imports_nothing_heavy() -> None:
    for command, loaded in zip(
        COMMANDS, imported_by(*((*words, "--help") for words in COMMANDS)), strict=True
    ):
        assert "click" in loaded
        assert loaded & (HEAVY | OF_THE_NOTEBOOK | OF_GRIDS) == set(), command


def test_text_answers_import_no_more_than_numpy() -> None:
    ask = ("ask", "acer-palmatum", "--sample", "humid-continental")
    runs = (
        *(("samples",), ("species", "list"), ask, (*ask, "--format", "json")),
        ("events", "acer-palmatum", "--sample", "coast"),
        ("compare", "acer-palmatum", "--sample", "coast"),
    )
    for words, loaded in zip(runs, imported_by(*runs), strict=True):
        assert loaded & (HEAVY | OF_THE_NOTEBOOK) <= {"numpy"}, words
    assert "numpy" in loaded


# ---------------------------------------------------------------------------- who imports whom


@cache
def tree(module: str) -> ast.Module:
    return ast.parse(MODULES[module].read_text(encoding="utf-8"))


def run_time_nodes(root: ast.AST) -> Iterator[ast.AST]:
    """Every node but those under ``if TYPE_CHECKING``, which never run."""
    ahead = [root]
    while ahead:
        node = ahead.pop()
        yield node
        if isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING"):
            ahead.extend(node.orelse)
        else:
            ahead.extend(ast.iter_child_nodes(node))


@cache
def imports(module: str) -> set[str]:
    """Full names of the modules a module imports, anywhere in it."""
    found: set[str] = set()
    package = module if MODULES[module].name == "__init__.py" else module.rpartition(".")[0]
    for node in run_time_nodes(tree(module)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parent = package.rsplit(".", node.level - 1)[0]
                base = f"{parent}.{base}".rstrip(".")
            inner = {f"{base}.{alias.name}" for alias in node.names}
            found |= (inner & set(MODULES)) or {base}
    return found


@cache
def layer(module: str) -> int:
    """Place of a module in the order, by the longest name that matches."""
    places = {
        name: number
        for number, names in enumerate(LAYERS)
        for name in names
        if module == name or module.startswith(name + ".")
    }
    assert places, f"{module} has no place in the order of modules: give it one"
    return places[max(places, key=len)]


def test_modules_import_only_from_below() -> None:
    upwards = {
        (module, name)
        for module in set(MODULES) - WITHOUT_CODE
        for name in imports(module)
        if name.partition(".")[0] == "timing" and layer(name) > layer(module)
    }
    assert upwards == set()


def test_no_module_imports_itself_by_a_detour() -> None:
    graph = {module: imports(module) & set(MODULES) for module in MODULES}

    def reached(start: str) -> set[str]:
        seen: set[str] = set()
        ahead = list(graph[start])
        while ahead:
            module = ahead.pop()
            if module not in seen:
                seen.add(module)
                ahead.extend(graph[module])
        return seen

    assert [module for module in MODULES if module in reached(module)] == []


@pytest.mark.parametrize("module", sorted(WITHOUT_CODE))
def test_packages_that_only_hold_modules_stay_empty(module: str) -> None:
    body = [node for node in tree(module).body if not isinstance(node, ast.Expr)]
    assert body == []


def packages(module: str) -> set[str]:
    """Top-level packages of what a module imports."""
    return {name.partition(".")[0] for name in imports(module)}


def test_timing_never_imports_the_command() -> None:
    assert [name for name in MODULES if packages(name) & {"cli", "click", "tests"}] == []


def test_only_charts_import_matplotlib() -> None:
    allowed = {CLIENT: {"meteostat"}, PDF_WRITER: {"matplotlib", "reportlab"}}
    for module in MODULES:
        own = {"matplotlib"} if module.startswith("timing.charts") else set()
        heavy = packages(module) & (HEAVY - {"numpy"})
        assert heavy <= allowed.get(module, own), module
        assert "matplotlib.pyplot" not in imports(module), module


# ---------------------------------------------------------------------------- what it never does

FORBIDDEN_CALLS = {"print", "input", "breakpoint", "exit", "quit"}
FORBIDDEN_TAILS = ("datetime.now", "datetime.utcnow", "datetime.today", "date.today", "time.time",
                   "time.localtime", "time.gmtime", "time.monotonic", "sys.exit")  # fmt: skip
CONNECTIONS = {"socket", "urllib", "http", "ftplib", "requests", "httpx", "ssl", "asyncio"}
OF_THE_CLIENT = {"socket", "urllib", "http"}  # to set time limits and to name what went wrong


@cache
def called(module: str) -> set[str]:
    """Names of everything a module calls, with the module they were imported from."""
    full: dict[str, str] = {}
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Import):
            full |= {(a.asname or a.name): a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom):
            full |= {(a.asname or a.name): f"{node.module}.{a.name}" for a in node.names}
    names = set()
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name | ast.Attribute):
            head, dot, rest = ast.unparse(node.func).partition(".")
            names.add(full.get(head, head) + dot + rest)
    return names


def test_no_module_prints_or_asks() -> None:
    assert [name for name in MODULES if called(name) & FORBIDDEN_CALLS] == []


def test_no_module_reads_the_clock() -> None:
    for module in MODULES:
        now = {name for name in called(module) if name.endswith(FORBIDDEN_TAILS)}
        today = {
            ast.unparse(node)
            for node in ast.walk(tree(module))
            if isinstance(node, ast.Call)
            and any(isinstance(a, ast.Constant) and a.value in ("today", "now") for a in node.args)
            and ast.unparse(node.func).endswith(("datetime64", "array", "arange"))
        }
        assert (now, today) == (set(), set()), module


def test_no_module_opens_a_connection() -> None:
    used = {name: packages(name) & CONNECTIONS for name in MODULES}
    assert {name: found for name, found in used.items() if found} == {CLIENT: OF_THE_CLIENT}
