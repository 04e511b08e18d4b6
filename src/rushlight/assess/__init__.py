"""What sessions show: how true, how steady, how quick, and how that stands to what was expected."""
