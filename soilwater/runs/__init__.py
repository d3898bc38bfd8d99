"""From a case to a labelled result."""
