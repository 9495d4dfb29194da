"""The command line's parts that would make `replacements.cli` too long to read."""
