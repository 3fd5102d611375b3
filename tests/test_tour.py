"""The tour shows what its commands print.

What must hold: run one after another in a fresh folder, they print the page's own blocks, to the
letter; the page shows every step of a grower's first day; no line is too wide for a terminal.
"""

from pathlib import Path

from write_tour import BLOCK, PAGE, commands, walked


def test_the_tour_shows_what_its_commands_print(tmp_path: Path) -> None:
    text = PAGE.read_text("utf-8")
    assert walked(text, tmp_path) == text


def test_the_tour_goes_all_the_way() -> None:
    text = PAGE.read_text("utf-8")
    blocks = list(BLOCK.finditer(text))
    assert len(blocks) == text.count("```sh\n")  # no command without what it prints
    ran = [words for block in blocks for words in commands(block["commands"])]
    steps = [tuple(words[1:3]) for words in ran if words[0] == "sapdial"]
    assert steps.count(("site", "add")) == 1
    assert steps.count(("tree", "add")) == 6
    added = [words[3] for words in ran if tuple(words[1:3]) == ("record", "add")]
    assert len([what for what in added if what in ("bud_break", "leaf_full_size")]) == 3
    assert "heavy" in added
    assert {"ask", "agenda", "compare"} <= {step[0] for step in steps}
    assert all(len(line) <= 80 for block in blocks for line in block["printed"].splitlines())
