"""The app: routes, and what the shell puts around them.

It sees the daemon only through its ports, waits for nothing and keeps no state
of its own but the numbers of recent wishes. What may live here: composition,
and what the OpenAPI document says of errors.
"""

from collections.abc import Callable

from fastapi import FastAPI
from pydantic import TypeAdapter
from typing_extensions import override

from api import problems
from api.callers import BASIC_PATHS, COOKIE, Reception
from api.context import NOTHING_BESIDE, Beside, Context
from api.outside import router as outside
from api.reach import Reach
from api.record_book import Records
from api.routes import CAUTION, root, v1
from api.shell import put_in_shell, version
from controller.ports import Access, Bench, Clock, SeasonReader

_Document = dict[str, object]

_REFERENCE = "#/components/schemas/{model}"

_EVERY = {
    400: "The request cannot be read",
    401: "No token was shown, or one that nobody knows",
    403: "Whoever asks may not: read only, or a page of another site",
    404: "There is no such thing",
    405: "Not done here in this way",
    421: "Asked under another name than the bench's own",
    429: "Too many unknown tokens, or too many wishes wait",
    431: "The head of the request is too large",
    500: "A mistake in this program",
    503: "Not ready yet, or overloaded",
}
_WRITING = {
    408: "The body did not arrive in time",
    409: "This mat has no relay to command, somebody writes at the same time, or there"
    " is nothing to compare yet",
    413: "The body is too large",
    415: "The body is not of the media type that is taken here",
    422: "The body is well formed but asks for what cannot be",
}


_SCHEMES = {
    "token": {
        "type": "http",
        "scheme": "bearer",
        "description": "a token of `bottomheat token add`; one that may operate for"
        " whatever is no GET. A bench without tokens asks this machine for nothing.",
    },
    "session": {
        "type": "apiKey",
        "in": "cookie",
        "name": COOKIE,
        "description": "from POST /v1/session; whatever is no GET needs X-CSRF-Token,"
        " too, which GET /v1/session tells.",
    },
    "basic": {
        "type": "http",
        "scheme": "basic",
        "description": "a token as the password, under any name",
    },
}
_FOR_ANYBODY = {("get", "/"), ("get", "/page/{name}"), ("get", "/v1")}
_FOR_ANYBODY |= {("post", "/v1/session")}


class BenchApp(FastAPI):
    """The JSON API of one bench."""

    @override
    def openapi(self) -> _Document:
        """Return the OpenAPI document, with the error shape among its schemas."""
        document = super().openapi()
        components = document.setdefault("components", {})
        schemas = components.setdefault("schemas", {})
        if "Problem" not in schemas:
            _tell_of_access(document, components)
            problem = TypeAdapter(problems.Problem).json_schema(ref_template=_REFERENCE)
            schemas.update(problem.pop("$defs", {}))
            schemas["Problem"] = problem
        return document


def create_app(
    bench: Bench,
    reader: Callable[[], SeasonReader] | None,
    clock: Clock,
    records: Records | None = None,
    access: Access | None = None,
    reach: Reach | None = None,
    beside: Beside = NOTHING_BESIDE,
) -> FastAPI:
    """Return the JSON API of a running bench.

    Args:
        bench: The daemon: snapshots and wishes.
        reader: Opens the season log for reading, called in a thread; None:
            there is no log.
        clock: The bench's clock, for ages and for "now".
        records: What people saw and did; None: nothing of it is kept.
        access: Who may use it; None: whoever is on this machine.
        reach: Names and proxies it is reached by; None: this machine's own names.
        beside: What is worked out in processes of their own.
    """
    app = BenchApp(
        title="bottomheat",
        version=version(),
        description=f"A heated propagation bench, now and before. {CAUTION}",
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        telemetry={"tracing": False, "metrics": False, "logs": False},
        responses=_responses(_EVERY | _WRITING),
    )
    kept = records or Records(None, None)
    app.state.context = Context(
        bench,
        reader,
        clock,
        records=kept,
        reception=Reception(access, lambda: clock.now().run_ms),
        forecast=beside.forecast,
        comparer=beside.comparer,
    )
    put_in_shell(app, reach or Reach())
    app.include_router(root)
    app.include_router(v1)
    app.include_router(outside)
    return app


def _tell_of_access(document: _Document, components: _Document) -> None:
    """Write down what is shown where: in any order, one of a list will do."""
    components["securitySchemes"] = _SCHEMES
    document["security"] = [{"token": []}, {"session": []}]
    paths = document["paths"]
    for path, operations in paths.items() if isinstance(paths, dict) else ():
        for method, operation in operations.items():
            if (method, path) in _FOR_ANYBODY:
                operation["security"] = []
            if "requestBody" in operation:
                # It may be {}; what must be there is its Content-Type.
                operation["requestBody"]["required"] = True
            if path in BASIC_PATHS:
                operation["security"] = [{"token": []}, {"session": []}, {"basic": []}]


def _responses(statuses: dict[int, str]) -> dict[int | str, dict[str, object]]:
    schema = {"$ref": _REFERENCE.format(model="Problem")}
    return {
        status: {
            "description": description,
            "content": {problems.MEDIA_TYPE: {"schema": schema}},
        }
        for status, description in statuses.items()
    }
