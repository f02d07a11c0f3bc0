"""Set one document in a process of its own.

Typst keeps what it worked out until its process ends, so that many documents, one after another,
would take more and more memory.
"""

import json
import subprocess
import sys
from typing import Any

from trainer.running import turns


def pdf_apart(template: str, values: dict[str, Any]) -> bytes:
    """Return what `pdf` returns, made where its memory is given back.

    Errors: RuntimeError with what Typst says where it refuses.
    """
    with turns.waiting():
        # Our own module, and no word of anybody in the command.
        done = subprocess.run(  # noqa: S603  # nosec B603
            [sys.executable, "-m", "trainer.documents", template],
            input=json.dumps(values).encode(),
            capture_output=True,
            check=False,
        )
    if done.returncode:
        raise RuntimeError(done.stderr.decode(errors="replace")[-2000:])
    return done.stdout

