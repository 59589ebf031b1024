"""The card: one self-contained HTML page for the phone and for paper."""

import base64
import hashlib
from collections.abc import Sequence
from typing import Any

from jinja2 import Template
from markupsafe import Markup

from greaseroute.cards.card_model import WalkBlock, walk_blocks
from greaseroute.cards.card_record import record_data
from greaseroute.cards.card_stops import minded, stops_data
from greaseroute.cards.card_words import CardWords
from greaseroute.cards.cautions import AID, general_cautions, own_cautions, sources
from greaseroute.cards.emergency import emergency
from greaseroute.cards.leaving import leaving
from greaseroute.cards.lonlat import plane_of_phone
from greaseroute.cards.pages import environment, part
from greaseroute.drawings import drawing, leg_svg, map_svg
from greaseroute.plan.round import RoundPlan
from greaseroute.plan.tally import left_by_reason
from greaseroute.plan.words import certificate
from greaseroute.site.model import Site

SCRIPTS = ("record.js", "qr.js", "say.js", "row.js", "parts.js", "viewer.js", "card.js", "open.js")
"""What was ticked and what is made of it; the code; the page. One script, run in this order."""


def card_html(
    plan: RoundPlan,
    site: Site,
    *,
    drawn_map: str | None = None,
    walks: Sequence[WalkBlock] | None = None,
) -> str:
    """The card of a plan. The same plan and site give the same bytes.

    The page loads nothing; its policy lets run only the script it carries. Every name from the
    site is escaped, and data for the script stands in a block that is never run. ``drawn_map`` is
    the map of `map_svg`, ``walks`` are the blocks of `walk_blocks`, if they are there already.
    """
    script = "".join(map(part, SCRIPTS))
    words = CardWords(site.say)
    blocks = walks or walk_blocks(plan, site)
    return card_template().render(
        plan=plan,
        walks=blocks,
        map=Markup(drawn_map or map_svg.map_svg(site, plan)),
        style=Markup(part("card_screen.css") + drawing.STYLE + leg_svg.STYLE),
        script=Markup(script),
        script_hash=_sha256(script),
        data={**record_data(plan, site), **_places(site), **_words(words), **_stops(blocks, site)},
        tick_isolation=site.rules.tick_isolation_steps,
        minded=minded,
        said=words.said,
        told=words.told,
        named=words.named,
        names=words.names,
        lang=words.code,
        aid=AID,
        cautions=general_cautions(),
        sources=sources(plan, site.time_zone),
        plan_cautions=own_cautions(plan.cautions),
        emergency=emergency(plan, site.say),
        leaving=leaving(plan, site.say),
        left=left_by_reason(plan),
        certificate=certificate(plan.bound),
    )


def _places(site: Site) -> dict[str, Any]:
    """How the page finds a place of the site on its map, and the phone's own where it can."""
    view, _ = map_svg.map_view(site.ground.boundary)
    x, y = view.origin
    seen = {"left_m": view.left_m, "top_m": view.top_m, "scale": view.scale, "x": x, "y": y}
    return {"map": seen, "geo": plane_of_phone(site)}


def _stops(walks: Sequence[WalkBlock], site: Site) -> dict[str, Any]:
    """The stops in short, and whether each step of an isolation is ticked."""
    return {"ways": stops_data(walks), "tick_isolation": site.rules.tick_isolation_steps}


def _words(words: CardWords) -> dict[str, Any]:
    return {"words": words.fixed(), "language": words.code}


def card_template() -> Template:
    """The page without its contents, compiled once."""
    return environment().get_template("card.html.j2")


def _sha256(script: str) -> str:
    """The hash by which the page's policy knows its own script (CSP level 3)."""
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
