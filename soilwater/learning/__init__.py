"""What meter readings on a green say of its sand, base, turf, meter and spots, learnt jointly."""
