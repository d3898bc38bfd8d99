"""Solve the tridiagonal system of one column."""

from soilwater.kernels.cache import kernel
from soilwater.kernels.rows import CHANGE, DIAGONAL, LOWER, RESIDUAL, UPPER


@kernel
def solve(work):
    """Solve for the change of heads: matrix * change = -residual (overwrites the diagonal).

    From both ends towards the middle: two chains of divisions, neither of which waits for the
    other.
    """
    lower, diagonal, upper = work[LOWER], work[DIAGONAL], work[UPPER]
    residual, change = work[RESIDUAL], work[CHANGE]
    last = change.size - 1
    middle = (last + 1) // 2
    inverse_above, inverse_below, upper_above, lower_below = 0.0, 0.0, 0.0, 0.0
    change_above, change_below = 0.0, 0.0
    for i in range(middle):
        # The product first: what waits for a division is then one sum, and the next division.
        inverse_above = 1.0 / (diagonal[i] - lower[i] * upper_above * inverse_above)
        upper_above = upper[i]
        change_above = -(residual[i] + lower[i] * change_above) * inverse_above
        diagonal[i], change[i] = upper_above * inverse_above, change_above
        j = last - i
        if j > middle:
            inverse_below = 1.0 / (diagonal[j] - upper[j] * lower_below * inverse_below)
            lower_below = lower[j]
            change_below = -(residual[j] + upper[j] * change_below) * inverse_below
            diagonal[j], change[j] = lower_below * inverse_below, change_below
    upper_above, lower_below = upper_above * inverse_above, lower_below * inverse_below
    above, below = lower[middle], upper[middle]
    change_above = change_below = -(
        residual[middle] + above * change_above + below * change_below
    ) / (diagonal[middle] - above * upper_above - below * lower_below)
    change[middle] = change_above
    for i in range(1, middle + 1):
        change_above = change[middle - i] - diagonal[middle - i] * change_above
        change[middle - i] = change_above
        if middle + i <= last:
            change_below = change[middle + i] - diagonal[middle + i] * change_below
            change[middle + i] = change_below
