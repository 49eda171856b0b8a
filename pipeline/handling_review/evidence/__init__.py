"""One module a question: result tables and statistics to result objects."""
