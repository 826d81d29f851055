"""Published numbers, each with its source beside it, and extracts of published records."""
