"""``greaseroute warm-up``: compile the inner loops now, so that no round waits for them."""

import argparse
import json

from greaseroute.cli.kernels import check_environment, ready_kernels
from greaseroute.cli.options import add_options
from greaseroute.cli.progress import progress_for

HELP = "compile the inner loops once, or take away what is kept"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Whether to compile or to clear."""
    add_options(parser, "cores", "format")
    parser.add_argument(
        "--clear", action="store_true", help="take away all compiled code that is kept"
    )


def run(args: argparse.Namespace) -> int:
    """Compile what is missing, or clear; says what lies where."""
    if args.clear:
        return _clear(args)
    number, folder = _warm_up(args)
    if args.format == "json":
        print(json.dumps({"kernels": number, "folder": folder}, indent=1))
    elif folder is None:
        print("Nothing can be kept: no folder of this user can be written to.")
    else:
        print(f"{number} inner loops are kept in {folder}.")
    return 0 if folder is not None else 1


def _clear(args: argparse.Namespace) -> int:
    from greaseroute.kernel_cache import clear

    cleared = [str(folder) for folder in clear()]
    if args.format == "json":
        print(json.dumps({"cleared": cleared}, indent=1))
    else:
        print("\n".join(f"Taken away: {folder}" for folder in cleared) or "Nothing was kept.")
    return 0


def _warm_up(args: argparse.Namespace) -> tuple[int, str | None]:
    """How many entry points there are, and the folder that keeps them, None where none can."""
    check_environment()
    import greaseroute.warm_up  # noqa: F401 (all kernels are known once it is loaded)
    from greaseroute.kernel_cache import cache_folder, can_keep, kernels

    with progress_for(args) as progress:
        ready_kernels(progress)
    return len(kernels()), str(cache_folder()) if can_keep() else None
