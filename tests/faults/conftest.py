"""Real local servers that fault tests deliver to."""

import http.server
import json
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest


@dataclass
class Sink:
    """A web server on the loopback that keeps what it is sent and answers as told."""

    server: http.server.ThreadingHTTPServer
    got: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)
    answer: Callable[[int], int] = lambda n: 200
    delay_s: float = 0.0

    @property
    def port(self) -> int:
        return int(self.server.server_port)

    def bodies(self) -> list[dict[str, Any]]:
        return [json.loads(body) for _, _, body in self.got]


@pytest.fixture
def sink(monkeypatch: pytest.MonkeyPatch) -> Iterator[Sink]:
    monkeypatch.setenv("NO_PROXY", "127.0.0.1,localhost")

    counting = threading.Lock()

    class Handler(http.server.BaseHTTPRequestHandler):
        def _take(self) -> None:
            length = int(self.headers.get("content-length") or 0)
            body = self.rfile.read(length)
            if len(body) < length:  # the sender was killed in the middle of it
                return
            with counting:
                kept.got.append((f"{self.command} {self.path}", dict(self.headers), body))
                n = len(kept.got)
            time.sleep(kept.delay_s)
            status = kept.answer(n)
            self.send_response(status)
            if 300 <= status < 400:
                self.send_header("Location", f"http://localhost:{kept.port}/elsewhere")
            self.send_header("content-length", "0")
            self.end_headers()

        do_GET = do_POST = _take  # noqa: N815 - the server's names

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    kept = Sink(server)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    yield kept
    server.shutdown()
    server.server_close()
