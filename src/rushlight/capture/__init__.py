"""Frames and dots in: recordings, which drop nothing, and live sources, which keep the newest."""

from rushlight.capture.footage import Footage as Footage
from rushlight.capture.open import open_footage as open_footage
