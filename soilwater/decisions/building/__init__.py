"""How deep to build, and of what."""
