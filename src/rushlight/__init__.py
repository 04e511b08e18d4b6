"""Rushlight: low-cost infrared pointing and viewing displays, from parts to published kit."""

__version__ = "0.1.0"
