"""`bottomheat labels`: sheets of a bench's batches as SVG, HTML, PDF, or a list."""

import json

import pytest

from controller import cli
from controller.records.codes import code_of
from tests.cli.test_batch_command import ADD, ONE, STUCK, TWO, kept, typed, url

__all__ = ["kept", "url"]  # fixtures


@pytest.fixture
def bench(url, capsys) -> str:
    typed(*ADD, "--cultivar", "Hollow & Lane", "--url", url)
    typed("add", "quince", "--kind", "hardwood", *STUCK, "--url", url)
    typed("add", "box", "--kind", "semi-ripe", "--url", url)
    typed("close", TWO, "failed", "--url", url)
    capsys.readouterr()
    return url


def made(bench: str, *words: object) -> int:
    return cli.main(["labels", *map(str, words), "--url", bench])


def test_without_a_file_the_open_batches_are_listed_to_be_copied(bench, capsys):
    assert made(bench, "--blank", 1) == 0
    assert capsys.readouterr().out.splitlines() == [
        f"{ONE}      2026-02-10  gooseberry Hollow & Lane",
        f"{code_of(3)}      -           box",
        f"{code_of(4)}      -           (free)",
    ]
    assert made(bench, "--tray", "N1", "--json") == 0
    found = json.loads(capsys.readouterr().out)["labels"]
    assert [one["code"] for one in found] == [ONE]


def test_a_closed_batch_is_labelled_when_it_is_named(bench, capsys):
    assert made(bench, TWO.lower()) == 0
    assert capsys.readouterr().out.startswith(TWO)


@pytest.mark.parametrize("sheet", ["stakes", "wall", "look"])
@pytest.mark.parametrize("ending", ["svg", "html", "pdf"])
def test_sheets_are_written_whole(bench, tmp_path, capsys, sheet, ending):
    out = tmp_path / f"sheet.{ending}"
    assert made(bench, "--sheet", sheet, "-o", out) == 0
    assert capsys.readouterr().out == f"{out}\n"
    body = out.read_bytes()
    if ending == "pdf":
        assert body.startswith(b"%PDF-") and body.rstrip().endswith(b"%%EOF")
    else:
        assert f">{ONE}<".encode() in body
        assert b"Hollow &amp; Lane" in body
    assert made(bench, "--sheet", sheet, "-o", out) == 2
    assert "is there already" in capsys.readouterr().err
    assert made(bench, "--sheet", sheet, "-o", out, "--overwrite") == 0


def test_more_pages_are_more_files_where_one_holds_a_single_page(
    bench, tmp_path, capsys
):
    out = tmp_path / "s.svg"
    assert made(bench, "--copies", 20, "-o", out, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found == {"files": [str(out), str(tmp_path / "s-2.svg")], "pages": 2}


def test_qr_codes_hold_the_code_or_an_address_or_are_left_out(bench, tmp_path):
    sizes = []
    for n, words in enumerate([["--no-qr"], [], ["--address", "http://bench.example"]]):
        out = tmp_path / f"{n}.svg"
        assert made(bench, ONE, *words, "-o", out) == 0
        sizes.append(len(out.read_bytes()))
    assert sizes == sorted(sizes)


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ([code_of(9)], "there is no batch"),
        (["X"], "has 4 to 8 characters"),
        (["-o", "x.png"], "write FILE.svg or FILE.html or FILE.pdf"),
        (["--copies", "0"], "--copies is from 1"),
        (["--tray", "S1", "-o", "x.svg"], "no open batch to label"),
    ],
)
def test_what_cannot_be_is_refused_with_what_is_right(bench, words, complaint, capsys):
    assert made(bench, *words) == 2
    assert complaint in capsys.readouterr().err


def test_pdf_says_how_to_get_what_it_needs(bench, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("controller.cli.extras.find_spec", lambda _: None)
    assert made(bench, "-o", tmp_path / "x.pdf") == 2
    assert 'pip install "bottomheat[sheets]"' in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
