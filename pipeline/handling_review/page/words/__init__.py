"""Result objects to sentences: nothing else in the project writes prose about a result."""
