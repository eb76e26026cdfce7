"""The campaign that counts false verdicts: short, and its gates."""

from tests.campaigns import false_verdicts


def test_a_few_trials_of_each_kind(capsys):
    assert false_verdicts.main(["--trials", "3", "--workers", "1"]) in (0, 1)
    said = capsys.readouterr().out
    for kind in false_verdicts.kinds():
        assert kind.name in said


def test_luck_comes_from_the_seed_alone():
    kind = false_verdicts.kinds()[0]
    first, again, other = (false_verdicts.one(kind, 12, seed) for seed in (1, 1, 2))
    assert first == again
    assert first["beats"] <= 3
    assert other.keys() == first.keys()


def test_warmth_that_nobody_knows_of_passes_for_a_good_medium():
    """The very case: by the calendar alone it errs, with thermal time it does not."""
    by_name = {kind.name: kind for kind in false_verdicts.kinds()}
    naive = by_name["the same, nothing known of warmth"]
    known = by_name["4 cold, 4 warm trays, 2 K"]
    assert false_verdicts.one(naive, 40, 5)["beats"] >= 5
    assert false_verdicts.one(known, 40, 5)["beats"] <= 3


def counts(beats, calendar):
    return {"beats": beats, "calendar": calendar, "thermal": 0, "shares": 0}


def test_too_many_false_verdicts_are_told():
    kinds = false_verdicts.kinds()
    calm = [counts(5, 40 if kind.confounded else 5) for kind in kinds]
    assert false_verdicts.told(kinds, calm, 100)[1] == []
    bad = [counts(7, 40), *calm[1:]]
    (sentence,) = false_verdicts.told(kinds, bad, 100)[1]
    assert "7.0% false verdicts, at most 6%" in sentence


def test_a_calendar_that_does_not_err_shows_nothing():
    kinds = [kind for kind in false_verdicts.kinds() if kind.confounded][:1]
    (sentence,) = false_verdicts.told(kinds, [counts(0, 3)], 100)[1]
    assert "shows nothing" in sentence
