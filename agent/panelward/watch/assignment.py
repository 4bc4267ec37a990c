"""The assignment of least cost: each row one column, each column one row. O(n³), deterministic.

Shortest augmenting paths with potentials (Jonker and Volgenant, Computing 38, 1987, 325-340). Standard library alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf


def assigned(cost: Sequence[Sequence[float]]) -> list[int]:
    """The column of each row of a square matrix, so that the sum is least. Costs are finite."""
    n = len(cost)
    of_row = [0.0] * (n + 1)  # potentials; place n stands for "none yet"
    of_column = [0.0] * (n + 1)
    row_at = [n] * (n + 1)  # which row a column has; column n holds the row that looks for one
    for row in range(n):
        row_at[n] = row
        column = n
        least = [inf] * n
        came_from = [n] * n
        used = [False] * (n + 1)
        while row_at[column] != n:
            used[column] = True
            here = row_at[column]
            costs, base = cost[here], of_row[here]
            step, following = inf, n
            for j in range(n):
                if used[j]:
                    continue
                reduced = costs[j] - base - of_column[j]
                if reduced < least[j]:
                    least[j], came_from[j] = reduced, column
                if least[j] < step:
                    step, following = least[j], j
            for j in range(n + 1):
                if used[j]:
                    of_row[row_at[j]] += step
                    of_column[j] -= step
                elif j < n:
                    least[j] -= step
            column = following
        while column != n:
            before = came_from[column]
            row_at[column] = row_at[before]
            column = before
    columns = [n] * n
    for j in range(n):
        columns[row_at[j]] = j
    return columns
