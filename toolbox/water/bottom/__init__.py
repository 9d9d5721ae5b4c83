"""The bottom as a grid of depths: what is known of it, the surface through it, how far that may be off."""
