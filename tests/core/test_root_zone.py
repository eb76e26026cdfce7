"""What a mat's probes tell: trays, the driving temperature, the warmest probe."""

import pytest

from controller.core.decisions import Doubted
from controller.core.plan import DrivenBy
from controller.core.root_zone import driving_temp, observe, tray_temp_mc, warmest
from controller.core.state import ProbeState
from tests.builders import a_mat, a_tray, surface_probe

NOW_MS = 1_000_000
STALE_MS = 120_000
LOST = ProbeState(good_at_ms=NOW_MS - STALE_MS - 1, good_mc=40_000)
NEVER = ProbeState()


def at(temp_mc):
    return ProbeState(good_at_ms=NOW_MS, good_mc=temp_mc)


def probes(*known):
    """Return probes n1, n2, … by what is known of them; a bare number is good."""
    return {
        f"n{number}": k if isinstance(k, ProbeState) else at(k)
        for number, k in enumerate(known, 1)
    }


def one_probe_each(count, **changes):
    trays = tuple(a_tray(f"N{n}", f"n{n}") for n in range(1, count + 1))
    return a_mat(trays=trays, **changes)


def driving(mat, *known):
    return driving_temp(mat, observe(mat, probes(*known), NOW_MS))


def test_observation_keeps_every_probe_in_plan_order_and_only_trays_that_are_known():
    mat = a_mat(
        trays=(a_tray("N1", "n1"), a_tray("N2", "n2"), a_tray("N3")),
        surface=surface_probe(),
    )
    observed = observe(mat, {**probes(21_000, LOST), "s1": at(30_000)}, NOW_MS)
    assert [(plan.name, fresh) for plan, _, fresh in observed.roots] == [
        ("n1", True),
        ("n2", False),
    ]
    assert [(plan.name, fresh) for plan, _, fresh in observed.surface] == [("s1", True)]
    assert observed.trays == ((21_000, "N1"),)


@pytest.mark.parametrize(
    ("known", "temp_mc"),
    [
        ((20_000, 23_000), 21_500),
        ((20_000, 20_001), 20_000),  # half a thousandth goes to the even one
        ((20_001, 20_002), 20_002),
        ((20_000, LOST), 20_000),
        ((LOST, 23_000), 23_000),
        ((LOST, NEVER), None),
    ],
)
def test_tray_is_as_warm_as_the_mean_of_its_usable_probes(known, temp_mc):
    mat = a_mat(trays=(a_tray("N1", "n1", "n2"),))
    known = probes(*known)
    assert tray_temp_mc(mat.trays[0], known, NOW_MS) == temp_mc
    found = observe(mat, known, NOW_MS).trays
    assert found == (() if temp_mc is None else ((temp_mc, "N1"),))


def test_doubted_probe_has_no_part_in_its_tray():
    doubted = ProbeState(good_at_ms=NOW_MS, good_mc=1, doubt=Doubted.UNCERTAIN)
    mat = a_mat(trays=(a_tray("N1", "n1", "n2"),))
    assert tray_temp_mc(mat.trays[0], probes(doubted, 22_000), NOW_MS) == 22_000


@pytest.mark.parametrize(
    ("driven_by", "temps", "expected"),
    [
        (DrivenBy.COOLEST, (22_000, 20_000, 21_000), 20_000),
        (DrivenBy.WARMEST, (22_000, 20_000, 21_000), 22_000),
        (DrivenBy.MEAN, (22_000, 20_000, 20_000), 20_667),
        (DrivenBy.MEDIAN, (22_000, 20_000, 20_500), 20_500),
        (DrivenBy.MEDIAN, (24_000, 20_000, 21_000, 22_000), 21_500),
        (DrivenBy.MEDIAN, (20_001, 20_000), 20_000),
        (DrivenBy.MEDIAN, (20_003, 20_000), 20_001),
        (DrivenBy.MEDIAN, (22_000,), 22_000),
        (DrivenBy.MEDIAN, (25_000, 21_000, 22_000, 20_000, 23_000), 22_000),
    ],
)
def test_several_trays_drive_as_the_plan_says(driven_by, temps, expected):
    mat = one_probe_each(len(temps), driven_by=driven_by)
    names = "+".join(f"N{n}" for n in range(1, len(temps) + 1))
    assert driving(mat, *temps) == (expected, names)


def test_tray_without_a_usable_probe_neither_drives_nor_hinders_the_others():
    mat = one_probe_each(3, driven_by=DrivenBy.COOLEST)
    assert driving(mat, LOST, 22_000, 21_000) == (21_000, "N2+N3")


def test_named_tray_alone_drives():
    mat = one_probe_each(3, driven_by=DrivenBy.TRAY, driving_tray="N2")
    assert driving(mat, 20_000, 23_000, 21_000) == (23_000, "N2")


def test_lost_named_tray_is_replaced_by_no_other():
    mat = one_probe_each(3, driven_by=DrivenBy.TRAY, driving_tray="N2")
    assert driving(mat, 20_000, LOST, 21_000) is None


def test_nothing_drives_a_mat_whose_probes_are_all_lost():
    assert driving(one_probe_each(2), LOST, NEVER) is None


@pytest.mark.parametrize(
    ("before", "known", "expected"),
    [
        (None, (20_000, 22_000, 21_000), "n2"),
        (None, (22_000, 22_000, 21_000), "n1"),
        (None, (-5_000, -4_000, -6_000), "n2"),
        ("n2", (23_000, 22_000, 21_000), "n1"),
        ("n2", (23_000, LOST, 21_000), "n2"),
        ("n2", (23_000, NEVER, 21_000), "n2"),
        ("n3", (23_000, LOST, 21_000), "n1"),
        ("n1", (LOST, LOST, 21_000), "n1"),
        ("n1", (LOST, LOST, LOST), "n1"),
        (None, (LOST, LOST, LOST), None),
        ("gone", (20_000, 22_000, 21_000), "n2"),
        ("gone", (LOST, LOST, LOST), "gone"),
    ],
)
def test_lost_probe_that_was_the_warmest_keeps_the_title(before, known, expected):
    observed = observe(one_probe_each(3), probes(*known), NOW_MS)
    assert warmest(before, observed) == expected


def test_surface_probe_is_never_the_warmest_root_zone_probe():
    mat = one_probe_each(1, surface=surface_probe())
    observed = observe(mat, {**probes(20_000), "s1": at(35_000)}, NOW_MS)
    assert warmest(None, observed) == "n1"
