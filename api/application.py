"""The app of some routes, with its OpenAPI document.

What may live here: starlette's application with our kind of routes.
"""

from collections.abc import Iterator
from typing import ClassVar

import anyio.to_thread
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response

from api.document import About, Document, document_of
from api.routing import Checked, Operation, Router, as_json, as_route

DOCUMENT_PATH = "/openapi.json"


class App(Starlette):
    """An app.

    Args:
        about: What its document says of it as such.

    Attributes:
        version: Of the program.
        checked: Holds answers of every app to their shapes; None: nobody, as in the
            daemon, where that would be a tenth of its memory. Tests have one.
    """

    checked: ClassVar[Checked | None] = None

    def __init__(self, about: About) -> None:
        super().__init__()
        self.router.redirect_slashes = False
        self.version = about.version
        self._about = about
        self._operations: list[Operation] = []
        self._told: bytes | None = None
        self.add_route(DOCUMENT_PATH, self._document, methods=["GET"])

    def include_router(self, router: Router) -> None:
        """Take up a router's routes."""
        for operation in router.operations:
            self._operations.append(operation)
            self.router.routes.append(as_route(operation, lambda: App.checked))

    def operations(self) -> Iterator[tuple[str, str]]:
        """Yield the methods and paths that are served, the document's included."""
        yield "GET", DOCUMENT_PATH
        for operation in self._operations:
            yield operation.method, operation.path

    def openapi(self) -> Document:
        """Return the OpenAPI document, made anew."""
        return document_of(self._about, self._operations)

    async def _document(self, _request: Request) -> Response:
        """Send the document, made in a thread when it is first asked for."""
        if self._told is None:
            self._told = await anyio.to_thread.run_sync(lambda: as_json(self.openapi()))
        kept = {"Cache-Control": "private, no-cache"}  # hardly ever changes
        return Response(self._told, headers=kept, media_type="application/json")
