"""A token for a phone, made where the daemon will look for it."""

import os
from pathlib import Path

from api.formats import utc_text
from controller.adapters.access import TokenFile, tokens_beside
from controller.ports import Clock, May


def login_link(log: Path, host: str, clock: Clock, *, operate: bool) -> str:
    """Make a token called phone, the one before revoked; return its link.

    Args:
        log: The season log beside which tokens lie.
        host: Under which the phone reaches the page.
        clock: Where time comes from.
        operate: Whether it may change setpoints and records, too.

    Raises:
        AccessError: The file of tokens is of no use.
    """
    log.parent.mkdir(parents=True, exist_ok=True)
    file = TokenFile(tokens_beside(log))
    if any(token.name == "phone" for token in file.load() or ()):
        file.revoke("phone")
    may = May.OPERATE if operate else May.READ
    secret = file.add("phone", may, utc_text(clock.now().utc_ms))
    if os.geteuid() == 0:  # the daemon's user must be able to read it
        owner = log.parent.stat()
        for one in log.parent.glob(f"{log.stem}.tokens.json*"):
            os.chown(one, owner.st_uid, owner.st_gid)
    # What follows # stays in the browser: no server's log has it.
    return f"http://{host}:8000/#token={secret}"
