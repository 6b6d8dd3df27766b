"""Fourth stage. Frames become files, the files an animation of the right size, and that a folder for the stick."""

PRELOAD = "keyturn.package.preload"
"""The module that workers are forked from; see `workers.process_start`."""
