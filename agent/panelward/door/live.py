"""What changed, to each phone, as server-sent events (WHATWG HTML, 9.2). One look at the journal serves all of them."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable

from starlette.responses import PlainTextResponse, Response, StreamingResponse

from panelward.door.book import Book, Look

LOOK_S = 0.25  # how soon a commit of the daemon is seen; asking costs some 20 µs
BEAT_S = 5.0  # at the latest so often something is sent: a phone knows that it is not cut off
MOST_PHONES = 40


def streamed(events: AsyncIterator[str]) -> Response:
    """Events as they come: nothing on the way keeps them back."""
    headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
    return StreamingResponse(events, media_type="text/event-stream", headers=headers)


def crowded() -> Response:
    return PlainTextResponse("Too many phones listen.", 503, {"retry-after": "30"})


class Live:
    """Looks while somebody listens; at rest nothing is done."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._listening: set[asyncio.Event] = set()
        self._task: asyncio.Task[None] | None = None
        self.look: Look | None = None
        self.ended = False

    @property
    def phones(self) -> int:
        return len(self._listening)

    async def changes(self, gone: Callable[[], Awaitable[bool]]) -> AsyncGenerator[Look]:
        """A look now, then one at every change and at least every few seconds."""
        event = asyncio.Event()
        self._listening.add(event)
        if self._task is None:
            self._task = asyncio.create_task(self._follow(), name="live")
        try:
            yield self.look or await self._book.look()
            while not self.ended and not await gone():
                event.clear()
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(event.wait(), BEAT_S)
                if self.ended:
                    return
                yield self.look or await self._book.look()
        finally:
            self._listening.discard(event)

    async def _follow(self) -> None:
        try:
            version = None
            while self._listening and not self.ended:
                now = await self._book.version()
                if now != version or now == -1:
                    version = now
                    self.look = await self._book.look()
                    for event in self._listening:
                        event.set()
                await asyncio.sleep(LOOK_S if now != -1 else 2.0)
        finally:
            self._task, self.look = None, None

    def end(self) -> None:
        """Let every phone go, so that the server can end."""
        self.ended = True
        for event in self._listening:
            event.set()
