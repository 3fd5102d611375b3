"""Where the answer goes: an encoding that lacks letters, a stream that is closed.

What must hold: nothing ends in a traceback; a number keeps its sign and a sentence its words in the
encodings of older systems; JSON says the same in all of them; what a terminal would obey is
replaced in each.
"""

import io
import json
import sys
from pathlib import Path

import pytest
from test_cli import Command, daily_file, sapdial

from cli.main import main

__all__ = ["sapdial"]  # the fixture

ENCODINGS = ("utf-8", "cp1252", "latin-1", "cp437", "ascii")
SAMPLE = ("--sample", "humid-continental")
QUESTIONS = (
    ("ask", "acer-palmatum", "--work", "heavy", *SAMPLE),
    ("compare", "acer-palmatum", *SAMPLE),
    ("species", "show", "betula-pendula"),
)
PLAIN = str.maketrans(dict.fromkeys("−–—", "-") | dict.fromkeys("“”„", '"') | {"…": "..."})


def written(patch: pytest.MonkeyPatch, encoding: str, *words: object) -> bytes:
    """What a run writes to a stream of an encoding."""
    out = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    patch.setattr(sys, "argv", ["sapdial", *map(str, words)])
    patch.setattr(sys, "stdout", out)
    main()
    out.flush()
    assert isinstance(out.buffer, io.BytesIO)
    return out.buffer.getvalue()


@pytest.mark.parametrize("words", QUESTIONS, ids=lambda words: words[0])
def test_an_encoding_that_lacks_letters_costs_no_more_than_their_looks(
    monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    whole = written(monkeypatch, "utf-8", *words).decode()
    for encoding in ("cp1252", "cp437"):  # one that lacks the minus, one that lacks dashes too
        text = written(monkeypatch, encoding, *words).decode(encoding)
        for wanted, got in zip(whole.splitlines(), text.splitlines(), strict=True):
            plain = wanted.translate(PLAIN)
            same = got.translate(PLAIN)
            for letter, shown in zip(plain, same, strict=True):
                lacking = letter not in letter.encode(encoding, "replace").decode(encoding)
                assert shown == ("?" if lacking else letter), (encoding, wanted, got)


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_json_says_the_same_in_every_encoding(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, encoding: str
) -> None:
    path = daily_file(tmp_path / "紅葉 −1\x1b[2J.csv")
    words = ("ask", "acer-palmatum", "--temperatures", path, "--latitude=45", "--longitude=7",
             "--on=2022-05-10", "--format=json")  # fmt: skip
    raw = written(monkeypatch, encoding, *words)
    assert b"\x1b" not in raw
    said = raw.decode("utf-8" if encoding == "ascii" else encoding)  # ASCII: nobody set one
    assert json.loads(said)["site"]["name"] == "紅葉 −1?[2J"


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_the_json_of_a_calendar_says_the_same_in_every_encoding(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, encoding: str
) -> None:
    path = daily_file(tmp_path / "紅葉 −1.csv")
    words = ("calendar", "acer-palmatum", "--temperatures", path, "--latitude=45",
             "--longitude=7", "--on=2022-05-10", "--format=json")  # fmt: skip
    raw = written(monkeypatch, encoding, *words)
    said = raw.decode("utf-8" if encoding == "ascii" else encoding)
    assert json.loads(said)["site"]["name"] == "紅葉 −1"


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_an_error_passes_nothing_that_a_terminal_obeys(
    monkeypatch: pytest.MonkeyPatch, encoding: str
) -> None:
    err = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    monkeypatch.setattr(sys, "argv", ["sapdial", "calendar", *SAMPLE, "-o", "a\x07b.xyz"])
    monkeypatch.setattr(sys, "stderr", err)
    with pytest.raises(SystemExit):
        main()
    err.flush()
    assert isinstance(err.buffer, io.BytesIO)
    assert err.buffer.getvalue().startswith(b"sapdial: -o a?b.xyz: the name must end in")


def test_a_closed_stream_is_no_fault(
    sapdial: Command, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    words = ("calendar", "acer-palmatum", *SAMPLE, "-o", tmp_path / "y.json")
    monkeypatch.setattr(sys, "stdout", None)
    assert sapdial(*words).status == 0
    assert json.loads((tmp_path / "y.json").read_text(encoding="utf-8"))
    monkeypatch.setattr(sys, "stderr", None)
    assert sapdial("ask", "nothing-known", *SAMPLE).status == 2
