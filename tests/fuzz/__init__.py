"""What hostile input does: forms, addresses, files, lesson texts and question files.

A short form runs with the tests. The long one, whose examples are others each time and in which
whatever takes longer than SECONDS fails:

    python -m tests.fuzz
    python -m tests.fuzz -k files
"""

import faulthandler
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from time import process_time

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st

LONG = "FUZZ_LONG" in os.environ
SECONDS = 2.0
"""The longest that one thing may take of the processor, whoever else uses the machine; looked at in
the long form alone."""
HUNG = 240
"""Seconds after which a test that hangs is ended, with where it hung."""

MANY = 100  # times as many examples in the long form


def examples(few: int) -> Callable:
    """Return the settings of a test of so many examples: the same each time, but in the long form.

    Nothing is made smaller in the short one, which would take its time over and over.
    """
    return settings(
        max_examples=few * MANY if LONG else few,
        derandomize=not LONG,
        deadline=None,
        database=None,
        phases=(Phase.generate, Phase.shrink) if LONG else (Phase.generate,),
        suppress_health_check=list(HealthCheck),
    )


@contextmanager
def bounded(what: object) -> Iterator[None]:
    """End what hangs; in the long form fail where it took longer than SECONDS."""
    faulthandler.dump_traceback_later(HUNG, exit=True)
    began = process_time()
    try:
        yield
    finally:
        faulthandler.cancel_dump_traceback_later()
    took = process_time() - began
    assert not LONG or took < SECONDS, f"{took:.1f} s: {what!r:.300}"


_ODD = (
    "", " ", "0", "-1", "1", "00417", "9" * 30, "-" + "9" * 400, "1e400", "NaN", "inf", "1/0",
    "٣", "½", "1,000.5", "0x10", "1_000", "\0", "\ud800", "\U000e0041", "\u202e\u200b", "é" * 300,
    "<script>alert(1)</script>", "\"'`><", "{{7*7}}", "%s%n%(x)s", "{0.__class__}", "' OR 1=1 --",
    "../../etc/passwd", "//x.example", "\\\\x\\y", "javascript:alert(1)", "=1+1", "\r\nX: y",
    "2026-13-45", "0001-01-01", "9999-12-31", "2026-02-29", "10000-01-01", "25:61", "yes", "on",
    "all-none-none", "1-2-3", "0:0", "0:99", "1:1:1", "protection-factors", "null", "[]", "{}",
    '{"a":', "[" * 3000, "(" * 3000, "a" * 70_000, "1" * 5_000, "😀" * 2_000, "\n" * 5_000,
)  # fmt: skip

HOSTILE = st.one_of(
    st.sampled_from(_ODD),
    st.text(max_size=40),
    st.integers().map(str),
    st.floats().map(str),
    st.dates().map(str),
    st.text(st.characters(categories=("Cc", "Cf", "Cs", "Nd", "No", "Zs", "So")), max_size=20),
)
"""Text as nobody means it."""


def mutated(seeds: list[bytes]) -> st.SearchStrategy[bytes]:
    """Return files that begin as good ones, and are cut, changed and mixed."""
    change = st.tuples(
        st.floats(0, 1), st.integers(0, 40),
        st.one_of(st.binary(max_size=12), st.sampled_from(
            [b"\0", b'"', b"\n", b",", b"<", b"&", b"\xff\xfe", b"=" * 40, b"[" * 40, b"'''",
             b"9" * 60, b"\xed\xa0\x80", b"{" * 40]
        )),
    )  # fmt: skip

    def changed(seed: bytes, changes: list[tuple[float, int, bytes]]) -> bytes:
        for where, gone, put in changes:
            at = int(where * len(seed))
            seed = seed[:at] + put + seed[at + gone :]
        return seed

    return st.builds(changed, st.sampled_from(seeds), st.lists(change, min_size=1, max_size=6))
