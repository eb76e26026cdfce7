"""Contacts drop out by a thread of their own, whatever the rest does."""

import atexit
import json
import threading

import pytest

from controller.adapters.contacts import FROZEN_MS, LOOK_MS, Contacts
from controller.adapters.lease import Lease


class Coil:
    """An output that a test can look at, wait for, and break."""

    def __init__(self) -> None:
        self.energised = True  # as found: it must be switched off at once
        self.broken = False
        self.said: list[str] = []
        self._turn = threading.Condition()

    def on(self) -> None:
        self._switch("on")

    def off(self) -> None:
        self._switch("off")

    def _switch(self, word: str) -> None:
        with self._turn:
            self.said.append(word)
            self._turn.notify_all()
            if self.broken:
                raise OSError("no such pin any more")
            self.energised = word == "on"

    def goes(self, *, energised: bool) -> bool:
        """Wait until it is so; the watch looks twice a second of real time."""
        with self._turn:
            return self._turn.wait_for(lambda: self.energised is energised, 10)


class Bench:
    """One contact with a clock that stands still until it is moved."""

    def __init__(self) -> None:
        self.ms = 1_000
        self.coil = Coil()
        self.news: list[Lease] = []
        self.failures: list[str] = []
        self.contacts = Contacts(
            {"north": self.coil},
            lambda: self.ms,
            lambda _, lease: self.news.append(lease),
            lambda _, error: self.failures.append(str(error)),
        )

    def hears(self, *, energised: bool, seq: int = 1, retained: bool = False) -> None:
        body = {"energised": energised, "run": "r1", "seq": seq}
        if energised:
            body["valid_for_s"] = 3
        payload = json.dumps(body).encode()
        self.contacts.obey("north", payload, retained=retained)

    def lives(self, ms: int) -> None:
        """Let time pass as a thread that runs sees it: look by look."""
        for _ in range(ms // LOOK_MS):
            self.ms += LOOK_MS
            self.contacts.freezes()
            with self.contacts._turn:
                self.contacts._looked_ms = self.ms


@pytest.fixture
def bench():
    bench = Bench()
    bench.contacts.start()
    yield bench
    bench.contacts.close()


def test_every_contact_is_opened_before_anything_is_heard():
    bench = Bench()
    assert not bench.coil.energised


def test_nothing_closes_before_the_watch_is_there():
    bench = Bench()
    bench.hears(energised=True)
    assert not bench.coil.energised
    assert "on" not in bench.coil.said


def test_the_watch_opens_a_contact_that_nobody_renews(bench):
    """No call from outside: the thread does it."""
    bench.hears(energised=True)
    assert bench.coil.energised
    bench.ms += 2_999
    bench.lives(0)
    assert bench.contacts.lease("north").energised
    bench.ms += 1
    assert bench.coil.goes(energised=False)
    assert bench.news[-1].reason == "lease"


def test_renewals_are_no_news_and_switchings_are(bench):
    for seq in (1, 2, 3):
        bench.hears(energised=True, seq=seq)
    bench.hears(energised=False, seq=4)
    assert [(n.energised, n.reason) for n in bench.news] == [
        (False, "start"),
        (True, "command"),
        (False, "command"),
    ]


def test_the_level_is_said_again_with_every_command(bench):
    """Whatever may have happened to the pin in between."""
    bench.hears(energised=True, seq=1)
    bench.hears(energised=True, seq=2)
    assert bench.coil.said[-2:] == ["on", "on"]


def test_after_the_end_nothing_closes_any_more(bench):
    bench.hears(energised=True)
    bench.contacts.close()
    assert not bench.coil.energised
    assert bench.news[-1].reason == "lost"
    bench.hears(energised=True, seq=2)
    assert not bench.coil.energised


def test_the_contact_is_opened_when_the_program_ends_in_any_way_it_sees(
    bench, monkeypatch
):
    registered = []
    monkeypatch.setattr(atexit, "register", registered.append)
    other = Bench()
    other.contacts.start()
    other.hears(energised=True)
    (at_exit,) = registered
    at_exit()
    assert not other.coil.energised


def test_a_contact_that_does_not_open_is_tried_again_and_told(bench):
    bench.hears(energised=True)
    bench.coil.broken = True
    bench.hears(energised=False, seq=2)
    assert bench.failures == ["no such pin any more"]
    assert bench.contacts.lease("north").energised  # as far as anybody knows
    bench.coil.broken = False
    assert bench.coil.goes(energised=False)


def test_a_contact_that_fails_to_close_is_opened(bench):
    bench.coil.broken = True
    bench.hears(energised=True)
    bench.coil.broken = False
    bench.coil.energised = True  # it may have closed all the same
    assert bench.coil.goes(energised=False)


def test_a_watch_that_was_frozen_says_so_once(bench):
    before = bench.contacts.freezes()
    with bench.contacts._turn:  # the watch cannot look meanwhile
        bench.ms += FROZEN_MS + 1
        assert bench.contacts.freezes() == before + 1
    assert bench.contacts.freezes() == before + 1


def test_a_healthy_watch_is_not_frozen(bench):
    before = bench.contacts.freezes()
    bench.lives(60_000)
    assert bench.contacts.freezes() == before


def test_what_the_broker_kept_does_not_close_but_opens(bench):
    bench.hears(energised=True, retained=True)
    assert not bench.coil.energised
    bench.hears(energised=True)
    bench.hears(energised=False, retained=True, seq=2)
    assert not bench.coil.energised
