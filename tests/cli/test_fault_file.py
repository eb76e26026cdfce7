"""Files of faults: what may be written, what is refused, and what comes of it."""

import re
import tomllib

import pytest

from controller.adapters.season_log import SeasonLogReader
from controller.adapters.settings import SettingsError, load
from controller.cli import main
from controller.cli.fault_file import load_faults
from controller.cli.paths import config_dir
from sim.kinds import SHAPES, About, Kind, Unit

BENCH = config_dir() / "bench.toml"
EXAMPLE = config_dir() / "faults.toml"
PLAN = load(BENCH, {}).plan

WRITTEN = {
    Unit.TEMPERATURE: "20 °C",
    Unit.DIFFERENCE: "2 K",
    Unit.RATE: "1 °F/day",
    Unit.SPAN: "2 h",
    Unit.WATER: "6 mm",
    Unit.LIGHT: "200 W/m²",
    Unit.SHARE: "30 %",
}
SUBJECTS = {About.PROBE: "S1", About.TRAY: "S1", About.MAT: "south"}


def written(kind):
    """A table of a kind with every key that it may have."""
    shape = SHAPES[kind]
    lines = ["[[fault]]", 'at = "1 d"', f'kind = "{kind.value}"']
    if shape.about is not About.BENCH:
        lines.append(f'{shape.about.value} = "{SUBJECTS[shape.about]}"')
    lines += [f'{key} = "{WRITTEN[size.unit]}"' for key, size in shape.sizes.items()]
    lines += [f"{key} = false" for key in shape.flags]
    lines += ['with = "S2"'] * shape.other + ['lasts = "90 min"'] * shape.lasts
    return "\n".join(lines) + "\n"


def loaded(tmp_path, text):
    path = tmp_path / "faults.toml"
    path.write_text(text, encoding="utf-8")
    return load_faults(path, PLAN)


def refused(tmp_path, text):
    """What is told of a file that is refused, without the file's name."""
    with pytest.raises(SettingsError) as error:
        loaded(tmp_path, text)
    return [finding.partition(": ")[2] for finding in str(error.value).splitlines()]


@pytest.mark.parametrize("kind", Kind, ids=lambda kind: kind.value)
def test_every_kind_can_be_written_with_all_its_keys(tmp_path, kind):
    (fault,) = loaded(tmp_path, written(kind))
    assert fault.kind is kind
    assert fault.at_ms == 86_400_000
    assert set(fault.sizes) == set(SHAPES[kind].sizes)
    assert not any(fault.flags.values())
    if SHAPES[kind].lasts:
        assert fault.lasts_ms == 5_400_000


@pytest.mark.parametrize(
    ("key", "text", "milli"),
    [
        ('kind = "probe-jumps"\nprobe = "S1"\nby', "-4 °F", -2_222),
        ('kind = "probe-drifts"\nprobe = "S1"\nby', "-0.5 K/d", -500),
        ('kind = "probe-says"\nprobe = "S1"\nvalue', "185 °F", 85_000),
        ('kind = "clock-jumps"\nby', "-1 h 30 min", -5_400_000),
        ('kind = "clock-jumps"\nby', "\N{MINUS SIGN}20 s", -20_000),
        ('kind = "tray-watered"\ntray = "S1"\nwater', "1.5 cm", 15_000),
        ('kind = "medium-dries"\ntray = "S1"\nleft', "12.5 %", 125),
        ('kind = "sun"\ntray = "S1"\ngives', "250 W/m2", 250_000),
    ],
)
def test_sizes_are_read_with_their_units(tmp_path, key, text, milli):
    (fault,) = loaded(tmp_path, f'[[fault]]\nat = "1 h"\n{key} = "{text}"\n')
    assert fault.sizes[key.rpartition("\n")[2]] == milli


@pytest.mark.parametrize(
    ("text", "milli"),
    [("0 s", 0), ("2 d 3 h", 183_600_000), ("1.5 h", 5_400_000), ("90 min", 5_400_000)],
)
def test_times_may_have_several_parts(tmp_path, text, milli):
    (fault,) = loaded(tmp_path, f'[[fault]]\nat = "{text}"\nkind = "log-fails"\n')
    assert fault.at_ms == milli


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ('at = "1 h"', "fault 1: kind: missing; known here: probe-slips-out"),
        (
            'at = "1 h"\nkind = "probe-slip-out"',
            'fault 1: kind = "probe-slip-out": no such kind; did you mean'
            " probe-slips-out?",
        ),
        ('at = "1 h"\nkind = 3', "fault 1: kind = 3: no such kind"),
        ('kind = "log-fails"', "fault 1 (log-fails): at: write a time span"),
        (
            'at = 3\nkind = "log-fails"',
            "fault 1 (log-fails): at = 3: write a time span with its unit",
        ),
        ('at = "-1 h"\nkind = "log-fails"', 'at = "-1 h": '),
        ('at = "2 d 3"\nkind = "log-fails"', 'at = "2 d 3": '),
        ('at = "500 d"\nkind = "log-fails"', "at: at most 400 days"),
        ('at = "1 h"\nkind = "log-fails"\nlasts = "0 s"', "lasts: longer than no time"),
        (
            'at = "1 h"\nkind = "sun"\ntray = "S9"',
            "fault 1 (sun): tray = S9: known here: N1, N2, N3, S1, S2",
        ),
        ('at = "1 h"\nkind = "sun"', "fault 1 (sun): tray: name one of the bench"),
        (
            'at = "1 h"\nkind = "sun"\ntray = "S1"\ngives = 300',
            'gives = 300: write power per area, such as "300 W/m²"',
        ),
        (
            'at = "1 h"\nkind = "sun"\ntray = "S1"\ngives = "5000 W/m²"',
            "gives = 5000: from 0 to 1200",
        ),
        (
            'at = "1 h"\nkind = "medium-dries"\ntray = "S1"\nleft = "0.3"',
            'left = "0.3": write a percentage',
        ),
        (
            'at = "1 h"\nkind = "probe-drifts"\nprobe = "S1"\nby = "1 K/h"',
            'by = "1 K/h": write a change per day',
        ),
        ('at = "1 h"\nkind = "probe-jumps"\nprobe = "S1"', "by: it is needed"),
        (
            'at = "1 h"\nkind = "probe-jumps"\nprobe = "S1"\nby = 3',
            "by = 3: write a temperature difference with its unit",
        ),
        (
            'at = "1 h"\nkind = "probes-swapped"\nprobe = "S1"\nwith = "S1"',
            "with = S1: name another probe of the bench",
        ),
        (
            'at = "1 h"\nkind = "relay-stuck-on"\nmat = "south"\nhonest = "no"',
            'honest = "no": write true or false',
        ),
        (
            'at = "1 h"\nkind = "reset"\nmat = "south"\nlasts = "1 h"',
            'lasts = "1 h": no such key; known here: at, kind, mat',
        ),
    ],
)
def test_what_is_wrong_is_named_with_what_would_be_right(tmp_path, lines, says):
    (told,) = refused(tmp_path, f"[[fault]]\n{lines}\n")
    assert says in told


def test_everything_wrong_is_told_at_once(tmp_path):
    text = '[[fault]]\nkind = "sunn"\n[[fault]]\nat = 1\nkind = "log-fails"\n[faul]\n'
    told = refused(tmp_path, text)
    assert [line.split(":")[0] for line in told] == [
        "[faul]",
        "fault 1",
        "fault 2 (log-fails)",
    ]


@pytest.mark.parametrize("text", ["fault = 3", 'fault = ["sun"]', "[fault]\nat = 1"])
def test_what_is_no_array_of_tables_is_refused(tmp_path, text):
    (told,) = refused(tmp_path, text)
    assert "write [[fault]] before each" in told


def test_too_many_faults_are_refused(tmp_path):
    one = '[[fault]]\nat = "1 h"\nkind = "log-fails"\n'
    (told,) = refused(tmp_path, one * 2_001)
    assert told == "[[fault]] = 2001: at most 2000"


def test_an_empty_file_has_no_faults(tmp_path):
    assert loaded(tmp_path, "") == ()


def test_a_file_that_is_not_there_is_named(tmp_path, capsys):
    words = ["simulate", str(BENCH), "--days", "1", "--out", str(tmp_path / "s.db")]
    assert main([*words, "--faults", str(tmp_path / "no.toml")]) == 2
    assert "no.toml: no such file" in capsys.readouterr().err
    assert not (tmp_path / "s.db").exists()


def test_the_example_is_of_the_demo_bench_and_what_it_says_of_itself_is_true():
    faults = load_faults(EXAMPLE, PLAN)
    text = EXAMPLE.read_text(encoding="utf-8")
    assert len(faults) == len(tomllib.loads(text)["fault"])
    days = float(re.search(r"--days (\d+)", text)[1])
    assert max(fault.at_ms for fault in faults) < days * 86_400_000


def test_the_help_tells_every_kind_and_key(capsys):
    with pytest.raises(SystemExit):
        main(["simulate", "--help"])
    said = capsys.readouterr().out
    for kind, shape in SHAPES.items():
        line = re.search(rf"^  {kind.value}(?: \((.*)\))?$", said, re.MULTILINE)
        assert line, kind
        keys = set((line[1] or "").split(", ")) - {""}
        assert set(shape.sizes) | set(shape.flags) <= keys
        assert ("lasts" in keys) is shape.lasts


def test_a_season_with_faults_is_decided_alike_again(tmp_path, capsys):
    faults = tmp_path / "faults.toml"
    faults.write_text(
        '[[fault]]\nat = "1 h"\nkind = "daemon-restarts"\nlasts = "5 min"\n'
        '[[fault]]\nat = "2 h"\nkind = "broker-restarts"\n'
        '[[fault]]\nat = "3 h"\nkind = "probe-slips-out"\nprobe = "S1"\n'
        '[[fault]]\nat = "3 h"\nkind = "hold"\nmat = "north"\nlasts = "10 min"\n',
        encoding="utf-8",
    )
    out = tmp_path / "s.db"
    words = ["simulate", str(BENCH), "--days", "0.2", "--out", str(out)]
    assert main([*words, "--faults", str(faults)]) == 0
    runs = SeasonLogReader(out).runs()
    assert len(runs) == 2
    assert runs[1].started_run_ms > runs[0].started_run_ms
    assert main(["audit", str(out)]) == 0
    assert "2 runs, 3,396 scans" in capsys.readouterr().out
