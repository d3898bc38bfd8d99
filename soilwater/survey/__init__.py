"""What was probed and read on a green."""
