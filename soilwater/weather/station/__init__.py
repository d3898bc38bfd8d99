"""Files of weather stations, read and checked."""
