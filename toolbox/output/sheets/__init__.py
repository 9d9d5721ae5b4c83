"""The sheet for boat and client, and pictures of a day: wind, waves, hours."""
