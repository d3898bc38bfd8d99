"""From a lab's sheet to a fitted curve and its band."""
