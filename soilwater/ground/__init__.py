"""What stands on the site: layers over a base, and turf."""
