"""A browser over the wire, without script."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException
from http.cookies import SimpleCookie
from typing import NamedTuple
from urllib.parse import urlencode

from tests.conftest import PASSPHRASE

BROKEN_OFF = (OSError, HTTPException)
"""What is met when the server is gone before it has answered."""

PATIENCE = 60  # seconds, on a busy machine
BOUNDARY = "donning-room-boundary"


@dataclass(frozen=True)
class Request:
    """What is sent; the same again where no answer came."""

    method: str
    path: str
    fields: tuple[tuple[str, str], ...] = ()
    file: bytes | None = None


class Answer(NamedTuple):
    """What came back."""

    status: int
    leads: str
    text: str


def get(path: str) -> Request:
    """Return a page asked for."""
    return Request("GET", path)


def post(path: str, file: bytes | None = None, **fields: str | list[str]) -> Request:
    """Return a form that is sent; a field may have several values."""
    return Request("POST", path, tuple(_flat(fields)), file)


def _flat(fields: dict[str, str | list[str]]) -> Iterator[tuple[str, str]]:
    for name, value in fields.items():
        for one in value if isinstance(value, list) else [value]:
            yield name.replace("__", "-"), one


@dataclass
class Client:
    """Whoever is signed in on a browser."""

    cookie: str = ""
    token: str = ""
    _jar: SimpleCookie = field(default_factory=SimpleCookie)

    def sign_in(self, port: int, number: str) -> None:
        """Sign in with the passphrase."""
        self._keep(*self._send(port, get("/sign-in")))
        fields = {"number": number, "passphrase": PASSPHRASE, "with": "passphrase"}
        answer = self._keep(*self._send(port, post("/sign-in", **fields)))
        assert answer.status == 303, answer
        # The cookie of now is kept for good: what later ones add are only words to be shown.
        self._keep(*self._send(port, get("/still-there")))

    def send(self, port: int, request: Request) -> Answer:
        """Send a request. Errors: those of BROKEN_OFF."""
        return self._send(port, request)[0]

    def _send(self, port: int, request: Request) -> tuple[Answer, list[str]]:
        connection = HTTPConnection("127.0.0.1", port, timeout=PATIENCE)
        try:
            kind, body = self._body(request)
            heads = {"Cookie": self.cookie, "Content-Type": kind}
            connection.request(request.method, request.path, body, heads)
            got = connection.getresponse()
            text = got.read().decode()
        finally:
            connection.close()
        answer = Answer(got.status, got.headers.get("Location", ""), text)
        return answer, got.headers.get_all("Set-Cookie", [])

    def _body(self, request: Request) -> tuple[str, bytes | None]:
        if request.method == "GET":
            return "text/plain", None
        fields = (("csrf_token", self.token), *request.fields)
        if request.file is None:
            return "application/x-www-form-urlencoded", urlencode(fields).encode()
        parts = [f'name="{name}"\r\n\r\n{value}'.encode() for name, value in fields]
        parts.append(b'name="file"; filename="people.csv"\r\nContent-Type: text/csv\r\n\r\n'
                     + request.file)  # fmt: skip
        start = f"--{BOUNDARY}\r\nContent-Disposition: form-data; ".encode()
        body = b"".join(start + part + b"\r\n" for part in parts) + f"--{BOUNDARY}--\r\n".encode()
        return f"multipart/form-data; boundary={BOUNDARY}", body

    def _keep(self, answer: Answer, cookies: list[str]) -> Answer:
        for line in cookies:
            self._jar.load(line)
        self.cookie = "; ".join(f"{one.key}={one.value}" for one in self._jar.values())
        found = re.search(r'name="csrf_token" value="([^"]+)"', answer.text)
        self.token = found.group(1) if found else self.token
        return answer
