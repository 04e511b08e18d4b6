"""One function a verb: files in, records and files out; the only place where stages meet."""
