"""The most memory that this process has had."""

import resource
import sys
from pathlib import Path


def peak() -> int:
    """Return the peak of this process in KiB.

    Linux hands `ru_maxrss` on from whoever started the process, so there the process's own peak is
    asked for; macOS counts in bytes.
    """
    status = Path("/proc/self/status")
    if status.exists():
        lines = status.read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM:"))
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most // 1024 if sys.platform == "darwin" else most
