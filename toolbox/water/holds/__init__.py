"""Where the boat sits: within a cast, on the deep side, by rules; and the ring a spot is cast to from."""
