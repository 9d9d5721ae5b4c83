"""Relief of the dry land before the dam: random fields, and a drainage network that carves itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy import fft, ndimage, sparse
from scipy.sparse import csgraph
from scipy.spatial import Delaunay, cKDTree

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

# Concavity of river profiles, slope = k * area ** -THETA; 0.4-0.6 is the usual range (common practice).
THETA = 0.46
STEEPEST = 0.1  # slope of the valley sides, as rise over run
LEAST_SLOPE = 0.0025  # of the main river: it climbs some 20 m over the length of the lake
MESH_M = 48.0  # spacing of the drainage mesh


class Land(NamedTuple):
    """Irregular mesh of points with the height of the land and the way the water leaves each."""

    xy: Floats  # (n, 2), metres from the lower left corner
    height_m: Floats  # (n,) above the outlet
    receiver: Ints  # (n,) point the water goes to; the outlet names itself
    area_m2: Floats  # (n,) drained through the point
    mesh: Delaunay


def noise_field(
    rng: np.random.Generator,
    shape: tuple[int, int],
    cell_m: float,
    *,
    longest_m: float,
    shortest_m: float,
    roughness: float = 1.0,
) -> NDArray[np.float32]:
    """Make a random field of many scales at once.

    Parameters
    ----------
    rng
        Source of chance.
    shape
        Rows and columns of the field.
    cell_m
        Cell size.
    longest_m, shortest_m
        Longest and shortest wavelength in the field.
    roughness
        Power by which the amplitude grows with the wavelength: 0 is noise alike at every scale, 1 the look of land.

    Returns
    -------
    Field of mean 0 and standard deviation 1.

    Notes
    -----
    Spectral synthesis: white noise, filtered by a power law in the frequency domain. The field would wrap
    round at its edges, so it is made larger by one longest wavelength (at most as much again) and cut.
    """
    # A field without short waves is made on larger cells and enlarged.
    coarser = max(1, int(shortest_m / cell_m / 5.0))
    step_m = cell_m * coarser
    need = [-(-n // coarser) + 4 for n in shape]
    rows, cols = (fft.next_fast_len(n + min(n, int(longest_m / step_m)), real=True) for n in need)
    spectrum = fft.rfft2(rng.standard_normal((rows, cols), dtype=np.float32))
    frequency = np.hypot(fft.fftfreq(rows, step_m)[:, None], fft.rfftfreq(cols, step_m)[None, :])
    kept = (frequency >= 1.0 / longest_m) & (frequency <= 1.0 / shortest_m)
    weight = np.zeros(frequency.shape, dtype=np.float32)
    weight[kept] = frequency[kept] ** -(1.0 + roughness)
    field = fft.irfft2(spectrum * weight, s=(rows, cols))[: need[0], : need[1]]
    if coarser > 1:
        field = ndimage.zoom(field, coarser, order=3, grid_mode=True, mode="nearest")
    field = field[: shape[0], : shape[1]]
    return np.asarray((field - field.mean()) / field.std(), dtype=np.float32)


def field_at(field: NDArray[np.float32], cell_m: float, xy: Floats) -> Floats:
    """Read a field (row 0 at the south edge) at points in metres from its lower left corner."""
    index = np.stack([xy[:, 1], xy[:, 0]]) / cell_m - 0.5
    return np.asarray(ndimage.map_coordinates(field, index, order=1, mode="nearest"), dtype=np.float64)


def _mesh(rng: np.random.Generator, width_m: float, height_m: float) -> Delaunay:
    """Jitter points, so that no direction is favoured as it would be on a square grid; a frame lies outside."""
    x, y = (np.arange(-MESH_M, size + 1.5 * MESH_M, MESH_M) for size in (width_m, height_m))
    x, y = np.meshgrid(x, y)
    xy = np.column_stack([x.ravel(), y.ravel()])
    return Delaunay(xy + rng.uniform(-0.42, 0.42, xy.shape) * MESH_M)


def drained_area(receiver: Ints, own_m2: Floats) -> Floats:
    """Sum what every point drains, by doubling the stride of the way down (log2 of its length in rounds)."""
    n = receiver.size
    # One more point, the sink, swallows what has passed the outlet.
    jump = np.append(np.where(receiver == np.arange(n), n, receiver), n)
    total = np.append(own_m2, 0.0)
    while not np.all(jump == n):
        total = total + np.bincount(jump, weights=total, minlength=n + 1)
        total[n] = 0.0
        jump = jump[jump]
    return total[:n]


def path_down(receiver: Ints, start: int) -> Ints:
    """List the points water passes from a start to the outlet."""
    way = [start]
    while (below := int(receiver[way[-1]])) != way[-1]:
        way.append(below)
    return np.array(way, dtype=np.int64)


def carve_land(
    rng: np.random.Generator,
    width_m: float,
    height_m: float,
    *,
    outlet: tuple[float, float],
    inlet: tuple[float, float],
    inflow_m2: float,
    ridge_x_m: float,
    rounds: int = 14,
) -> Land:
    """Let rivers find their valleys.

    Parameters
    ----------
    rng
        Source of chance.
    width_m, height_m
        Size of the land.
    outlet, inlet
        Where the main river leaves and enters.
    inflow_m2
        Catchment of the river above the inlet.
    ridge_x_m
        Where a ridge of hard rock runs from south to north.
    rounds
        How often water and slope are brought into balance.

    Returns
    -------
    The carved land.

    Notes
    -----
    Slope falls with drained area (Flint's law). The height of a point is then the cheapest way to the outlet,
    each step costing its slope; the cheapest ways gather into rivers, more area lowers their slope, and so on
    until the network settles. Hard and soft rock (a random field) keeps the rivers from running straight.
    """
    mesh = _mesh(rng, width_m, height_m)
    xy = mesh.points
    a, b = np.unique(
        np.sort(np.vstack([mesh.simplices[:, p] for p in ([0, 1], [1, 2], [2, 0])]), axis=1), axis=0
    ).T
    length_m = np.hypot(*(xy[a] - xy[b]).T)
    length_m = np.where(length_m > 4 * MESH_M, length_m * 1e3, length_m)  # slivers along the hull
    coarse = 60.0
    shape = (int(height_m / coarse) + 1, int(width_m / coarse) + 1)
    massifs = noise_field(rng, shape, coarse, longest_m=4500.0, shortest_m=1500.0, roughness=0.3)
    rock = noise_field(rng, shape, coarse, longest_m=1500.0, shortest_m=150.0, roughness=0.35)
    hardness = np.exp(0.75 * field_at(massifs, coarse, xy) + 0.45 * field_at(rock, coarse, xy))
    hardness *= np.exp(0.2 * rng.standard_normal(len(xy)))
    # A hard ridge before the outlet: side valleys join above it, and the gap is where one would build a dam.
    hardness *= 1.0 + 3.0 * np.exp(-(((xy[:, 0] - ridge_x_m) / 550.0) ** 2))
    # And hard rock round the edge, so that the lake ends before the land does.
    edge_m = np.minimum(np.minimum(0.5 * xy[:, 0], xy[:, 1]), height_m - xy[:, 1])
    hardness *= 1.0 + 4.0 * np.exp(-((edge_m / 350.0) ** 2))
    tree = cKDTree(xy)
    end, begin = int(tree.query(outlet)[1]), int(tree.query(inlet)[1])
    own = np.full(len(xy), width_m * height_m / len(xy))
    own[begin] += inflow_m2
    slope = np.ones(len(xy))
    for _ in range(rounds):
        step = length_m * 0.5 * (slope[a] * hardness[a] + slope[b] * hardness[b])
        graph = sparse.csr_matrix((step, (a, b)), shape=(len(xy), len(xy)))
        height, receiver = csgraph.dijkstra(graph, directed=False, indices=end, return_predecessors=True)
        receiver = receiver.astype(np.int64)
        receiver[end] = end
        area = drained_area(receiver, own)
        slope = 0.5 * slope + 0.5 * np.clip((area / 2.0e4) ** -THETA, LEAST_SLOPE / STEEPEST, 1.0)
    return Land(xy, height * STEEPEST, receiver, area, mesh)
