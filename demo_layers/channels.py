"""Old rivers on the valley floor: where they ran, how they wandered, what they cut."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy import ndimage, signal
from scipy.spatial import cKDTree

from castshed.demo_layers.relief import path_down

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from castshed.demo_layers.relief import Floats, Ints, Land


class Stream(NamedTuple):
    """A river or creek before the dam, from its head down to where it joins the next."""

    valley: Floats  # (n, 2) middle of the valley floor
    floor_m: Floats  # (n,) height of the valley floor, never rising downstream
    half_floor_m: Floats  # (n,) half the width of the floor
    course: Floats  # (k, 2) the channel itself; the valley line until the river has wandered
    width_m: float
    deep_m: float  # of the channel below the floor
    rounds: int  # of wandering


def resample(line: Floats, step_m: float) -> Floats:
    """Put points at equal steps along a line, ends kept."""
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
    at = np.linspace(0.0, along[-1], max(2, round(along[-1] / step_m) + 1))
    return np.column_stack([np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])])


def smooth_line(line: Floats, points: float) -> Floats:
    """Smooth a line, both ends held."""
    ramp = np.linspace(0.0, 1.0, len(line))[:, None]
    chord = line[0] + ramp * (line[-1] - line[0])
    return np.asarray(chord + ndimage.gaussian_filter1d(line - chord, points, axis=0, mode="mirror")) + 0.0


def turning(line: Floats) -> tuple[Floats, Floats]:
    """Give the unit normal to the left and the curvature (1/m, left positive) at each point of a line."""
    ahead = np.gradient(line, axis=0)
    pace = np.maximum(np.hypot(*ahead.T), 1e-9)
    ahead = ahead / pace[:, None]
    normal = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    return normal, np.sum(np.gradient(ahead, axis=0) * normal, axis=1) / pace


def _cut_necks(line: Floats, near_m: float, step_m: float) -> Floats:
    """Let the river break through where a bend has come round to itself."""
    pairs = cKDTree(line).query_pairs(near_m, output_type="ndarray")
    if len(pairs) == 0:
        return line
    low, high = np.sort(pairs, axis=1).T
    far = (high - low) * step_m > 5.0 * near_m
    keep = np.ones(len(line), dtype=bool)
    for start, stop in sorted(zip(low[far], high[far], strict=True), key=lambda p: p[0] - p[1]):
        if keep[start] and keep[stop]:
            keep[start + 1 : stop] = False
    return line[keep]


def wander(rng: np.random.Generator, stream: Stream) -> Stream:
    """Let a river meander over its floor.

    Notes
    -----
    The bank moves outwards in proportion to a weighted sum of the curvature here and upstream (the model of
    Howard and Knutson 1984, weights -1 and 2.5, fading over two widths). Hard valley sides slow it down.
    """
    valley, half_floor_m, width_m = stream.valley, stream.half_floor_m, stream.width_m
    step = width_m * 0.5
    line = resample(valley, step)
    kick = ndimage.gaussian_filter1d(rng.standard_normal(len(line)), 3.0)
    normal, _ = turning(line)
    line = line + normal * (kick / max(float(kick.std()), 1e-9) * width_m * 0.25)[:, None]
    tree = cKDTree(valley)
    fade = float(np.exp(-step / (2.0 * width_m)))
    for turn in range(stream.rounds):
        normal, bend = turning(line)
        bend = np.clip(ndimage.gaussian_filter1d(bend * width_m, 1.5), -0.7, 0.7)
        upstream = signal.lfilter([1.0 - fade], [1.0, -fade], bend)
        away, nearest = tree.query(line)
        firm = 1.0 / (1.0 + np.exp((away - half_floor_m[nearest] + 1.2 * width_m) / (0.25 * width_m)))
        ends = np.minimum(1.0, np.minimum(np.arange(len(line)), np.arange(len(line))[::-1]) / 12.0)
        line = line - normal * ((-bend + 2.5 * upstream) * 0.16 * width_m * firm * ends)[:, None]
        line = smooth_line(line, 0.6)
        if turn % 4 == 3:
            line = resample(_cut_necks(line, 1.3 * width_m, step), step)
    return stream._replace(course=resample(smooth_line(line, 1.2), 6.0))


def _falling(height_m: Floats) -> Floats:
    """Make a profile fall all the way down."""
    return np.maximum.accumulate(height_m[::-1])[::-1]


def find_streams(
    rng: np.random.Generator,
    land: Land,
    *,
    inlet: tuple[float, float],
    least_area_m2: float,
    highest_m: float,
) -> list[Stream]:
    """Trace the main river and the creeks that will be drowned.

    Parameters
    ----------
    rng
        Source of chance.
    land
        The carved land.
    inlet
        Where the main river enters.
    least_area_m2
        Least catchment at the mouth that makes a creek.
    highest_m
        Creeks are traced up to this height above the outlet.

    Returns
    -------
    Streams; the main river first.
    """
    taken = np.zeros(len(land.xy), dtype=bool)
    begin = int(np.argmin(np.hypot(*(land.xy - inlet).T)))
    heads = np.flatnonzero((land.area_m2 >= 0.35 * least_area_m2) & (land.height_m <= highest_m))
    heads = heads[np.argsort(-land.height_m[heads], kind="stable")]
    ways = [path_down(land.receiver, begin)]
    taken[ways[0]] = True
    # The longest way first, so that a creek keeps its name up to its farthest head.
    length = land.height_m[heads]
    for head in heads[np.argsort(-length, kind="stable")]:
        way = path_down(land.receiver, int(head))
        free = int(np.argmax(taken[way])) if taken[way].any() else len(way)
        if free >= 12 and land.area_m2[way[free - 1]] >= least_area_m2:
            ways.append(way[: free + 1])
            taken[way[:free]] = True
    return [_stream(rng, land, way, main=k == 0) for k, way in enumerate(ways)]


def _stream(rng: np.random.Generator, land: Land, way: Ints, *, main: bool) -> Stream:
    line = smooth_line(resample(land.xy[way], 20.0), 14.0 if main else 4.0)
    share = np.linspace(0.0, 1.0, len(line))
    order = np.linspace(0.0, 1.0, len(way))
    floor = _falling(ndimage.gaussian_filter1d(np.interp(share, order, land.height_m[way]), 10.0))
    area = np.interp(share, order, land.area_m2[way])
    swell = ndimage.gaussian_filter1d(rng.standard_normal(len(line)), 22.0, mode="reflect")
    swell = np.exp(0.35 * swell / max(float(swell.std()), 1e-9))
    if main:
        half = 280.0 * swell
        width, deep, rounds = 62.0, 4.6, 420
    else:
        half = np.clip(16.0 + 42.0 * np.sqrt(area / 1e6) * swell, 18.0, 260.0)
        mouth = float(area[-2])
        width = float(np.clip(9.0 + 6.5 * np.sqrt(mouth / 1e6), 12.0, 38.0))
        deep = float(np.clip(0.9 + 0.42 * np.sqrt(mouth / 1e6), 1.2, 3.0))
        rounds = 240
    return Stream(line, floor, half, line, width, deep, rounds)


def floor_along(stream: Stream) -> NDArray[np.float64]:
    """Give the height of the valley floor at each point of the course."""
    _, nearest = cKDTree(stream.valley).query(stream.course)
    return _falling(ndimage.gaussian_filter1d(stream.floor_m[nearest], 8.0))
