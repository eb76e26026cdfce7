"""Access as the daemon keeps it: two files looked at in threads, answers from memory.

The loop that keeps the bench's time never waits for the disk here. What may live
here: implementing ports.Access.
"""

import asyncio
import secrets
from collections.abc import Callable
from pathlib import Path

from controller.adapters.access.private_file import AccessError, stamp_of
from controller.adapters.access.session_file import (
    Session,
    load_sessions,
    save_sessions,
)
from controller.adapters.access.token_file import (
    SECRET_BYTES,
    Token,
    TokenFile,
    found_in,
    hash_of,
)
from controller.core.units import DAY_MS
from controller.ports import Clock, Holder

LOOK_EVERY_MS = 1_000
"""Chosen: how soon a revoked token is known to be."""

SESSION_LASTS_MS = 200 * DAY_MS
"""Chosen: a season of propagation and a little; whoever loses a phone revokes its
token, which ends its sessions at once."""

MOST_SESSIONS = 200
"""Chosen: more than a household has browsers; the oldest makes room."""


class FileAccess:
    """Implements ports.Access with files beside the season log.

    Args:
        tokens: Where tokens are.
        sessions: Where sessions are.
        clock: A clock of real time.
        tell: Told of trouble with the files.

    Raises:
        AccessError: The tokens cannot be read or believed.
    """

    def __init__(
        self,
        tokens: TokenFile,
        sessions: Path,
        clock: Clock,
        tell: Callable[[str], None],
    ) -> None:
        self._file, self._sessions_path = tokens, sessions
        self._clock, self._tell = clock, tell
        self._turn = asyncio.Lock()
        self._told = ""
        self._stamp = stamp_of(tokens.path)
        self._tokens = tokens.load()
        self._sessions = self._kept_sessions()

    def in_force(self) -> bool:
        """Whether tokens are asked for."""
        return self._tokens is not None

    def anybody(self) -> bool:
        """Whether there is a token at all."""
        return bool(self._tokens)

    async def serve(self) -> None:
        """Look again and again whether the tokens have changed, until cancelled."""
        while True:
            await self._clock.sleep_until(self._clock.now().run_ms + LOOK_EVERY_MS)
            await self.look()

    async def look(self) -> None:
        """Take up what has changed in the file of tokens.

        A file that went or that nobody can believe lets nobody in.
        """
        self._stamp, self._tokens, trouble = await asyncio.to_thread(self._looked)
        if trouble and trouble != self._told:
            self._tell(f"nobody is let in: {trouble}")
        self._told = trouble

    def _looked(
        self,
    ) -> tuple[tuple[int, int, int] | None, tuple[Token, ...] | None, str]:
        stamp, before = stamp_of(self._file.path), self._tokens
        if stamp is not None and stamp == self._stamp:
            return stamp, before, self._told
        try:
            tokens = self._file.load()
        except AccessError as error:
            return stamp, (), str(error)
        if tokens is None and before is not None:
            return stamp, (), f"{self._file.path} is no longer there"
        return stamp, tokens, ""

    # ------------------------------------------------------------------- tokens

    async def holder(self, secret: str) -> Holder | None:
        """Return whose token this is; None: nobody's, or revoked."""
        found = found_in(self._tokens or (), secret)
        if found is None:  # it may have been made a moment ago
            await self.look()
            found = found_in(self._tokens or (), secret)
        return None if found is None else found.holder

    def stands(self, holder: Holder) -> bool:
        """Whether a holder's token was not revoked meanwhile."""
        return self._of_key(holder.key) is not None

    def _of_key(self, key: str) -> Holder | None:
        tokens = self._tokens or ()
        return next((token.holder for token in tokens if token.sha256 == key), None)

    # ----------------------------------------------------------------- sessions

    def visitor(self, secret: str) -> Holder | None:
        """Return whose session in a browser this is; None: none, or ended.

        Hashes of secrets are looked up, so that how long it takes tells only
        what hash is there, of which no secret can be made.
        """
        session = self._sessions.get(hash_of(secret))
        if session is None or self._is_over(session):
            return None
        return self._of_key(session.token)

    def _is_over(self, session: Session) -> bool:
        now = self._clock.now()
        return now.clock_ok and now.utc_ms - session.made_utc_ms > SESSION_LASTS_MS

    async def open_session(self, holder: Holder) -> str:
        """Return the secret of a new session; it outlives the daemon."""
        secret = secrets.token_urlsafe(SECRET_BYTES)
        session = Session(holder.key, self._clock.now().utc_ms)
        async with self._turn:
            self._sessions = self._room_made() | {hash_of(secret): session}
            await self._save_sessions()
        return secret

    def _room_made(self) -> dict[str, Session]:
        """Return the sessions that may go on, fewer than may be in all."""
        standing = [
            (sha256, session)
            for sha256, session in self._sessions.items()
            if self._of_key(session.token) and not self._is_over(session)
        ]
        return dict(standing[-(MOST_SESSIONS - 1) :])

    async def close_session(self, secret: str) -> None:
        """End a session; one that there is not is ended already."""
        async with self._turn:
            if self._sessions.pop(hash_of(secret), None) is not None:
                await self._save_sessions()

    async def _save_sessions(self) -> None:
        kept = dict(self._sessions)
        try:
            await asyncio.to_thread(save_sessions, self._sessions_path, kept)
        except AccessError as error:
            self._tell(f"{error}; sessions end when the daemon does")

    def _kept_sessions(self) -> dict[str, Session]:
        try:
            return load_sessions(self._sessions_path)
        except AccessError as error:
            self._tell(f"{error}; whoever was let in must show a token again")
            return {}
