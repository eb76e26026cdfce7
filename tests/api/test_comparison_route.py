"""What a trial tells, over HTTP: asked of whoever works it out, and what is said."""

from dataclasses import replace

import pytest

from api.context import Context
from api.record_book import Records
from controller.adapters.memory_records import MemoryRecords
from controller.ports import Compared, Comparison
from tests.api.test_trial_routes import PLAN

RESULT = {
    "title": "gooseberry in two media",
    "end_point": "rooted",
    "test": "permutation-times",
    "alpha": 0.05,
    "base_c": 7.5,
    "shares_by_days": None,
    "arms": [
        {
            "arm": arm,
            "units": 12,
            "cuttings": 12,
            "reached": reached,
            "share": reached / 12,
            "from_95": 0.4,
            "to_95": 1.0,
            "half_from_days": None,
            "half_to_days": None,
            "mean_c": None,
        }
        for arm, reached in (("coir-perlite", 12), ("bark-sand", 6))
    ],
    "verdicts": [
        {
            "arms": ["coir-perlite", "bark-sand"],
            "answer": "beats",
            "better": "coir-perlite",
            "reason": "p-small",
            "p": 0.022,
            "sentence": "Verdict: coir-perlite beats bark-sand (p 0.022).",
        }
    ],
    "notes": [],
    "words": "gooseberry in two media",
    "figures": {"test": "permutation-times"},
}
ADDRESS = "/v1/trials/1/comparison"


class Answering:
    """Somebody who works comparisons out, and answers what a test wants."""

    def __init__(self) -> None:
        self.answer = Compared(result=RESULT)
        self.asked: list[Comparison] = []

    async def compared(self, asked: Comparison) -> Compared:
        self.asked.append(asked)
        return self.answer


@pytest.fixture
def comparer() -> Answering:
    return Answering()


@pytest.fixture
async def client(shared_app, connect, bench, reader, comparer):
    kept = MemoryRecords()
    records = Records(kept, lambda: kept)
    shared_app.state.context = Context(
        bench, lambda: reader, bench, records=records, comparer=comparer
    )
    async with connect(shared_app) as found:
        await found.post("/v1/trials", json=PLAN)
        yield found


async def test_what_was_worked_out_is_answered(client, comparer):
    answer = await client.get(ADDRESS)
    assert answer.status_code == 200
    assert answer.json() == RESULT
    assert comparer.asked == [Comparison("1", newest=1)]


async def test_it_is_asked_as_it_was_said_and_of_what_is_told_by_now(client, comparer):
    await client.post("/v1/events", json={"kind": "note", "text": "cold"})
    await client.get(f"{ADDRESS}?test=boschloo&days=35&base=-1.5&upper=30")
    asked = Comparison("1", 2, "boschloo", days=35, base_c=-1.5, upper_c=30)
    assert comparer.asked == [asked]


async def test_what_takes_longer_is_asked_again(client, comparer):
    comparer.answer = Compared(working="it is being worked out: ask again soon")
    answer = await client.get(ADDRESS)
    assert answer.status_code == 202
    assert answer.headers["retry-after"] == "3"
    assert answer.json() == {
        "status": "working",
        "words": "it is being worked out: ask again soon",
    }


async def test_what_cannot_be_compared_is_said_to_be_so(client, comparer, as_problem):
    comparer.answer = Compared(cannot="1: nothing of it was stuck and looked at yet")
    problem = as_problem(await client.get(ADDRESS), 409)
    assert "nothing of it was stuck and looked at yet" in problem["detail"]


async def test_what_went_wrong_is_told(client, comparer, as_problem):
    comparer.answer = Compared(failed="it took longer than 600 s and was ended")
    answer = await client.get(ADDRESS)
    problem = as_problem(answer, 503)
    assert "took longer than 600 s" in problem["detail"]
    assert answer.headers["retry-after"] == "60"
    comparer.answer = Compared(result={"title": 5})
    problem = as_problem(await client.get(ADDRESS), 503)
    assert "cannot be used" in problem["detail"]


@pytest.mark.parametrize(
    "query", ["test=wishes", "days=0", "base=90", "upper=30", "seed=4", "days=inf"]
)
async def test_a_question_that_makes_no_sense_is_refused(
    client, comparer, as_problem, query
):
    as_problem(await client.get(f"{ADDRESS}?{query}"), 400)
    assert comparer.asked == []


async def test_a_trial_that_is_not_there_is_asked_of_nobody(
    client, comparer, as_problem
):
    as_problem(await client.get("/v1/trials/7/comparison"), 404)
    assert comparer.asked == []


async def test_where_nobody_compares_it_says_how_it_is_done(
    client, shared_app, as_problem
):
    shared_app.state.context = replace(shared_app.state.context, comparer=None)
    problem = as_problem(await client.get(ADDRESS), 503)
    assert "bottomheat trial compare" in problem["detail"]
