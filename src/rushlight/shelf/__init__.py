"""Parts catalogues, checking a rig against them, and resolving it to numbers."""
