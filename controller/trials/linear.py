"""Small systems of linear equations. What may live here: solving them."""

from collections.abc import Sequence

Matrix = list[list[float]]


class SingularError(ArithmeticError):
    """Equations that have no one solution."""


def inverse(matrix: Sequence[Sequence[float]]) -> Matrix:
    """Return the inverse of a square matrix (Gauss and Jordan, largest pivots).

    Raises:
        SingularError: It has none, as far as numbers can tell.
    """
    size = len(matrix)
    rows = [
        [*map(float, row), *(float(n == m) for m in range(size))]
        for n, row in enumerate(matrix)
    ]
    largest = max((abs(x) for row in matrix for x in row), default=0.0)
    for n in range(size):
        pivot = max(range(n, size), key=lambda m: abs(rows[m][n]))
        if not abs(rows[pivot][n]) > 1e-13 * largest:
            raise SingularError("the equations have no one solution")
        rows[n], rows[pivot] = rows[pivot], rows[n]
        rows[n] = [x / rows[n][n] for x in rows[n]]
        for m in range(size):
            if m != n and rows[m][n]:
                times = rows[m][n]
                rows[m] = [x - times * y for x, y in zip(rows[m], rows[n], strict=True)]
    return [row[size:] for row in rows]


def times(matrix: Sequence[Sequence[float]], vector: Sequence[float]) -> list[float]:
    """Return a matrix times a vector."""
    return [sum(x * y for x, y in zip(row, vector, strict=True)) for row in matrix]
