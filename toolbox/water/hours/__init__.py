"""A day kept to its hours: light, wind, waves and the speed they leave, for stops, legs and the way home."""
