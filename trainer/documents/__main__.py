"""`python -m trainer.documents record < values > pdf`: one document, and then the process ends."""

import json
import sys

from trainer.documents.pdf import pdf

if __name__ == "__main__":
    sys.stdout.buffer.write(pdf(sys.argv[1], json.load(sys.stdin.buffer)))
