"""Frames in: recorded footage, videos and folders of pictures, all as one kind of source."""

from rushlight.capture.footage import Footage as Footage
from rushlight.capture.open import open_footage as open_footage
