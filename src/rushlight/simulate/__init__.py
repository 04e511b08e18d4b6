"""Footage with known truth, and simulated hands, from a rig."""
