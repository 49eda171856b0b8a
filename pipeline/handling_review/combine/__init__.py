"""Several facilities of one health system, from the aggregates that each hands on."""
