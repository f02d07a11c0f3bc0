"""The donning-room command.

The module of a command is imported when it is run, and each imports what it needs then, so that
`--help` and `--version` are quick, and so that arithmetic needs neither the pages nor the record.
"""

import sys

__all__ = ["commands", "main"]


def main() -> None:
    """Run the donning-room command."""
    match sys.argv[1:]:
        # Without an option there is nothing that click would read, and it takes as long to import
        # as the arithmetic.
        case ["calculate", *given] if given and not any(one.startswith("-") for one in given):
            from trainer.cli import working

            sys.exit(working.run(given[0], given[1:]))
    from trainer.cli.command import commands

    commands(prog_name="donning-room")


def __getattr__(name: str) -> object:
    """Return `commands`, for whoever runs a command inside a process of their own."""
    if name != "commands":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from trainer.cli.command import commands

    return commands
