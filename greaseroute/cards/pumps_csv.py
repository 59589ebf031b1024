"""The pump list as CSV (RFC 4180) that a spreadsheet opens as it is."""

import csv
import io
from collections.abc import Iterator

from greaseroute.plan.round import FittingTask, RoundPlan, StandVisit, Stop, TechnicianPlan
from greaseroute.plan.tally import NumberedStop, numbered

COLUMNS = (
    *("technician", "no", "stop", "unit", "type", "arrive", "stand", "x_m", "y_m", "height_m"),
    *("deck", "posture", "before", "joint", "fitting", "strokes", "grease", "gun", "dose_cm3"),
    *("cartridges_put_in_before", "head", "body", "why"),
)
ENCODING = "utf-8-sig"  # the mark at the front tells spreadsheets that it is UTF-8


def pumps_csv(plan: RoundPlan) -> str:
    """One row for each fitting, in the order pumped; CRLF line ends; write it as `ENCODING`."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for technician, stops in numbered(plan):
        writer.writerows(_rows(technician, stops))
    return text.getvalue()


def _rows(technician: TechnicianPlan, stops: tuple[NumberedStop, ...]) -> Iterator[list[object]]:
    number = 0
    for numbered_stop in stops:
        for stand_no, stand in enumerate(numbered_stop.stop.stands, 1):
            for task in stand.fittings:
                number += 1
                head = [_plain(technician.name), number, numbered_stop.label]
                head += _stop_cells(numbered_stop.stop)
                yield [*head, stand_no, *_stand_cells(stand), *_task_cells(task)]


def _stop_cells(stop: Stop) -> list[str]:
    return [_plain(stop.unit), _plain(stop.type), stop.arrive]


def _stand_cells(stand: StandVisit) -> list[object]:
    place = [f"{stand.x_m:.2f}", f"{stand.y_m:.2f}", f"{stand.height_m:.2f}"]
    words = [stand.deck or "", stand.posture, "; ".join(stand.before)]
    return [*place, *map(_plain, words)]


def _task_cells(task: FittingTask) -> list[object]:
    return [
        *map(_plain, (task.joint, task.fitting)),
        task.strokes,
        *map(_plain, (task.grease, task.gun)),
        f"{task.dose_cm3:.2f}",
        task.put_in,
        *map(_plain, (task.head, task.band, task.why)),
    ]


def _plain(text: str) -> str:
    """Text that a spreadsheet cannot take for a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
