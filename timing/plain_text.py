"""Small ways to write text: what a terminal would obey is left out, numbers carry their sign.

Here too is the one rule of what a name may hold: every letter of every script, with the marks
that join or part letters in some of them, but nothing that would be obeyed instead of shown.
"""

from __future__ import annotations

import re
import unicodedata

# Control characters but tab and line feed, line separators, marks that reorder the line, the byte
# order mark, which nobody sees, and halves of characters, which stand for bytes of a file name that
# are no text and cannot be written.
_UNSHOWN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)


def shown(text: str) -> str:
    """A text with a question mark for every character that a terminal or a page would obey.

    >>> shown("a\\x1b[2Jb")
    'a?[2Jb'
    """
    return _UNSHOWN.sub("?", text)


def unshown(line: str) -> str | None:
    """The first character that `shown` would replace, a tab or a line feed; None where none is.

    >>> unshown("Old\\u202emaple"), unshown("Old maple")
    ('\\u202e', None)
    """
    found = re.search("[\t\n]", line) or _UNSHOWN.search(line)
    return found[0] if found else None


def lookup_key(name: str) -> str:
    """What two spellings of one name share: letter case, spacing and unseen marks do not count.

    >>> lookup_key("Große  Bank") == lookup_key("GROSSE BANK")
    True
    """
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
    seen = "".join(letter for letter in folded if unicodedata.category(letter) != "Cf")
    return " ".join(seen.split())


def signed_tenths(value: float) -> str:
    """One decimal with its sign, the minus a minus, in English.

    >>> signed_tenths(1.25), signed_tenths(-0.6), signed_tenths(-0.01)
    ('+1.2', '−0.6', '0.0')
    """
    text = f"{value:+.1f}".replace("-", "−")
    return "0.0" if text[1:] == "0.0" else text
