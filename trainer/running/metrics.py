"""What is counted while the program runs, told in Prometheus' format on an address of its own.

Nothing is counted before `start`, so an installation that asks for no metrics pays nothing.
Several processes write what they count into files of one folder, where it adds up; what a process
that was killed had counted stays in it.

Routes are named by their pattern: there are as many series as pages, and no number of anybody.
"""

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from prometheus_client import CollectorRegistry

PREFIX = "donning_room"
FOLDER = "PROMETHEUS_MULTIPROC_DIR"
"""The library reads here, when it is imported, where several processes add up."""

REQUEST_SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
WAIT_SECONDS = (0.001, 0.005, 0.01, 0.05, 0.1, 0.5, 1.0, 5.0, 15.0)

Figures = Mapping[str, tuple[str, float]]
"""What is looked up when somebody asks: by name what it is, and its value."""


class _Meters:
    def __init__(self) -> None:
        from prometheus_client import CollectorRegistry, Counter, Histogram

        self.registry = registry = CollectorRegistry()
        self.requests = Counter(
            f"{PREFIX}_requests", "Requests answered", ("route", "method", "status"),
            registry=registry)
        self.seconds = Histogram(
            f"{PREFIX}_request_seconds", "Seconds until a request was answered whole", ("route",),
            buckets=REQUEST_SECONDS, registry=registry)
        self.waits = Histogram(
            f"{PREFIX}_writer_wait_seconds", "Seconds that a writer waited for its turn",
            buckets=WAIT_SECONDS, registry=registry)
        self.commits = Counter(f"{PREFIX}_commits", "Transactions kept", registry=registry)
        self.wrong = Counter(
            f"{PREFIX}_wrong_sign_ins", "Sign-ins and codes that did not fit", registry=registry)
        self.errands = Counter(
            f"{PREFIX}_errands_ended", "Errands done or failed", ("kind", "state"),
            registry=registry)


_meters: _Meters | None = None


def start(folder: Path | None = None) -> None:
    """Begin to count in this process.

    folder  where several processes add up; None where there is one
    """
    global _meters
    if folder is not None:
        os.environ[FOLDER] = str(folder)
    _meters = _Meters()


def stop() -> None:
    """Count no more, and forget what was counted."""
    global _meters
    _meters = None


def answered(route: str, method: str, status: int, seconds: float) -> None:
    """Count a request."""
    if _meters:
        _meters.requests.labels(route, method, str(status)).inc()
        _meters.seconds.labels(route).observe(seconds)


def waited(seconds: float) -> None:
    """Count a writer's wait for its turn."""
    if _meters:
        _meters.waits.observe(seconds)


def committed() -> None:
    """Count a transaction that was kept."""
    if _meters:
        _meters.commits.inc()


def wrong_sign_in() -> None:
    """Count a sign-in that did not fit."""
    if _meters:
        _meters.wrong.inc()


def errand_ended(kind: str, state: str) -> None:
    """Count an errand that ended."""
    if _meters:
        _meters.errands.labels(kind, state).inc()


def tell(
    host: str, port: int, look: Callable[[], Figures], folder: Path | None = None
) -> Callable[[], None]:
    """Tell the metrics on an address of their own; return what ends that.

    look    what is looked up each time somebody asks
    folder  where several processes add up; None: what this one counts
    Errors: OSError where the address cannot be listened on.
    """
    from prometheus_client import start_http_server

    registry = _of_all(folder) if folder is not None else _of_this()
    registry.register(_Looked(look))
    server, thread = start_http_server(port, host, registry)

    def end() -> None:
        server.shutdown()
        server.server_close()
        thread.join()

    return end


def _of_this() -> "CollectorRegistry":
    if _meters is None:
        start()
    return _meters.registry


def _of_all(folder: Path) -> "CollectorRegistry":
    from prometheus_client import CollectorRegistry
    from prometheus_client.multiprocess import MultiProcessCollector

    registry = CollectorRegistry()
    MultiProcessCollector(registry, str(folder))
    return registry


class _Looked:
    def __init__(self, look: Callable[[], Figures]) -> None:
        self._look = look

    def describe(self) -> Iterable[Any]:
        """Return nothing: what there is, is found out when somebody asks."""
        return ()

    def collect(self) -> Iterator[Any]:
        """Give each figure."""
        from prometheus_client.core import GaugeMetricFamily

        for name, (what, value) in self._look().items():
            yield GaugeMetricFamily(f"{PREFIX}_{name}", what, value=value)
