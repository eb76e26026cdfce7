"""The app: routes, and what the shell puts around them.

It sees the daemon only through its ports, waits for nothing and keeps no state
of its own but the numbers of recent wishes. What may live here: composition,
and what the OpenAPI document says of errors.
"""

from collections.abc import Callable

from typing_extensions import override

from api.application import App
from api.callers import BASIC_PATHS, COOKIE, Reception
from api.context import NOTHING_BESIDE, Beside, Context
from api.document import About, Document
from api.errors import ERRORS
from api.outside import router as outside
from api.reach import Reach
from api.record_book import Records
from api.routes import CAUTION, root, v1
from api.shell import put_in_shell, version
from controller.ports import Access, Bench, Clock, SeasonReader

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


class BenchApp(App):
    """The JSON API of one bench."""

    @override
    def openapi(self) -> Document:
        """Return the OpenAPI document, with what it says of access."""
        document = super().openapi()
        _tell_of_access(document)
        return document


def create_app(
    bench: Bench,
    reader: Callable[[], SeasonReader] | None,
    clock: Clock,
    records: Records | None = None,
    access: Access | None = None,
    reach: Reach | None = None,
    beside: Beside = NOTHING_BESIDE,
) -> App:
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
    words = f"A heated propagation bench, now and before. {CAUTION}"
    app = BenchApp(About("bottomheat", version(), words, ERRORS))
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


def _tell_of_access(document: Document) -> None:
    """Write down what is shown where: in any order, one of a list will do."""
    components, paths = document["components"], document["paths"]
    if isinstance(components, dict):
        components["securitySchemes"] = _SCHEMES
    document["security"] = [{"token": []}, {"session": []}]
    for path, operations in paths.items() if isinstance(paths, dict) else ():
        for method, operation in operations.items():
            if (method, path) in _FOR_ANYBODY:
                operation["security"] = []
            if path in BASIC_PATHS:
                operation["security"] = [{"token": []}, {"session": []}, {"basic": []}]
