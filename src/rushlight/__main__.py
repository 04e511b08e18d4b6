"""``python -m rushlight`` is the command ``rushlight``."""

from rushlight.cli import main

main()
