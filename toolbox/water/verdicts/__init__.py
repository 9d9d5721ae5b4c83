"""Whether a spot can be fished, hour by hour, and every reason against."""
