"""The DuckDB file: loading, person-time, result tables."""
