"""Shapes of answers are built when they are first needed, and hold all the same."""

import gc
import importlib
import pkgutil
from typing import get_args

import httpx
import pytest
from fastapi import APIRouter, FastAPI
from fastapi.exceptions import ResponseValidationError
from pydantic import TypeAdapter
from typing_extensions import TypedDict

import api
from api.late import Router


@pytest.fixture
def shapes():
    """Return two shapes of answers that nobody has seen before."""
    return TypedDict("Right", {"temp_c": float}), TypedDict("Wrong", {"temp_c": float})


@pytest.fixture
def router(shapes):
    made = Router(prefix="/v1")
    right, wrong = shapes

    @made.get("/right")
    async def get_right() -> right:
        return {"temp_c": 21}

    @made.get("/wrong")
    async def get_wrong() -> wrong:
        return {"temp_c": "warm-ish"}

    return made


@pytest.fixture
async def client(router):
    app = FastAPI()
    app.include_router(router)
    transport = httpx.ASGITransport(app)
    async with httpx.AsyncClient(transport=transport, base_url="http://bench") as one:
        yield one


def built(shape):
    """Return whether anything that checks a shape is there."""
    # Not isinstance: it asks weak references for what they stand for.
    found = [one for one in gc.get_objects() if type(one) is TypeAdapter]
    own = [one for one in found if get_args(one._type)[:1] == (shape,)]
    assert own
    return any(one.pydantic_complete for one in own)


async def test_a_shape_is_built_for_the_first_answer_that_needs_it(shapes, client):
    assert [built(shape) for shape in shapes] == [False, False]
    assert (await client.get("/v1/right")).json() == {"temp_c": 21.0}
    assert [built(shape) for shape in shapes] == [True, False]


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
