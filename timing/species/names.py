"""What a user may call a taxon: slug, scientific or common name, or a genus."""

from __future__ import annotations

import difflib
from functools import cache

from timing.errors import UsageError
from timing.species.catalogue import slugs
from timing.species.tables import read_table


def find_species(name: str) -> tuple[str, ...]:
    """Slugs a user's word stands for: a slug, a scientific or common name, or a genus.

    Raises
    ------
    UsageError : nothing matches; the message lists the nearest names.
    """
    if name in slugs():
        return (name,)
    wanted = " ".join(name.lower().replace("-", " ").replace("_", " ").split())
    by_name = _names()
    if wanted in by_name:
        return by_name[wanted]
    near = difflib.get_close_matches(wanted, by_name, n=4, cutoff=0.5)
    hint = f"nearest: {', '.join(near)}" if near else "see 'sapdial species list'"
    raise UsageError(f"no species called {name!r}; {hint}")


@cache
def _names() -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for slug in slugs():
        table = read_table(slug)
        scientific = str(table.get("scientific_name", slug)).lower().replace("-", " ")
        words = {
            slug.replace("-", " "),
            scientific,
            scientific.replace("× ", ""),
            scientific.split()[0],
            str(table.get("common_name", slug)).lower().replace("-", " "),
            str(table.get("genus_name", slug)).lower(),
            *(other.lower().replace("-", " ") for other in table.get("other_names", ())),
        }
        for word in words:
            found.setdefault(word, []).append(slug)
    return {word: tuple(matches) for word, matches in found.items()}
