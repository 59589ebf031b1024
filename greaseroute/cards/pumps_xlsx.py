"""The pump list as a spreadsheet (Office Open XML), where the extra ``xlsx`` is installed."""

import io
from datetime import datetime
from importlib.util import find_spec

from greaseroute.cards.pumps_csv import COLUMNS, NUMBERS, pump_rows
from greaseroute.errors import UnknownName
from greaseroute.plan.round import RoundPlan

WIDE = {"before": 40, "why": 40, "joint": 26, "type": 22, "grease": 22}
USUAL_WIDTH = 11


def xlsx_ready() -> bool:
    """Whether spreadsheets can be written."""
    return find_spec("xlsxwriter") is not None


def pumps_xlsx(plan: RoundPlan) -> bytes:
    """One row for each fitting as in `pumps_csv`; figures are figures, the head stays in sight.

    The same plan gives the same bytes. Raises UnknownName where the extra is not installed.
    """
    if not xlsx_ready():
        raise UnknownName(
            "format", "'xlsx'", limit="with the extra xlsx", next_step="pip install "
            "greaseroute[xlsx]"
        )  # fmt: skip
    import xlsxwriter  # an extra

    made = io.BytesIO()
    # Texts of a plan are texts: nothing in them becomes a formula or an address to follow.
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    book = xlsxwriter.Workbook(made, options)
    book.set_properties({"title": plan.site, "created": datetime(2000, 1, 1)})
    sheet, bold = book.add_worksheet("pumps"), book.add_format({"bold": True})
    sheet.write_row(0, 0, COLUMNS, bold)
    rows = list(pump_rows(plan))
    for number, row in enumerate(rows, 1):
        for column, (name, value) in enumerate(zip(COLUMNS, row, strict=True)):
            if name in NUMBERS:
                sheet.write_number(number, column, float(str(value)))
            else:
                sheet.write_string(number, column, str(value))
    for column, name in enumerate(COLUMNS):
        sheet.set_column(column, column, WIDE.get(name, USUAL_WIDTH))
    sheet.freeze_panes(1, 3)
    sheet.autofilter(0, 0, len(rows), len(COLUMNS) - 1)
    book.close()
    return made.getvalue()
