"""``greaseroute schema``: the JSON Schema of ``round.json``."""

import argparse
import json
from typing import Any

HELP = "print the JSON Schema of round.json"
DIALECT = "https://json-schema.org/draft/2020-12/schema"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """No options of its own."""
    del parser


def round_schema() -> dict[str, Any]:
    """The schema of the plan record, JSON Schema draft 2020-12."""
    from greaseroute.rounds.plan import RoundPlan

    return {"$schema": DIALECT, **RoundPlan.model_json_schema(mode="serialization")}


def run(args: argparse.Namespace) -> int:
    """Print the schema."""
    del args
    print(json.dumps(round_schema(), indent=2, ensure_ascii=False))
    return 0
