"""Single keys of a mat changed in a settings file, and nothing else."""

import difflib
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.adapters.settings.editing import EditError, edited
from controller.cli.paths import config_dir

BENCH = (config_dir() / "bench.toml").read_bytes().decode()


def mat_of(text: str, name: str) -> dict[str, object]:
    mats = tomllib.loads(text)["mat"]
    return next(mat for mat in mats if mat["name"] == name)


def changed_lines(before: str, after: str) -> list[str]:
    lines = difflib.ndiff(before.splitlines(True), after.splitlines(True))
    return [line.rstrip("\n") for line in lines if line[0] in "+-"]


def test_a_value_changes_and_its_comment_stays():
    after = edited(BENCH, "north", {"setpoint": '"22.5 °C"'})
    assert changed_lines(BENCH, after) == [
        f"{sign} {said:<28}# chosen: amid the 18 to 24 °C usual for hardwood"
        for sign, said in (("-", 'setpoint = "21 °C"'), ("+", 'setpoint = "22.5 °C"'))
    ]


def test_a_value_longer_than_the_room_before_its_comment_keeps_one_blank():
    text = '[[mat]]\nname = "m"\nmin_on = "1 min"  # a\nmin_off = "1 min"# b\n'
    after = edited(text, "m", {"min_on": '"600000 ms"', "min_off": '"2 min"'})
    assert after.splitlines()[2:] == [
        'min_on = "600000 ms" # a',
        'min_off = "2 min" # b',
    ]


def test_of_two_mats_the_named_one_changes():
    after = edited(BENCH, "south", {"min_on": '"5 min"', "setpoint": '"25 °C"'})
    assert mat_of(after, "north") == mat_of(BENCH, "north")
    assert mat_of(after, "south") == {
        **mat_of(BENCH, "south"),
        "min_on": "5 min",
        "setpoint": "25 °C",
    }


def test_a_new_pid_table_leaves_a_mats_comments_with_the_mat():
    """A guard that somebody uncomments later is the mat's, not the PID's."""
    after = edited(BENCH, "north", {"pid.gain_per_k": "0.3"})
    lines = after.splitlines()
    at = lines.index("[mat.pid]")
    assert lines[at - 2].startswith("# integral_time")
    assert lines[at - 1 : at + 4] == [
        "",
        "[mat.pid]",
        "gain_per_k = 0.3",
        "",
        "[mat.relay]",
    ]
    guarded = after.replace('# rise_limit = "3 K" ', 'rise_limit = "3 K" #')
    assert mat_of(guarded, "north")["rise_limit"] == "3 K"


def test_a_comment_that_touches_the_next_head_stays_with_it():
    text = '[[mat]]\nname = "m"\n# its relay\n[mat.relay]\ntopic = "r"\n'
    after = edited(text, "m", {"pid.gain_per_k": "0.3"})
    assert after == text.replace("# its", "\n[mat.pid]\ngain_per_k = 0.3\n# its")


def test_a_missing_key_goes_behind_the_one_before_it():
    after = edited(BENCH, "north", {"night_setpoint": '"18 °C"'})
    lines = after.splitlines()
    at = lines.index('night_setpoint = "18 °C"')
    assert lines[at - 1].startswith('setpoint = "21 °C"')
    assert changed_lines(BENCH, after) == ['+ night_setpoint = "18 °C"']


def test_a_pid_table_comes_behind_the_mats_own_keys():
    after = edited(BENCH, "north", {"pid.gain_per_k": "0.5", "cycle": '"15 min"'})
    assert mat_of(after, "north")["pid"] == {"gain_per_k": 0.5}
    assert mat_of(after, "north")["relay"] == mat_of(BENCH, "north")["relay"]
    assert tomllib.loads(after)["tray"] == tomllib.loads(BENCH)["tray"]


def test_what_does_not_belong_to_the_new_policy_becomes_a_comment():
    with_pid = edited(BENCH, "north", {"pid.gain_per_k": "0.5"})
    gone = {"cycle": None, "pid.gain_per_k": None, "pid.integral_time": None}
    after = edited(with_pid, "north", {"policy": '"on-off"', **gone})
    assert {"pid", "cycle"}.isdisjoint(mat_of(after, "north"))
    assert '\n# cycle = "10 min"' in after
    assert "# [mat.pid]\n# gain_per_k = 0.5\n" in after


def test_a_pid_table_that_is_there_is_changed_where_it_stands():
    text = BENCH.replace(
        "[mat.relay]\n",
        "[mat.pid]  # mine\ngain_per_k = 0.3 # gentle\n\n[mat.relay]\n",
        1,
    )
    changes = {"pid.gain_per_k": "0.7", "pid.integral_time": '"90 min"'}
    after = edited(text, "north", changes)
    assert changed_lines(text, after) == [
        "- gain_per_k = 0.3 # gentle",
        "+ gain_per_k = 0.7 # gentle",
        '+ integral_time = "90 min"',
    ]


@pytest.mark.parametrize("end", ["\r\n", "\n"])
def test_line_ends_stay_as_they_are(end):
    text = BENCH.replace("\n", end)
    after = edited(text, "north", {"setpoint": '"22 °C"', "night_setpoint": '"19 °C"'})
    assert after.count(end) == text.count(end) + 1
    assert after.replace(end, "").count("\n") == text.replace(end, "").count("\n")


def test_a_file_without_a_last_line_end_gets_one_only_where_it_must():
    text = '[[mat]]\nname = "a"\nsetpoint = "20 °C"'
    assert edited(text, "a", {"setpoint": '"21 °C"'}).endswith('"21 °C"')
    after = edited(text, "a", {"night_setpoint": '"18 °C"'})
    assert after == text + '\nnight_setpoint = "18 °C"\n'
    after = edited(text, "a", {"pid.gain_per_k": "0.5"})
    assert after == text + "\n\n[mat.pid]\ngain_per_k = 0.5\n"


def test_a_byte_order_mark_stays():
    text = "\ufeff" + BENCH
    assert edited(text, "north", {"setpoint": '"22 °C"'})[0] == "\ufeff"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('mat = [{name = "a", setpoint = "20 °C"}]\n', "not written under [[mat]]"),
        ('[[mat]]\nname = "a"\npid = {gain_per_k = 1.0}\n', "cannot be changed there"),
        ('[[mat]]\nname = "a"\npid.gain_per_k = 1.0\n', "cannot be changed there"),
        ('[[mat]]\nname = "a"\nsetpoint = """20 °C"""\n', "cannot be changed there"),
        (
            '[[mat]]\nname = "a"\ntitle = """\nsetpoint = "1 °C"\n"""\n'
            'setpoint = "20 °C"\n',
            "cannot be changed there",
        ),
        ('[[mat]]\nname = "b"\n', "there is no [[mat]] of the name a"),
        ("[[mat]\n", "not TOML"),
    ],
)
def test_what_cannot_be_changed_alone_is_refused(text, says):
    with pytest.raises(EditError) as caught:
        edited(text, "a", {"setpoint": '"21 °C"', "pid.gain_per_k": "0.5"})
    assert says in str(caught.value)


def test_the_setpoints_of_a_programme_are_left_to_a_person():
    text = BENCH.replace(
        'setpoint = "26 °C"          # chosen: amid what warm-season seed wants\n', ""
    ).replace(
        '[mat.relay]\ntopic = "lean-to/relay/south"',
        '[[mat.step]]\nsetpoint = "26 °C"\n\n[mat.relay]\n'
        'topic = "lean-to/relay/south"',
    )
    with pytest.raises(EditError, match=r"^mat south: its setpoints stand in a prog"):
        edited(text, "south", {"setpoint": '"25 °C"'})
    after = edited(text, "south", {"differential": '"0.5 K"'})
    assert mat_of(after, "south")["differential"] == "0.5 K"


VALUES = st.sampled_from(['"1 h"', '"21.5 °C"', '"median"', "0.25", None])
KEYS = st.sampled_from(
    [
        "setpoint",
        "night_setpoint",
        "differential",
        "driven_by",
        "min_on",
        "cycle",
        "ramp",
        "title",
        "pid.gain_per_k",
        "pid.integral_time",
        "pid.derivative_time",
    ]
)


@given(st.dictionaries(KEYS, VALUES, max_size=6), st.sampled_from(["north", "south"]))
def test_whatever_changes_only_that_changes(changes, name):
    after = edited(BENCH, name, changes)
    told, was = tomllib.loads(after), tomllib.loads(BENCH)
    for key, value in was.items():
        if key != "mat":
            assert told[key] == value
    for mat, before in zip(told["mat"], was["mat"], strict=True):
        if mat["name"] == name:
            kept = before.keys() - changes.keys()
            assert {key: mat[key] for key in kept} == {key: before[key] for key in kept}
        else:
            assert mat == before
    kept_lines = [line for line in BENCH.splitlines() if line.lstrip().startswith("#")]
    assert [line for line in after.splitlines() if line in kept_lines] == kept_lines
