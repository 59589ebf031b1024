"""Every file of a round by its name, as bytes."""

from collections.abc import Callable, Iterable

from greaseroute.cards.calls_ics import calls_ics
from greaseroute.cards.geojson import walk_geojson
from greaseroute.cards.gpx import walk_gpx
from greaseroute.cards.html import card_html
from greaseroute.cards.paper import card_pdf
from greaseroute.cards.pumps_csv import ENCODING, pumps_csv
from greaseroute.cards.pumps_xlsx import pumps_xlsx, xlsx_ready
from greaseroute.cards.typesetter import pdf_ready
from greaseroute.drawings.map_svg import map_svg
from greaseroute.drawings.png import png_ready, svg_to_png
from greaseroute.errors import UnknownName
from greaseroute.plan.round import RoundPlan
from greaseroute.site.lonlat import lonlat_of
from greaseroute.site.model import Site

Made = Callable[[RoundPlan, Site], bytes]


def _geojson(plan: RoundPlan, site: Site) -> bytes:
    return walk_geojson(plan, to_lonlat=lonlat_of(site)).encode()


def _gpx(plan: RoundPlan, site: Site) -> bytes:
    to_lonlat = lonlat_of(site)
    assert to_lonlat is not None
    return walk_gpx(plan, to_lonlat=to_lonlat).encode()


def _json(plan: RoundPlan, _: Site) -> bytes:
    return (plan.model_dump_json(indent=1) + "\n").encode()


MADE: dict[str, tuple[str, Made]] = {
    "json": ("round.json", _json),
    "html": ("card.html", lambda plan, site: card_html(plan, site).encode()),
    "pdf": ("card.pdf", card_pdf),
    "csv": ("pumps.csv", lambda plan, _: pumps_csv(plan).encode(ENCODING)),
    "xlsx": ("pumps.xlsx", lambda plan, _: pumps_xlsx(plan)),
    "ics": ("calls.ics", lambda plan, site: calls_ics(plan, site).encode()),
    "svg": ("map.svg", lambda plan, site: map_svg(site, plan).encode()),
    "geojson": ("walk.geojson", _geojson),
    "gpx": ("walk.gpx", _gpx),
    "png": ("map.png", lambda plan, site: svg_to_png(map_svg(site, plan))),
}


def formats_for(site: Site) -> tuple[str, ...]:
    """Formats that can be written for a site on this machine.

    GPX asks for a site in lon/lat or on a grid, PNG, PDF and XLSX for the extras of their name.
    """
    missing = {"gpx"} if lonlat_of(site) is None else set()
    missing |= set() if png_ready() else {"png"}
    missing |= set() if pdf_ready() else {"pdf"}
    missing |= set() if xlsx_ready() else {"xlsx"}
    return tuple(name for name in MADE if name not in missing)


def round_files(
    plan: RoundPlan, site: Site, formats: Iterable[str] | None = None
) -> dict[str, bytes]:
    """The files of a plan by name, in the ``formats`` asked for (None: all that can be had).

    Raises
    ------
    UnknownName
        A format that there is not, or not for this site.
    """
    able = formats_for(site)
    chosen = able if formats is None else tuple(formats)
    for name in chosen:
        if name not in able:
            raise UnknownName(
                "format", repr(name), limit=", ".join(able), next_step="name some of these"
            )
    return {MADE[name][0]: MADE[name][1](plan, site) for name in chosen}
