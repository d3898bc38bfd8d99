"""Names, units, errors and messy small tables: what every other room speaks."""
