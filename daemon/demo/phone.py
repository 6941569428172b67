"""The owner's phone: a web server on this computer alone that keeps every message it is sent."""

import base64
import binascii
import json
import os
import threading
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

LARGEST_MESSAGE = 8 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Message:
    """One message as it came in; ``pictures`` are the files its attachments were kept in."""

    number: int
    title: str
    text: str
    pictures: tuple[Path, ...] = ()


class Phone:
    """Listens on the loopback address and keeps each message on disk before it says "received".

    Messages of an interrupted demo are still there when it is played on.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._folder.mkdir(parents=True, exist_ok=True)
        self._kept = folder / "messages.jsonl"
        self._lock = threading.Lock()
        self._messages = self._read()
        phone = self

        class Handler(BaseHTTPRequestHandler):
            timeout = 10

            def do_POST(self) -> None:
                length = int(self.headers.get("Content-Length") or 0)
                if not 0 < length <= LARGEST_MESSAGE:
                    self.send_error(413)
                    return
                try:
                    payload = json.loads(self.rfile.read(length))
                except ValueError:
                    payload = None
                if not isinstance(payload, dict):
                    self.send_error(400)
                    return
                phone.receive(payload)
                self.send_response(200)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:  # noqa: A002, ANN401 - the library's signature
                """Say nothing: what came in is shown as a message."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self._thread = threading.Thread(target=self._server.serve_forever, name="phone", daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        """The notification URL that reaches this phone."""
        return f"json://127.0.0.1:{self._server.server_address[1]}/"

    def messages(self) -> tuple[Message, ...]:
        """Return all messages so far, in the order in which they came."""
        with self._lock:
            return tuple(self._messages)

    def receive(self, payload: dict[str, Any]) -> None:
        """Keep one message: on disk first, then for whoever asks."""
        with self._lock:
            number = len(self._messages) + 1
            pictures = tuple(self._keep_pictures(number, payload.get("attachments") or []))
            message = Message(number, str(payload.get("title", "")), str(payload.get("message", "")), pictures)
            line = {"title": message.title, "text": message.text, "pictures": [path.name for path in pictures]}
            with self._kept.open("a", encoding="utf-8", newline="\n") as file:
                file.write(json.dumps(line, ensure_ascii=False) + "\n")
                file.flush()
                os.fsync(file.fileno())
            self._messages.append(message)

    def hang_up(self) -> None:
        """Stop listening."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(timeout=5)

    def _keep_pictures(self, number: int, attachments: list[Any]) -> list[Path]:
        kept = []
        for place, attachment in enumerate(attachments, 1):
            if not isinstance(attachment, dict) or attachment.get("mimetype") != "image/png":
                continue
            try:
                content = base64.b64decode(str(attachment.get("base64", "")), validate=True)
            except binascii.Error:
                continue
            path = self._folder / f"message-{number:02}-{place}.png"
            path.write_bytes(content)
            kept.append(path)
        return kept

    def _read(self) -> list[Message]:
        """Read the messages of an earlier run; a last line cut off by a kill was never acknowledged: drop it."""
        messages: list[Message] = []
        try:
            lines = self._kept.read_bytes().split(b"\n")
        except FileNotFoundError:
            return messages
        whole = b"".join(line + b"\n" for line in lines[:-1])
        if lines[-1]:
            self._kept.write_bytes(whole)
        for line in whole.decode("utf-8").splitlines():
            row = json.loads(line)
            pictures = tuple(self._folder / str(name) for name in row["pictures"])
            messages.append(Message(len(messages) + 1, str(row["title"]), str(row["text"]), pictures))
        return messages
