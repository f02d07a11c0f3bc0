"""The files of docs/operating do what docs/operating.md says, as far as this machine can tell."""

import http.client
import os
import plistlib
import re
import shutil
import socket
import ssl
import subprocess
import threading
from pathlib import Path
from time import monotonic, sleep

import pytest
from flask import request
from waitress import create_server

from trainer import config
from trainer.app import create_app
from trainer.web.access import ANYBODY

FILES = Path(__file__).parent.parent / "docs" / "operating"
PATIENCE = 60
MEGABYTE = 1 << 20


def needs(program: str) -> str:
    """Return the path of a program, or skip."""
    found = shutil.which(program) or shutil.which(program, path="/usr/sbin:/sbin")
    if not found:
        pytest.skip(f"there is no {program} here")
    return found


@pytest.mark.parametrize("name", ["donning-room.service", "donning-room-office.service"])
def test_systemd_understands_the_unit(name: str, tmp_path: Path):
    analyze = needs("systemd-analyze")
    unit = tmp_path / name
    # What it starts is not installed here; a program that is there stands for it.
    unit.write_text(re.sub(r"(?m)^ExecStart=\S+", "ExecStart=/bin/true",
                           (FILES / name).read_text()))
    done = subprocess.run(
        [analyze, "verify", "--man=no", str(unit)], capture_output=True, text=True, check=False
    )
    about = [line for line in done.stderr.splitlines() if name in line]
    assert about == []
    assert done.returncode == 0 or "bus" in done.stderr, done.stderr


def test_the_unit_of_a_server_is_hardened(tmp_path: Path):
    analyze = needs("systemd-analyze")
    unit = tmp_path / "donning-room.service"
    shutil.copy(FILES / unit.name, unit)
    done = subprocess.run(
        [analyze, "security", "--offline=true", str(unit)], capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    if "unrecognized option" in done.stderr:
        pytest.skip("this systemd cannot judge a unit that is not loaded")
    level = re.search(r"Overall exposure level.*?: ([\d.]+)", done.stdout)
    assert level and float(level[1]) < 2.5, done.stdout[-400:] + done.stderr


def test_the_plist_is_one_and_starts_the_program():
    read = plistlib.loads((FILES / "example.donning-room.plist").read_bytes())
    assert read["ProgramArguments"][1:3] == ["serve", "--data"]
    assert read["Umask"] == 0o077


def test_every_setting_in_the_files_is_one():
    known = set(config.names())
    for path in FILES.iterdir():
        assert set(re.findall(r"DONNING_ROOM_[A-Z_]+", path.read_text())) <= known, path.name


@pytest.fixture
def behind(settings, works):
    """Return an application behind TLS on a port of its own, and what it sees of each request."""
    app = create_app(settings.model_copy(update={"behind_tls": True}), works.store, "for tests")
    app.seen = []
    app.go_on = threading.Event()
    app.before_request(lambda: app.seen.append((request.remote_addr, request.scheme)))

    def large():
        def pieces():
            yield b"x" * MEGABYTE
            assert app.go_on.wait(PATIENCE)  # the end is made after the beginning has arrived
            yield b"y" * MEGABYTE

        return app.response_class(pieces(), mimetype="text/csv")

    large.allowed, large.impersonal = ANYBODY, True
    app.add_url_rule("/large", "large", large)
    server = create_server(app, host="127.0.0.1", port=0, threads=2, ident=None,
                           clear_untrusted_proxy_headers=False)
    thread = threading.Thread(target=server.run)
    thread.start()
    app.port = server.effective_port
    yield app
    server.trigger.pull_trigger(server.close)  # in the thread that waits on its sockets
    thread.join(PATIENCE)


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as there:
        return there.getsockname()[1]


@pytest.fixture
def proxy(behind, tmp_path: Path):
    """Return a function that asks the application through nginx, as the file sets it up."""
    nginx = needs("nginx")
    made = subprocess.run(
        [needs("openssl"), "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2",
         "-subj", "/CN=training.example.com", "-addext", "subjectAltName=DNS:training.example.com",
         "-keyout", str(tmp_path / "privkey.pem"), "-out", str(tmp_path / "fullchain.pem")],
        capture_output=True, check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    port = free_port()
    site = (FILES / "nginx.conf").read_text()
    for there, here in (
        ("server 127.0.0.1:8000", f"server 127.0.0.1:{behind.port}"),
        ("listen 80;", f"listen 127.0.0.1:{free_port()};"), ("listen [::]:80;", ""),
        ("listen 443 ssl;", f"listen 127.0.0.1:{port} ssl;"), ("listen [::]:443 ssl;", ""),
        ("/etc/ssl/donning-room", str(tmp_path)),
        ("/var/log/nginx/donning-room.error.log", str(tmp_path / "error.log")),
    ):  # fmt: skip
        assert there in site
        site = site.replace(there, here)
    folders = "".join(f"{kind}_temp_path {tmp_path / kind};\n" for kind in (
        "client_body", "proxy", "fastcgi", "uwsgi", "scgi"))
    whole = tmp_path / "nginx.conf"
    whole.write_text(f"daemon off; pid {tmp_path}/pid; error_log {tmp_path}/start.log;\n"
                     + ("user root;\n" if os.geteuid() == 0 else "")
                     + f"events {{}}\nhttp {{\n{folders}{site}\n}}\n")
    command = [nginx, "-e", str(tmp_path / "early.log"), "-c", str(whole)]
    tested = subprocess.run([*command, "-t"], capture_output=True, text=True, check=False)
    assert tested.returncode == 0, tested.stderr
    process = subprocess.Popen(command, stderr=subprocess.PIPE)
    trusted = ssl.create_default_context(cafile=tmp_path / "fullchain.pem")

    opened: list[_Named] = []

    def ask(method: str, path: str, body: bytes | None = None, **heads: str):
        connection = _Named(port, trusted)
        opened.append(connection)
        connection.request(method, path, body, {
            "Host": "training.example.com", **{one.replace("_", "-"): heads[one] for one in heads}})
        return connection.getresponse()

    ends = monotonic() + PATIENCE
    while True:
        try:
            ask("GET", "/health/live").read()
            break
        except OSError:
            assert process.poll() is None and monotonic() < ends
            sleep(0.1)
    behind.seen.clear()
    yield ask
    for one in opened:
        one.close()
    process.terminate()
    process.communicate(timeout=PATIENCE)


class _Named(http.client.HTTPSConnection):
    """A connection to this machine, from another of its addresses, under the site's name."""

    def __init__(self, port: int, trusted: ssl.SSLContext) -> None:
        super().__init__("127.0.0.1", port, timeout=PATIENCE, context=trusted)

    def connect(self) -> None:
        """Connect as 127.0.0.2, which is nobody's proxy."""
        plain = socket.create_connection(
            ("127.0.0.1", self.port), PATIENCE, source_address=("127.0.0.2", 0))
        try:
            self.sock = self._context.wrap_socket(plain, server_hostname="training.example.com")
        except OSError:
            plain.close()
            raise


def test_through_nginx_pages_are_safe_and_the_client_is_told(behind, proxy):
    answer = proxy("GET", "/sign-in", X_Forwarded_For="6.6.6.6", X_Forwarded_Host="evil.example")
    page = answer.read().decode()
    assert answer.status == 200
    assert 'name="csrf_token"' in page and "evil.example" not in page
    cookie = answer.headers["Set-Cookie"]
    assert cookie.startswith("__Host-room=")
    assert {"Secure", "HttpOnly", "SameSite=Lax"} <= {one.strip() for one in cookie.split(";")}
    assert answer.headers["Strict-Transport-Security"].startswith("max-age=")
    assert behind.seen == [("127.0.0.2", "https")]


def test_through_nginx_a_large_file_arrives_and_one_too_large_does_not(proxy):
    large = proxy("POST", "/sign-in", b"x" * 25 * MEGABYTE)
    assert large.read() and large.headers["X-Request-Id"]  # the program itself refused it
    assert large.status == 413
    too_large = proxy("HEAD", "/sign-in", None, Content_Length=str(65 * MEGABYTE))
    assert (too_large.status, too_large.headers["X-Request-Id"]) == (413, None)


def test_through_nginx_a_long_answer_comes_as_it_is_made(behind, proxy):
    answer = proxy("GET", "/large")
    assert answer.read(1000) == b"x" * 1000
    behind.go_on.set()
    assert len(answer.read()) == 2 * MEGABYTE - 1000


def test_http_leads_to_https(proxy, tmp_path: Path):
    port = int(re.search(r"listen 127\.0\.0\.1:(\d+);", (tmp_path / "nginx.conf").read_text())[1])
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE)
    connection.request("GET", "/tag", headers={"Host": "training.example.com"})
    answer = connection.getresponse()
    assert (answer.status, answer.headers["Location"]) == (301, "https://training.example.com/tag")
    connection.close()
