"""Detect and link: a frame goes in, dots and trails come out."""
