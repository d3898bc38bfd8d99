"""Ground that is not level: what its shape is worth, and what is still to be measured."""
