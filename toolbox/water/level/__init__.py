"""Today's level, and where the water is how deep or too shallow at it."""
