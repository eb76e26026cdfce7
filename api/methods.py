"""Which methods a path knows; the library names those of one route alone.

What may live here: that, from the app's own document.
"""

from collections.abc import Iterator
from functools import lru_cache

from fastapi import FastAPI
from starlette.responses import Response
from starlette.routing import compile_path

from api.problems import problem

_OF_THE_LIBRARY = "/openapi.json"


def methods_at(app: FastAPI, path: str) -> frozenset[str]:
    """Return the methods of a path, HEAD with GET; none: there is no such path.

    A path that is spelled out goes before one that has names in it.
    """
    known = dict(_paths(app))
    found = known.get(path) or frozenset(
        method
        for template, methods in known.items()
        if compiled(template).match(path)
        for method in methods
    )
    return found | ({"HEAD"} if "GET" in found else frozenset())


def not_done(method: str, allowed: frozenset[str]) -> Response:
    """Return the answer to a method that a path does not know (RFC 9110, 15.5.6)."""
    listed = ", ".join(sorted(allowed))
    return problem(
        405, f"{method} is not done here; allowed: {listed}", headers={"Allow": listed}
    )


compiled = lru_cache(maxsize=200)(lambda template: compile_path(template)[0])


def _paths(app: FastAPI) -> Iterator[tuple[str, frozenset[str]]]:
    yield _OF_THE_LIBRARY, frozenset({"GET"})
    for template, operations in app.openapi()["paths"].items():
        yield template, frozenset(method.upper() for method in operations)
