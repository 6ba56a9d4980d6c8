"""A proxy as a plant puts it in front: it ends https, and says from where a request came."""

import http.client
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class _Forwarding(BaseHTTPRequestHandler):
    behind_port = 0

    def _forward(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        headers = {name: value for name, value in self.headers.items() if name.lower() != "connection"}
        said = headers.pop("X-Forwarded-For", "")
        headers["X-Forwarded-For"] = ", ".join(filter(None, [said, self.client_address[0]]))
        headers["X-Forwarded-Proto"] = "https"
        line = http.client.HTTPConnection("127.0.0.1", self.behind_port, timeout=30)
        line.request(self.command, self.path, body, headers)
        answer = line.getresponse()
        content = answer.read()
        self.send_response(answer.status)
        for name, value in answer.getheaders():
            if name.lower() not in ("content-length", "connection", "transfer-encoding", "date"):
                self.send_header(name, value)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)
        line.close()

    do_GET = do_POST = _forward  # noqa: N815  the library's names

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002  the library's name
        """Say nothing."""


class Proxy:
    """Stands before a port, on the loopback address."""

    def __init__(self, behind_port: int) -> None:
        handler = type("Handler", (_Forwarding,), {"behind_port": behind_port})
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def end(self) -> None:
        """Stop."""
        self.server.shutdown()
        self.server.server_close()


class Browser:
    """Somebody at an address of the loopback net, with cookies, as far as a sign-in needs them."""

    def __init__(self, port: int, address: str) -> None:
        self.port, self.address = port, address
        self.cookies: dict[str, str] = {}

    def ask(self, method: str, path: str, body: str = "", **headers: str) -> tuple[int, http.client.HTTPMessage, str]:
        """Send a request and return status, headers and text."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30, source_address=(self.address, 0))
        sent = {"Host": "localhost", "Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items()), **headers}
        if body:
            sent["Content-Type"] = "application/x-www-form-urlencoded"
        line.request(method, path, body or None, {name: value for name, value in sent.items() if value})
        answer = line.getresponse()
        text = answer.read().decode()
        for cookie in answer.headers.get_all("Set-Cookie") or []:
            name, _, value = cookie.split(";")[0].partition("=")
            self.cookies[name] = value
        line.close()
        return answer.status, answer.headers, text

    def sign_in(self, name: str, password: str, **headers: str) -> int:
        """Try a password and return the status."""
        _status, _headers, page = self.ask("GET", "/sign-in/")
        token = page.split('name="csrfmiddlewaretoken" value="')[1].split('"')[0]
        form = f"csrfmiddlewaretoken={token}&username={name}&password={password}&next="
        return self.ask("POST", "/sign-in/", form, Referer="https://localhost/sign-in/", **headers)[0]
