"""A sweep in words: a table that a terminal can show, and what told nothing."""

from controller.cli.sweep_rows import Row
from controller.cli.sweep_words import in_words

LONG = "logs/short.db: mat north: no model of N2: " + "only 0 hours of readings, " * 9


def test_why_a_log_tells_nothing_stands_below_the_table_and_makes_no_line_long():
    rows = [
        Row(log="short.db", mat="north", size=1, modified_ns=1, told=None, why=LONG),
        Row(log="text.db", mat="", size=1, modified_ns=1, told=None, why="no log"),
    ]
    told = "\n".join(in_words(rows, "steadiest"))
    assert max(map(len, told.splitlines())) <= 100
    assert "2 of 2 told nothing:" in told
    assert f"short.db, mat north: {LONG.strip()}" in " ".join(told.split())
    assert "  text.db: no log" in told.splitlines()
