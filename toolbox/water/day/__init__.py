"""Which stops fit the hours of a day, in what order and when."""
