"""Names chosen to do harm are shown as names and have no effect, in every form of answer.

The same questions are asked of a site with a plain name and of one with a hostile name; the
answers are read by parsers that are not this library's. What must hold: the page, the picture, the
table and the calendar file hold the same elements, rows and entries for both; nothing that a
terminal obeys, a spreadsheet calculates or a browser runs comes out; what cannot be shown is
refused where it is typed in, and shown as a question mark where it is the name of a file.
"""

import csv
import io
import json
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pypdf
import pytest
import vobject
from test_cli import Command, daily_file, sapdial, strict_json
from test_intake_formats import DAYS, in_unit

from timing.intake.region_file import ListedSite, listed_sites
from timing.notebook.checks import FieldError, checked_name

__all__ = ["sapdial"]  # the fixture

PLAIN = "Back yard"
SHOWN = {  # what can be shown is a name like any other
    "markup": "<script>alert(1)</script><img src=x onerror=alert(1)>",
    "quotes": "\"'`><svg/onload=x>&amp;&lt;",
    "formula": "=cmd|' /C calc'!A0",
    "plus": "+1-1",
    "at": "@SUM(1,2)",
    "path": "../../x/..",
    "entries": "a;b,c:d\\nEND:VEVENT BEGIN:VALARM",
    "typesetting": "$\\frac{x_1^$ 100% {0} %s \\alpha",
    "emoji": "\U0001f332\U0001f469\u200d\U0001f33e ½ 紅葉",
    "long": "m" * 80,
    "wide": "字" * 80,
}
TOGETHER = "=cmd()<script>x</script>\"'&;,:\\n$\\frac{$%s{0}"
UNSHOWN = {
    "escape": "a\x1b[31mred\x1b[0m",
    "eight bits": "a\x9b2Jb",
    "reordering": "a\u202eevil",
    "isolate": "a\u2066evil",
    "line feed": "a\nX-EVIL:1",
    "return": "a\r\nEND:VCALENDAR",
    "separator": "a\u2028b",
    "byte order mark": "a\ufeffb",
    "bell": "a\x07b",
    "delete": "a\x7fb",
}
HARMFUL = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Temperatures of ten days, where nothing is asked of them."""
    return daily_file(tmp_path_factory.mktemp("few") / "daily.csv", days=10)


@pytest.fixture(scope="module")
def daily(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return daily_file(tmp_path_factory.mktemp("daily") / "daily.csv")


def of_notebook(sapdial: Command, folder: Path, daily: Path, name: str) -> tuple[object, ...]:
    """Keep a site, a tree, its shelter and its records under a name; how to ask of them."""
    folder.mkdir()
    book = ("--notebook", folder / "n.sqlite")
    for words in (
        ("site", "add", "--latitude=45", "--longitude=7", "--temperatures", daily,
         f"--tag={name.replace(';', '')}", f"--attribution={name}", f"--licence={name}", *book,
         "--", name),
        ("tree", "add", "--species=acer-palmatum", f"--note={name}", *book, "--", name),
        ("tree", "shelter", f"--kind={name}", "--warmer-nights=1", "--warmer-days=1", *book,
         "--", name),
        ("record", "add", "heavy", f"--tree={name}", "--on=2021-06-20", f"--note={name}", *book),
        ("record", "add", "running", f"--tree={name}", "--on=2021-05-20", f"--place={name}",
         *book),
    ):  # fmt: skip
        run = sapdial(*words)
        assert (run.status, run.err) == (0, ""), (words, run)
        assert not HARMFUL.search(run.out)
    return (*book, "--on", "2022-05-10")


def of_file(_sapdial: Command, folder: Path, daily: Path, name: str) -> tuple[object, ...]:
    """Call a file of temperatures so; how to ask of it."""
    folder.mkdir()
    path = folder / f"{name}.csv"
    path.write_bytes(daily.read_bytes())
    return ("--temperatures", path, "--latitude=45", "--longitude=7", "--on", "2022-05-10")


class Elements(HTMLParser):
    """Counts elements and their attributes, and gathers what is run."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: Counter[str] = Counter()
        self.shown: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found[" ".join([tag, *sorted(key for key, _ in attrs)])] += 1

    def handle_data(self, data: str) -> None:
        self.shown.append(data)


def shape(path: Path) -> object:
    """What a file consists of, whatever its texts say, by a parser of its own."""
    raw = path.read_bytes()
    suffix = path.suffix
    if suffix == ".png":
        return raw[:8]
    if suffix == ".pdf":
        read = pypdf.PdfReader(path)
        assert not re.search("/(OpenAction|AA|JavaScript)", str(read.trailer["/Root"]))
        return len(read.pages)
    return text_shape(raw, suffix)


def text_shape(raw: bytes, suffix: str) -> object:
    """The same of a file that is text."""
    text = raw.decode("utf-8")
    assert not HARMFUL.search(text.replace("\r\n", "\n") if suffix == ".ics" else text)
    found: object = None
    if suffix == ".html":
        found = Elements(text).found
    elif suffix == ".svg":
        found = Counter(
            item.tag
            for item in ElementTree.fromstring(text).iter()
            if not item.tag.endswith("}use")
        ).keys()
    elif suffix == ".csv":
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
        assert all(len(row) == len(rows[0]) for row in rows)
        assert not any(cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row)
        found = len(rows)
    elif suffix == ".json":
        found = keys(strict_json(text))
    elif suffix == ".ics":
        assert raw.count(b"\n") == raw.count(b"\r\n") == raw.count(b"\r")
        assert all(len(line) <= 75 for line in raw.split(b"\r\n"))
        calendar = vobject.readOne(text)
        found = Counter(
            (component.name, child.name)
            for component in calendar.components()
            for child in component.getChildren()
        )
    else:
        assert max(len(line) for line in text.splitlines()) <= 80
    return found


def keys(value: object) -> object:
    """The keys of JSON, not its values."""
    if isinstance(value, dict):
        return {key: keys(item) for key, item in value.items()}
    return [keys(item) for item in value] if isinstance(value, list) else type(value).__name__


QUESTIONS: tuple[tuple[str, ...], ...] = (
    ("ask", "acer-palmatum"),
    ("ask", "acer-palmatum", "--format", "json"),
    ("ask", "acer-palmatum", "--format", "csv"),
    ("events", "acer-palmatum", "--format", "csv"),
    ("compare",),
    ("site", "check"),
    ("agenda", "--species", "acer-palmatum"),
    ("agenda", "--species", "acer-palmatum", "--days", "2022-06-18"),
    ("calendar", "acer-palmatum"),
)
LISTS = (
    ("site", "list"), ("tree", "list"), ("record", "list"), ("site", "list", "--format=json"),
    ("tree", "list", "--format=json"), ("record", "list", "--format=json"),
)  # fmt: skip
QUICK = (
    ("calendar", "acer-palmatum", ".txt"), ("calendar", "acer-palmatum", ".json"),
    ("calendar", "acer-palmatum", ".csv"), ("calendar", "acer-palmatum", ".ics"),
    ("calendar", "acer-palmatum", ".html"), ("agenda", "--species=acer-palmatum", ".ics"),
    ("site", "check", ".svg"),
)  # fmt: skip
DRAWN = (
    ("calendar", "acer-palmatum", ".svg"), ("calendar", "acer-palmatum", ".pdf"),
    ("calendar", "acer-palmatum", ".png"), ("compare", "acer-palmatum", ".svg"),
    ("compare", "acer-palmatum", ".pdf"), ("site", "check", ".pdf"),
)  # fmt: skip


def said(sapdial: Command, where: tuple[object, ...], questions: Iterable[tuple[str, ...]]) -> None:
    """Ask, and look at what a terminal gets."""
    for words in questions:
        run = sapdial(*words, *where)
        assert run.status == 0, (words, run.err)
        assert not HARMFUL.search(run.out + run.err), words
        form = words[-1].removeprefix("--format=")
        if form in ("json", "csv"):
            text_shape(run.out.encode(), f".{form}")
        else:
            assert max(width(line) for line in run.out.splitlines()) <= 80 or len(words) > 2


def width(text: str) -> int:
    """Columns a line takes; only what is plainly narrow is counted."""
    return sum(unicodedata.east_asian_width(letter) not in "WF" for letter in text)


def shapes(
    sapdial: Command, folder: Path, where: tuple[object, ...], forms: Iterable[tuple[str, ...]]
) -> list[object]:
    """Write every form, and what each consists of."""
    found = []
    for *words, suffix in forms:
        path = folder / f"out{suffix}"
        run = sapdial(*words, *where, "-o", path)
        assert run.status == 0, (words, suffix, run.err)
        assert not HARMFUL.search(run.out + run.err)
        found.append((words, suffix, shape(path)))
    return found


_plain: dict[str, list[object]] = {}


def plain_shapes(
    sapdial: Command, folder: Path, daily: Path, ask: Callable[..., tuple[object, ...]]
) -> list[object]:
    """What every form consists of where the name is plain; found once."""
    if ask.__name__ not in _plain:
        where = ask(sapdial, folder / "plain", daily, PLAIN)
        _plain[ask.__name__] = shapes(sapdial, folder, where, (*QUICK, *DRAWN))
    return _plain[ask.__name__]


def test_a_hostile_name_in_the_notebook_is_a_name(
    sapdial: Command, tmp_path: Path, daily: Path
) -> None:
    where = of_notebook(sapdial, tmp_path / "hostile", daily, TOGETHER)
    said(sapdial, where, QUESTIONS)
    said(sapdial, where[:2], LISTS)
    (site,) = strict_json(sapdial("site", "list", "--format=json", *where[:2]).out)["sites"]
    assert site["site"] == TOGETHER
    plain = of_notebook(sapdial, tmp_path / "plain", daily, PLAIN)
    assert shapes(sapdial, tmp_path, where, QUICK[:6]) == shapes(
        sapdial, tmp_path, plain, QUICK[:6]
    )


def test_a_hostile_name_of_a_file_is_shown_without_effect(
    sapdial: Command, tmp_path: Path, daily: Path
) -> None:
    where = of_file(sapdial, tmp_path / "hostile", daily, "".join(UNSHOWN.values()) + "<b>")
    said(sapdial, where, QUESTIONS[2:6])
    plain = of_file(sapdial, tmp_path / "plain", daily, PLAIN)
    assert shapes(sapdial, tmp_path, where, QUICK[3:]) == shapes(
        sapdial, tmp_path, plain, QUICK[3:]
    )


def test_a_file_name_that_is_no_text_is_shown_as_well_as_it_can_be(
    sapdial: Command, tmp_path: Path, daily: Path
) -> None:
    where = of_file(
        sapdial, tmp_path / "hostile", daily, "a\udcff\udc9b"
    )  # bytes that are no UTF-8
    said(sapdial, where, QUESTIONS[:3])
    shapes(sapdial, tmp_path, where, QUICK[:5])
    for suffix in (".txt", ".ics"):
        run = sapdial("calendar", "acer-palmatum", *where, "-o", tmp_path / f"\udcfe{suffix}")
        assert (run.status, run.err) == (0, "")


@pytest.mark.by_hand
@pytest.mark.parametrize("name", SHOWN.values(), ids=SHOWN)
def test_every_hostile_name_in_every_form(
    sapdial: Command, tmp_path: Path, daily: Path, name: str
) -> None:
    where = of_notebook(sapdial, tmp_path / "hostile", daily, name)
    said(sapdial, where, QUESTIONS)
    said(sapdial, where[:2], LISTS)
    plain = plain_shapes(sapdial, tmp_path, daily, of_notebook)
    assert shapes(sapdial, tmp_path, where, (*QUICK, *DRAWN)) == plain


@pytest.mark.by_hand
@pytest.mark.parametrize("name", UNSHOWN.values(), ids=UNSHOWN)
def test_every_hostile_file_name_in_every_form(
    sapdial: Command, tmp_path: Path, daily: Path, name: str
) -> None:
    where = of_file(sapdial, tmp_path / "hostile", daily, name)
    said(sapdial, where, QUESTIONS)
    plain = plain_shapes(sapdial, tmp_path, daily, of_file)
    assert shapes(sapdial, tmp_path, where, (*QUICK, *DRAWN)) == plain


@pytest.mark.parametrize("text", [*UNSHOWN.values(), "m" * 10_000], ids=[*UNSHOWN, "10 000"])
def test_what_cannot_be_shown_is_refused_where_it_is_typed(
    sapdial: Command, tmp_path: Path, few: Path, text: str
) -> None:
    book = ("--notebook", tmp_path / "n.sqlite")
    place = ("--latitude=45", "--longitude=7", "--temperatures", few, *book)
    assert sapdial("site", "add", PLAIN, *place).status == 0
    assert sapdial("tree", "add", PLAIN, "--species=acer-palmatum", *book).status == 0
    before = (tmp_path / "n.sqlite").read_bytes()
    folded = "\n" in text or "\u2028" in text  # in free text white space becomes one space
    for words in (
        ("site", "add", text, *place),
        ("site", "add", "x", f"--tag={text}", *place),
        ("site", "change", PLAIN, f"--rename={text}", *book),
        ("tree", "add", text, "--species=acer-palmatum", *book),
        ("tree", "change", PLAIN, f"--rename={text}", *book),
        ("tree", "shelter", PLAIN, f"--kind={text}", "--warmer-nights=1", "--warmer-days=1", *book),
        ("record", "add", "running", f"--tree={PLAIN}", "--on=2021-05-01", f"--place={text}",
         *book),
        *(() if folded else (
            ("site", "add", "x", f"--attribution={text}", *place),
            ("tree", "change", PLAIN, f"--note={text}", *book),
            ("record", "add", "heavy", f"--tree={PLAIN}", "--on=2021-05-01", f"--note={text}",
             *book),
        )),
    ):  # fmt: skip
        run = sapdial(*words)
        assert run.status == 2, (words, run)
        assert run.out == ""
        assert run.err.count("\n") == 1
        assert not HARMFUL.search(run.err)
        assert len(run.err) < 950
    assert (tmp_path / "n.sqlite").read_bytes() == before


@pytest.mark.parametrize("text", [*SHOWN.values(), *UNSHOWN.values()], ids=[*SHOWN, *UNSHOWN])
def test_hostile_words_in_files_end_in_a_plain_sentence(
    sapdial: Command, tmp_path: Path, text: str
) -> None:
    quoted = '"' + text.replace('"', '""') + '"'
    seen = tmp_path / "seen.csv"
    region = tmp_path / "region.csv"
    daily = tmp_path / "daily.csv"
    for path, content, words in (
        (seen, f"species,event,date\n{quoted},bud_break,2020-04-01\n", "--observations"),
        (seen, f"species,event,date\nacer-rubrum,bud_break,{quoted}\n", "--observations"),
        (seen, f"species,event,date\nacer-rubrum,{quoted},2020-04-01\n", "--observations"),
        (seen, f"{quoted},event,date\n", "--observations"),
        (region, f"name,latitude,longitude,elevation_m,temperatures\n{quoted},45,7,,x\n", ""),
        (region, f"name,latitude,longitude,elevation_m,temperatures\nx,{quoted},7,,x\n", ""),
        (region, f"name,latitude,longitude,elevation_m,temperatures\nx,45,7,,{quoted}\n", ""),
        (daily, in_unit(DAYS[:3], "c") + f"{quoted},1,2\n", "--temperatures"),
        (daily, in_unit(DAYS[:3], "c", f"day,{quoted},tmax"), "--temperatures"),
        (daily, in_unit(DAYS[:3], "c") + f"2020-01-01,{quoted},2\n", "--temperatures"),
    ):
        path.write_bytes(content.encode())
        where: tuple[object, ...] = ("--sample=humid-continental",)
        if words == "--temperatures":
            where = ("--latitude=45", "--longitude=7")
        if path is region:
            run = sapdial("calendar", "--region", region)
        else:
            run = sapdial("assess" if words == "--observations" else "events", words, path, *where)
        assert run.status in (1, 2), (content, run)
        assert not HARMFUL.search(run.out + run.err), (content, run)
        assert run.err.count("\n") == 1, run.err
        assert len(run.err) < 950


def kept_by_list(folder: Path, name: str) -> bool:
    with (folder / "sites.csv").open("w", encoding="utf-8", newline="") as file:
        header = ["name", "latitude", "longitude", "elevation_m", "temperatures"]
        csv.writer(file).writerows((header, (name, 45, 7, "", "sites.csv")))
    (item,) = listed_sites(folder / "sites.csv")
    return isinstance(item, ListedSite)


def kept_by_notebook(name: str) -> bool:
    try:
        checked_name(name, "name")
    except FieldError:
        return False
    return True


def test_a_list_of_sites_and_a_notebook_keep_the_same_names(tmp_path: Path) -> None:
    """Marks that join or part letters, without which some scripts are misspelt, count as shown."""
    joined = {"joined": "\u0645\u06cc\u200c\u062e", "no-break": "Saint\xa0Gall", "soft": "a\xadb"}
    for name in (*SHOWN.values(), *joined.values()):
        assert (kept_by_list(tmp_path, name), kept_by_notebook(name)) == (True, True), name
    for name in (*UNSHOWN.values(), "a\tb", "", " ", "\u200f", "m" * 81):
        assert (kept_by_list(tmp_path, name), kept_by_notebook(name)) == (False, False), name


@pytest.mark.parametrize("name", ["", "..", "../x", "/etc/passwd", "a/b", "a\\b", "\0", "a\0b"])
def test_a_folder_reads_no_file_but_its_own(sapdial: Command, tmp_path: Path, name: str) -> None:
    folder = tmp_path / "in"
    (folder / "temperatures").mkdir(parents=True)
    daily_file(tmp_path / "x", days=10)
    header = "name,latitude,longitude,temperatures"
    (folder / "sites.csv").write_text(f"{header}\nYard,45,7,{name}\n")
    run = sapdial("record", "import", folder, "--notebook", tmp_path / "n.sqlite")
    if name == "":
        assert (run.status, run.err) == (0, "")
        return
    assert (run.status, run.out) == (1, "")
    assert "line 2, column temperatures" in run.err
    assert run.err.count("\n") == 1
    assert not (tmp_path / "n.sqlite").exists()
    listed = tmp_path / "region.csv"
    listed.write_text(f"name,latitude,longitude,elevation_m,temperatures\nx,45,7,,a{name}\0\n")
    run = sapdial("calendar", "--region", listed)
    assert (run.status, run.err.count("\n")) == (1, 1)


def test_exported_names_of_files_stay_in_the_folder(
    sapdial: Command, tmp_path: Path, few: Path
) -> None:
    book = ("--notebook", tmp_path / "n.sqlite")
    for name in (*SHOWN.values(), "..", "con", "NUL", ".hidden", "a/../../b", "~root"):
        run = sapdial("site", "add", "--latitude=45", "--longitude=7", "--temperatures", few,
                      *book, "--", name)  # fmt: skip
        assert run.status == 0, run.err
    assert sapdial("record", "export", tmp_path / "out", *book).status == 0
    files = [path for path in tmp_path.rglob("*") if path.is_file()]
    inside = [path for path in files if tmp_path / "out" / "temperatures" in path.parents]
    assert len(inside) == len(SHOWN) + 6
    assert all(re.fullmatch(r"[a-z0-9-]+\.csv", path.name) for path in inside)
    assert len(files) == len(inside) + 7  # the six tables and the notebook
    again = ("--notebook", tmp_path / "again.sqlite")
    assert sapdial("record", "import", tmp_path / "out", *again).status == 0
    one, two = (sapdial("site", "list", "--format=json", *which).out for which in (book, again))
    assert json.loads(one) == json.loads(two)
