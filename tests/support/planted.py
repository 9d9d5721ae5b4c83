"""Made lake bottoms whose structures are known, because they were planted.

A drowned valley runs between two banks, turned by a chance angle; a winding channel is cut into its floor. Structures
are planted in stretches of bank and floor that do not touch. Nothing here knows how they are looked for. What is
planted is clearly a structure (a hump closes over a metre and more, a point moves its isobaths by 40 m, a ledge drops
steeper than 1 in 4.5, a bend turns by 60 degrees); what is planted to mislead is clearly none (swells that do not
close, bulges of the bank that move isobaths by 18 m at most, turns of the channel below 30 degrees). Faint swells and
roughness lie over everything, so that a finder which reports every wrinkle pays for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyproj
import shapely
from scipy.ndimage import gaussian_filter

from castshed.toolbox.depth import DepthSurface
from planted_valley import EDGE_M, WIDTH_M, Valley, ease

CRS = pyproj.CRS.from_epsg(32615)
BEYOND_M = 150.0
ORIGIN = np.array([500_000.0, 3_900_000.0])
# Metres of bank that each kind takes up, with what surrounds it.
BANK_M = {"point": 240.0, "pocket": 240.0, "ledge": 310.0, "bluff": 410.0, "flat": 350.0, "bulge": 200.0}
BANK = ["point", "pocket", "ledge", "bluff", "flat", "bulge", "point", "pocket", "ledge"]
FLOOR = ["hump", "hump", "saddle", "swell", "none"]


@dataclass(frozen=True)
class Truth:
    """One planted structure: its kind and its place (a top or col, a crest or axis, an edge, an area)."""

    kind: str
    place: shapely.Geometry


@dataclass(frozen=True)
class Planted:
    """A surface and what was planted in it."""

    surface: DepthSurface
    truths: tuple[Truth, ...]
    contoured: shapely.Polygon  # the water's outline, for contours
    judged: shapely.Polygon  # where a finding counts; the channel is cut off at the ends of the survey


class _Scene(Valley):
    """What stands on the ground of a valley, as a sum of parts."""

    def __init__(self, seed: int, slots: int) -> None:
        super().__init__(seed, slots)
        rng = self.rng
        self.parts = []  # functions of (u, v) giving what is added to the depth
        self.blends = []  # (weight function, level, tilt, centre) for flats
        planted = []
        for side in (0, 1):
            at = EDGE_M + rng.uniform(0.0, 60.0)
            order = [BANK[k] for k in np.concatenate([rng.permutation(len(BANK)) for _ in range(slots)])]
            for kind in order:
                if at + BANK_M[kind] > self.length - EDGE_M:
                    break
                planted.append((kind, side, at + BANK_M[kind] / 2.0))
                at += BANK_M[kind]
        # Bluffs move the shore, so they come before everything that is measured from it.
        for kind, side, middle in sorted(planted, key=lambda one: one[0] != "bluff"):
            getattr(self, f"_{kind}")(side, middle)
        for side in (0, 1):
            for k in range(int((self.length - 2 * EDGE_M) // 220.0)):
                choice = rng.choice(FLOOR)
                middle = EDGE_M + (k + 0.5) * 220.0 + rng.uniform(-15, 15)
                v0 = self._place(side, middle)
                # None in the channel, nor so near that the channel cuts into its side.
                if choice != "none" and np.hypot(*(self.axis - [middle, v0]).T).min() > 110.0:
                    getattr(self, f"_{choice}")(middle, v0)

    # Banks ----------------------------------------------------------------------------------------------
    def _crest(self, kind, side, middle, lean, s) -> None:
        u = middle + lean * s
        edge = self.shore(u, side)
        self.truths.append((kind, np.column_stack([u, edge + s if side == 0 else edge - s]), "line"))

    def _across(self, side, middle, lean, profile, half):
        """Add profile(s) along an axis out from the bank, fading to both sides."""

        def part(u, v):
            s = self.offshore(u, v, side)
            return np.where(s > 0, profile(s) * np.exp(-(((u - middle - lean * s) / half) ** 2)), 0.0)

        self.parts.append(part)

    def _point(self, side, middle) -> None:
        """A ridge that runs out from the bank, its crest ever deeper, and falls off at its tip."""
        rng = self.rng
        crest_slope, lean, fall = rng.uniform(0.012, 0.020), rng.uniform(-0.25, 0.25), 58.0
        long = min(rng.uniform(85.0, 125.0), 4.2 / (self.bank_slope - crest_slope))
        half = max(22.0, 7.0 * (self.bank_slope - crest_slope) * long) + rng.uniform(0.0, 10.0)
        self._across(
            side,
            middle,
            lean,
            lambda s: (crest_slope * s - self.plain(s)) * (1.0 - ease((s - long) / fall)),
            half,
        )
        self._crest("point", side, middle, lean, np.linspace(15.0, long + 0.6 * fall, 40))

    def _pocket(self, side, middle) -> None:
        """A hollow in the bank that deepens quickly from its head and never shoals again further out."""
        rng = self.rng
        high, lean = rng.uniform(2.4, 3.2), rng.uniform(-0.25, 0.25)
        high = min(high, 125.0 * self.bank_slope / 2.2)
        far = 2.2 * high / self.bank_slope
        half = max(22.0, 7.0 * high) + rng.uniform(0.0, 10.0)
        self._across(
            side, middle, lean, lambda s: high * ease(s / 50.0) * (1.0 - ease((s - 50.0) / far)), half
        )
        self._crest("pocket", side, middle, lean, np.linspace(15.0, 50.0 + 0.6 * far, 40))

    def _bulge(self, side, middle) -> None:
        """A wave of the bank, out or in, too faint to be a point or a pocket; nothing is expected of it."""
        high = self.rng.uniform(0.2, 0.28) * self.rng.choice([-1.0, 1.0]) * self.bank_slope / 0.02
        self._across(
            side,
            middle,
            0.0,
            lambda s: high * ease(s / 50.0) * (1.0 - ease((s - 80.0) / 80.0)),
            45.0,
        )

    def _ledge(self, side, middle) -> None:
        """A step along the bank; the shelf above it and the foot below it fade out before the floor begins."""
        rng = self.rng
        at, high, long = rng.uniform(70, 88), rng.uniform(2.4, 3.8), rng.uniform(100, 180)
        run = rng.uniform(6.0, min(12.0, 3.5 * high))

        def part(u, v):
            s = self.offshore(u, v, side)
            along = 1.0 - ease((np.abs(u - middle) - long / 2 + 10.0) / 60.0)
            step = np.sin(np.clip(2 * (s - at) / run, -1, 1) * np.pi / 2)
            beyond = np.abs(s - at) - run / 2
            fade = 1.0 - ease(beyond / np.where(s > at, 82.0, 28.0 * high + 20.0))
            drop = np.where(s > at, 0.35, 0.65) * high * step * fade * along
            room = 0.6 * self.plain(np.maximum(s, 1.0))  # a shelf stays under water
            return np.where(s > 0, np.where(drop < 0, room * np.expm1(drop / room), drop), 0.0)

        self.parts.append(part)
        u = np.linspace(middle - long / 2, middle + long / 2, 40)
        edge = self.shore(u, side)
        self.truths.append(("ledge", np.column_stack([u, edge + at if side == 0 else edge - at]), "line"))

    def _bluff(self, side, middle) -> None:
        """A blunt headland with a wall: the shore comes out and the deep comes in, by as much."""
        rng = self.rng
        deep, long, scale = rng.uniform(5.4, 6.6), rng.uniform(110.0, 170.0), rng.uniform(5.0, 7.0)

        def weight(u):
            return 1.0 - ease((np.abs(u - middle) - long / 2 + 15.0) / 120.0)

        self.walls[side].append((weight, deep / self.bank_slope / 2.0, deep, scale))
        u = np.linspace(middle - long / 2, middle + long / 2, 40)
        self.truths.append(("bluff", np.column_stack([u, self.shore(u, side)]), "line"))

    def _flat(self, side, middle) -> None:
        rng = self.rng
        at, a, b = rng.uniform(108, 118), rng.uniform(60.0, 80.0), rng.uniform(34.0, 42.0)

        def weight(u, v):
            across = np.abs(self.offshore(u, v, side) - at)
            return (1.0 - ease((np.abs(u - middle) - a) / 90.0)) * (1.0 - ease((across - b) / 58.0))

        u = np.array([middle])
        edge = self.shore(u, side)
        v = edge + at if side == 0 else edge - at
        level = float(self.ground(u, v)[0])
        self.blends.append((weight, level, rng.uniform(-0.002, 0.002, 2), (middle, float(v[0]))))
        t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
        squared = np.maximum(np.abs(np.cos(t)), np.abs(np.sin(t))) ** 0.5  # between a box and an ellipse
        # Its edge is where the bank begins to show through, by some 3 %.
        u = middle + (a + 10.0) * np.cos(t) / squared
        edge, s = self.shore(u, side), at + (b + 5.0) * np.sin(t) / squared
        self.truths.append(("flat", np.column_stack([u, edge + s if side == 0 else edge - s]), "area"))

    # The floor ------------------------------------------------------------------------------------------
    def _place(self, side, middle):
        off = self.rng.uniform(255.0, 280.0)
        return self.bare_shore(middle, side) + (off if side == 0 else -off)

    def _bump(self, u0, v0, high, a, b, turn) -> None:
        def part(u, v):
            c, s = np.cos(turn), np.sin(turn)
            x, y = ((u - u0) * c + (v - v0) * s) / a, (-(u - u0) * s + (v - v0) * c) / b
            return -high * np.exp(-((x * x + y * y) ** 1.2))

        self.parts.append(part)

    def _hump(self, middle, v0) -> None:
        rng = self.rng
        # What stands on a slope closes over less than its height.
        steeper = 50.0 * float(self.floor_slope(middle, int(v0 > self.middle(middle))))
        sizes = rng.uniform(18, 38), rng.uniform(18, 27)
        self._bump(middle, v0, rng.uniform(1.8, 4.0) + steeper, *sizes, rng.uniform(0, 3.14))
        self.truths.append(("hump", np.array([[middle, v0]]), "top"))

    def _saddle(self, middle, v0) -> None:
        """A ridge with two tops; between them it is lower than they are, and higher than the floor."""
        rng = self.rng
        turn = rng.uniform(-0.4, 0.4)
        half = rng.uniform(36.0, 44.0)
        step = half * np.array([np.cos(turn), np.sin(turn)])
        steeper = 40.0 * float(self.floor_slope(middle, int(v0 > self.middle(middle))))
        wide = rng.uniform(24.0, 30.0)
        self._bump(middle, v0, rng.uniform(2.0, 2.8), half + 22.0, wide, turn)
        for sign in (-1, 1):
            u, v = np.array([middle, v0]) + sign * step
            self._bump(u, v, rng.uniform(1.8, 2.7) + steeper, rng.uniform(19, 22), rng.uniform(19, 24), turn)
            self.truths.append(("hump", np.array([[u, v]]), "top"))
        self.truths.append(("saddle", np.array([[middle, v0], [np.cos(turn), np.sin(turn)]]), "col"))

    def _swell(self, middle, v0) -> None:
        """A rise too low to close; nothing is expected of it."""
        self._bump(middle, v0, self.rng.uniform(0.3, 0.6), 40.0, 32.0, self.rng.uniform(0, 3.14))

    # Together -------------------------------------------------------------------------------------------
    def depth(self, u, v):
        ground = self.ground(u, v)
        for weight, level, tilt, (u0, v0) in self.blends:
            w = weight(u, v)
            ground = ground * (1 - w) + w * (level + tilt[0] * (u - u0) + tilt[1] * (v - v0))
        total = ground + np.where(ground > 0, self.channel(u, v), 0.0)
        for part in self.parts:
            total = total + part(u, v)
        return np.where(ground > 0, np.maximum(total, 0.15), ground)

    def settle(self, place, how):
        """Move a top to where the planted surface is shallowest, a col to the deepest of its crest."""
        u0, v0 = place[0]
        step = np.linspace(-20.0, 20.0, 81)
        if how == "top":
            u, v = np.meshgrid(u0 + step, v0 + step)
            k = int(np.argmin(self.depth(u, v)))
            return np.array([[u.ravel()[k], v.ravel()[k]]])
        # Of the shallowest points of the cross-sections, the deepest: a pass.
        along, across = np.meshgrid(step, step, indexing="ij")
        c, s = place[1]
        u, v = u0 + along * c - across * s, v0 + along * s + across * c
        d = self.depth(u, v)
        best = np.argmin(d, axis=1)
        k = int(np.argmax(d[np.arange(len(step)), best]))
        return np.array([[u[k, best[k]], v[k, best[k]]]])


def plant(seed: int, *, slots: int = 10, cell_m: float = 2.5, rough_m: float = 1.0) -> Planted:
    """Make a bottom with planted structure.

    Another seed is another bottom. `slots` is the length of the valley (270 m each); `rough_m` scales the roughness.
    """
    scene = _Scene(seed, slots)
    rng = np.random.default_rng([77, seed])
    turn = rng.uniform(-0.6, 0.6)
    c, s = np.cos(turn), np.sin(turn)

    def onto(uv):
        uv = np.asarray(uv, dtype=float)
        return np.column_stack([uv[:, 0] * c - uv[:, 1] * s, uv[:, 0] * s + uv[:, 1] * c])

    rim = 60.0  # of land
    box = onto([[0, -rim], [scene.length, -rim], [scene.length, WIDTH_M + rim], [0, WIDTH_M + rim]])
    west, south = np.floor(box.min(axis=0) / cell_m - 1) * cell_m
    east, north = np.ceil(box.max(axis=0) / cell_m + 1) * cell_m
    columns, rows = round((east - west) / cell_m), round((north - south) / cell_m)
    x, y = np.meshgrid(west + (np.arange(columns) + 0.5) * cell_m, north - (np.arange(rows) + 0.5) * cell_m)
    u, v = x * c + y * s, -x * s + y * c
    depth = scene.depth(u, v)
    for amplitude, reach_m in ((0.04, 6.0), (0.08, 25.0), (0.15, 80.0)):
        noise = gaussian_filter(rng.standard_normal(depth.shape), reach_m / cell_m)
        depth += np.where(depth > 0.3, rough_m * amplitude * noise / noise.std(), 0.0)
    depth += np.where(depth > 0.3, rough_m * 0.02 * rng.standard_normal(depth.shape), 0.0)
    outside = (u < 0) | (u > scene.length) | (v < -rim) | (v > WIDTH_M + rim)
    depth[outside] = np.nan
    truths = []
    for kind, place, how in scene.truths:
        xy = onto(scene.settle(place, how) if how in {"top", "col"} else place) + ORIGIN
        shape = {"line": shapely.LineString, "area": shapely.Polygon}.get(how)
        truths.append(Truth(kind, shape(xy) if shape else shapely.Point(xy[0])))
    # The outline reaches beyond the ends of the survey: the lake goes on there, and its shore is not near.
    along = np.linspace(-BEYOND_M, scene.length + BEYOND_M, 600)
    banks = [np.column_stack([along, scene.shore(along, side)]) for side in (0, 1)]
    water = shapely.Polygon(onto(np.concatenate([banks[0], banks[1][::-1]])) + ORIGIN)
    ends = (EDGE_M, scene.length - EDGE_M)
    judged = shapely.Polygon(
        onto([[ends[0], 0], [ends[1], 0], [ends[1], WIDTH_M], [ends[0], WIDTH_M]]) + ORIGIN
    )
    surface = DepthSurface(
        depth.astype(np.float32), ORIGIN[0] + west, ORIGIN[1] + north, cell_m, cell_m, CRS, 0.1
    )
    return Planted(surface, tuple(truths), water, judged)
