"""Files for mosquitto: who may enter, and who may say and hear what. Pure.

The daemon alone commands relays; a relay hears its own commands and says its own
state; a node with probes says what is its own. The forms are those of
mosquitto.conf(5) and mosquitto_passwd(1).
"""

import base64
import hashlib
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from controller.cli.paths import config_dir

DAEMON = "bottomheat"
"""Name of the daemon's account."""

ROUNDS = 101
"""mosquitto_passwd's own number. Passwords here are random: nothing is gained by
more rounds, and a small board answers a node at once."""

_SALT_BYTES = 12
_PASSWORD_BYTES = 18


@dataclass(frozen=True, slots=True)
class RelayTopics:
    """The topics of a relay on the broker.

    Attributes:
        mat: The mat that it switches.
        command: Where it is told.
        says: Where it tells: its state, its watts.
        card: The mat whose relay is on the same board; empty: none.
    """

    mat: str
    command: str
    says: tuple[str, ...] = ()
    card: str = ""

    @property
    def account(self) -> str:
        """Name of its board's account."""
        return f"relay-{self.card or self.mat}"


@dataclass(frozen=True, slots=True)
class Account:
    """A name and a password for the broker.

    Attributes:
        name: Its name.
        password: Its password; shown once, on a card.
    """

    name: str
    password: str

    def __repr__(self) -> str:
        """Show the name alone: a password belongs into no log."""
        return f"Account({self.name})"


def accounts(
    relays: Sequence[RelayTopics], nodes: int, random: Callable[[int], bytes]
) -> list[Account]:
    """Return the daemon's account, one for each board with relays or probes.

    Args:
        relays: The relays.
        nodes: How many other boards publish probes.
        random: Returns so many random bytes.
    """
    names = [DAEMON, *dict.fromkeys(relay.account for relay in relays)]
    names += [f"node-{number}" for number in range(1, nodes + 1)]
    return [Account(name, _password(random)) for name in names]


def _password(random: Callable[[int], bytes]) -> str:
    """Return 24 letters and digits that a person can copy: no - and _ of base64."""
    text = base64.b64encode(random(_PASSWORD_BYTES)).decode("ascii")
    return text.translate(str.maketrans("+/0OIl1", "xyAbcde"))


def conf(listener: str, folder: Path) -> str:
    """Return what goes into the broker's configuration.

    Args:
        listener: Its TCP port, and an address if not all of the network may knock.
        folder: Where passwords and list lie.
    """
    file = config_dir() / "mosquitto" / "bottomheat.conf"
    text = file.read_text(encoding="utf-8")
    return text.replace("@PORT@", listener).replace("@FOLDER@", str(folder))


def acl(bench: str, relays: Sequence[RelayTopics]) -> str:
    """Return who may say and hear what."""
    return "\n".join(_rules(bench, relays)) + "\n"


def _rules(bench: str, relays: Sequence[RelayTopics]) -> Iterator[str]:
    yield f"# Who may say and hear what on bench {bench}; written by bottomheat setup."
    yield "# What is not named here is not allowed."
    yield ""
    yield "# The controller: the only one that commands relays."
    yield f"user {DAEMON}"
    yield f"topic readwrite bottomheat/{bench}/#"
    yield f"topic readwrite {bench}/#"
    for relay in relays:
        for topic in (relay.command, *relay.says):
            if not topic.startswith(f"{bench}/"):
                yield f"topic readwrite {topic}"
    for account in dict.fromkeys(relay.account for relay in relays):
        yield ""
        yield f"user {account}"
        for relay in relays:
            if relay.account == account:
                yield f"topic read {relay.command}"
                yield from (f"topic write {topic}" for topic in relay.says)
    yield ""
    yield "# Every other board: what begins with its own name."
    yield f"pattern write {bench}/%u/#"


def of_a_board(topic: str, bench: str) -> bool:
    """Whether a topic begins as a board's own do: then that board may speak there."""
    return re.match(rf"{re.escape(bench)}/(node|relay)-", topic) is not None


def passwd(found: Sequence[Account], random: Callable[[int], bytes]) -> str:
    """Return the broker's file of passwords, hashed (PBKDF2 with SHA-512).

    Args:
        found: The accounts.
        random: Returns so many random bytes.
    """
    return "".join(f"{one.name}:{_hashed(one.password, random)}\n" for one in found)


def _hashed(password: str, random: Callable[[int], bytes]) -> str:
    salt = random(_SALT_BYTES)
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, ROUNDS)
    parts = [base64.b64encode(part).decode("ascii") for part in (salt, key)]
    return f"$7${ROUNDS}${parts[0]}${parts[1]}"
