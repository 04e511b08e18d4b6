"""Results out, to whatever program wants them: browsers, the desktop, the kernel, messages."""
