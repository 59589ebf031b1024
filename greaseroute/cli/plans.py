"""A plan read back from its round.json."""

from pathlib import Path

from greaseroute.errors import BadInput
from greaseroute.plan.round import RoundPlan
from greaseroute.replan.so_far_file import read_earlier
from greaseroute.site.model import Site
from greaseroute.texts.text_file import read_text


def read_plan(path: Path, site: Site) -> RoundPlan:
    """The plan in a ``round.json`` of this site. Raises BadInput."""
    text, faults = read_text(path.parent, path.name)
    plan = None
    if text is not None:
        plan, faults = read_earlier(text, path.as_posix(), site)
    if plan is None:
        raise BadInput(path.as_posix(), faults)
    return plan
