"""A server of mails for tests: takes each by SMTP (RFC 5321) and keeps it."""

import socketserver
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import Message
from threading import Thread


class _Talk(socketserver.StreamRequestHandler):
    def handle(self) -> None:
        self._say("220 sink")
        for line in self.rfile:
            word = line.strip().upper().partition(b" ")[0]
            if word == b"DATA":
                self._say("354 go on")
                lines = iter(self.rfile.readline, b".\r\n")
                self.server.kept.append(message_from_bytes(b"".join(lines)))  # type: ignore[attr-defined]
            elif word == b"QUIT":
                return self._say("221 bye")
            self._say("250 taken")
        return None

    def _say(self, words: str) -> None:
        self.wfile.write(f"{words}\r\n".encode())


@contextmanager
def mail_sink() -> Iterator[tuple[int, list[Message]]]:
    """Serve on a port of its own; give the port and the mails that came, of which there may be more later."""
    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), _Talk) as server:
        server.kept = kept = []  # type: ignore[attr-defined]
        Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_address[1], kept
        server.shutdown()
