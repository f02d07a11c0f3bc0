"""How long a start takes: `python -m tests.bench.start`. Nothing is asserted.

Two rows, each beside its floor of the same run: `donning-room serve` until its first page is
answered, beside importing Flask and SQLModel; `donning-room calculate`, beside an empty Python
process. Medians of processor time and of time by the clock, measured in turns, on a folder whose
record is there already, with compiled files at hand, as after any first start. The processor time
of `serve` is all of the process, its end too.
"""

import os
import re
import resource
import signal
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from time import perf_counter
from urllib.request import urlopen

TIMES = 9

COMMAND = "from trainer.cli import main; main()"
CALCULATE = (COMMAND, "calculate", "maximum_use_concentration", "apf=10", "limit=200", "idlh=500",
             "unit=ppm")  # fmt: skip


@dataclass(frozen=True)
class Row:
    """What is measured, what beside it, and the most that it may take of that.

    Both go once and return how long that took by the clock, in seconds.
    """

    name: str
    go: Callable[[], float]
    floor: Callable[[], float]
    goal: float


def run(environment: dict[str, str], *code: str) -> float:
    """Run a process to its end."""
    began = perf_counter()
    subprocess.run([sys.executable, "-c", *code], check=True, stdout=subprocess.DEVNULL,
                   env=environment)
    return perf_counter() - began


def serve(environment: dict[str, str], folder: str) -> float:
    """Serve until the first page is there."""
    began = perf_counter()
    with subprocess.Popen(
        [sys.executable, "-c", COMMAND, "serve", "--port", "0", "--data", folder],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        env=environment | {"PYTHONUNBUFFERED": "1"},
    ) as serving:
        port = re.search(r":(\d+)", serving.stdout.readline())[1]
        with urlopen(f"http://127.0.0.1:{port}/sign-in") as page:
            page.read()
        seconds = perf_counter() - began
        serving.send_signal(signal.SIGTERM)
    return seconds


def measure(go: Callable[[], float]) -> tuple[float, float]:
    """Return the processor time and the time by the clock of one go, in seconds."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    seconds = go()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, seconds


def medians(row: Row) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the medians of a row and of its floor, after one go that compiles what has to be."""
    found = [(measure(row.go), measure(row.floor)) for _ in range(1 + TIMES)][1:]
    return tuple(
        tuple(statistics.median(one) for one in zip(*side, strict=True))
        for side in zip(*found, strict=True)
    )


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        environment = {name: value for name, value in os.environ.items()
                       if name != "PYTHONDONTWRITEBYTECODE"}  # fmt: skip
        environment["PYTHONPYCACHEPREFIX"] = os.path.join(folder, "compiled")
        python = partial(run, environment)
        print(f"{'':<22}{'processor':>12}{'floor':>9}{'ratio':>7}{'clock':>9}{'floor':>9}"
              f"{'ratio':>7}{'goal':>6}")  # fmt: skip
        for row in (
            Row("serve to first page", partial(serve, environment, os.path.join(folder, "data")),
                partial(python, "import flask, sqlmodel"), 1.5),
            Row("calculate", partial(python, *CALCULATE), partial(python, "pass"), 4),
        ):  # fmt: skip
            (cpu, clock), (cpu_floor, clock_floor) = medians(row)
            print(f"{row.name:<22}{cpu:>10.3f} s{cpu_floor:>7.3f} s{cpu / cpu_floor:>7.1f}"
                  f"{clock:>7.3f} s{clock_floor:>7.3f} s{clock / clock_floor:>7.1f}"
                  f"{row.goal:>6}")  # fmt: skip


if __name__ == "__main__":
    main()
