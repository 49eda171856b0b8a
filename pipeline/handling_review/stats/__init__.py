"""Pure statistics: numbers in, frozen results out."""
