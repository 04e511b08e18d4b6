"""The live process: display pages, their sockets, and the work that feeds them."""
