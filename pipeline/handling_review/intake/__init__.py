"""CSV bytes to clean typed tables, findings and the row ledger."""
