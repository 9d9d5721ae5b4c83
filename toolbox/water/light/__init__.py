"""Where the sun stands: daylight, and the side it shines from."""
