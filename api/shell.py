"""What every app of ours has around its routes: the way in, and answers to errors.

What may live here: that, in its order. No routes.
"""

from importlib import metadata

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from api import problems
from api.answers import Answers
from api.application import App
from api.bodies import Bodies
from api.door import Door
from api.gate import Gate
from api.methods import methods_at, not_done
from api.reach import Reach

_NOT_DONE = 405


def put_in_shell(app: App, reach: Reach) -> None:
    """Put door, gate and answers around an app's routes.

    Args:
        app: The app; its state has a context with a reception.
        reach: Names and proxies it is reached by.
    """
    # The last one added is asked first.
    app.add_middleware(Answers)
    app.add_middleware(Bodies)
    app.add_middleware(Gate)
    app.add_middleware(Door, reach=reach)
    if reach.proxies:
        app.add_middleware(ProxyHeadersMiddleware, trusted_hosts=list(reach.proxies))
    app.add_exception_handler(HTTPException, _on_http_error)
    app.add_exception_handler(problems.UnfitError, problems.on_unfit)
    app.add_exception_handler(Exception, problems.on_any_error)


def version() -> str:
    """Return the version that is installed; "0" of sources that are not."""
    try:
        return metadata.version("bottomheat")
    except metadata.PackageNotFoundError:
        return "0"


async def _on_http_error(request: Request, error: Exception) -> Response:
    if isinstance(error, HTTPException) and error.status_code == _NOT_DONE:
        return not_done(request.method, methods_at(request.app, request.url.path))
    return await problems.on_http_error(request, error)
