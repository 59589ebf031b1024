"""The pump list as CSV (RFC 4180) that a spreadsheet opens as it is."""

import csv
import io
import re
from collections.abc import Iterator

from greaseroute.plan.round import FittingTask, RoundPlan, StandVisit, Stop, TechnicianPlan
from greaseroute.plan.tally import NumberedStop, numbered

COLUMNS = (
    *("technician", "no", "stop", "unit", "type", "arrive", "stand", "x_m", "y_m", "height_m"),
    *("deck", "posture", "before", "joint", "fitting", "strokes", "grease", "gun", "dose_cm3"),
    *("cartridges_put_in_before", "head", "body", "why"),
)
NUMBERS = frozenset(
    ("no", "stand", "x_m", "y_m", "height_m", "strokes", "dose_cm3", "cartridges_put_in_before")
)
FORMULA_HEAD = re.compile(r"(^|;\s*)(?=[=+\-@\t\r])")
ENCODING = "utf-8-sig"  # the mark at the front tells spreadsheets that it is UTF-8


def pumps_csv(plan: RoundPlan) -> str:
    """One row for each fitting, in the order pumped; CRLF line ends; write it as `ENCODING`."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for row in pump_rows(plan):
        named = zip(COLUMNS, row, strict=True)
        writer.writerow([value if name in NUMBERS else _plain(str(value)) for name, value in named])
    return text.getvalue()


def pump_rows(plan: RoundPlan) -> Iterator[list[object]]:
    """The cells of each row as `COLUMNS` names them; those of `NUMBERS` are figures."""
    for technician, stops in numbered(plan):
        yield from _rows(technician, stops)


def _rows(technician: TechnicianPlan, stops: tuple[NumberedStop, ...]) -> Iterator[list[object]]:
    number = 0
    for numbered_stop in stops:
        for stand_no, stand in enumerate(numbered_stop.stop.stands, 1):
            for task in stand.fittings:
                number += 1
                head = [technician.name, number, numbered_stop.label]
                head += _stop_cells(numbered_stop.stop)
                yield [*head, stand_no, *_stand_cells(stand), *_task_cells(task)]


def _stop_cells(stop: Stop) -> list[str]:
    return [stop.unit, stop.type, stop.arrive]


def _stand_cells(stand: StandVisit) -> list[object]:
    place = [f"{stand.x_m:.2f}", f"{stand.y_m:.2f}", f"{stand.height_m:.2f}"]
    return [*place, stand.deck or "", stand.posture, "; ".join(stand.before)]


def _task_cells(task: FittingTask) -> list[object]:
    return [
        *(task.joint, task.fitting, task.strokes, task.grease, task.gun),
        *(f"{task.dose_cm3:.2f}", task.put_in, task.head, task.band, task.why),
    ]


def _plain(text: str) -> str:
    """Text that a spreadsheet cannot take for a formula, wherever it parts the cells.

    Where the list separator is a semicolon, what follows one in a text may begin a cell.
    """
    return FORMULA_HEAD.sub(r"\1'", text)
