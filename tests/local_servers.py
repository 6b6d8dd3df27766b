"""Servers on this machine that keep what they get: HTTP, and SMTP by aiosmtpd."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session


@contextmanager
def http_server(answer: int = 200) -> Iterator[tuple[int, list[dict[str, Any]]]]:
    """Yield a server's port, and the JSON bodies that were posted to it. It answers with the status `answer`."""
    got: list[dict[str, Any]] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            got.append(body)
            self.send_response(answer)
            self.end_headers()

        def log_message(self, *args: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield server.server_address[1], got
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@contextmanager
def mail_server() -> Iterator[tuple[int, list[EmailMessage]]]:
    """Yield a server's port, and the mails that were sent to it."""
    got: list[EmailMessage] = []

    class Handler:
        async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
            mail = message_from_bytes(envelope.original_content or b"", policy=policy.default)
            assert isinstance(mail, EmailMessage)
            got.append(mail)
            return "250 OK"

    class AnyPort(Controller):
        def _trigger_server(self) -> None:  # aiosmtpd asks the port it was told, which is 0 here
            assert self.server is not None
            self.port = self.server.sockets[0].getsockname()[1]
            super()._trigger_server()

    controller = AnyPort(Handler(), hostname="127.0.0.1", port=0)
    controller.start()
    try:
        yield controller.port, got
    finally:
        controller.stop()
