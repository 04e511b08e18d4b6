"""Sessions kept on disk in one SQLite file, and what they can be exported to."""
