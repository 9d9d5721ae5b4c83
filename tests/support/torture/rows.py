"""Dirty cells, each with what has to come of it. All data are invented; the true place of every position is `TRUE`.

Outcomes of positions: ``ok`` (as written), ``repaired: words of the remark``, ``aside: words of the reason``.
"""

TRUE_LAT, TRUE_LON = 35.75125, -85.19875
# The same place, worked by hand: 0.75125 deg = 45.075 min = 45 min 4.5 s; 0.19875 deg = 11.925 min = 11 min 55.5 s.
# Its UTM pair, zone 16 north, is worked by the test with pyproj.

POSITIONS = [
    # decimal degrees
    ("35.75125", "-85.19875", "ok"),
    ("35.75125 ", " -85.19875", "ok"),
    ("+35.75125", "-85.19875", "ok"),
    ("35,75125", "-85,19875", "ok"),
    ("35.75125°", "-85.19875°", "ok"),
    ("35.75125 N", "85.19875 W", "ok"),
    ("N35.75125", "W85.19875", "ok"),
    ("n 35.75125", "w 85.19875", "ok"),
    ("35.75125º N", "85.19875º W", "ok"),
    ("35.75125 deg N", "85.19875 deg W", "ok"),
    ("Lat: 35.75125", "Lon: -85.19875", "ok"),
    ("35.75125", "\u221285.19875", "ok"),  # a typographer's minus
    ("35.75125\u00a0N", "85.19875\u00a0W", "ok"),
    # degrees and minutes
    ("35 45.075", "-85 11.925", "ok"),
    ("35°45.075'", "-85°11.925'", "ok"),
    ("35° 45.075′ N", "85° 11.925′ W", "ok"),
    ("N35 45.075", "W085 11.925", "ok"),
    ("35-45.075N", "085-11.925W", "ok"),
    ("35d45.075'N", "85d11.925'W", "ok"),
    # degrees, minutes and seconds
    ("35°45'04.5\"N", "85°11'55.5\"W", "ok"),
    ("35 45 4.5 N", "85 11 55.5 W", "ok"),
    ("35:45:04.5", "-85:11:55.5", "ok"),
    ("35º45’04.5”N", "85º11’55.5”W", "ok"),
    ("35°45''04.5\"", "-85°11'55.5\"", "aside: cannot be read"),
    ("35 deg 45 min 4.5 sec North", "85 deg 11 min 55.5 sec West", "ok"),
    ("35°45'04,5\"N", "85°11'55,5\"W", "ok"),
    # lost signs, swapped columns
    ("35.75125", "85.19875", "repaired: minus sign added to the longitude"),
    ("-35.75125", "-85.19875", "repaired: minus sign taken off the latitude"),
    ("-85.19875", "35.75125", "repaired: latitude and longitude swapped"),
    ("85.19875", "35.75125", "repaired: latitude and longitude swapped, minus sign added"),
    ("85.19875 W", "35.75125 N", "repaired: swapped, as their letters say"),
    ("35.75125 N", "-85.19875 W", "ok"),
    ("3545.0750", "-8511.9250", "repaired: degrees and minutes were run together"),
    ("3545.0750", "8511.9250", "repaired: run together, minus sign added"),
    # what no rule may guess
    ("", "", "aside: no position"),
    ("unknown", "unknown", "aside: cannot be read"),
    ("35.75125", "", "aside: cannot be read"),
    ("0", "0", "aside: km from the middle"),
    ("35.75125 S", "85.19875 E", "aside: km from the middle"),
    ("36.95125", "-85.19875", "aside: km from the middle"),
    ("357512.5", "-85.19875", "aside: beyond 90 degrees"),
    ("35 75.125", "-85 11.925", "aside: stop short of 60"),
    ("35 45 61", "-85 11 55", "aside: stop short of 60"),
    ("35.75125 N", "35.75125 N", "aside: both coordinates are of one axis"),
    ("nan", "nan", "aside: cannot be read"),
    ("1e400", "-85.19875", "aside: cannot be read"),
    ("35.75.125", "-85.19875", "aside: cannot be read"),
    ("=35.75125", "-85.19875", "aside: cannot be read"),
    ("35.75125; DROP TABLE spots", "-85.19875", "aside: cannot be read"),
    ("9" * 500, "-85.19875", "aside: cannot be read"),
    ("٣٥.٧٥١٢٥", "-85.19875", "ok"),
    ("35°45'04.5\"X", "-85°11'55.5\"", "aside: cannot be read"),
]

# One cell for both; {e} and {n} are the place's UTM pair.
PAIRS = [
    ("35.75125, -85.19875", "ok"),
    ("(35.75125, -85.19875)", "ok"),
    ("35.75125 -85.19875", "ok"),
    ("35.75125/-85.19875", "ok"),
    ("N35 45.075 W085 11.925", "ok"),
    ("35°45'4.5\"N 85°11'55.5\"W", "ok"),
    ("85.19875W 35.75125N", "ok"),
    ("35.75125, 85.19875", "repaired: minus sign added"),
    ("16N {e} {n}", "ok"),
    ("16S {e} {n}", "ok"),  # the band letter S lies north of the equator
    ("UTM 16 {e}E {n}N", "ok"),
    ("zone 16, {e}, {n}", "ok"),
    ("{e} {n} (16S)", "ok"),
    ("{e}, {n}", "ok"),
    ("{n}, {e}", "repaired: easting and northing swapped"),
    ("15N {e} {n}", "aside: does not lie on the lake"),
    ("61N {e} {n}", "aside: does not lie on the lake"),
    ("near the dam", "aside: cannot be read"),
    ("35.75125", "aside: cannot be read"),
    ("see map", "aside: cannot be read"),
]

# Depth text, unit by option, shallow and deep end in feet (None: not used), words of the remark.
DEPTHS = [
    ("12", "ft", 12, 12, ""),
    ("12", None, None, None, "has no unit"),
    ("10-15", "ft", 10, 15, "the shallow end is used"),
    ("15-10", "ft", 10, 15, "the shallow end is used"),
    ("10 – 15 ft", None, 10, 15, "the shallow end is used"),
    ("10'", None, 10, 10, ""),
    ("8 to 12 ft", None, 8, 12, "the shallow end is used"),
    ("8ft-12ft", None, 8, 12, "the shallow end is used"),
    ("3 m", "ft", 9.8425, 9.8425, ""),
    ("3,5 m", None, 11.4829, 11.4829, ""),
    ("~12 ft", None, 12, 12, ""),
    ("12 ft.", None, 12, 12, ""),
    ("2 fathoms", None, 12, 12, ""),
    ("5' 6\"", None, 5.5, 5.5, ""),
    ("unknown", "ft", None, None, ""),
    ("N/A", "ft", None, None, ""),
    ("?", "ft", None, None, ""),
    ("", "ft", None, None, ""),
    ("deep", "ft", None, None, "could not be read"),
    ("99999", "ft", None, None, "not used"),
    ("=12", "ft", None, None, "could not be read"),
]

KINDS = [
    ("Cedar trees", "conifer_brush"),
    ("CEDAR  TREES!!", "conifer_brush"),
    ("Xmas tree pile", "conifer_brush"),
    ("oak tops (12)", "hardwood_brush"),
    ("Brush pile - refreshed", "brush"),
    ("PVC cubes", "artificial"),
    ("rock-pile", "rock_pile"),
    ("Stake Bed", "stake_bed"),
    ("standing_timber", "standing_timber"),
    ("sunken island", "hump"),
    ("fish attractor", "other"),
    ("cedar and rock", "other"),
    ("🌲", "other"),
    ("<script>", "other"),
    ("", "other"),
]
