"""What became of plants after they rooted, told and put right by the page."""

from playwright.sync_api import expect

from tests.page.test_page import violations
from tests.page.test_put_right import batch_of, deed, fill, known, trouble
from tests.page.test_records import choose, dialog, submit, told


def told_of(page, served, code, stage, count, **words):
    deed(page, "potted, given …", code)
    choose(page, "stage", stage)
    fill(page, count=str(count), **words)
    submit(page)
    expect(dialog(page)).to_be_hidden()
    return batch_of(served, code)


def test_what_belongs_to_a_stage_is_asked_for(page, served):
    code = known(page, served, crop="currant", count=12)
    deed(page, "potted, given …", code)
    expect(dialog(page).locator("[data-name=score]")).to_be_hidden()
    submit(page)
    expect(trouble(page)).to_contain_text("What became of them?")
    choose(page, "stage", "potted")
    submit(page)
    expect(trouble(page)).to_contain_text("How many plants?")
    fill(page, count="9")
    choose(page, "root_score", "3")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    file = told_of(page, served, code, "given", 2, where="the neighbours")
    first, second = (one["stage"] for one in file["stages"])
    assert (first["stage"], first["count"], first["root_score"]) == ("potted", 9, 3)
    assert (second["stage"], second["reason"]) == ("given", "the neighbours")
    assert (file["plants"]["here"], file["plants"]["left"]) == (7, 2)


def test_what_was_told_of_plants_is_put_right_and_taken_back(page, served):
    code = known(page, served, crop="currant", count=12)
    stages = f"/v1/batches/{code}/stages"
    told(served, stages, stage="potted", count=9, root_score=3)
    told(served, stages, stage="given", count=2, reason="the neighbours")
    deed(page, "record", code)
    expect(dialog(page)).to_contain_text("9 potted; 7 should still be there")
    expect(dialog(page)).to_contain_text("2 given away · the neighbours")
    dialog(page).get_by_label("Correct: 9 potted · roots 3 of 4").click()
    fill(page, count="8")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    file = batch_of(served, code)
    assert [one["stage"]["count"] for one in file["stages"]] == [8, 2]
    assert file["stages"][0]["revisions"] == 2
    deed(page, "record", code)
    expect(dialog(page)).to_contain_text("its plants put right: how many 9, now 8")
    dialog(page).get_by_label("Correct: 2 given away").click()
    dialog(page).get_by_text("This was told by mistake").click()
    submit(page)
    expect(dialog(page)).to_be_hidden()
    assert batch_of(served, code)["plants"]["here"] == 8


def test_the_dead_have_a_reason_and_no_more_leave_than_there_were(page, served):
    code = known(page, served, crop="currant", count=3)
    told_of(page, served, code, "potted", 3)
    deed(page, "potted, given …", code)
    choose(page, "stage", "dead")
    fill(page, count="4")
    submit(page)
    expect(trouble(page)).to_contain_text("Why did they die?")
    fill(page, why="dried out")
    submit(page)
    expect(dialog(page)).to_contain_text("only 3 had been potted")
    fill(page, count="1")
    submit(page)
    expect(dialog(page)).to_be_hidden()
    file = batch_of(served, code)
    assert (file["plants"]["dead"], file["plants"]["here"]) == (1, 2)


def test_it_waits_without_a_connection_and_is_sent_once(page, served):
    code = known(page, served, crop="currant", count=3)
    deed(page, "potted, given …", code)
    choose(page, "stage", "potted")
    fill(page, count="2")
    page.context.set_offline(True)
    submit(page)
    expect(page.locator("#waiting")).to_contain_text(f"2 potted of {code}")
    page.context.set_offline(False)
    expect(page.locator("#waiting")).to_be_empty()
    assert [one["stage"]["count"] for one in batch_of(served, code)["stages"]] == [2]


def test_axe_finds_nothing_serious_in_the_form(page, served):
    code = known(page, served, crop="currant", count=3)
    deed(page, "potted, given …", code)
    choose(page, "stage", "potted")
    assert violations(page) == []
