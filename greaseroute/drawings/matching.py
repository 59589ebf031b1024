"""The cheapest matching of rows to columns, by shortest augmenting paths.

After Jonker and Volgenant 1987 in the form of Crouse 2016: rows are put in one by one, each along
the path that adds the least. Small tables only; a library would take longer to load than this.
"""

import math
from collections.abc import Sequence

Table = Sequence[Sequence[float]]


def cheapest_matching(cost: Table) -> list[int]:
    """The column of each row, all different, so that the sum of costs is least.

    ``cost`` has at least as many columns as rows and is finite.
    """
    columns = len(cost[0]) if cost else 0
    row_price, column_price = [0.0] * len(cost), [0.0] * columns
    row_of = [-1] * columns
    for row in range(len(cost)):
        least, before, done, end = _shortest(
            cost, row, prices=(row_price, column_price), row_of=row_of
        )
        total = least[end]
        row_price[row] += total
        for j in done:
            gain = total - least[j]
            if row_of[j] >= 0 and j != end:
                row_price[row_of[j]] += gain
            column_price[j] -= gain
        _shift(row_of, before, row=row, end=end)
    column_of = {i: j for j, i in enumerate(row_of) if i >= 0}
    return [column_of[i] for i in range(len(cost))]


def _shortest(
    cost: Table, row: int, *, prices: tuple[list[float], list[float]], row_of: list[int]
) -> tuple[list[float], list[int], list[int], int]:
    """Least added cost to each column, the row before it, columns settled, and the free one."""
    row_price, column_price = prices
    least, before = [math.inf] * len(row_of), [-1] * len(row_of)
    open_, done = list(range(len(row_of))), []
    spent, i = 0.0, row
    while True:
        part, own = cost[i], spent - row_price[i]
        for j in open_:
            reached = own + part[j] - column_price[j]
            if reached < least[j]:
                least[j], before[j] = reached, i
        end = min(open_, key=lambda j: (least[j], row_of[j] >= 0))
        spent = least[end]
        open_.remove(end)
        done.append(end)
        if row_of[end] < 0:
            return least, before, done, end
        i = row_of[end]


def _shift(row_of: list[int], before: Sequence[int], *, row: int, end: int) -> None:
    """Give each row on the path the column after it."""
    column_of = {i: j for j, i in enumerate(row_of) if i >= 0}
    while True:
        i = before[end]
        row_of[end] = i
        if i == row:
            return
        end = column_of[i]
