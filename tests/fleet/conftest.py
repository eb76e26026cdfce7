"""Each way of doing work over many items, its workers kept from test to test."""

from contextlib import ExitStack, nullcontext
from functools import cache

import psutil
import pytest

from controller.adapters.fleet import Here, pool
from controller.adapters.fleet.on_dask import cluster

WAYS = {
    "here": lambda: nullcontext(Here()),
    "pool": lambda: pool(workers=2, nice=0),
    "dask": lambda: cluster(workers=2, nice=0),  # there may be other work
}


@pytest.fixture(scope="session")
def way():
    """Return what gives a mapper by its name; each is made once, when wanted."""
    with ExitStack() as ends:
        yield cache(lambda name: ends.enter_context(WAYS[name]()))


@pytest.fixture(params=WAYS)
def mapper(request, way):
    """Return one of them."""
    return way(request.param)


@pytest.fixture(params=["pool", "dask"])
def processes(request, way):
    """Return one of those whose workers can be killed."""
    return way(request.param)


def _works(process):
    try:
        return "resource_tracker" not in str(process.cmdline())
    except psutil.Error:  # it has just ended
        return False


@pytest.fixture
def begun_since():
    """Return what tells the workers, of any kind, that began since the test did."""
    others = psutil.Process().children()

    def found():
        mine = (one for one in psutil.Process().children() if one not in others)
        return [one for one in mine if _works(one)]

    return found
