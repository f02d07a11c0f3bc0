"""What a sign-in takes beside the one hash that it cannot do without.

    python -m tests.bench.sign_in [how many]

The floor is a bare argon2-cffi `verify` with the program's parameters, in the same process, one
after the other with the sign-ins so that whatever else the machine does falls on both. A sign-in
is the whole form in process: token checked, try counted, hash compared, session begun, all durable.
Then 16 at once, in threads, as at a change of shift: how many hashes ran at once, and the memory.
Prints medians; nothing is asserted.
"""

import re
import resource
import sys
import tempfile
import threading
import time
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

from argon2 import PasswordHasher
from argon2.profiles import RFC_9106_LOW_MEMORY

from trainer import config
from trainer.app import create_app
from trainer.services import hashing, joining, signing_in
from trainer.store.engine import Store

PHRASE = "seven terns on a wet slipway"
TIMES, AT_ONCE = 15, 16
GOAL = 1.1


def timed(do) -> float:
    """Return how many milliseconds it takes."""
    begun = time.perf_counter()
    do()
    return (time.perf_counter() - begun) * 1000


class Browser:
    """A client with the form of the sign-in page open."""

    def __init__(self, app, number: str, address: str = "127.0.0.1") -> None:
        self.client = app.test_client()
        # Wrong tries of one address would soon have to wait.
        self.client.environ_base["REMOTE_ADDR"] = address
        self.number = number

    def open(self) -> None:
        """Open the page; a person types meanwhile, so it is not measured."""
        page = self.client.get("/sign-in").text
        self.token = re.search(r'name="csrf_token" value="([^"]+)"', page).group(1)

    def send(self, phrase: str = PHRASE) -> None:
        """Send the form."""
        sent = {"number": self.number, "passphrase": phrase, "with": "passphrase"}
        answer = self.client.post("/sign-in", data={"csrf_token": self.token, **sent})
        self.busy = answer.status_code == 503  # on a machine where a hash takes seconds
        meant = 303 if phrase == PHRASE else 422
        assert self.busy or answer.status_code == meant, answer.status


class Watched(hashing.Turns):
    """Turns that tell how many were held at once."""

    def __init__(self) -> None:
        super().__init__(hashing.cores(), hashing.WAITING, hashing.LONGEST_SECONDS)
        self.lock, self.now, self.most = threading.Lock(), 0, 0

    @contextmanager
    def turn(self):
        """Hold a turn, counted."""
        with super().turn():
            with self.lock:
                self.now += 1
                self.most = max(self.most, self.now)
            try:
                yield
            finally:
                with self.lock:
                    self.now -= 1


def side_by_side(app, times: int) -> None:
    """Measure sign-ins and bare hashes in turn."""
    bare = PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)
    kept = bare.hash(PHRASE)
    taken: dict[str, list[float]] = {"bare": [], "right": [], "nobody": []}
    for at in range(times + 1):  # the first one warms up
        right, nobody = Browser(app, f"W{at}"), Browser(app, f"N{at}", f"192.0.2.{at}")
        right.open()
        nobody.open()
        found = {
            "bare": timed(lambda: bare.verify(kept, PHRASE)),
            "right": timed(right.send),
            "nobody": timed(lambda nobody=nobody: nobody.send("another passphrase")),
        }
        if at:
            for name, one in found.items():
                taken[name].append(one)
    floor = median(taken["bare"])
    print(f"{'':34} {'ms':>8} {'x bare':>8}")
    for name, words in (
        ("bare", "one argon2 hash, bare"), ("right", "a sign-in"),
        ("nobody", "a number that nobody has"),
    ):  # fmt: skip
        print(f"{words:34} {median(taken[name]):8.1f} {median(taken[name]) / floor:8.2f}")
    pairs = [one / other for one, other in zip(taken["right"], taken["bare"], strict=True)]
    print(f"{'median of the pairs, goal ' + str(GOAL):34} {'':8} {median(pairs):8.2f}")


def all_at_once(app) -> None:
    """Let many sign in at the same moment."""
    hashing.TURNS = turns = Watched()
    browsers = [Browser(app, f"W{at}") for at in range(AT_ONCE)]
    for one in browsers:
        one.open()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    threads = [threading.Thread(target=one.send) for one in browsers]

    def run() -> None:
        for one in threads:
            one.start()
        for one in threads:
            one.join()

    taken = timed(run)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(
        f"{AT_ONCE} at once: {taken:.0f} ms in all, {turns.most} hashes at once on "
        f"{hashing.cores()} cores, peak of memory {before // 1024} to {after // 1024} MiB, "
        f"told to try again: {sum(one.busy for one in browsers)}"
    )


def main() -> None:
    """Measure and print."""
    times = int(sys.argv[1]) if len(sys.argv) > 1 else TIMES
    with tempfile.TemporaryDirectory() as folder:
        settings = config.read(data=Path(folder))
        store = Store(settings.database_url)
        store.upgrade()
        kept, now = hashing.hashed(PHRASE), datetime.now(UTC)
        with store.writing() as db:
            place = joining.add_worksite(
                db, name="Invented", time_zone="America/Chicago", ask_name="R. Odell",
                ask_telephone="555 0142",
            )
            for at in range(max(times + 1, AT_ONCE)):
                person = joining.add_person(
                    db, now, number=f"W{at}", name=f"Worker {at}", roles=["worker"],
                    worksites=[place.id],
                )
                signing_in.set_passphrase(db, person, kept)
        app = create_app(settings, store, "only for the benchmark")
        side_by_side(app, times)
        all_at_once(app)
        store.close()


if __name__ == "__main__":
    main()
