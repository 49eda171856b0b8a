"""What a facility published before, and the rows behind it: kept beside each review, compared with the next."""
