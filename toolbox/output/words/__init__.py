"""What is said of a plan and of each of its rows, whatever it is written into."""
