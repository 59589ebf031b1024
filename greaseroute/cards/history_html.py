"""The page of one machine's past: one self-contained HTML file."""

from markupsafe import Markup

from greaseroute.cards.week_html import page_environment, page_style
from greaseroute.drawings.history_svg import STYLE, history_svg
from greaseroute.plan.history import UnitPast

ONE_PAGE = (
    "@page{size:A4;margin:10mm}.history svg{max-width:100%}"
    "@media print{body{font-size:8pt}.history svg{max-height:95mm}h2{margin:.6rem 0 .2rem}}"
)


def history_html(past: UnitPast) -> str:
    """The page of a unit. The same past gives the same bytes; nothing is loaded."""
    return (
        page_environment()
        .get_template("history.html.j2")
        .render(
            past=past, plot=Markup(history_svg(past)), style=Markup(page_style() + STYLE + ONE_PAGE)
        )
    )
