"""What the server takes from a socket before a page of ours sees it: real bytes, a real port."""

import re
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from flask import Flask

from trainer.cli import serving
from trainer.web import proxies, sizes

PATIENCE = 30  # seconds for an answer, on a busy machine


ODD = (
    b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", b"GET\r\n\r\n", b"\r\n" * 50 + b"\0" * 50,
    b"GET / HTTP/9.9\r\n\r\n", b"GET http://[ HTTP/1.1\r\nHost: [\r\n\r\n",
    b"GET /%ff%fe%00 HTTP/1.1\r\nHost: localhost\r\n\r\n",
    b"GET /sign-in?next=%00%ff HTTP/1.1\r\nHost: localhost\r\n\r\n",
    b"GET /sign-in HTTP/1.1\r\nHost: a b\"><script>\r\n\r\n",
    b"GET /sign-in HTTP/1.1\r\nHost: localhost\r\nCookie: room=\xff\xfe; =;;; device=\x80\r\n"
    b"\r\n",
    b"POST /sign-in HTTP/1.1\r\nHost: localhost\r\nContent-Length: -1\r\n\r\n",
    b"POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Length: 4\r\n"
    b"Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    b"POST /sign-in HTTP/1.1\r\nHost: localhost\r\nContent-Type: multipart/form-data\r\n"
    b"Content-Length: 4\r\n\r\nabcd",
    b"POST /sign-in HTTP/1.1\r\nHost: localhost\r\nContent-Length: 4\r\n"
    b"Content-Type: application/x-www-form-urlencoded; charset=utf-99\r\n\r\nabcd",
    b"GET /sign-in HTTP/1.1\r\nHost: localhost\r\nAccept-Language: " + b"en;q=9,," * 900
    + b"\r\n\r\n",
)  # fmt: skip


@contextmanager
def served(app, settings) -> Iterator[int]:
    """Serve as `donning-room serve` does, and give the port."""
    with socket.create_server(("127.0.0.1", 0)) as port:
        server = serving._server(app, port, settings)
        running = threading.Thread(target=server.run, daemon=True)
        running.start()
        try:
            yield server.effective_port
        finally:
            server.trigger.pull_trigger(server.close)  # in the thread that waits at its sockets
            running.join(timeout=5)


@pytest.fixture
def port(app, settings) -> Iterator[int]:
    with served(app, settings) as found:
        yield found


def connected(port: int) -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), timeout=PATIENCE)


def answered(line: socket.socket) -> bytes:
    """Return all that comes until the server closes."""
    found = b""
    while True:
        try:
            part = line.recv(65536)
        except ConnectionResetError:
            return found
        if not part:
            return found
        found += part


def request(*lines: str) -> bytes:
    return "\r\n".join([*lines, "Host: localhost", "Connection: close", "", ""]).encode()


def test_a_body_that_nobody_takes_is_refused_by_its_head_alone(port):
    with connected(port) as line:
        line.sendall(request("POST /sign-in HTTP/1.1", f"Content-Length: {sizes.MOST + 1}"))
        assert answered(line).startswith(b"HTTP/1.1 413 ")


def test_a_body_that_does_not_say_its_length_is_refused_once_it_is_too_long(
    app, settings, monkeypatch
):
    monkeypatch.setattr(sizes, "MOST", 512 * 1024)
    piece = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
    with served(app, settings) as port, connected(port) as line:
        line.sendall(request("POST /sign-in HTTP/1.1", "Transfer-Encoding: chunked"))
        with pytest.raises(OSError, match=r"(?i)reset|broken pipe|timed out"):
            for _ in range(10_000):
                line.sendall(piece)


def test_more_than_a_form_may_hold_is_answered_by_our_page(port):
    body = b"text=" + b"x" * sizes.A_FORM
    with connected(port) as line:
        line.sendall(
            request(
                "POST /sign-in HTTP/1.1", f"Content-Length: {len(body)}",
                "Content-Type: application/x-www-form-urlencoded",
            ) + body
        )  # fmt: skip
        answer = answered(line)
    assert answer.startswith(b"HTTP/1.1 413 ")
    assert b"Content-Security-Policy" in answer


def test_a_head_without_end_is_refused(port):
    with connected(port) as line:
        line.sendall(b"GET /sign-in HTTP/1.1\r\nX-Long: " + b"x" * 40_000)
        assert answered(line).startswith(b"HTTP/1.0 431 ")


def test_whoever_sends_nothing_keeps_nobody_else_out(port):
    held = [connected(port) for _ in range(150)]
    try:
        for line in held:
            line.sendall(b"POST /sign-in HTTP/1.1\r\n")
        with connected(port) as line:
            line.sendall(request("GET /sign-in HTTP/1.1"))
            assert answered(line).startswith(b"HTTP/1.1 200 ")
    finally:
        for line in held:
            line.close()


def test_whoever_sends_nothing_more_is_let_go(app, settings, monkeypatch):
    monkeypatch.setattr(serving, "CHANNEL_SECONDS", 1)
    monkeypatch.setattr(serving, "CLEANUP_SECONDS", 1)
    with served(app, settings) as port, connected(port) as line:
        line.sendall(b"POST /sign-in HTTP/1.1\r\nContent-Length: 10\r\n")
        assert answered(line) == b""


def test_bytes_that_no_browser_sends_get_no_traceback(port, caplog):
    for odd in ODD:
        with connected(port) as line:
            line.sendall(odd)
            line.shutdown(socket.SHUT_WR)
            answer = answered(line)
        assert b"Traceback" not in answer, odd
        assert b" 500 " not in answer.partition(b"\r\n")[0], odd
        # The server itself drops a line that is no request; of ours nothing may fail.
        assert "Exception while serving" not in caplog.text, odd
        assert "unexpected fault" not in caplog.text, odd
        with connected(port) as line:
            line.sendall(request("GET /sign-in HTTP/1.1"))
            assert answered(line).startswith(b"HTTP/1.1 200 "), odd


def told_of(settings, behind_tls: bool) -> list[str]:
    """Return whom an application sees where somebody says who they are, and by which scheme."""
    def tell(environ, start):
        start("200 OK", [("Content-Type", "text/plain")])
        said = (environ["REMOTE_ADDR"], environ["HTTP_HOST"], environ["wsgi.url_scheme"])
        return ["|".join(said).encode()]

    # Only a proxy that the setting names is believed; this one asks from here.
    here = settings.model_copy(update={"behind_tls": behind_tls, "trusted_proxies": "127.0.0.1"})
    app = Flask(__name__)
    app.wsgi_app = tell
    proxies.init_app(app, here)
    with served(app, here) as port, connected(port) as line:
        line.sendall(request(
            "GET / HTTP/1.1", "X-Forwarded-For: 203.0.113.9, 198.51.100.7",
            "X-Forwarded-Host: elsewhere.example", "X-Forwarded-Proto: https",
            "Forwarded: for=203.0.113.9;host=elsewhere.example",
        ))  # fmt: skip
        return answered(line).decode().partition("\r\n\r\n")[2].split("|")


def test_without_a_proxy_nobody_says_who_they_are(settings):
    """A sender who could would never wait after wrong tries, and would name the works in links."""
    assert told_of(settings, behind_tls=False) == ["127.0.0.1", "localhost", "http"]


def test_behind_a_proxy_its_own_word_counts_and_not_what_it_was_told(settings):
    assert told_of(settings, behind_tls=True)[0] == "198.51.100.7"
    assert told_of(settings, behind_tls=True)[2] == "https"


def test_what_is_printed_leads_where_the_works_is_and_not_where_the_browser_says(
    app, browser, settings, monkeypatch
):
    ida = browser("Ida")
    page = ida.get("/feeds")
    key = re.search(r'name="key" value="([^"]+)"', page.text)[1]
    monkeypatch.setitem(
        app.extensions, "settings", settings.model_copy(update={"address": "https://room.example"})
    )
    monkeypatch.setattr(
        "trainer.web.access.settings", lambda: app.extensions["settings"]
    )
    made = ida.post("/feeds", scope="own", key=key, headers={"X-Forwarded-Host": "elsewhere"})
    assert "https://room.example/feeds/" in made.text
    assert "localhost/feeds/" not in made.text
