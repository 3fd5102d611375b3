"""Whom to name for downloaded readings, and on what terms they may be used."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

SERVICE = "Meteostat"
SERVICE_TERMS = "CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/)"
COVERED = ("", "CC BY 4.0", "CC0 1.0 Universal")  # terms that the service's own include
MODIFIED = "modified"  # the licence asks to say so: readings are checked, mended and corrected


@dataclass(frozen=True, order=True)
class Credit:
    """A source of the service: whom it wants named (may be empty), and its terms."""

    name: str
    terms: str


def attribution(credits: Iterable[Credit], before: str = "") -> str:
    """Whom to name; names that stand in ``before`` already are not said twice."""
    names = [SERVICE, *sorted({item.name for item in credits if item.name})]
    return ", ".join([*([before] if before else []), *(n for n in names if n not in before)])


def licence(credits: Iterable[Credit], before: str = "") -> str:
    """Terms of use; a source's own are named where the service's do not include them."""
    own = sorted({f"{it.name}: {it.terms}" for it in credits if it.terms not in COVERED})
    terms = [SERVICE_TERMS, *own, MODIFIED]
    return "; ".join([*([before] if before else []), *(t for t in terms if t not in before)])
