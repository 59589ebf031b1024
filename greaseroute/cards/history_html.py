"""The page of one machine's past: one self-contained HTML file."""

from markupsafe import Markup

from greaseroute.cards.pages import environment, page_style
from greaseroute.drawings.history_svg import STYLE, history_svg
from greaseroute.plan.history import UnitPast

ONE_PAGE = (
    "@page{size:A4;margin:9mm}.history svg{max-width:100%}@media print{body{font-size:7.5pt;"
    "line-height:1.2}h1{font-size:14pt;margin:0}h2{font-size:9.5pt;margin:1.5mm 0 .5mm}"
    ".history svg{max-height:88mm}.two{columns:2;column-gap:6mm}.figures{gap:1mm;margin:1mm 0;"
    "grid-template-columns:repeat(5,1fr)}.figures b{font-size:9pt}.tight td{padding:.2mm .6mm}}"
)


def history_html(past: UnitPast) -> str:
    """The page of a unit. The same past gives the same bytes; nothing is loaded."""
    return (
        environment()
        .get_template("history.html.j2")
        .render(
            past=past, plot=Markup(history_svg(past)), style=Markup(page_style() + STYLE + ONE_PAGE)
        )
    )
