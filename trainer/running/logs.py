"""The log: one line a request, a fault, an errand, a start or a stop; nothing of any person.

A line is an event and its fields, which are chosen here and in whoever calls `say`: never what
somebody typed, never an address with its numbers, never the text of an exception, which may
repeat a value (PostgreSQL says "Key (number)=(...) already exists"). Of a fault stands the kind
and where in the program it was. What libraries log comes with its place in their code and
without its words, since some put the address of a request into them.

The standard library's logging carries it: whatever libraries log arrives there anyway, and the
part that matters, leaving out, would have to be written for any other as well.
"""

import json
import logging
import sys
import threading
from datetime import UTC, datetime
from pathlib import PurePath
from traceback import walk_tb
from types import TracebackType
from typing import Any, TextIO

OURS = "trainer"
SPEAKS = "_granian"
"""The supervisor of several processes: it tells of those by their numbers, of no request."""

log = logging.getLogger(f"{OURS}.log")


def start(kind: str, stream: TextIO | None = None) -> None:
    """Let every line go to standard error, or to a stream.

    kind    text, for people, or json, one object a line, for machines
    """
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(AsJson() if kind == "json" else AsText())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger(OURS).setLevel(logging.INFO)
    logging.captureWarnings(True)
    threading.excepthook = _thread_fault


def say(event: str, level: int = logging.INFO, fault: BaseException | None = None,
        **fields: str | float | None) -> None:  # fmt: skip
    """Write a line; fields that are None are left out."""
    log.log(level, event, exc_info=fault, extra={"room": fields})


def tells(level: int = logging.INFO) -> bool:
    """Say whether lines of a level go anywhere."""
    return log.isEnabledFor(level)


def _thread_fault(given: threading.ExceptHookArgs) -> None:
    if given.exc_type is not SystemExit:
        say("fault", logging.ERROR, given.exc_value, thread=given.thread and given.thread.name)


def fields_of(record: logging.LogRecord) -> dict[str, Any]:
    """Return what a line says, by name."""
    said: dict[str, Any] = {
        "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
        "level": record.levelname.lower(),
    }
    if record.name.split(".")[0] == OURS:
        said["event"] = record.getMessage() if record.name == log.name else "program"
        fields = getattr(record, "room", {})
        said |= {name: value for name, value in fields.items() if value is not None}
    else:
        said |= {"event": "library", "library": record.name}
    if record.name == SPEAKS:
        said["says"] = record.getMessage()
    elif "program" in said.values() or said["event"] == "library":
        said["at"] = f"{record.module}:{record.lineno}"
    if record.exc_info and record.exc_info[1]:
        said["faults"] = faults(record.exc_info[1])
    return said


def faults(fault: BaseException) -> list[dict[str, Any]]:
    """Return an exception and what it came from: of each its kind and where it was, no words."""
    found, seen = [], set()
    there: BaseException | None = fault
    while there is not None and id(there) not in seen:
        seen.add(id(there))
        found.append({"kind": _kind(there), "at": _places(there.__traceback__)})
        there = there.__cause__ or (None if there.__suppress_context__ else there.__context__)
    return found


CODES = ("sqlstate", "sqlite_errorname", "errno")
"""What names the reason of a fault of the database or the operating system, and no value."""


def _kind(fault: BaseException) -> str:
    kind = type(fault)
    name = kind.__qualname__ if kind.__module__ == "builtins" else (
        f"{kind.__module__}.{kind.__qualname__}")
    codes = [str(code) for code in (getattr(fault, one, None) for one in CODES) if code]
    return " ".join([name, *codes])


def _places(traceback: TracebackType | None) -> list[str]:
    """Return the way to a fault, the last call last, as file:line function."""
    return [
        f"{'/'.join(PurePath(frame.f_code.co_filename).parts[-3:])}:{line} {frame.f_code.co_name}"
        for frame, line in walk_tb(traceback)
    ]


class AsJson(logging.Formatter):
    """A line as one JSON object."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        return json.dumps(fields_of(record), ensure_ascii=False)


class AsText(logging.Formatter):
    """A line as people read it; a fault takes further lines."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line, or lines."""
        said = fields_of(record)
        found = said.pop("faults", [])
        moment, level, event = said.pop("time"), said.pop("level"), said.pop("event")
        words = [f"{moment[:19].replace('T', ' ')}Z", level, event]
        words += [f"{name}={value}" for name, value in said.items()]
        lines = [" ".join(words)]
        for one in found:
            lines += [f"  {one['kind']}", *(f"    {place}" for place in one["at"])]
        return "\n".join(lines)
