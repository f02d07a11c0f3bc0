"""How fast problems are drawn and marked, and a worksheet answered.

    python -m tests.bench.figures

Prints rates; nothing is asserted, since a machine's speed is no property of the program.
"""

import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from flask import Flask

from trainer import bank, config
from trainer.app import create_app
from trainer.services import joining, signing_in
from trainer.store.engine import Store

DRAWN_EACH, REQUESTS = 200, 300


def rate(do: Callable[[], int]) -> float:
    """Return how many a second; `do` says how many it did."""
    begun = time.perf_counter()
    done = do()
    return done / (time.perf_counter() - begun)


def drawings() -> int:
    """Draw from every exercise; return how many."""
    every = bank.load().exercises.values()
    for exercise in every:
        for seed in range(DRAWN_EACH):
            bank.draw(exercise, seed)
    return DRAWN_EACH * len(every)


def markings(blanks: list[bank.Blank]) -> int:
    """Mark a right and a wrong answer of each blank; return how many."""
    for blank in blanks:
        bank.mark(blank, blank.typed, "en")
        bank.mark(blank, "12,345", "es")
    return 2 * len(blanks)


def requests(client, path: str) -> int:
    """Ask for a page again and again; return how often."""
    for _ in range(REQUESTS):
        assert client.get(path).status_code == 200
    return REQUESTS


def signed_in(folder: Path):
    """Return a client of the application, signed in as somebody."""
    settings = config.read(data=folder)
    store = Store(settings.database_url)
    store.upgrade()
    now = datetime.now(UTC)
    with store.writing() as db:
        person = joining.add_person(
            db, now, number="1", name="Ada Quayside", roles=["coordinator"], language="en",
            worksites=[],
        )  # fmt: skip
        token = signing_in.start_session(db, person, None, now)
    client = create_app(settings, store, "only for the benchmark").test_client()
    with client.session_transaction() as session:
        session["token"] = token
    return client


def bare():
    """Return a client of a Flask application that does nothing."""
    app = Flask("bare")
    app.get("/")(lambda: "nothing")
    return app.test_client()


def main() -> None:
    """Measure and print."""
    print(f"drawings a second, all exercises mixed: {rate(drawings):,.0f}")
    blanks = [
        blank
        for exercise in bank.load().exercises.values()
        for problem in (bank.draw(exercise, seed) for seed in range(40))
        for blank in (problem.blank, *(step.blank for step in problem.steps))
    ]
    print(f"markings a second: {rate(lambda: markings(blanks)):,.0f}")
    with tempfile.TemporaryDirectory() as folder:
        client = signed_in(Path(folder))
        for path in ("/worksheet/inside_concentration?ambient=140&apf=50&unit=ppm",
                     "/worksheet/selection"):
            client.get(path)
            asked = rate(lambda path=path: requests(client, path))
            print(f"requests a second, {path}: {asked:,.0f}")
    nothing = rate(lambda: requests(bare(), "/"))
    print(f"requests a second, a bare Flask route: {nothing:,.0f}")


if __name__ == "__main__":
    main()
