"""``python -m greaseroute``."""

from greaseroute.cli.main import program

if __name__ == "__main__":
    program()
