"""Killing servers under the hands of people at work, and looking what became of their work."""

import random
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event, Thread
from time import monotonic, sleep

from tests.conftest import HALF_MASK, ZONE
from tests.databases import Databases, durable
from tests.durability.at_work import AtWork, Clerk, Importer, Learner, Solver, Watcher
from tests.durability.nursery import Nursery, Server, nursery
from trainer.services import joining, signing_in
from trainer.services.scribe import Scribe
from trainer.store import record
from trainer.store.engine import Store
from trainer.store.tables import Person, Respirator, Worksite

LEARNERS, SOLVERS, WATCHERS, CLERKS, WEARERS = 6, 3, 3, 3, 12
KILLS_OF_ONE_WORKS = 100
"""After so many the people begin at a fresh works, so that looking everything up stays quick."""

MOST_DEEDS = 40
"""A server is killed after a random number of deeds, at most so many, and a moment more: on a busy
machine it has then done as much as on an idle one."""

MOMENT, LONGEST = 0.03, 10.0  # seconds


class Lost(AssertionError):
    """What was acknowledged is not there; or something that is worse."""


@dataclass
class Outcome:
    """What a run came to."""

    kills: int = 0
    entries: int = 0
    tally: Counter = field(default_factory=Counter)


@dataclass
class Works:
    """A works with its people at work, in a database of its own."""

    store: Store
    chance: random.Random
    worksite: Worksite
    everybody: list[AtWork] = field(default_factory=list)

    def sign_in(self, port: int) -> None:
        """Sign everybody in; they stay signed in whatever becomes of the server."""
        for one in self.everybody:
            one.client.sign_in(port, one.person.number)

    @contextmanager
    def at_work(self, ports: list[int], rests: int | None = None) -> Iterator[Event]:
        """Let everybody work at these servers until the block ends, or to their next rest."""
        over = Event()
        threads = [
            Thread(target=one.go_on, args=(
                ports, over, None if rests is None else one.rests + rests
            ))
            for one in self.everybody
        ]  # fmt: skip
        self.chance.shuffle(threads)
        for thread in threads:
            thread.start()
        try:
            yield over
        finally:
            if rests is None:
                over.set()
            for thread in threads:
                thread.join()

    def let_pass(self, deeds: int) -> None:
        """Wait until so many deeds more are acknowledged, and a random moment."""
        wanted, ends = self.deeds() + deeds, monotonic() + LONGEST
        while self.deeds() < wanted and monotonic() < ends:
            sleep(0.002)
        sleep(self.chance.uniform(0, MOMENT))

    def check(self) -> int:
        """Look everything up that was acknowledged; return how many entries there are.

        Errors: Lost with what is not as it should be.
        """
        found = [one.fault for one in self.everybody if one.fault]
        # The database is opened afresh, as the next start does.
        again, tally = Store(self.store.url), record.Tally()
        with again.reading() as db:
            for one in self.everybody:
                found += one.lost(db)
            found += [
                f"entry {one.number}: {one.why}" for one in record.verify(db, tally) if one
            ]
        again.close()
        if found:
            raise Lost("\n".join(found))
        return tally.entries

    def deeds(self) -> int:
        """Return how many deeds were acknowledged so far."""
        return sum(one.deeds for one in self.everybody)

    def tally(self) -> Counter:
        """Return what was acknowledged, by kind."""
        return sum((one.tally for one in self.everybody), Counter())


def killing(
    kills: int,
    databases: Databases,
    kind: str,
    folder: Path,
    hashes: dict[str, str],
    seed: int,
    say: Callable[[str], None] = lambda _: None,
) -> Outcome:
    """Kill servers one after another and look each time; return what was acknowledged.

    Errors: Lost where anything was lost.
    """
    outcome = Outcome()
    while outcome.kills < kills:
        wanted = min(KILLS_OF_ONE_WORKS, kills - outcome.kills)
        here = folder / f"works-{outcome.kills}"
        here.mkdir()
        called = f"{seed}:{outcome.kills}"
        with at_a_works(databases, kind, here, hashes, called) as (works, servers):
            for entries in _one_after_another(works, servers, wanted):
                outcome.kills += 1
                if not outcome.kills % 10:
                    say(f"{outcome.kills} kills, {entries} entries in this record")
            outcome.entries += works.check()
            outcome.tally += works.tally()
    return outcome


def _one_after_another(works: Works, servers: Nursery, kills: int) -> Iterator[int]:
    server = servers.start()
    works.sign_in(server.port)
    for _ in range(kills):
        with works.at_work([server.port]):
            works.let_pass(works.chance.randrange(MOST_DEEDS))
            server.kill()
        if works.chance.random() < 0.5:
            # Half of the times it is the next server that brings the database in order.
            server = servers.start()
            yield works.check()
        else:
            yield works.check()
            server = servers.start()
    # Whoever is in the middle of something comes to its end: every sitting can go on.
    with works.at_work([server.port], rests=1):
        pass
    server.kill()


def killing_one_of(
    processes: int,
    kills: int,
    databases: Databases,
    kind: str,
    folder: Path,
    hashes: dict[str, str],
    seed: int,
) -> Outcome:
    """Let several processes serve the same people; kill one of them under load, again and again.

    Whoever is signed in goes with each request to any of them. Errors: Lost where anything was
    lost, or where the others did not go on.
    """
    with at_a_works(databases, kind, folder, hashes, f"{seed}") as (works, nest):
        servers = [nest.start() for _ in range(processes)]
        ports = [one.port for one in servers]
        works.sign_in(ports[0])
        for _ in range(kills):
            with works.at_work(ports):
                works.let_pass(works.chance.randrange(MOST_DEEDS))
                at = works.chance.randrange(processes)
                servers[at].kill()
                before = works.deeds()
                works.let_pass(MOST_DEEDS // 2)
                if works.deeds() == before:
                    raise Lost("the other processes did not go on")
                servers[at] = nest.start()
                ports[at] = servers[at].port
                works.let_pass(works.chance.randrange(MOST_DEEDS // 2))
            works.check()
        with works.at_work(ports, rests=1):
            pass
        return Outcome(kills, works.check(), works.tally())


@contextmanager
def at_a_works(
    databases: Databases, kind: str, folder: Path, hashes: dict[str, str], seed: str
) -> Iterator[tuple[Works, Nursery]]:
    """Give a fresh works and what starts servers for it."""
    with (
        opened(databases, kind, folder, hashes, seed) as works,
        nursery(folder, works.store.url) as servers,
    ):
        yield works, servers


@contextmanager
def opened(
    databases: Databases, kind: str, folder: Path, hashes: dict[str, str], seed: str
) -> Iterator[Works]:
    """Give a fresh works with sixteen people who can sign in."""
    kind = durable(kind)
    store = databases.fresh(kind, folder)
    chance = random.Random(seed)
    try:
        yield _peopled(store, hashes, chance)
    finally:
        store.close()
        databases.of(kind).drop(store.url)


def _peopled(store: Store, hashes: dict[str, str], chance: random.Random) -> Works:
    now = datetime.now(UTC) - timedelta(minutes=1)
    with store.writing() as db:
        site = joining.add_worksite(
            db, name="Joinery", time_zone=ZONE.key, ask_name="R. Odell", ask_place="Bench 1",
            ask_telephone="555 0142", ask_hours="6:00 to 15:00",
        )  # fmt: skip

        def person(number: str, name: str, role: str) -> Person:
            added = joining.add_person(
                db, now, number=number, name=name, roles=[role],
                worksites=[site.id] if role != "coordinator" else [],
                qualification="Safety officer" if role == "trainer" else "", seed=f"of {number}",
            )  # fmt: skip
            signing_in.set_passphrase(db, added, hashes["passphrase"])
            return added

        def some(count: int, letter: str, name: str, role: str) -> list[Person]:
            return [person(f"{letter}{at:03}", f"{name} {at}", role) for at in range(count)]

        clerks = some(CLERKS + 1, "c", "Ida", "coordinator")
        learners = some(LEARNERS, "l", "Lee", "worker")
        solvers = some(SOLVERS, "s", "Kim", "worker")
        watchers = some(WATCHERS, "t", "Wren", "trainer")
        worn = [_given(db, clerks[0], one) for one in some(WEARERS, "w", "Noor", "worker")]
    works = Works(store, chance, site)

    def own(person: Person) -> random.Random:
        return random.Random(f"{chance.random()} {person.number}")

    of_each = WEARERS // WATCHERS
    works.everybody += [Learner(store, one, own(one)) for one in learners]
    works.everybody += [Solver(store, one, own(one)) for one in solvers]
    for at, one in enumerate(watchers):
        mine = worn[at * of_each : (at + 1) * of_each]
        works.everybody.append(Watcher(store, one, own(one), wearers=mine))
    for at, one in enumerate(clerks[1:]):
        mine = [person for person, _ in worn[at * of_each : (at + 1) * of_each]]
        works.everybody.append(Clerk(store, one, own(one), workers=mine))
    works.everybody.append(Importer(store, clerks[0], own(clerks[0]), worksite=site.name))
    return works


def _given(db, by: Person, person: Person) -> tuple[Person, Respirator]:
    scribe = Scribe(by, datetime.now(UTC), ZONE)
    return person, joining.give_respirator(db, scribe, person, **HALF_MASK)


__all__ = ["Lost", "Outcome", "Server", "Works", "killing", "killing_one_of", "opened"]
