"""Writers of open formats, and how a plan looks in those that carry a style."""
