"""Trails in, fixes out: smoothing, naming, mapping to the surface, and the switch."""
