"""Which methods a path knows; the library names those of one route alone.

What may live here: that, from the app's own list.
"""

from functools import lru_cache

from starlette.responses import Response
from starlette.routing import compile_path

from api.application import App
from api.problems import problem


def methods_at(app: App, path: str) -> frozenset[str]:
    """Return the methods of a path, HEAD with GET; none: there is no such path.

    A path that is spelled out goes before one that has names in it.
    """
    known = tuple(app.operations())
    found = frozenset(method for method, template in known if template == path)
    found = found or frozenset(
        method for method, template in known if compiled(template).match(path)
    )
    return found | ({"HEAD"} if "GET" in found else frozenset())


def not_done(method: str, allowed: frozenset[str]) -> Response:
    """Return the answer to a method that a path does not know (RFC 9110, 15.5.6)."""
    listed = ", ".join(sorted(allowed))
    return problem(
        405, f"{method} is not done here; allowed: {listed}", headers={"Allow": listed}
    )


compiled = lru_cache(maxsize=200)(lambda template: compile_path(template)[0])
