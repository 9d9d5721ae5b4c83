"""Models of a lake: depth, water, wind, ways and runs. Pure: arrays and geometries in, the same out."""
