"""What routes are given of a request, what they refuse, and what becomes an answer."""

import json
from enum import StrEnum
from typing import Annotated

import httpx
import pytest
from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from typing_extensions import TypedDict

from api import problems
from api.application import App
from api.document import About
from api.routing import Router, Told, as_json
from api.wants import Body, Depends, Header, InPath, Query, wants_of


class Warm(TypedDict):
    temp_c: float


class How(StrEnum):
    TUG = "tug"
    LIFT = "lift"


class Asked(BaseModel):
    """A query."""

    model_config = ConfigDict(extra="forbid")

    from_: int = Field(1, alias="from", ge=1, description="the first")
    how: How = How.TUG


class Told1(BaseModel):
    """A body."""

    model_config = ConfigDict(extra="forbid", strict=True)

    temp_c: float = Field(alias="tempC")
    seen: list[int] = []


CALLS: list[str] = []


async def strict_query(query: Annotated[Asked, Query()]) -> None:
    CALLS.append(f"query {query.from_}")


async def bench(request: Request) -> str:
    CALLS.append("bench")
    return request.headers.get("x-bench", "lean-to")


async def tray(bench: Annotated[str, Depends(bench)], tray: str) -> str:
    CALLS.append("tray")
    if tray == "Z9":
        raise HTTPException(404, "no such tray")
    return f"{bench}/{tray}"


Bench = Annotated[str, Depends(bench)]
Tray = Annotated[str, Depends(tray)]

router = Router(prefix="/v1", dependencies=[Depends(strict_query)])


@router.get("/trays/{tray}")
async def get_tray(tray: Tray, bench: Bench, answer: Response) -> Warm:
    """A tray."""
    answer.headers["X-Seen"] = f"{tray} {bench}"
    return Warm(temp_c=21.5)


@router.get("/numbers/{number}")
async def get_number(
    number: int, if_match: Annotated[str | None, Header()] = None
) -> Warm:
    """A number."""
    return {"temp_c": number, "was": if_match}


@router.post("/tell", status_code=201)
async def post_told(body: Told1) -> dict[str, object]:
    """Told."""
    return {"told": body}


@router.post("/perhaps")
async def post_perhaps(
    body: Annotated[Told1 | None, Body()] = None,
) -> dict[str, object]:
    """Perhaps told."""
    return {"told": body}


@router.delete("/tell", status_code=204)
async def delete_told(answer: Response) -> None:
    """Not told."""
    answer.headers["X-Gone"] = "yes"


@router.get("/wrong")
async def get_wrong() -> Warm:
    """An answer that is no number of the standard's."""
    return {"temp_c": float("nan")}


@router.get("/text/{name}", answers={200: Told({"text/plain": {}}, "words")})
async def get_text(name: Annotated[str, InPath("any")]) -> Response:
    """Text."""
    return Response(name, 203, media_type="text/plain")


def made() -> App:
    app = App(About("test", "0", "words", {404: Told(Warm, "none")}))
    app.add_exception_handler(problems.UnfitError, problems.on_unfit)
    app.add_exception_handler(HTTPException, problems.on_http_error)
    app.include_router(router)
    return app


@pytest.fixture
async def client(monkeypatch):
    monkeypatch.setattr(App, "checked", None)
    CALLS.clear()
    transport = httpx.ASGITransport(made(), raise_app_exceptions=False)
    async with httpx.AsyncClient(transport=transport, base_url="http://bench") as one:
        yield one


async def test_what_is_needed_first_is_asked_first_and_once(client):
    answer = await client.get("/v1/trays/N1?from=7", headers={"x-bench": "shed"})
    assert answer.json() == {"temp_c": 21.5}
    assert answer.headers["x-seen"] == "shed/N1 shed"
    assert answer.headers["content-type"] == "application/json"
    assert answer.headers["content-length"] == str(len(answer.content))
    assert CALLS == ["query 7", "bench", "tray"]


async def test_a_refusal_of_what_is_asked_first_goes_before_what_is_unfit(client):
    assert (await client.get("/v1/trays/Z9?from=0")).status_code == 404
    assert CALLS == ["bench", "tray"]


async def test_all_that_is_unfit_is_named(client):
    answer = await client.get("/v1/trays/N1?from=0&how=shake&colour=red")
    assert answer.status_code == 400
    assert [fault["parameter"] for fault in answer.json()["errors"]] == [
        "from",
        "how",
        "colour",
    ]


async def test_of_a_query_that_says_it_twice_the_last_holds(client):
    await client.get("/v1/trays/N1?from=2&from=3")
    assert CALLS[0] == "query 3"


async def test_a_field_goes_by_its_name_outside_alone(client):
    answer = await client.get("/v1/trays/N1?from_=2")
    assert answer.json()["errors"][0]["parameter"] == "from_"


async def test_a_part_of_a_path_that_is_no_number_leads_nowhere(client):
    found = await client.get("/v1/numbers/12", headers={"if-match": "a"})
    assert found.json() == {"temp_c": 12, "was": "a"}
    assert (await client.get("/v1/numbers/12")).json()["was"] is None
    for wrong in ("x", "1.5", "1e3", "%20"):
        assert (await client.get(f"/v1/numbers/{wrong}")).status_code == 404


async def test_a_body_becomes_its_model_and_goes_out_by_its_names(client):
    answer = await client.post("/v1/tell", json={"tempC": 21, "seen": [1]})
    assert answer.status_code == 201
    assert answer.json() == {"told": {"tempC": 21.0, "seen": [1]}}


@pytest.mark.parametrize(
    ("body", "status", "pointer", "said"),
    [
        (b"", 422, "#", "a body is needed"),
        (b"null", 422, "#", "valid dictionary"),
        (b"[]", 422, "#", "valid dictionary"),
        (b'{"tempC": 21, "seen": [1, "2"]}', 422, "#/seen/1", "valid integer"),
        (b'{"tempC": "21"}', 422, "#/tempC", "valid number"),
        (b'{"seen": []}', 422, "#/tempC", "required"),
        (b'{"tempC": 21, "a/b": 1}', 422, "#/a~1b", "is not known here"),
        (b'{"tempC": 21', 400, "#", "not JSON at character 12"),
        (b"{'tempC': 21}", 400, "#", "not JSON at character 1"),
    ],
)
async def test_a_body_that_is_not_right_is_told_where(
    client, body, status, pointer, said
):
    answer = await client.post("/v1/tell", content=body)
    assert answer.status_code == status
    (fault,) = answer.json()["errors"]
    assert fault["pointer"] == pointer
    assert said in fault["detail"]


@pytest.mark.parametrize(
    "body",
    [b'{"tempC": "\xff"}', b"[" * 100_000, b'{"tempC": ' + b"1" * 5_000 + b"}"],
    ids=["no UTF-8", "too deep", "too long a number"],
)
async def test_a_body_that_cannot_be_read_is_refused_in_words(client, body):
    answer = await client.post("/v1/tell", content=body)
    assert answer.status_code == 400
    assert "errors" not in answer.json()
    assert "cannot be read" in answer.json()["detail"]


@pytest.mark.parametrize("body", [b"", b"null"])
async def test_a_body_may_be_left_out_where_the_route_says_so(client, body):
    assert (await client.post("/v1/perhaps", content=body)).json() == {"told": None}
    told = await client.post("/v1/perhaps", json={"tempC": 1})
    assert told.json()["told"]["tempC"] == 1.0
    assert (await client.post("/v1/perhaps", json={"temp": 1})).status_code == 422


async def test_an_answer_without_a_body_has_none(client):
    answer = await client.delete("/v1/tell")
    assert (answer.status_code, answer.content) == (204, b"")
    assert answer.headers["x-gone"] == "yes"
    assert "content-length" not in answer.headers


async def test_a_whole_answer_of_a_function_is_sent_as_it_is(client):
    answer = await client.get("/v1/text/a-b")
    assert (answer.status_code, answer.text) == (203, "a-b")


async def test_no_answer_has_a_number_that_is_none(client):
    assert (await client.get("/v1/wrong")).status_code == 500


def test_what_cannot_be_sent_is_said():
    assert as_json({"temp": "21 °C"}) == '{"temp":"21 °C"}'.encode()
    with pytest.raises(TypeError, match="set cannot be sent as JSON"):
        as_json({"a": {1}})


async def test_an_answer_is_held_to_its_shape_where_somebody_does(monkeypatch):
    """As all of these tests do: the daemon leaves that to types."""

    def wrong(shape: type, found: object) -> None:
        raise AssertionError(shape.__name__, found)

    monkeypatch.setattr(App, "checked", staticmethod(wrong))
    transport = httpx.ASGITransport(made())
    async with httpx.AsyncClient(transport=transport, base_url="http://bench") as one:
        with pytest.raises(AssertionError, match="Warm"):
            await one.get("/v1/trays/N1")
        assert (await one.get("/v1/text/a")).text == "a"


def test_the_document_tells_what_is_taken_and_answered():
    told = made().openapi()
    tray = told["paths"]["/v1/trays/{tray}"]["get"]
    assert [(one["in"], one["name"]) for one in tray["parameters"]] == [
        ("path", "tray"),
        ("query", "from"),
        ("query", "how"),
    ]
    assert tray["parameters"][1]["description"] == "the first"
    reference = {"$ref": "#/components/schemas/Warm"}
    assert tray["responses"]["200"]["content"]["application/json"]["schema"] == (
        reference
    )
    assert tray["responses"]["404"]["description"] == "none"
    schemas = told["components"]["schemas"]
    assert schemas["How"]["enum"] == ["tug", "lift"]
    assert schemas["Told1"]["required"] == ["tempC"]
    perhaps = told["paths"]["/v1/perhaps"]["post"]["requestBody"]["content"]
    assert {"type": "null"} in perhaps["application/json"]["schema"]["anyOf"]
    number = told["paths"]["/v1/numbers/{number}"]["get"]["parameters"]
    assert {(one["in"], one["name"]): one["schema"]["type"] for one in number[:1]} == {
        ("path", "number"): "integer"
    }
    assert ("header", "if-match") in {(one["in"], one["name"]) for one in number}
    text = told["paths"]["/v1/text/{name}"]["get"]["responses"]["200"]
    assert text == {"description": "words", "content": {"text/plain": {}}}
    assert "content" not in told["paths"]["/v1/tell"]["delete"]["responses"]["204"]
    json.dumps(told)


async def listed(what: list[int]) -> None:
    """It wants what nobody can give."""


async def either(what: Told1 | Asked) -> None:
    """It wants one of two shapes."""


async def elsewhere(tray: str) -> None:
    """It wants a part of a path that has none."""


def test_a_function_that_cannot_be_served_is_refused_when_the_app_is_made():
    for call in (listed, either):
        with pytest.raises(TypeError, match="nothing is known to give as what"):
            wants_of(call)
    lost = Router()
    lost.get("/trays/{name}")(elsewhere)
    with pytest.raises(TypeError, match=r"/trays/\{name\} has not all of tray"):
        made().include_router(lost)
    with pytest.raises(TypeError, match="coroutine function is needed"):
        wants_of(lambda: None)
