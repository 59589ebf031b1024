"""``python -m greaseroute``."""

import sys

from greaseroute.cli.main import entry

if __name__ == "__main__":
    sys.exit(entry())
