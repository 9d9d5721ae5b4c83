"""The defaults of what several algorithms and the day file ask for, each stated here and nowhere else.

Metres, metres per second and seconds; round in feet, inches and miles per hour where the trade counts in those. Of two
customs the safer one is taken. "Common practice" marks a custom of the trade; measure your own boat.
"""

from __future__ import annotations

from typing import Final

# the boat
DRAFT_M: Final = 0.6096  # 24 in: skegs reach 12 to 24 in below the hull (common practice)
RUNNING_DEPTH_M: Final = 0.9144  # 36 in: 24 to 36 in to get on plane (common practice)
MARGIN_M: Final = 0.4572  # 18 in: 12 to 18 in are wanted under the boat (common practice)
BEAM_M: Final = 2.4384  # 8 ft, a lake boat
FIX_ERROR_M: Final = 3.048  # 10 ft, a receiver with corrections (common practice)
CLEARANCE_M: Final = 6.096  # 20 ft of free water beside a boat that runs (common practice)
IDLE_CLEARANCE_M: Final = 0.0
RUN_SPEED_MPS: Final = 13.4112  # 30 mph
IDLE_SPEED_MPS: Final = 2.2352  # 5 mph
LAUNCH_M: Final = 150.0
DRIFT_M: Final = 3.048  # 10 ft
WAVE_LIMIT_M: Final = 0.6096  # 2 ft, small open boats (common practice)
WIND_LIMIT_MPS: Final = 8.9408  # 20 mph (common practice)
GUST_LIMIT_MPS: Final = 11.176  # 25 mph (common practice)
HEAD_LIMIT_M: Final = 0.6096  # 2 ft, as at the hold (common practice)
BEAM_LIMIT_M: Final = 0.4572  # 1.5 ft: three quarters of it on the beam (common practice)
FOLLOWING_LIMIT_M: Final = 0.6096  # 2 ft (common practice)
# what is kept of the speed in head, beam and following seas, in percent (common practice for a lake boat on plane)
WAVE_SPEEDS: Final = ("0.5ft 100 100 100", "1ft 75 85 95", "2ft 45 60 75", "3ft 30 40 50")

WIND_OVER: Final = "water"

# casts, common practice
LEAST_CAST_M: Final = 12.192  # 40 ft
CAST_M: Final = 21.336  # 70 ft
MOST_CAST_M: Final = 27.432  # 90 ft
UPWIND_FACTOR: Final = 0.7

# what is not known better
LEVEL_ERROR_M: Final = 0.1016  # 4 in: gauge, wind set-up, hours since the reading
SPOT_ERROR_M: Final = 8.0  # 95 %, horizontal, GPS SPS performance standard of 2020, a global average
HAZARD_ERROR_M: Final = 8.0  # the same figure
HAZARD_RADIUS_M: Final = 5.0
FOOTPRINT_M: Final = 3.048  # 10 ft
OUTSIDE_M: Final = 500.0

# which spots, and how long
LEAST_DEPTH_M: Final = 0.9144  # 3 ft (common practice)
TOP_MARGIN_M: Final = 0.3048  # 1 ft (common practice)
LEAST_RATING: Final = 0.0
AT_MOST: Final = 12
AT_EACH_S: Final = 1500.0  # 25 min
VALUE: Final = "rating"

# structure that is looked for
STRUCTURE_KINDS: Final = ("hump", "saddle", "point", "pocket", "ledge", "flat", "bluff", "channel_bend")
WINDOW_FROM_M: Final = 0.6096  # 2 ft
WINDOW_TO_M: Final = 12.192  # 40 ft
MOST_OF_A_KIND: Final = 12
SPACING_M: Final = 60.0
