"""Run the long form."""

import os
import subprocess
import sys

if __name__ == "__main__":
    # In a process of its own: pytest wants to be there before this package's own imports.
    # A long text is what is meant here, and no reason to stop.
    command = [sys.executable, "-m", "pytest", "-n", "0", "-x", "tests/fuzz",
               "-W", "ignore:Generating overly large repr", *sys.argv[1:]]
    sys.exit(subprocess.run(command, env=os.environ | {"FUZZ_LONG": "yes"}).returncode)
