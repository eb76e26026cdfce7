"""A small HTTP server on this machine that answers as a test wishes."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


class Server:
    """What was posted, and what is answered.

    Attributes:
        answers: Status of each answer to come; the last one goes on.
        headers: Sent with each answer.
        hang: Set by a test to let answers that hang go.
        hangs: Whether answers hang.
        posted: Set once something was posted.
        bodies: What was posted, as JSON.
        seen: Headers of each request.
    """

    def __init__(self, port: int = 0) -> None:
        self.answers = [200]
        self.headers: dict[str, str] = {}
        self.hang = threading.Event()
        self.hangs = False
        self.posted = threading.Event()
        self.bodies: list[Any] = []
        self.seen: list[Any] = []
        server = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                length = int(self.headers["Content-Length"])
                server.bodies.append(json.loads(self.rfile.read(length)))
                server.seen.append((self.path, dict(self.headers)))
                server.posted.set()
                if server.hangs:
                    server.hang.wait(20)
                many = len(server.answers) > 1
                status = server.answers.pop(0) if many else server.answers[0]
                self.send_response(status)
                for name, value in server.headers.items():
                    self.send_header(name, value)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                """Say nothing."""

        self.http = ThreadingHTTPServer(("127.0.0.1", port), Handler)
        self.http.daemon_threads = True
        self.url = f"http://127.0.0.1:{self.http.server_address[1]}"


@contextmanager
def serving(port: int = 0) -> Iterator[Server]:
    """Run a server until the end."""
    server = Server(port)
    thread = threading.Thread(target=server.http.serve_forever, args=(0.01,))
    thread.start()
    try:
        yield server
    finally:
        server.hang.set()
        server.http.shutdown()
        thread.join()
        server.http.server_close()
