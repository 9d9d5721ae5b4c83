"""Look for broken rules of hold lines by another road: scipy's interpolation at every half metre of every line."""

from __future__ import annotations

import numpy as np
import shapely

from hold_recheck import today_of

EVERY_M = 0.5
RAYS = 36


def line_breaches(lines, structures, lake, level, rules):
    """List (rule, spot) for every rule a line breaks.

    A ledge that lies dry is cast to at the water's edge, which is found no finer than the samples lie apart.
    """
    today = today_of(lake, level)
    need = rules.draft_m + rules.margin_m + np.sqrt(lake.error_m**2 + rules.level_error_m**2)
    shape = dict(zip(structures["spot_id"], structures.geometry, strict=True))
    angle = np.linspace(0, 2 * np.pi, RAYS, endpoint=False)
    share = np.linspace(0.0, 1.0, 120)
    found = []
    for spot, line in zip(lines["spot_id"], lines.geometry, strict=True):
        at = shapely.get_coordinates(shapely.segmentize(line, EVERY_M))
        rim = at[:, None, None] + rules.drift_m * np.linspace(0, 1, 5)[:, None, None] * np.column_stack(
            [np.sin(angle), np.cos(angle)]
        )
        thin = not (today(rim[..., 0], rim[..., 1]) >= need - 1e-3).all()
        aim = shapely.get_coordinates(shapely.shortest_line(shape[spot], shapely.points(at)))[::2]
        way = aim[:, None] + share[:, None] * (at - aim)[:, None]
        wet = today(way[..., 0], way[..., 1]) > 0
        cast = np.hypot(*(at - aim).T)
        edge = np.where(wet[:, 0], 0.0, share[wet.argmax(axis=1)])
        blocked = not (wet | (share < edge[:, None])).all()
        grain = np.where(edge > 0, 0.5 + cast / 119, 1e-6)
        cast = cast * (1 - edge)
        short, long = (cast < rules.least_cast_m - grain).any(), (cast > rules.most_cast_m + 1e-6).any()
        told = (("thin", thin), ("cast over land", blocked), ("too near", short), ("beyond a cast", long))
        found += [(rule, spot) for rule, broken in told if broken]
    return found
