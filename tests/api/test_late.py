"""Shapes of answers are built when they are first needed, and hold all the same."""

import importlib
import pkgutil

import httpx
import pytest
from fastapi import APIRouter, FastAPI
from fastapi.exceptions import ResponseValidationError
from typing_extensions import TypedDict

import api
from api.late import Router


class Warmth(TypedDict):
    """An answer."""

    temp_c: float


@pytest.fixture
def router():
    made = Router(prefix="/v1")

    @made.get("/right")
    async def get_right() -> Warmth:
        return Warmth(temp_c=21)

    @made.get("/wrong")
    async def get_wrong() -> Warmth:
        return {"temp_c": "warm-ish"}

    return made


@pytest.fixture
async def client(router):
    app = FastAPI()
    app.include_router(router)
    transport = httpx.ASGITransport(app)
    async with httpx.AsyncClient(transport=transport, base_url="http://bench") as one:
        yield one


def built(router):
    """Return whether each route's answer has what checks it."""
    fields = [route.response_field for route in router.routes]
    return [field._type_adapter.pydantic_complete for field in fields]


async def test_a_shape_is_built_for_the_first_answer_that_needs_it(router, client):
    assert built(router) == [False, False]
    assert (await client.get("/v1/right")).json() == {"temp_c": 21.0}
    assert built(router) == [True, False]


async def test_an_answer_that_is_not_what_was_promised_is_still_an_error(client):
    with pytest.raises(ResponseValidationError, match="temp_c"):
        await client.get("/v1/wrong")


def test_every_router_of_the_interface_is_such_a_one():
    names = [found.name for found in pkgutil.iter_modules(api.__path__)]
    modules = [importlib.import_module(f"api.{name}") for name in names]
    routers = [
        value
        for module in modules
        for value in vars(module).values()
        if isinstance(value, APIRouter)
    ]
    assert len(routers) > 10
    assert all(isinstance(router, Router) for router in routers)
