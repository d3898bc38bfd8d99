"""One site in one file: what stands there, its history beside it, and this morning's plan."""
