"""What the service manager hears, on a socket that stands for its own.

The words are those of sd_notify(3): READY=1, WATCHDOG=1, STATUS=, STOPPING=1;
WATCHDOG_USEC and WATCHDOG_PID those of sd_watchdog_enabled(3).
"""

import os
import socket

import pytest

from controller.adapters.watchdog import (
    ServiceManager,
    service_manager,
    watchdog_worries,
)


@pytest.fixture(params=["a path", "an abstract name"])
def manager(request, tmp_path):
    """A bound datagram socket, and the name by which the daemon is told of it."""
    name = str(tmp_path / "notify")
    if request.param == "an abstract name":
        name = f"@bottomheat-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(f"\0{name[1:]}" if name.startswith("@") else name)
        listener.setblocking(False)
        yield name, lambda: listener.recv(4096).decode()


def test_it_hears_of_the_first_scan_of_each_scan_and_of_the_end(manager):
    name, heard = manager
    told = service_manager({"NOTIFY_SOCKET": name})
    told.ready()
    assert heard() == "READY=1"
    told.fed("heating north; 0 alarms")
    assert heard() == "WATCHDOG=1\nSTATUS=heating north; 0 alarms"
    told.stopping("stopped by SIGTERM")
    assert heard() == "STOPPING=1\nSTATUS=stopped by SIGTERM"


def test_a_sentence_of_two_lines_cannot_say_a_second_thing(manager):
    name, heard = manager
    ServiceManager(name).stopping("a part ended:\nREADY=1")
    assert heard() == "STOPPING=1\nSTATUS=a part ended: READY=1"


@pytest.mark.parametrize("environ", [{}, {"NOTIFY_SOCKET": "vsock:2:1234"}])
def test_where_nobody_listens_nothing_is_said(environ, monkeypatch):
    told = service_manager(environ)

    def no_socket(*_: object):
        raise AssertionError("a socket was made")

    monkeypatch.setattr(socket, "socket", no_socket)
    told.ready()
    told.fed("no mat heats")
    told.stopping("stopped")


def test_a_manager_that_has_gone_or_is_full_stops_nobody(tmp_path):
    ServiceManager(str(tmp_path / "nobody")).fed("no mat heats")
    name = str(tmp_path / "full")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(name)
        for _ in range(2_000):  # more than the kernel queues for one who sleeps
            ServiceManager(name).fed("no mat heats")


@pytest.mark.parametrize(
    ("environ", "said"),
    [
        ({}, ""),
        ({"WATCHDOG_USEC": "30000000"}, ""),
        ({"WATCHDOG_USEC": "15000000"}, ""),
        ({"WATCHDOG_USEC": "14999999"}, "set WatchdogSec to 15 s or more"),
        ({"WATCHDOG_USEC": "1000000", "WATCHDOG_PID": str(os.getpid())}, "after 1 s"),
        ({"WATCHDOG_USEC": "1000000", "WATCHDOG_PID": "1"}, ""),
        ({"WATCHDOG_USEC": "soon"}, ""),
        ({"NOTIFY_SOCKET": "vsock:2:1234"}, "must be a path or begin with @"),
        ({"NOTIFY_SOCKET": "@manager"}, ""),
    ],
)
def test_a_watch_shorter_than_three_scans_is_named_at_the_start(environ, said):
    worries = " ".join(watchdog_worries(environ, 5_000))
    assert said in worries
    assert bool(said) == bool(worries)
