"""Result objects to sentences, pictures and the one HTML page."""
