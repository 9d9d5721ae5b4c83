"""Where the boat goes along a ledge, a bank or long cover, a cast off it."""
