"""A private authority for access tokens: it tells a mail server whose a token is, as long as the test says it holds."""

from __future__ import annotations

import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class TokenServer:
    """Answers at http://127.0.0.1:`port`/. `holders`: whose each good token is; any other has expired."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.holders: dict[str, str] = {}
        self.asked: list[str] = []
        authority = self

        class Answer(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                token = self.headers.get("Authorization", "").removeprefix("Bearer ")
                authority.asked.append(token)
                holder = authority.holders.get(token)
                body = json.dumps({"email": holder, "active": "yes"} if holder else {"active": "no"}).encode()
                self.send_response(200 if holder else 401)
                self.send_header("Content-Type", "application/json")
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, format: str, *args: object) -> None:
                """Tests print nothing."""

        self._server = ThreadingHTTPServer(("127.0.0.1", port), Answer)
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._server.shutdown()
        self._server.server_close()
