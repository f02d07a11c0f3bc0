"""The long forms.

    python -m tests.durability KILLS [--database sqlite|postgresql] [--seed NUMBER]
    python -m tests.durability hold SECONDS         another program holds the database so long
    python -m tests.durability full SECONDS         its disk is full
    python -m tests.durability read-only SECONDS    its disk is mounted to be read alone

The last two mount a small disk, which takes root on Linux. Prints how far it is, and at the end
what was seen; ends with 1 and what was lost.
"""

import argparse
import secrets
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

from argon2 import PasswordHasher

from tests.conftest import PASSPHRASE
from tests.databases import BOTH, Databases
from tests.durability import at_work
from tests.durability.hindered import HINDRANCES, hindering
from tests.durability.killing import Lost, killing


def main() -> int:
    """Do what is asked for; return 0 where nothing was lost."""
    reader = argparse.ArgumentParser(prog="python -m tests.durability")
    reader.add_argument("what", help=f"how many kills, or one of {', '.join(HINDRANCES)}")
    reader.add_argument("seconds", type=float, nargs="?", default=30.0)
    reader.add_argument("--database", choices=BOTH, default=BOTH[0])
    reader.add_argument("--seed", type=int, default=secrets.randbelow(10**6))
    asked, began = reader.parse_args(), time.monotonic()

    def say(line: str) -> None:
        print(f"{time.monotonic() - began:7.1f} s: {line}", flush=True)

    say(f"{' '.join(sys.argv[1:])}, --seed {asked.seed}")
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    hashes = {"passphrase": quick.hash(PASSPHRASE)}
    try:
        with closing(Databases()) as databases, tempfile.TemporaryDirectory() as folder:
            for line in _done(asked, databases, Path(folder), hashes, say):
                say(line)
    except Lost as lost:
        print(f"LOST, --seed {asked.seed}:\n{lost}")
        return 1
    return 0


def _done(
    asked: argparse.Namespace, databases: Databases, folder: Path, hashes: dict[str, str],
    say: Callable[[str], None],
) -> Iterator[str]:
    """Do what is asked for; give what was seen, line by line."""
    if asked.what in HINDRANCES:
        seen = hindering(asked.what, asked.seconds, databases, folder, hashes, asked.seed)
        yield from seen.lines()
        return
    outcome = killing(
        int(asked.what), databases, asked.database, folder, hashes, asked.seed, say
    )
    yield f"{outcome.kills} kills, nothing lost; {outcome.entries} entries in the records"
    yield f"acknowledged: {at_work.said(outcome.tally)}"


if __name__ == "__main__":
    sys.exit(main())
