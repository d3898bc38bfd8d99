"""When and how much to water."""
