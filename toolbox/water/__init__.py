"""Models of a lake, a room a subject. Pure: arrays and geometries in, the same out."""
