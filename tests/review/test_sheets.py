"""Sheets for the bench: what stands on them, and that it stays on the paper."""

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.records.codes import code_of
from controller.review.drawing import (
    SIZES_MM,
    Cells,
    Line,
    Page,
    Text,
    fitted,
    printed_html,
    runs_of,
    svg,
    text_width,
)
from controller.review.sheets import Labelled, look_sheet, stakes, wall_key

MATRIX = tuple(tuple((x * y) % 3 == 0 for x in range(21)) for y in range(21))
LONG = "Über-Langer <Name> & so weiter, der nirgends hinpasst" * 2


def labelled(how_many: int, **also) -> list[Labelled]:
    told = {"crop": "gooseberry", "cultivar": LONG, "stuck": "2027-02-01", **also}
    return [Labelled(code=code_of(n), **told) for n in range(1, how_many + 1)]


def sheets(count: int, size) -> list[Page]:
    some = labelled(count, medium=LONG, tray="N1", count="24", kind="semi-hardwood")
    return [
        *stakes(some, size, lambda _: MATRIX),
        *wall_key(some, size, LONG),
        *look_sheet(some, size, LONG),
    ]


def extent(mark) -> tuple[float, float, float, float]:
    """Return left, top, right and bottom of a mark, text by its guessed width."""
    if isinstance(mark, Text):
        width = (
            len(mark.text) * mark.size * 0.602
            if mark.mono
            else text_width(mark.text, mark.size, bold=mark.bold)
        )
        left = mark.x - {"start": 0, "middle": width / 2, "end": width}[mark.anchor]
        return left, mark.y - mark.size * 0.75, left + width, mark.y + mark.size * 0.2
    if isinstance(mark, Line):
        xs, ys = sorted((mark.x1, mark.x2)), sorted((mark.y1, mark.y2))
        return xs[0], ys[0], xs[1], ys[1]
    side = len(mark.rows) * mark.cell
    return mark.x, mark.y, mark.x + side, mark.y + side


@pytest.mark.parametrize("paper", sorted(SIZES_MM))
@pytest.mark.parametrize("count", [1, 31, 70])
def test_nothing_leaves_the_paper(paper, count):
    for page in sheets(count, SIZES_MM[paper]):
        for mark in page.marks:
            left, top, right, bottom = extent(mark)
            assert left >= 4 and top >= 4, mark
            assert right <= page.width - 4 and bottom <= page.height - 4, mark


@pytest.mark.parametrize("make", [stakes, wall_key, look_sheet])
def test_each_code_is_there_once_and_large(make):
    other = (lambda _: None) if make is stakes else "lean-to"
    some = labelled(40)
    found = [
        mark
        for page in make(some, SIZES_MM["a4"], other)
        for mark in page.marks
        if isinstance(mark, Text) and mark.mono
    ]
    assert [mark.text for mark in found] == [one.code for one in some]
    assert min(mark.size for mark in found) >= 5


def test_a_stake_has_code_name_date_and_its_qr_code_does_not_touch_them():
    ((page),) = stakes(labelled(2), SIZES_MM["a4"], lambda _: MATRIX)
    codes = [mark for mark in page.marks if isinstance(mark, Cells)]
    texts = [mark for mark in page.marks if isinstance(mark, Text)]
    assert len(codes) == 2
    assert [text.text for text in texts if text.text == "2027-02-01"] != []
    for text in texts:
        left, _, right, _ = extent(text)
        for code in codes:
            begin = code.x - 4 * code.cell  # its quiet zone, ISO/IEC 18004
            end = code.x + (len(MATRIX) + 4) * code.cell
            assert right <= begin + 0.01 or left >= end - 0.01


def test_a_blank_stake_has_lines_for_a_pencil():
    ((page),) = stakes([Labelled(code="334X")], SIZES_MM["a4"], lambda _: None)
    assert sum(isinstance(m, Line) and not m.dashed for m in page.marks) == 2
    assert [m.text for m in page.marks if isinstance(m, Text)] == ["334X"]


def test_the_look_sheet_has_a_box_for_each_thing_a_look_can_tell():
    ((page),) = look_sheet(labelled(3), SIZES_MM["a4"], "lean-to")
    said = {mark.text for mark in page.marks if isinstance(mark, Text)}
    assert page.width > page.height
    assert said >= {
        *("how", "at n", "none", "callus", "roots", "dorm.", "swell.", "leaf", "wilt"),
        *("rotted", "shriv.", "mould", "miss.", "lifted", "rooted", "notes"),
    }


@given(st.lists(st.lists(st.booleans(), min_size=9, max_size=9), min_size=1))
def test_runs_cover_the_black_squares_and_no_other(rows):
    black = {
        (row, column + n)
        for row, column, length in runs_of(rows)
        for n in range(length)
    }
    wanted = {(y, x) for y, row in enumerate(rows) for x, on in enumerate(row) if on}
    assert black == wanted


@given(text=st.text(max_size=60), room=st.floats(0, 60))
def test_text_is_cut_to_its_room(text, room):
    found = fitted(text, 3, room)
    assert text_width(found, 3) <= room or found in ("", "…")
    assert found in (text, "") or found.endswith("…")


def test_a_page_is_one_svg_in_millimetres_with_its_text_escaped():
    page = stakes(labelled(1), SIZES_MM["a4"], lambda _: MATRIX)[0]
    root = ET.fromstring(svg(page))  # noqa: S314 - our own
    assert (root.get("width"), root.get("viewBox")) == ("210mm", "0 0 210 297")
    assert "<Name>" not in svg(page) and "&lt;Name&gt;" in svg(page)


def test_the_printed_page_asks_for_nothing_from_elsewhere():
    pages = sheets(40, SIZES_MM["letter"])
    whole = printed_html("a <title>", pages)
    assert whole.count("<svg") == len(pages)
    assert "@page{size:215.9mm 279.4mm" in whole
    assert "a &lt;title&gt;" in whole
    outside = re.findall(r'(?:href|src|url)\s*[=(]\s*["\']?(?!#)([^"\')>]+)', whole)
    assert outside == []
