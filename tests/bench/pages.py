"""How fast pages come, each beside the least that such a page can take.

    python -m tests.bench.pages [served] [inside] [deeds] [several]

`served`: a lesson page, the tag and a page of a sitting, asked for by 16 clients of another
process over connections that stay open, from the server that `serve` starts; beside a bare Flask
route on the same server that returns as many constant bytes. `inside`: the same pages in this
process, beside a Jinja template of as many bytes, a signed cookie and three plain look-ups by
key. `deeds`: an answer marked, kept and told, beside one durable commit and a template; a problem
drawn and marked, beside an empty request, in this process and from another one over loopback.
`several`: one server process on a PostgreSQL, and three. Without a word, all of them.

Both sides take turns, and each figure is the median of some turns. What waits for no disk is
measured in processor time too, which says nothing of who else uses the machine; what a server
process spends is read from /proc, so on Linux alone. Nothing is asserted here, since a machine's
speed is no property of the program.
"""

import gc
import logging
import multiprocessing
import os
import re
import secrets
import selectors
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from statistics import median
from typing import NamedTuple

from flask import Flask, render_template, session
from werkzeug.test import EnvironBuilder

from tests.bench import board
from tests.bench.papers import HALF_MASK, ZONE, train
from tests.databases import DURABLE, Databases
from trainer import bank, config, lessons
from trainer.app import create_app
from trainer.cli import secret_key, serving
from trainer.cli.settling import settling
from trainer.services import curriculum, joining, learning, signing_in, sitting
from trainer.services.scribe import Scribe
from trainer.store import people
from trainer.store.engine import Store

PEOPLE = 1_000
CLIENTS = 16
TURNS = 5
SECONDS = 1.5  # of one turn of one side, served
EACH = 48  # requests of one turn of one side, inside
KEY = "only for the benchmark, only for the benchmark"
PAGES = ("lesson", "tag", "sitting")
SMALL = {"Accept-Encoding": "gzip"}  # as browsers ask, and as it goes over the wire


@dataclass
class Filled:
    """A filled record, and some workers of it who are signed in."""

    folder: Path
    store: Store
    key: str
    tokens: list[str]
    addresses: dict[str, list[str]]  # by page, one for each worker
    exercise: bank.Exercise

    def app(self) -> Flask:
        """Return the application on it."""
        settings = config.read(data=self.folder)
        return create_app(settings, self.store, self.key)

    def cookies(self) -> list[str]:
        """Return what the browser of each worker sends along, as after its first page."""
        app = Flask("cookies")
        app.secret_key = self.key
        sign = app.session_interface.get_signing_serializer(app).dumps
        return [
            "room=" + sign({"csrf_token": secrets.token_hex(20), "token": token})
            for token in self.tokens
        ]


def filled(folder: Path) -> Filled:
    """Fill a record: a thousand people, and workers with a year of training and an open sitting.

    Half of them are in their yearly round.
    """
    lessons.load(), bank.load()
    settings = config.read(data=folder)
    store = Store(settings.database_url, settings)
    store.upgrade()
    now = datetime.now(UTC)
    board.fill(store, PEOPLE, now)
    with store.writing() as db:
        store.settle(db.connection())  # their numbers were given, not counted
    lesson, part = next(
        (one, part) for one in lessons.load().all for part in one.sections if part.exercises
    )
    exercise = bank.load().exercises[part.exercises[0]]
    made = Filled(folder, store, secret_key.read(settings), [], {}, exercise)
    pages: dict[str, list[str]] = {page: [] for page in PAGES}
    with store.writing() as db:
        by = Scribe(people.by_number(db, "1"), now, ZONE)
        versions = {one.slug: curriculum.keep_taught(db, one, now) for one in lessons.load().all}
        for at in range(CLIENTS):
            person = joining.add_person(
                db, now - timedelta(days=400), number=f"W{at:03}", name=f"Worker number {at}",
                roles=["worker"], worksites=[1 + at % board.SITES],
            )  # fmt: skip
            worn = joining.give_respirator(db, by, person, **HALF_MASK)
            on = now.date() - timedelta(days=340 if at % 2 else 100)
            train(db, by, person, worn, on, versions)
            for one in lesson.sections:
                learning.finish_section(db, person, lesson, one.id, now)
            learning.go_on(db, person, exercise, 0, now)
            there = sitting.begin(db, person, lesson, now)
            made.tokens.append(signing_in.start_session(db, person, None, now))
            pages["lesson"].append(f"/lessons/{lesson.slug}/{part.id}")
            pages["tag"].append("/tag")
            pages["sitting"].append(f"/sittings/{there.id}/{3 + at % 3}")
    made.addresses = pages
    return made


# What both sides are asked with.


class Call:
    """A request to an application in this process, the same each time."""

    def __init__(
        self, app: Flask, path: str, cookie: str = "", form: dict | None = None, **headers: str
    ) -> None:
        headers |= {"Cookie": cookie} if cookie else {}
        if form is not None:
            headers["HX-Request"] = "true"
            headers["HX-Request-Type"] = "partial"
        builder = EnvironBuilder(
            path, method="GET" if form is None else "POST", data=form, headers=headers
        )
        self.app, self.environ = app.wsgi_app, builder.get_environ()
        self.body = self.environ["wsgi.input"].read()

    def __call__(self) -> bytes:
        """Return what comes back."""
        given = self.environ | {"wsgi.input": BytesIO(self.body)}
        status: list[str] = []
        answer = self.app(given, lambda line, _headers: status.append(line))
        body = b"".join(answer)
        getattr(answer, "close", lambda: None)()
        assert status[0].startswith("200"), (status, self.environ["PATH_INFO"])
        return body


class Spent(NamedTuple):
    """Seconds of the processor and of the clock."""

    processor: float
    clock: float


def spent(calls: Iterable[Callable[[], object]]) -> Spent:
    """Return what calls take, the mean of each."""
    gc.collect()
    each = list(calls)
    worked, began = time.process_time(), time.perf_counter()
    for call in each:
        call()
    worked, began = time.process_time() - worked, time.perf_counter() - began
    return Spent(worked / len(each), began / len(each))


def beside(
    floor: Callable[[], Iterable[Callable]], ours: Callable[[], Iterable[Callable]]
) -> tuple[Spent, Spent, Spent]:
    """Return what the floor and what ours takes, and how many times as much, in turns."""
    spent(floor()), spent(ours())
    turns = [(spent(floor()), spent(ours())) for _ in range(TURNS)]
    ratios = [Spent(b.processor / a.processor, b.clock / a.clock) for a, b in turns]
    return tuple(
        Spent(median(one.processor for one in side), median(one.clock for one in side))
        for side in ([a for a, _ in turns], [b for _, b in turns], ratios)
    )


ROWS = """<!doctype html><html lang="{{ language }}"><head><title>{{ title }}</title></head><body>
<ul>{% for row in rows %}
<li class="{{ row.kind }}"><a href="{{ row.href }}">{{ row.label }}</a></li>{% endfor %}
</ul></body></html>"""


def rows_of(size: int) -> list[dict[str, str]]:
    """Return rows with which the template has so many bytes, or just more."""
    row = {"kind": "done", "href": "/lessons/a-lesson", "label": "Words that people read"}
    length = len('\n<li class=""><a href=""></a></li>') + sum(map(len, row.values()))
    return [row] * (1 + (size - 110) // length)


def plain_app(folder: Path, size: int) -> Flask:
    """Return an application that does the least: a template, a cookie, look-ups, a commit."""
    app = Flask("plain")
    app.secret_key = KEY
    rows = rows_of(size)
    db = sqlite3.connect(folder / "plain.sqlite", isolation_level=None)
    for pragma in ("journal_mode=WAL", "synchronous=FULL"):
        db.execute(f"PRAGMA {pragma}")
    for table in "abc":
        db.execute(f"CREATE TABLE IF NOT EXISTS {table} (id INTEGER PRIMARY KEY, said TEXT)")
        db.executemany(f"INSERT OR IGNORE INTO {table} VALUES (?, ?)",
                       ((at, f"row {at}") for at in range(1000)))

    template = app.jinja_env.from_string(ROWS)  # compiled once, as a file is

    def page() -> str:
        return render_template(template, language="en", title="A title", rows=rows)

    @app.get("/page")
    def three() -> str:
        who = session["who"]
        for table in "abc":
            db.execute(f"SELECT * FROM {table} WHERE id = ?", (who,)).fetchone()
        return page()

    @app.post("/page")
    def kept() -> str:
        db.execute("BEGIN IMMEDIATE")
        db.execute("INSERT INTO a (said) VALUES (?)", ("an answer",))
        db.execute("COMMIT")
        return page()

    @app.get("/nothing")
    def nothing() -> str:
        return "nothing"

    return app


def cookie_of(app: Flask, said: dict) -> str:
    """Return a signed cookie of an application."""
    return "session=" + app.session_interface.get_signing_serializer(app).dumps(said)


# In this process.


def inside(there: Filled) -> None:
    """Print what pages take in this process."""
    app, cookies = there.app(), there.cookies()
    for page in PAGES:
        calls = [Call(app, path, cookie)
                 for path, cookie in zip(there.addresses[page], cookies, strict=True)]
        size = median(len(call()) for call in calls)
        plain = plain_app(there.folder, int(size))
        bare = Call(plain, "/page", cookie_of(plain, {"who": 7}))
        found = beside(
            lambda bare=bare: [bare] * EACH,
            lambda calls=calls: [calls[at % CLIENTS] for at in range(EACH)],
        )
        tell(f"{page} in process, {size / 1000:.0f} kB", found, "at most 1.6")


def tell(what: str, found: tuple[Spent, Spent, Spent], goal: str) -> None:
    """Print a line of the table."""
    floor, ours, times = found
    row(what, f"{floor.processor * 1000:.2f} ms", f"{ours.processor * 1000:.2f} ms",
        f"{times.processor:.2f} ({times.clock:.2f} by the clock)", goal)


def row(*cells: str) -> None:
    """Print a row of the table."""
    print("| " + " | ".join(cells) + " |", flush=True)


# Answers.


def deeds(there: Filled) -> None:
    """Print what answering takes, and drawing and marking."""
    answering(there)
    every = list(bank.load().exercises.values())
    plain = plain_app(there.folder, 100)
    empty = Call(plain, "/nothing")

    def drawn() -> list[Callable]:
        start = secrets.randbelow(10**6)
        return [lambda one=one, at=at: draw_and_mark(one, start + at)
                for at in range(5) for one in every]

    def again() -> list[Callable]:
        return [lambda one=one: draw_and_mark(one, 1) for one in every]

    with bare_server(there.folder, {"nothing": 7}) as (_, port):
        over_loopback = asked_alone(port, request_of("/nothing"))
    for what, ours in (("a problem drawn anew and marked", drawn),
                       ("the same problem once more, as with each step of it", again)):  # fmt: skip
        found = beside(lambda: [empty] * EACH, ours)
        tell(f"{what}, beside an empty request", found, "under 0.20")
        row("the same beside one over loopback", f"{over_loopback * 1000:.2f} ms",
            f"{found[1].clock * 1000:.2f} ms", f"{found[1].clock / over_loopback:.2f}",
            "under 0.20")


def draw_and_mark(exercise: bank.Exercise, seed: int) -> None:
    """Draw a problem and mark an answer to it."""
    problem = bank.draw(exercise, seed)
    bank.mark(problem.blank, problem.blank.typed, "en")


def answering(there: Filled) -> None:
    """Print what it takes to answer a problem: half of the answers right, half wrong."""
    app, cookies = there.app(), there.cookies()
    path = f"{there.addresses['lesson'][0]}/problem/{there.exercise.slug}"
    tokens = [token_of(app, there.addresses["lesson"][at], cookies[at]) for at in range(CLIENTS)]

    def answers() -> list[Call]:
        # Where everybody is: at a step of a problem, with no answer to it yet.
        begin_anew(there)
        made = []
        for wrong in (True, False):
            for at in range(CLIENTS):
                drill = drill_of(there, at)
                right = drill.problem.steps[drill.step].blank.typed
                made.append(Call(app, path, cookies[at], {
                    "csrf_token": tokens[at], "ordinal": drill.ordinal, "step": drill.step,
                    "answer": "0.0123456" if wrong else right,
                }))  # fmt: skip
        return made

    size = median(len(call()) for call in answers())
    plain = plain_app(there.folder, int(size))
    kept = Call(plain, "/page", cookie_of(plain, {"who": 7}), {"answer": "1.25"})
    found = beside(lambda: [kept] * (2 * CLIENTS), answers)
    tell(f"answering a problem, {size / 1000:.0f} kB", found, "at most 1.6")


def token_of(app: Flask, path: str, cookie: str) -> str:
    """Return the token of a form of a page."""
    return re.search(rb'name="csrf_token" value="([^"]+)"', Call(app, path, cookie)())[1].decode()


def begin_anew(there: Filled) -> None:
    """Bring everybody back to the problem after the worked example, nothing answered."""
    from sqlmodel import delete

    from trainer.store.tables import LessonAnswer

    now = datetime.now(UTC)
    with there.store.writing() as db:
        db.exec(delete(LessonAnswer))
        for at in range(CLIENTS):
            learning.go_on(db, people.by_number(db, f"W{at:03}"), there.exercise, 0, now)


def drill_of(there: Filled, at: int) -> learning.Drill:
    """Return where one of the workers is."""
    with there.store.reading() as db:
        return learning.drill(db, people.by_number(db, f"W{at:03}"), there.exercise, "en")


# Through the server.


class Load(NamedTuple):
    """What came of asking a server for some seconds."""

    answers: int
    seconds: float
    half: float  # so many seconds took half of them at most
    most: float  # and so many 99 of 100


def ask(ports: Sequence[int], requests: Sequence[bytes], seconds: float) -> Load:
    """Ask over as many connections as there are requests, each again as soon as it is answered."""
    waiting = selectors.DefaultSelector()
    taken: list[float] = []
    for at, request in enumerate(requests):
        link = socket.create_connection(("127.0.0.1", ports[at % len(ports)]), timeout=20)
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        waiting.register(link, selectors.EVENT_READ, _Asked(link, request))
    began = time.perf_counter()
    # On a busy machine a turn may be too short for each to be answered.
    while (now := time.perf_counter()) - began < seconds or len(taken) < 2 * len(requests):
        for key, _ in waiting.select(timeout=5):
            if key.data.came():
                taken.append(key.data.again())
    for key in list(waiting.get_map().values()):
        key.fileobj.close()
    taken.sort()
    return Load(len(taken), now - began, taken[len(taken) // 2], taken[len(taken) * 99 // 100])


class _Asked:
    """One connection, with the request that is on its way."""

    def __init__(self, link: socket.socket, request: bytes) -> None:
        self.link, self.request = link, request
        self._send()

    def _send(self) -> None:
        self.had, self.whole = b"", None
        self.began = time.perf_counter()
        self.link.sendall(self.request)

    def came(self) -> bool:
        """Take what has come; say whether that is all of it."""
        got = self.link.recv(1 << 18)
        assert got, "the server hung up"
        self.had += got
        if self.whole is None and b"\r\n\r\n" in self.had:
            assert self.had.startswith(b"HTTP/1.1 200"), self.had[:200]
            head = self.had.index(b"\r\n\r\n") + 4
            length = re.search(rb"(?i)\r\ncontent-length: *(\d+)", self.had[:head])
            self.whole = head + int(length[1])
        return self.whole is not None and len(self.had) >= self.whole

    def again(self) -> float:
        """Return how long it took, and ask once more."""
        took = time.perf_counter() - self.began
        self._send()
        return took


def request_of(path: str, cookie: str = "") -> bytes:
    """Return a request as a browser sends it."""
    lines = [f"GET {path} HTTP/1.1", "Host: 127.0.0.1", "Connection: keep-alive",
             "Accept: text/html,application/xhtml+xml;q=0.9,*/*;q=0.8",
             "Accept-Language: en-US,en;q=0.5", "Accept-Encoding: gzip, deflate, br"]  # fmt: skip
    if cookie:
        lines.append(f"Cookie: {cookie}")
    return ("\r\n".join(lines) + "\r\n\r\n").encode()


def serve_bare(folder: Path, sizes: dict[str, int], told) -> None:
    """Serve as many constant bytes as each page has, on the server that `serve` makes."""
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # more wait than threads answer
    app = Flask("bare")
    for page, size in sizes.items():
        body = b"x" * size
        app.get(f"/{page}", endpoint=page)(lambda body=body: body)
    settings = config.read(data=folder, port=0)
    port = serving._listening(settings)
    told.send(port.getsockname()[1])
    serving._server(app, port, settings).run()


def started(folder: Path, *more: str) -> tuple[subprocess.Popen, int]:
    """Start the program on a folder, with more options; return the process and its port."""
    command = [sys.executable, "-c", "from trainer.cli import main; main()",
               "serve", "--data", str(folder), "--port", "0", *more]  # fmt: skip
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    port = re.search(r"http://[^ ]*:(\d+)", process.stdout.readline())[1]
    return process, int(port)


def processor(pid: int) -> float:
    """Return the seconds of the processor that a process has used."""
    parts = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


def served(there: Filled) -> None:
    """Print how many requests a second the server answers, beside constant bytes."""
    app, cookies = there.app(), there.cookies()
    sizes = {
        page: int(median(
            len(Call(app, path, cookie, **SMALL)())
            for path, cookie in zip(there.addresses[page], cookies, strict=True)
        ))
        for page in PAGES
    }  # fmt: skip
    program, port = started(there.folder)
    try:
        with (bare_server(there.folder, sizes) as (bare, bare_port),
              multiprocessing.get_context("spawn").Pool(1) as pool):  # fmt: skip
            for page in PAGES:
                floor = [request_of(f"/{page}")] * CLIENTS
                ours = [request_of(path, cookie)
                        for path, cookie in zip(there.addresses[page], cookies, strict=True)]
                turns = []
                for _ in range(TURNS):
                    turns.append([
                        under_load(pool, pid, [at], asked)
                        for pid, at, asked in (
                            (bare, bare_port, floor), (program.pid, port, ours)
                        )
                    ])  # fmt: skip
                tell_load(page, turns)
    finally:
        program.terminate()
        program.wait(20)


@contextmanager
def bare_server(folder: Path, sizes: dict[str, int]) -> Iterator[tuple[int, int]]:
    """Give the process and the port of a server of as many constant bytes."""
    context = multiprocessing.get_context("spawn")
    hears, told = context.Pipe(duplex=False)
    bare = context.Process(target=serve_bare, args=(folder, sizes, told), daemon=True)
    bare.start()
    try:
        yield bare.pid, hears.recv()
    finally:
        bare.terminate()
        bare.join(20)


def under_load(pool, pid: int, ports: list[int], asked: list[bytes]) -> tuple[Load, float]:
    """Return what came of a turn, and the processor's seconds that one request took there."""
    before = processor(pid)
    load = pool.apply_async(ask, (ports, asked, SECONDS)).get(timeout=SECONDS + 60)
    return load, (processor(pid) - before) / load.answers


def asked_alone(port: int, request: bytes) -> float:
    """Return the seconds that one sender of another process waits for an answer, the median."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        loads = [pool.apply_async(ask, ([port], [request], SECONDS)).get(timeout=SECONDS + 60)
                 for _ in range(TURNS)]  # fmt: skip
    return median(load.half for load in loads)


def tell_load(page: str, turns: list) -> None:
    """Print what came of a page under load."""
    floor, ours = (
        median(turn[side][0].answers / turn[side][0].seconds for turn in turns)
        for side in (0, 1)
    )
    share = median(
        turn[1][0].answers / turn[1][0].seconds / (turn[0][0].answers / turn[0][0].seconds)
        for turn in turns
    )
    half, most = (median(getattr(turn[1][0], name) for turn in turns) for name in ("half", "most"))
    spent_floor, spent_ours = (median(turn[side][1] for turn in turns) for side in (0, 1))
    row(f"{page}, {CLIENTS} clients", f"{floor:,.0f} a second", f"{ours:,.0f} a second",
        f"{share:.0%} ({spent_floor / spent_ours:.0%} by the processor)", "at least 25 %")
    row(f"{page}: p99 beside p50", f"{half * 1000:.1f} ms", f"{most * 1000:.1f} ms",
        f"{most / half:.1f}", "at most 4")


def several(_there: Filled) -> None:
    """Print how many lesson pages one server process gives, and three on the same PostgreSQL."""
    with tempfile.TemporaryDirectory() as folder, on_postgresql():
        beside_one(filled(Path(folder)))


@contextmanager
def on_postgresql() -> Iterator[None]:
    """Let the record be in a PostgreSQL of its own, here and in every process started here."""
    server = Databases().of(DURABLE)
    os.environ["DONNING_ROOM_DATABASE_URL"] = address = server.address()
    try:
        server.create(address)
        yield
    finally:
        del os.environ["DONNING_ROOM_DATABASE_URL"]
        server.close()


def beside_one(there: Filled) -> None:
    """Print how many lesson pages three server processes give beside one of them."""
    cookies = there.cookies()
    asked = [request_of(path, cookie)
             for path, cookie in zip(there.addresses["lesson"], cookies, strict=True)]
    running = [started(there.folder) for _ in range(3)]
    try:
        with multiprocessing.get_context("spawn").Pool(1) as pool:
            turns = []
            for _ in range(TURNS):
                turns.append([
                    pool.apply_async(ask, (ports, asked, SECONDS)).get(timeout=SECONDS + 60)
                    for ports in ([running[0][1]], [port for _, port in running])
                ])  # fmt: skip
    finally:
        for process, _ in running:
            process.terminate()
        for process, _ in running:
            process.wait(20)
    one, three = (median(turn[at].answers / turn[at].seconds for turn in turns) for at in (0, 1))
    there.store.close()
    row("lesson: three processes beside one, PostgreSQL", f"{one:,.0f} a second",
        f"{three:,.0f} a second", f"{three / one:.2f}", f"{os.cpu_count()} cores here")


PARTS = {"served": served, "inside": inside, "deeds": deeds, "several": several}


def main() -> None:
    """Measure and print."""
    wanted = sys.argv[1:] or list(PARTS)
    with tempfile.TemporaryDirectory() as folder, settling() as settled:
        there = filled(Path(folder))
        there.app()
        settled()  # as `serve` does before it answers
        row("what", "floor", "ours", "ratio", "goal")
        row(*["---"] * 5)
        for name in wanted:
            PARTS[name](there)
        there.store.close()


if __name__ == "__main__":
    main()
