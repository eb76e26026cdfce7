"""The app of a page of many benches, which only looks.

It has the same door, gate and sessions as a bench's own API, and no way to any
bench: what it shows is handed in, and no token of a bench is known here. What may
live here: its composition and its routes.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from starlette.requests import Request

from api import sessions
from api.application import App
from api.benches_shapes import BenchesView
from api.callers import Reception
from api.context import no_query, reading_only
from api.document import About
from api.errors import ERRORS
from api.page_files import PageFile, files_of, page_files, page_router
from api.reach import Reach
from api.routing import Router
from api.shell import put_in_shell, version
from api.wants import Depends
from controller.ports import Access, Clock

FOLDER = Path(__file__).parent / "benches_page"

SHARED = (
    "api.js",
    "clock.js",
    "dialogs.js",
    "dom.js",
    "icon.svg",
    "session.js",
    "style.css",
    "theme.js",
    "units.js",
    "words.js",
)
"""Files of a bench's own page that this one uses, too."""


@dataclass(frozen=True, slots=True)
class BenchesContext:
    """What the app carries.

    Attributes:
        look: Tells the benches as they are known now.
        reception: Tells who asks.
    """

    look: Callable[[], BenchesView]
    reception: Reception


def create_benches_app(
    look: Callable[[], BenchesView],
    clock: Clock,
    access: Access | None = None,
    reach: Reach | None = None,
) -> App:
    """Return the app of a page of many benches.

    Args:
        look: Tells the benches as they are known now; never waits.
        clock: A clock of real time, by which wrong tokens are counted.
        access: Who may look; None: whoever is on this machine.
        reach: Names and proxies it is reached by; None: this machine's own names.
    """
    app = App(About("bottomheat benches", version(), answers=ERRORS))
    app.state.context = BenchesContext(
        look, Reception(access, lambda: clock.now().run_ms)
    )
    put_in_shell(app, reach or Reach())
    app.include_router(page_router(benches_files))
    v1 = Router(prefix="/v1")
    v1.include_router(_router)
    v1.include_router(sessions.router)
    app.include_router(v1)
    return app


@cache
def benches_files() -> Mapping[str, PageFile]:
    """Return the files of the page of many benches by name."""
    own = page_files()
    return {**{name: own[name] for name in SHARED}, **files_of(FOLDER)}


_router = Router(dependencies=[Depends(reading_only), Depends(no_query)])


@_router.get("/benches")
async def get_benches(request: Request) -> BenchesView:
    """Every bench as it is known now."""
    context: BenchesContext = request.app.state.context
    return context.look()
