"""Batches by the page: labelled and stuck later, put right, looked at closely."""

import pytest
from playwright.sync_api import expect

from tests.page.test_page import violations
from tests.page.test_records import asked, choose, dialog, submit, told, unfold

STUCK = {"stuck_at": "2026-02-01T10:00:00Z", "kind": "hardwood"}
HORMONE = {"active": "IBA", "ppm": 2000, "carrier": "dip", "seconds": 5}


def known(page, served, **body):
    """Tell of a batch over HTTP, and show it; return its code."""
    code = told(served, "/v1/batches", **(STUCK | {"tray": "N2"} | body))["code"]
    page.reload()
    page.get_by_label(f"record {code}").wait_for()
    return code


def deed(page, word, code):
    page.get_by_label(f"{word} {code}").click()


def fill(page, **values):
    for name, value in values.items():
        page.fill(f'dialog [name="{name.replace("__", ".")}"]', value)


def batch_of(served, code):
    return asked(served, f"/v1/batches/{code}")


def trouble(page):
    return dialog(page).locator("form > .trouble")


# --------------------------------------------------------- a bundle, and stuck later


def test_a_bundle_gets_its_code_and_is_stuck_later(page, served):
    page.get_by_text("A bundle arrived").click()
    expect(dialog(page).locator("[name=tray]")).to_have_count(0)
    fill(page, crop="medlar", cultivar="Gate")
    choose(page, "kind", "hardwood")
    unfold(page, "Source and storage")
    fill(page, storage="damp peat, cold frame", collected="2026-01-20")
    submit(page)
    code = page.locator(".label-code").inner_text()
    page.get_by_text("it is on the label").click()
    file = batch_of(served, code)
    assert (file["state"], file["batch"]["count"]) == ("not stuck", None)
    assert file["batch"]["collected"] == "2026-01-20"
    waits = page.locator('#tray-list [data-key="not stuck"]')
    expect(waits).to_contain_text(f"{code} medlar \u2018Gate\u2019")
    expect(waits).to_contain_text("damp peat, cold frame")
    deed(page, "stick it", code)
    submit(page)
    expect(trouble(page)).to_contain_text("Which tray is it in?")
    choose(page, "tray", "N1")
    submit(page)
    expect(trouble(page)).to_contain_text("How many were stuck?")
    page.get_by_label("one more: How many").click(click_count=3)
    submit(page)
    expect(page.locator('#tray-list [data-key="N1"]')).to_contain_text(f"{code} 3")
    file = batch_of(served, code)
    assert (file["state"], file["tray"], file["batch"]["count"]) == ("stuck", "N1", 3)
    assert file["batch"]["storage"] == "damp peat, cold frame"
    assert len(file["history"]) == 2


def test_a_bundle_keeps_a_label_that_it_has(page, served):
    page.get_by_text("A bundle arrived").click()
    fill(page, crop="spindle", code="nonsense")
    choose(page, "kind", "softwood")
    submit(page)
    expect(page.locator("#fault-code")).to_be_visible()
    page.fill("dialog [name=code]", "")
    submit(page)
    expect(page.locator(".label-code")).to_be_visible()


def test_it_is_stuck_without_a_connection_and_sent_later(page, served):
    code = known(page, served, crop="sallow", stuck_at=None, tray="", count=5)
    deed(page, "stick it", code)
    choose(page, "tray", "S1")
    page.context.set_offline(True)
    submit(page)
    expect(page.locator("#waiting")).to_contain_text(f"{code} stuck in S1")
    page.context.set_offline(False)
    expect(page.locator("#waiting")).to_be_empty()
    assert batch_of(served, code)["tray"] == "S1"


# ------------------------------------------------------------------------- put right

EVERY = {
    "crop": "quince",
    "cultivar": "Lowfell",
    "source": "own hedge",
    "mother": "third from the gate",
    "storage": "in sand",
    "basal_cut": "below a node",
    "disinfection": "none",
    "medium": "bark-sand 1:1",
    "container": "bin",
    "place": "left",
    "text": "short ones",
}
FIGURES = {
    "nodes": 5,
    "nodes_below": 2,
    "length_mm": 180,
    "thickness_mm": 9.5,
    "base_depth_mm": 90,
    "wanted": 4,
    "sentinels": 2,
    "base_c": 7.5,
    "upper_c": 30,
}
PARTS = {
    "wounds": {"sides": 2, "length_mm": 20},
    "hormone": HORMONE,
    "wrap": {"material": "film", "down_mm": 60, "off": "2026-02-10"},
}


def test_every_field_of_a_batch_can_be_put_right(page, served):
    code = known(page, served, crop="quincs", count=9)
    deed(page, "correct", code)
    for summary in dialog(page).locator("summary").all():
        summary.click()
    for name, value in {**EVERY, **FIGURES, "collected": "2026-01-20"}.items():
        fill(page, **{name: str(value)})
    for outer, part in PARTS.items():
        for inner, value in part.items():
            if inner in ("carrier", "material"):
                choose(page, f"{outer}.{inner}", value)
            else:
                fill(page, **{f"{outer}__{inner}": str(value)})
    choose(page, "cover", "closed")
    choose(page, "kind", "semi-hardwood")
    choose(page, "tray", "N1")
    fill(page, count="12", stuck_at="2026-02-02T11:30")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    file = batch_of(served, code)
    batch = file["batch"]
    assert {name: batch[name] for name in {**EVERY, **FIGURES}} == {**EVERY, **FIGURES}
    assert {name: batch[name] for name in PARTS} == PARTS
    assert (batch["cover"], batch["kind"]) == ("closed", "semi-hardwood")
    assert (batch["tray"], batch["count"]) == ("N1", 12)
    assert batch["collected"] == "2026-01-20"
    assert batch["stuck_at"] == "2026-02-02T11:30:00.000Z"
    asked_for = {*EVERY, *FIGURES, *PARTS, "cover", "kind", "tray", "count"}
    assert set(batch) - asked_for == {"collected", "stuck_at", "withdrawn"}
    assert file["history"][0]["batch"]["crop"] == "quincs"


def test_only_what_is_told_otherwise_is_sent_and_what_was_stays_to_be_seen(
    page, served
):
    told_before = {"hormone": HORMONE, "stuck_at": "2026-02-01T10:00:42Z"}
    code = known(page, served, crop="hazel", count=9, **told_before)
    sent = []
    page.on(
        "request",
        lambda request: (
            sent.append(request.post_data_json) if request.method == "PATCH" else None
        ),
    )
    deed(page, "correct", code)
    expect(dialog(page).locator("summary").nth(2)).to_contain_text("IBA")
    submit(page)
    expect(trouble(page)).to_contain_text("Nothing is told otherwise than before")
    fill(page, count="8")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    assert sent == [{"count": 8}]
    assert batch_of(served, code)["batch"]["stuck_at"] == "2026-02-01T10:00:42.000Z"
    deed(page, "record", code)
    expect(dialog(page)).to_contain_text("the batch put right: how many 9, now 8")
    expect(dialog(page)).to_contain_text("IBA")
    assert violations(page) == []


def test_a_hormone_is_taken_back_and_seed_has_no_nodes(page, served):
    code = known(page, served, crop="chilli", count=9, nodes=4, hormone=HORMONE)
    deed(page, "correct", code)
    choose(page, "kind", "seed")
    unfold(page, "The cutting itself")
    expect(dialog(page).locator("[name=nodes]")).to_be_hidden()
    expect(dialog(page).locator("[name=length_mm]")).to_be_visible()
    unfold(page, "Hormone, and against rot")
    choose(page, "hormone.carrier", "")
    fill(page, hormone__active="", hormone__ppm="", hormone__seconds="")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    batch = batch_of(served, code)["batch"]
    assert (batch["kind"], batch["nodes"], batch["hormone"]) == ("seed", None, None)


def test_a_correction_waits_and_one_that_is_refused_is_told(page, served):
    code = known(page, served, crop="rowan", count=9)
    page.context.set_offline(True)
    deed(page, "correct", code)
    fill(page, count="7")
    submit(page)
    expect(page.locator("#waiting")).to_contain_text(f"{code} put right")
    page.context.set_offline(False)
    expect(page.locator("#waiting")).to_be_empty()
    assert batch_of(served, code)["batch"]["count"] == 7
    deed(page, "correct", code)
    unfold(page, "The cutting itself")
    fill(page, nodes="2", nodes_below="3")
    unfold(page, "The cutting itself")
    submit(page)
    expect(page.locator("#fault-nodes_below")).to_be_visible()
    expect(page.locator("#waiting")).to_be_empty()


def test_a_batch_that_was_told_by_mistake_counts_no_longer(page, served):
    code = known(page, served, crop="briar", count=9)
    deed(page, "correct", code)
    page.get_by_text("The whole batch was told by mistake").click()
    submit(page)
    expect(page.locator("#tray-list").get_by_text(code)).to_have_count(0)
    changes = asked(served, f"/v1/batches/{code}/history")["changes"]
    assert [one["told"]["withdrawn"] for one in changes] == [False, True]


# ------------------------------------------------------------------------ a full look


def test_a_full_look_has_two_tracks_of_which_one_may_not_be_looked_at(page, served):
    code = known(page, served, crop="gooseberry", count=24, sentinels=3)
    deed(page, "look closely", code)
    choose(page, "how", "lifted")
    fill(page, looked_at="5")
    choose(page, "base_seen", "counted")
    fill(page, base__callus="3", base__roots="2")
    expect(dialog(page).locator('[data-sum="base"]')).to_have_text("5 of 5")
    expect(dialog(page).locator('[name="tops.leafed"]')).to_be_hidden()
    page.get_by_label("one more: base rotted").click()
    fill(page, sentinels__lifted="2", sentinels__rooted="1", text="white tips")
    assert violations(page) == []
    submit(page)
    expect(dialog(page)).to_be_hidden()
    (seen,) = batch_of(served, code)["looks"]
    look = seen["look"]
    assert (look["how"], look["looked_at"], look["text"]) == (
        "lifted",
        5,
        "white tips",
    )
    assert look["base"] == {"none": 0, "callus": 3, "roots": 2}
    assert (look["tops"], look["tug"], look["fine"]) == (None, None, False)
    assert look["dead"]["rotted_base"] == 1
    assert look["sentinels"] == {"lifted": 2, "rooted": 1}


def test_tops_alone_are_counted_and_the_base_is_not_asked(page, served):
    code = known(page, served, crop="willow", count=12)
    deed(page, "look closely", code)
    choose(page, "how", "tops-only")
    expect(dialog(page).locator("[name=looked_at]")).to_have_value("12")
    expect(dialog(page).locator('[data-name="track base"]')).to_be_hidden()
    expect(dialog(page).locator('[data-name="tug"]')).to_be_hidden()
    choose(page, "tops_seen", "counted")
    fill(page, tops__leafed="9", tops__wilted="4")
    submit(page)
    expect(trouble(page)).to_contain_text("Tops: 13 are counted, and 12 were looked at")
    fill(page, tops__wilted="3")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    (seen,) = batch_of(served, code)["looks"]
    assert seen["look"]["base"] is None
    assert (seen["look"]["tops"]["leafed"], seen["look"]["tops"]["wilted"]) == (9, 3)


@pytest.mark.parametrize(
    ("how", "fields", "chosen", "said"),
    [
        (None, {}, {}, "How did you look?"),
        ("lifted", {}, {}, "At how many did you look?"),
        ("lifted", {"looked_at": "13"}, {}, "more than were stuck, 12"),
        ("lifted", {"looked_at": "1.5"}, {}, "whole number"),
        ("lifted", {"looked_at": "4"}, {"base_seen": "counted"}, "Base: how many"),
        ("tug", {"looked_at": "4"}, {}, "How many held when pulled"),
        (
            "tug",
            {"looked_at": "2", "tug.held": "2", "tug.gave": "1"},
            {},
            "Tug: 3 are counted, and 2",
        ),
        ("tops-only", {"dead.mould": "1"}, {"tops_seen": "fine"}, "some are dead?"),
        ("tops-only", {}, {"tops_seen": "counted"}, "Tops: how many showed what?"),
    ],
)
def test_a_look_that_cannot_be_is_refused_before_it_could_wait(
    page, served, how, fields, chosen, said
):
    before = len(served.kept.changes(0))
    code = known(page, served, crop="elder", count=12)
    deed(page, "look closely", code)
    if how:
        choose(page, "how", how)
    for name, value in chosen.items():
        choose(page, name, value)
    for name, value in fields.items():
        page.fill(f'dialog [name="{name}"]', value)
    submit(page)
    expect(trouble(page)).to_contain_text(said)
    assert len(served.kept.changes(0)) == before + 1


def test_a_drain_hole_shows_roots_or_nothing(page, served):
    code = known(page, served, crop="currant", count=12)
    deed(page, "look closely", code)
    choose(page, "how", "drain-hole")
    fill(page, looked_at="12")
    choose(page, "base_seen", "counted")
    expect(dialog(page).locator('[name="base.callus"]')).to_be_hidden()
    submit(page)
    expect(dialog(page)).to_be_hidden()
    (seen,) = batch_of(served, code)["looks"]
    assert seen["look"]["base"] == {"none": 0, "callus": 0, "roots": 0}


def test_a_look_waits_and_is_put_right_and_taken_back(page, served):
    code = known(page, served, crop="dogwood", count=12)
    page.context.set_offline(True)
    deed(page, "look closely", code)
    choose(page, "how", "tug")
    fill(page, looked_at="4", tug__held="3", tug__gave="1")
    submit(page)
    expect(page.locator("#waiting")).to_contain_text(f"look at {code}")
    page.context.set_offline(False)
    expect(page.locator("#waiting")).to_be_empty()
    before = batch_of(served, code)["looks"][0]["look"]
    deed(page, "record", code)
    page.get_by_label("Correct: a gentle tug, 4 of 12").click()
    fill(page, tug__held="4", tug__gave="0")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    (seen,) = batch_of(served, code)["looks"]
    assert seen["look"] == {**before, "tug": {"held": 4, "gave": 0}}
    deed(page, "record", code)
    said = dialog(page).locator("li").filter(has_text="a look put right")
    expect(said).to_contain_text("tug: held 3, now 4; tug: gave 1, now 0")
    page.get_by_label("Correct: a gentle tug, 4 of 12").click()
    page.get_by_text("This look was told by mistake").click()
    submit(page)
    expect(dialog(page)).to_be_hidden()
    assert batch_of(served, code)["looks"] == []


def test_a_look_is_told_by_keys_alone(page, served):
    code = known(page, served, crop="privet", count=6)
    page.get_by_label(f"look closely {code}").focus()
    page.keyboard.press("Enter")
    page.locator('dialog input[name="how"]').first.focus()
    page.keyboard.press("Space")  # tops only
    page.keyboard.press("Tab")  # at how many: the buttons beside it are passed over
    page.keyboard.press("ArrowDown")
    expect(dialog(page).locator("[name=looked_at]")).to_have_value("5")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowRight")  # tops: all fine
    page.keyboard.press("Enter")
    expect(dialog(page)).to_be_hidden()
    (seen,) = batch_of(served, code)["looks"]
    assert (seen["look"]["looked_at"], seen["look"]["fine"]) == (5, True)


def test_an_answer_that_comes_late_closes_no_other_dialog(page, served):
    code = known(page, served, crop="laurel", count=6)
    waits = []
    page.route(
        "**/v1/batches/*/looks",
        lambda route: waits.append(route),  # noqa: PLW0108 - it must return nothing
    )
    deed(page, "look closely", code)
    choose(page, "how", "tops-only")
    choose(page, "tops_seen", "fine")
    with page.expect_request("**/looks"):
        submit(page)
    page.keyboard.press("Escape")
    deed(page, "move", code)
    with page.expect_response("**/looks"):
        waits[0].continue_()
    expect(page.locator("#spoken")).to_contain_text(f"Written: look at {code}")
    expect(dialog(page).locator("h2")).to_contain_text(f"Move {code}")
    expect(dialog(page)).to_be_visible()


# ------------------------------------------------------------------- moves and its end


def test_a_move_is_put_right_and_taken_back(page, served):
    code = known(page, served, crop="spruce", count=6)
    at = "2026-02-05T10:00:30Z"
    told(served, f"/v1/batches/{code}/move", tray="S1", at=at, place="left")
    deed(page, "record", code)
    page.get_by_label("Correct the move to S1").click()
    submit(page)
    expect(trouble(page)).to_contain_text("Nothing is told otherwise than before")
    choose(page, "tray", "N1")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    file = batch_of(served, code)
    move = file["moves"][0]["move"]
    assert (file["tray"], move["place"]) == ("N1", "left")
    assert move["at"] == "2026-02-05T10:00:30.000Z"
    deed(page, "record", code)
    said = dialog(page).locator("li").filter(has_text="a move put right")
    expect(said).to_contain_text("tray S1, now N1")
    page.get_by_label("Correct the move to N1").click()
    page.get_by_text("This move was told by mistake").click()
    submit(page)
    expect(dialog(page)).to_be_hidden()
    file = batch_of(served, code)
    assert (file["tray"], file["moves"]) == ("N2", [])


def test_a_closed_batch_is_found_its_end_put_right_and_opened_again(page, served):
    code = known(page, served, crop="bay", count=6)
    at = "2026-02-10T10:00:00Z"
    told(served, f"/v1/batches/{code}/close", outcome="failed", at=at, rooted=0)
    page.locator("#closed summary").click()
    expect(page.locator("#closed-list")).to_contain_text(f"{code} 6 bay")
    page.locator("#closed-list").get_by_label(f"record {code}").click()
    expect(dialog(page)).to_contain_text("closed: failed, 0 rooted")
    page.get_by_label(f"Put the end of {code} right").click()
    choose(page, "outcome", "weaned")
    fill(page, rooted="4")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    end = batch_of(served, code)["closing"]
    assert (end["outcome"], end["rooted"]) == ("weaned", 4)
    assert end["at"] == "2026-02-10T10:00:00.000Z"
    page.locator("#closed-list").get_by_label(f"record {code}").click()
    page.get_by_label(f"Put the end of {code} right").click()
    page.get_by_text("It is not at its end").click()
    submit(page)
    expect(page.locator('#tray-list [data-key="N2"]')).to_contain_text(f"{code} 6 bay")
    expect(page.locator("#closed-list").get_by_text(code)).to_have_count(0)
    assert batch_of(served, code)["closing"] is None


def test_an_end_put_right_whose_answer_got_lost_is_there_once(page, served):
    """It has the time of the end before: what it tells is looked at, too."""
    code = known(page, served, crop="yew", count=6)
    at = "2026-02-10T10:00:00Z"
    told(served, f"/v1/batches/{code}/close", outcome="failed", at=at)
    page.locator("#closed summary").click()
    page.locator("#closed-list").get_by_label(f"record {code}").click()
    page.get_by_label(f"Put the end of {code} right").click()
    choose(page, "outcome", "stopped")
    lost = []

    def lose(route):
        if not lost:  # it never got to the bench
            lost.append(route)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/close", lose)
    with page.expect_response(lambda answer: answer.url.endswith("/close")):
        submit(page)
    expect(page.locator("#waiting")).to_be_empty()
    assert len(lost) == 1
    assert batch_of(served, code)["closing"]["outcome"] == "stopped"
    changes = asked(served, f"/v1/batches/{code}/history")["changes"]
    assert len(changes) == 3
