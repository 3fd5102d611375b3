"""The lists of a booklet: work month by month; cautions, method and sources."""

from __future__ import annotations

from timing import calendar_words, wording
from timing.charts import HAIR, INK, QUIET, SERIF, text_width
from timing.charts.booklet_sheet import Book, Line, height_of, prose
from timing.species.catalogue import common_rules
from timing.species.model import WORK_KINDS
from timing.worklist import ClosedItem, MonthWork, WorkItem, month_work

GUTTER = 0.2
BOX = 0.075
Entries = list[tuple[list[Line], str]]


def month_pages(book: Book) -> None:
    """Draw the twelve months: three columns of taxa to tick off, and what ends or is closed."""
    book.turn(book.words("booklet.month_by_month"))
    sheet = book.sheet
    lines = prose(book.words("booklet.month_help"), sheet.right - sheet.left, 7.5, colour=QUIET)
    book.y = sheet.set(sheet.left, book.y, lines) + 0.05
    for month in month_work(book.calendar):
        _month(book, month)


def _month(book: Book, month: MonthWork) -> None:
    wide = _column(book)
    columns = [_entries(book, month, number, wide) for number in range(3)]
    tail = _tail(book, month)
    whole = 0.5 + max(_tall(column) for column in columns) + height_of(tail)
    fresh = book.sheet.bottom - book.sheet.top - 0.5
    if not book.fits(whole) and (whole <= fresh or not book.fits(1.5)):
        book.turn(book.words("booklet.month_by_month"))
    name = book.words(f"months.{month.month}")
    name = name[0].upper() + name[1:]
    again = book.words("booklet.continued", title=name)
    _month_head(book, name, wide)
    while True:
        columns = _columns(book, columns)
        if not any(columns):
            break
        book.turn(book.words("booklet.month_by_month"))
        _month_head(book, again, wide)
    for line in tail:
        if not book.fits(line.height):
            book.turn(book.words("booklet.month_by_month"))
            _month_head(book, again, wide)
        book.y = book.sheet.set(book.sheet.left, book.y, [line])
    book.y += 0.1


def _column(book: Book) -> float:
    return (book.sheet.right - book.sheet.left - 2 * GUTTER) / 3


def _month_head(book: Book, name: str, wide: float) -> None:
    sheet = book.sheet
    if book.y > sheet.top + 0.5:  # else the rule of the page's head stands there
        sheet.line((sheet.left, sheet.right), (book.y, book.y), width=0.8)
    head = [Line(name, 12.5, "bold", "normal", SERIF)]
    book.y = sheet.set(sheet.left, book.y + 0.04, head)
    for number, kind in enumerate(WORK_KINDS):
        x = sheet.left + number * (wide + GUTTER)
        below = sheet.set(x, book.y, [Line(book.words(f"work.{kind}"), 7.5, "bold")])
        sheet.line((x, x + wide), (below, below), colour=HAIR, width=0.7)
    book.y = below + 0.03


def _entries(book: Book, month: MonthWork, number: int, wide: float) -> Entries:
    """One column: a taxon and its days an entry; an empty list where nothing is safe."""
    found: Entries = []
    for item in month.of(WORK_KINDS[number]):
        span = _span(book, month, item)
        weight = "bold" if item.ends else "normal"
        room = wide - 0.14 - text_width(span, 7.5, weight="bold") - 0.1
        found.append((prose(item.species.common_name, room, 7.5, weight=weight, hang=0.1), span))
    return found


def _tall(column: Entries) -> float:
    return sum(height_of(lines) for lines, _ in column)


def _columns(book: Book, columns: list[Entries]) -> list[Entries]:
    """Set as many entries as fit side by side; return what is left of each column."""
    sheet, top, wide = book.sheet, book.y, _column(book)
    left_over, lowest = [], top
    for number, column in enumerate(columns):
        x, y = sheet.left + number * (wide + GUTTER), top
        rest = list(column)
        while rest and y + height_of(rest[0][0]) <= sheet.bottom:
            entry, span = rest.pop(0)
            middle = y + 0.073
            corners = [middle - BOX / 2, middle + BOX / 2]
            sheet.line(
                (x, x + BOX, x + BOX, x, x),
                (corners[0], corners[0], corners[1], corners[1], corners[0]),
                colour=INK, width=0.6,
            )  # fmt: skip
            sheet.text(
                x + wide, y + 7.5 * 0.97 / 72, span, size=7.5, weight=entry[0].weight, ha="right"
            )
            y = sheet.set(x + 0.14, y, entry)
        if not column:
            y = sheet.set(x, y, [Line("–", 7.5, colour=QUIET)])
        left_over.append(rest)
        lowest = max(lowest, y)
    book.y = lowest + 0.03
    return left_over


def _tail(book: Book, month: MonthWork) -> list[Line]:
    wide, words = book.sheet.right - book.sheet.left, book.words
    ends = [
        f"{words(f'work.{kind}')} – "
        + ", ".join(
            f"{item.species.common_name} {wording.short_day(item.last, book.language)}"
            for item in month.ending(kind)
        )
        for kind in WORK_KINDS
        if month.ending(kind)
    ]
    text = (
        words("booklet.last_safe_day", listed="; ".join(ends)) if ends else words("booklet.no_end")
    )
    lines = prose(text, wide, 7.5, hang=0.1, before=0.03)
    by_hazard: dict[tuple[str, str, tuple[str, ...]], list[str]] = {}
    for item in month.closed:
        kinds = tuple(words(f"short_work.{kind}") for kind in item.kinds)
        key = (item.hazard.label, _span(book, month, item), kinds)
        by_hazard.setdefault(key, []).append(item.species.common_name)
    for (label, span, kinds), names in by_hazard.items():
        text = words(
            "booklet.closed", span=span, hazard=label, kinds=", ".join(kinds),
            names=", ".join(names),
        )  # fmt: skip
        lines += prose(text, wide, 7.5, hang=0.1)
    return lines


def _span(book: Book, month: MonthWork, item: WorkItem | ClosedItem) -> str:
    if month.whole(item):
        return book.words("booklet.all_month")
    return wording.span_text(item.first, item.last, book.language)


# ---------------------------------------------------------------------- cautions and sources


def note_pages(book: Book) -> None:
    """Draw cautions, method, record and the numbered sources in two columns a page."""
    title = book.words("booklet.notes_title")
    sheet = book.turn(title)
    wide = (sheet.right - sheet.left - GUTTER) / 2
    top, column = book.y, 0
    y = top
    for lines in _paragraphs(book, wide):
        keep = height_of(lines[:2])  # a heading never stands alone at the foot
        for number, line in enumerate(lines):
            if y + (keep if number == 0 else line.height) > book.sheet.bottom:
                column += 1
                if column == 2:
                    book.turn(title)
                    column = 0
                y = top
            y = book.sheet.set(sheet.left + column * (wide + GUTTER), y, [line])
    book.y = y


def _paragraphs(book: Book, wide: float) -> list[list[Line]]:
    """Sections of the last pages, every paragraph broken into lines."""
    calendar, notes, words = book.calendar, book.notes, book.words
    parts: list[tuple[str, list[str]]] = [
        (
            words("calendar.before_you_cut"),
            [
                *calendar.cautions,
                *(f"{item.text} {notes.mark(item.source)}" for item in common_rules().cautions),
            ],
        )
    ]
    if calendar.invented:
        parts.insert(0, (words("notice.invented"), [words("notice.no_such_place")]))
    if footnote := words("notice.names_stay_english"):
        parts.append((words("language.heading"), [footnote]))
    hazards = {
        hazard.name: hazard for row in calendar.rows for b in row.bands for hazard, _ in b.closed
    }
    if hazards:
        handling = [f"{item.label.capitalize()}: {item.handling}" for item in hazards.values()]
        parts.append((words("booklet.hazards"), handling))
    cautions: dict[tuple[str, str], list[str]] = {}
    for row in calendar.rows:
        for item in row.species.cautions:
            cautions.setdefault((item.text, item.source), []).append(row.species.common_name)
    warned = [
        f"{', '.join(dict.fromkeys(names))}: {text} {notes.mark(source)}"
        for (text, source), names in cautions.items()
    ]
    if warned:
        parts.append((words("booklet.warnings"), warned))
    parts += [
        (
            words("region.places" if calendar.shared else "calendar.place_and_record"),
            [
                f"{calendar.name}: {calendar_words.place_of(calendar)}",
                calendar_words.record_text(calendar),
            ],
        ),
        (words("calendar.method"), [calendar_words.method_of(calendar)]),
        (words("calendar.evidence"), [calendar_words.evidence_text(calendar), *_grades(book)]),
    ]
    found = [_section(heading, texts, wide) for heading, texts in parts]
    sources = [f"{number}  {source}" for source, number in notes.numbers.items()]
    if sources:
        found.append(_section(words("booklet.sources"), sources, wide, size=7.0, hang=0.18))
    return found


def _grades(book: Book) -> list[str]:
    known = ("common practice", "measured", "borrowed", "from memory")
    return [
        book.words(f"booklet.grade_{grade.replace(' ', '_')}")
        for grade in known
        if grade in book.notes.grades
    ]


def _section(
    heading: str, texts: list[str], wide: float, size: float = 7.5, hang: float = 0.1
) -> list[Line]:
    lines = prose(heading, wide, 10, weight="bold", family=SERIF, before=0.09)
    for text in texts:
        lines += prose(text, wide, size, hang=hang, before=0.02)
    return lines
