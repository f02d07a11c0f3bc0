"""The donning-room command.

Each command imports what it needs when it runs, so that `--help` and `--version` are quick,
and so that arithmetic needs neither the pages nor the record.
"""

from trainer.cli import content, figures, record, serving
from trainer.cli.command import commands

__all__ = ["commands", "content", "figures", "main", "record", "serving"]


def main() -> None:
    """Run the donning-room command."""
    commands(prog_name="donning-room")
