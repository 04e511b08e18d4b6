"""The bench: pages of the user's own machine. It parses, calls one job, and renders."""
