"""The command line: one module a command; parses, calls timing, prints; no computing."""
