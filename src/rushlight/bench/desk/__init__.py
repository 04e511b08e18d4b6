"""The desk pages: for planning and reading."""
