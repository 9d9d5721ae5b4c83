"""Marks ashore that tell a boat it is back on its hold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import Bearing, Count, Fixes, Holds, Landmarks, Length, LineUps, Plain, Water

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from castshed.toolbox.water.line_ups.sight_choice import LineUp

    Floats = NDArray[np.float64]


class LinedUp(NamedTuple):
    """What line-up gives."""

    line_ups: LineUps
    fixes: Fixes


_LINE_COLUMNS = (
    "spot_id", "hold_no", "range_no", "landmark_id", "behind_id", "words", "bearing_deg", "distance_m", "open_deg",
    "error_m", "crossing_deg",
)  # fmt: skip
_UNDER_DEG = 3.0  # how far off the bank bearing a mark may stand to be named with it


def _mark_names(landmarks: GeoDataFrame) -> list[str]:
    """Give each landmark its name, else its kind and id."""
    told = zip(landmarks["name"], landmarks["kind"], landmarks["landmark_id"], strict=True)
    return [
        str(name).strip() or f"{str(kind).strip() or 'mark'} {one}".replace("_", " ")
        for name, kind, one in told
    ]


def _rows(
    hold: Any, found: LineUp, landmarks: GeoDataFrame, names: Sequence[str], start: tuple[float, float]
) -> list[dict[str, Any]]:
    import shapely

    from castshed.toolbox.water.line_ups.sights import crossing_deg, sight_words

    sights = found.sights
    ids = landmarks["landmark_id"].tolist()
    rows = []
    for at in range(len(sights)):
        front, rear = int(sights.front[at]), int(sights.rear[at])
        end = landmarks.geometry.iloc[front if rear < 0 else rear]
        rows.append(
            {
                "spot_id": hold.spot_id,
                "hold_no": hold.hold_no,
                "range_no": at + 1,
                "landmark_id": ids[front],
                "behind_id": "" if rear < 0 else ids[rear],
                "words": sight_words(sights, at, names),
                "bearing_deg": sights.bearing_deg[at],
                "distance_m": sights.distance_m[at],
                "open_deg": sights.open_deg[at],
                "error_m": sights.error_m[at],
                # Each with the first; the first with the second.
                "crossing_deg": float(
                    crossing_deg(sights.direction_deg[at], sights.direction_deg[0 if at else 1])
                ),
                "geometry": shapely.LineString([start, (end.x, end.y)]),
            }
        )
    return rows


def _bank_marks(
    x: Floats, y: Floats, bearing_deg: Floats, bank_m: Floats, landmarks: GeoDataFrame, names: Sequence[str]
) -> list[str]:
    """Name the mark that stands over the bank behind each spot, where one does."""
    import numpy as np
    import shapely

    found = [""] * len(x)
    at = shapely.get_coordinates(landmarks.geometry.to_numpy()).reshape(-1, 2)
    for row in np.flatnonzero(~np.isnan(bearing_deg) & ~np.isnan(bank_m)) if len(at) else []:
        east, north = at[:, 0] - x[row], at[:, 1] - y[row]
        off = (np.degrees(np.arctan2(east, north)) - bearing_deg[row] + 180.0) % 360.0 - 180.0
        # Over that bank, not far behind it or on another one.
        far = np.hypot(east, north)
        fits = (np.abs(off) <= _UNDER_DEG) & (far >= bank_m[row] - 30.0) & (far <= 2.0 * bank_m[row] + 300.0)
        if fits.any():
            found[row] = names[int(np.where(fits, np.abs(off), np.inf).argmin())]
    return found


@algorithm(
    step="hold",
    example="castshed line-up my_day/plan.gpkg:holds demo_layers/reservoir.gpkg:landmarks "
    "--water my_day/plan.gpkg:water --out my.gpkg",
)
def line_up(
    holds: Holds,
    landmarks: Landmarks,
    *,
    water: Water | None = None,
    ranges: Count = 2,
    bearing_error_deg: Bearing = 2.0,
    in_line_error_deg: Bearing = 0.25,
    most_open_deg: Bearing = 4.0,
    open_error: Plain = 0.25,
    least_range_m: Length = 25.0,
    most_range_m: Length = 2000.0,
    mark_error_m: Length = 5.0,
    most_error_m: Length = 27.432,
    bank_reach_m: Length = 3000.0,
) -> LinedUp:
    """Choose marks ashore that tell the boat it is back on its hold.

    Two kinds of sight. A range: two marks in line, or one standing open of the other by a few degrees; it needs no
    instrument and is the sharper one. A bearing of a single mark, by hand compass. For every hold those two are
    chosen that give the least error of position among all that cross at 60 to 120 degrees, and further ones, when
    `--ranges` asks for them, as checks. Where no two cross so well, the best others are given and `status` is `weak`,
    as it is where the error is wider than `--most-error`: bearings of far marks alone find no brush pile.

    `error_m` of a fix is a radius: with sights as good as stated, 95 to 98 of 100 positions lie within it. The marks'
    own position errors are part of it, the hold's is not. `worst_bearing_deg` tells along which line it is worst known.

    Also given is the bank behind the structure: the bearing from the boat over the spot, how far the bank lies on it,
    and the mark that stands over it. Bearings are true: for a compass, apply the variation
    of the place and the deviation of the boat.

    With `--water`, marks are left out that land hides, unless they are 18 m tall or more. Hills and trees are not
    known, so look whether a mark can really be seen; leaves, new roofs and felled trees change what stands out. Marks
    tell where the boat is, never that the way there is safe.

    Parameters
    ----------
    holds
        Holds, from boat-hold.
    landmarks
        Fixed marks: points of land, structures ashore. Columns that help: `name`, `kind`, `height_m`,
        `position_error_m`.
    water
        Today's water, from water-today, for what land hides and for the bank.
    ranges
        How many sights to choose for each hold, 2 to 6.
    bearing_error_deg
        Error of a bearing by hand compass from a small boat (95 %; common practice).
    in_line_error_deg
        Error with which the eye tells that two marks are in line (95 %; common practice).
    most_open_deg
        Widest gap at which two marks serve as a range (common practice).
    open_error
        Error of an estimated gap, as a share of it (common practice).
    least_range_m
        Nearest mark.
    most_range_m
        Farthest mark.
    mark_error_m
        Position error of marks that do not tell their own (95 %).
    most_error_m
        Error of the fix above which its status is `weak`; a long cast by default.
    bank_reach_m
        How far off the bank behind the spot is looked for.

    Returns
    -------
    `line_ups`, a line from each hold to each mark chosen (to the farther one of a range), and `fixes`, one row a hold.

    Raises
    ------
    UsageError
        Errors of 0 or beyond 45 degrees, ranges that are not in order, fewer than 2 or more than 6 sights.
    DataError
        A position error of a landmark is negative.

    Notes
    -----
    Error of a position on two lines: ``sqrt(e1**2 + e2**2) / sin b`` with e = s R for a bearing with an error of s
    radians on a mark at R (`castshed.toolbox.water.line_ups.sights`); for a range in line e = s R1 R2 / (R2 - R1)
    (`castshed.toolbox.water.line_ups.sights`).
    """
    import geopandas as gpd
    import numpy as np
    import shapely

    from castshed.toolbox.errors import DataError, UsageError
    from castshed.toolbox.lon_lat import grid_north_deg
    from castshed.toolbox.water.line_ups.sight_choice import SightShore, line_ups
    from castshed.toolbox.water.line_ups.sights import Eyes, bank_words, sight_words, status_and_reason

    if not 2 <= ranges <= 6:
        raise UsageError(f"ranges is {ranges}; choose 2 to 6 sights for each hold.")
    own_m = landmarks["position_error_m"].to_numpy(dtype=float)
    if (own_m < 0).any():
        row = int((own_m < 0).argmax())
        raise DataError(
            f"landmarks.position_error_m is {own_m[row]} for {landmarks['landmark_id'].iloc[row]}; it must be 0 or "
            "more, or empty."
        )
    eyes = Eyes(
        bearing_error_deg=bearing_error_deg,
        in_line_error_deg=in_line_error_deg,
        open_error_share=open_error,
        most_open_deg=most_open_deg,
        least_range_m=least_range_m,
        most_range_m=most_range_m,
    )
    shore = None if water is None else SightShore(water.geometry.to_numpy())
    names = _mark_names(landmarks)
    x, y = holds.geometry.x.to_numpy(), holds.geometry.y.to_numpy()
    marks = shapely.get_coordinates(landmarks.geometry.to_numpy()).reshape(-1, 2)
    found = line_ups(
        x,
        y,
        marks[:, 0],
        marks[:, 1],
        mark_error_m=np.where(np.isnan(own_m), mark_error_m, own_m),
        mark_height_m=landmarks["height_m"].to_numpy(dtype=float),
        eyes=eyes,
        count=ranges,
        shore=shore,
    )
    bearing = holds["cast_bearing_deg"].to_numpy(dtype=float)
    north = grid_north_deg(holds.crs, x, y)
    on_grid = (bearing - north) % 360.0
    bank = np.full(len(holds), np.nan) if shore is None else shore.bank_m(x, y, on_grid, bank_reach_m)
    bank_mark = _bank_marks(x, y, on_grid, bank, landmarks, names)
    found = [told.turned(float(turn)) for told, turn in zip(found, north, strict=True)]
    lines: list[dict[str, Any]] = []
    fixes: list[dict[str, Any]] = []
    for row, hold in enumerate(holds.itertuples(index=False)):
        held = hold.status == "ok"
        told = found[row]
        status, reason = status_and_reason(told, most_error_m=most_error_m)
        if not held:
            status, reason = "none", f"no hold: {hold.reason}"
        use = len(told.sights) if held else 0
        if use:
            lines += _rows(hold, told, landmarks, names, (x[row], y[row]))
        said = [sight_words(told.sights, at, names) for at in range(use)]
        said += [bank_words(bearing[row], bank[row], bank_mark[row])] if held else []
        fixes.append(
            {
                "spot_id": hold.spot_id,
                "hold_no": hold.hold_no,
                "status": status,
                "reason": reason,
                "words": "; ".join(words for words in said if words),
                "ranges": use,
                "crossing_deg": told.crossing_deg if use else np.nan,
                "error_m": told.error_m if use else np.nan,
                "worst_bearing_deg": told.worst_bearing_deg if use else np.nan,
                "bank_bearing_deg": bearing[row] if held else np.nan,
                "bank_m": bank[row] if held else np.nan,
                "bank_mark": bank_mark[row] if held else "",
            }
        )
    drawn = [row.pop("geometry") for row in lines]
    columns = list(fixes[0]) if fixes else [
        "spot_id", "hold_no", "status", "reason", "words", "ranges", "crossing_deg", "error_m", "worst_bearing_deg",
        "bank_bearing_deg", "bank_m", "bank_mark",
    ]  # fmt: skip
    return LinedUp(
        gpd.GeoDataFrame(lines, columns=list(_LINE_COLUMNS), geometry=drawn, crs=holds.crs),
        gpd.GeoDataFrame(fixes, columns=columns, geometry=holds.geometry.to_numpy(), crs=holds.crs),
    )
