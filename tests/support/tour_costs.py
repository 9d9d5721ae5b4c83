"""What an order of stops costs."""

import numpy as np


def tour_cost(cost, order, *, closed):
    """Sum the costs of an order, with the way back from last to first when it is closed."""
    matrix, stops = np.asarray(cost, dtype=np.float64), np.asarray(order, dtype=np.int64)
    after = np.append(stops[1:], stops[:1]) if closed else stops[1:]
    return float(matrix[stops[: len(after)], after][stops[: len(after)] != after].sum())
