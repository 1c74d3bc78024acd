"""The planning side's records as JSON, a file per noun."""
