"""Physics-based soil water simulation for sand-based turf."""
