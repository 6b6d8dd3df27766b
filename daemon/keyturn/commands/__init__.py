"""The commands: one file each, and what they print."""
