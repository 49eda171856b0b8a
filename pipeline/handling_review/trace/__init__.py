"""From a published number back to its formula, its rows and its query, out of the output folder alone."""
