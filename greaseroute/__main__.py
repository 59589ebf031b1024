"""The program: ``greaseroute`` and ``python -m greaseroute``."""

from typing import NoReturn

from greaseroute.cli.interrupt import leave_on_interrupt, open_standard_streams


def program() -> NoReturn:
    """Run the command line of this process and leave with its exit code."""
    leave_on_interrupt()
    open_standard_streams()
    from greaseroute.cli.main import run_and_leave  # only now: Ctrl-C is heeded while it loads

    run_and_leave()


if __name__ == "__main__":
    program()
