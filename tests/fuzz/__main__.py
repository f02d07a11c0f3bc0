"""Run the long form."""

import os
import sys

import pytest

if __name__ == "__main__":
    os.environ["FUZZ_LONG"] = "yes"
    sys.exit(pytest.main(["-n", "0", "-x", "tests/fuzz", *sys.argv[1:]]))
