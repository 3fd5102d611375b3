"""The languages a calendar is written in: one catalogue of texts each.

A catalogue is a TOML file in ``timing/languages``: tables of keys, each a text with named
placeholders. All catalogues have the same keys and the same placeholders. Common names of taxa
and texts of rules are not in it; they stay English.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

LANGUAGES = ("en", "de", "es")
FOLDER = Path(__file__).with_name("languages")


@dataclass(frozen=True)
class Language:
    """A catalogue of texts.

    Parameters
    ----------
    code : language tag (BCP 47), as in ``lang="de"``.
    texts : ``table.key`` → text with named placeholders.
    """

    code: str
    texts: dict[str, str]

    def text(self, key: str, /, **values: object) -> str:
        """The text of a key, its placeholders filled in.

        A sentence that ends with a shortened month ("8. Feb.") keeps one full stop.
        """
        text = self.texts[key].format(**values)
        return text[:-1] if text.endswith("..") and not text.endswith("...") else text

    def table(self, name: str) -> dict[str, str]:
        """The texts of one table by their keys, in the order of the file."""
        return {
            key.partition(".")[2]: text
            for key, text in self.texts.items()
            if key.partition(".")[0] == name
        }


@cache
def language(code: str) -> Language:
    """Load a language by its code, one of `LANGUAGES`."""
    with (FOLDER / f"{code}.toml").open("rb") as file:
        tables = tomllib.load(file)
    texts = {f"{name}.{key}": text for name, table in tables.items() for key, text in table.items()}
    return Language(code, texts)


ENGLISH = language("en")
