"""The route that stays open: the bench as it changes.

What may live here: from a request to a stream, and how many there may be.
"""

from collections.abc import AsyncGenerator
from contextlib import aclosing
from typing import Annotated

from starlette.responses import Response, StreamingResponse
from starlette.types import Send
from typing_extensions import override

from api.context import CallerHere, ContextHere, LookHere, no_query
from api.live import MOST_STREAMS, Feed
from api.problems import ProblemError
from api.routing import Router, Told
from api.wants import Depends, Header

router = Router(dependencies=[Depends(no_query)])

_HEADERS = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
"""The second asks a proxy in front not to gather events before it sends them."""

_WORDS = (
    'Server-sent events. "bench" is the whole bench after a scan, as LiveView;'
    " a comment comes after 15 s of silence."
)
_ANSWER = Told({"text/event-stream": {"schema": {"type": "string"}}}, _WORDS)


@router.get("/live", answers={200: _ANSWER})
async def get_live(
    context: ContextHere,
    caller: CallerHere,
    look: LookHere,
    last_event_id: Annotated[str | None, Header()] = None,
) -> Response:
    """The bench as it changes: all of it at the start, then after each scan.

    With Last-Event-ID it goes on after that event: none is missed and none comes
    twice, unless one was away for more than 32 scans; then the newest comes.
    """
    feed = context.feed
    if feed.streams >= MOST_STREAMS:
        raise ProblemError(
            503, "too many are looking at once", headers={"Retry-After": "30"}
        )
    feed.take(look.snapshot)
    return _Stream(feed, feed.stream(last_event_id, caller.stands))


class _Stream(StreamingResponse):
    """A stream of the feed, closed at once when its client has gone."""

    def __init__(self, feed: Feed, stream: AsyncGenerator[bytes]) -> None:
        super().__init__(stream, media_type="text/event-stream", headers=_HEADERS)
        self._feed, self._stream = feed, stream

    @override
    async def stream_response(self, send: Send) -> None:
        self._feed.streams += 1
        try:
            async with aclosing(self._stream):
                await super().stream_response(send)
        finally:
            self._feed.streams -= 1
